"""The nearest road or access point of each visit.

Definition
    The point of the access layer that lies nearest to the place, and the geodesic distance to it.

Source
    Geodesic distance: see `watershedmap.network.distance`.

Known bias
    Nearest is sought on a plane with degrees of longitude shortened by the cosine of the mean latitude: over
    a watershed the error is small. The distance is straight: no fence, river or slope is in it, and whether
    one may leave the road there is not known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from watershedmap.network.distance import point_distance_m

if TYPE_CHECKING:
    import numpy.typing as npt


def find_access(visits: pd.DataFrame, access: npt.NDArray[np.object_] | None) -> pd.DataFrame:
    """Find the nearest access of each visit.

    Parameters
    ----------
    visits
        longitude, latitude.
    access
        Points, lines or areas in longitude and latitude; None when there is no such layer.

    Returns
    -------
    pandas.DataFrame
        On the rows of `visits`: access_longitude, access_latitude, access_m; all missing without a layer.
    """
    columns = ["access_longitude", "access_latitude", "access_m"]
    if access is None or len(access) == 0 or visits.empty:
        return pd.DataFrame(np.nan, index=visits.index, columns=columns)
    at = visits[["longitude", "latitude"]].to_numpy(dtype=float)
    shrink = np.array([np.cos(np.radians(at[:, 1].mean())), 1.0])
    flat = shapely.transform(access, lambda points: points * shrink)
    places = shapely.points(at * shrink)
    nearest = shapely.STRtree(flat).query_nearest(places, all_matches=False)[1]
    line = shapely.shortest_line(flat[nearest], places)
    found = shapely.get_coordinates(shapely.get_point(line, 0)) / shrink
    metres = point_distance_m(at[:, 0], at[:, 1], found[:, 0], found[:, 1])
    values = np.column_stack([found.round(6), metres])
    return pd.DataFrame(values, index=visits.index, columns=columns)
