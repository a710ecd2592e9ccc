"""Reads a layer of roads or access points, from which a field crew walks to the stream."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import shapely

from watershedmap.errors import Fault, SurveyError
from watershedmap.readers.layer_files import WGS84, open_layer, read_columns

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    import numpy.typing as npt


def read_access(path: Path) -> npt.NDArray[np.object_]:
    """Read the geometries of a layer.

    Parameters
    ----------
    path
        Any file that holds a map layer; its first layer is read.

    Returns
    -------
    numpy.ndarray
        Points, lines or areas in longitude and latitude (WGS 84), none missing or empty.

    Raises
    ------
    SurveyError
        When it cannot be read, has no geometry, or does not say its coordinate system.
    """
    opened, faults = open_layer(path, path.name, None)
    frame = None
    if opened is not None:
        frame, more = read_columns(opened, [], path.name)
        faults = [*faults, *more]
    if any(fault.severity == "fault" for fault in faults):
        raise SurveyError(faults)
    problem = ""
    if not isinstance(frame, gpd.GeoDataFrame):
        problem = "this is no map layer: it has no geometry"
    elif frame.crs is None:
        problem = "the layer does not say its coordinate system"
    if problem or not isinstance(frame, gpd.GeoDataFrame):
        fix = "give a layer of roads or access points with its coordinate system"
        raise SurveyError([Fault(path.name, None, "", "", problem, fix)])
    shapes = shapely.force_2d(frame.geometry.to_crs(WGS84).to_numpy())
    kept = shapes[~(shapely.is_missing(shapes) | shapely.is_empty(shapes))]
    if len(kept) == 0:
        fix = "give a layer with at least one road or access point"
        raise SurveyError([Fault(path.name, None, "", "", "the layer holds no geometry", fix)])
    return kept
