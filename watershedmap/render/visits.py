"""Next season's visits as a table, a map layer and GeoJSON, and as words for the screen.

GeoJSON follows RFC 7946; besides its own members the collection carries `title`, `about` and `caution`, which
other programs pass over. Every file carries the caution in each row.
"""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Final

import geopandas as gpd
import pandas as pd
import pyogrio

from watershedmap.errors import OutputError
from watershedmap.planning.reasons import CAUTION, describe_plan
from watershedmap.render.geopackage import CRS, whole_geopackage
from watershedmap.render.tables import format_table
from watershedmap.settings_plan import PARTS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from watershedmap.planning.visits import Plan

COLUMNS: Final = (
    *("visit", "day", "place_id", "kind", "site_id", "name", "reach_id", "longitude", "latitude"),
    *("chosen", "chance", "need", *(f"part_{name}" for name in PARTS), "reason", "last_year", "n_years"),
    *("trend", "class", "class_certainty", "gap_km", "residual_spread", "power_now", "more_years"),
    *("access_longitude", "access_latitude", "access_m", "caution"),
)
"""Columns of the table and of the layers, in their order."""

LAYER: Final = "visits"

_PLACES: Final[Mapping[str, int]] = {
    **dict.fromkeys(("longitude", "latitude", "access_longitude", "access_latitude"), 6),
    "access_m": 1,
}
_OTHER_PLACES: Final = 4


def round_visits(plan: Plan) -> pd.DataFrame:
    """Return the visits with their columns in order and their numbers rounded.

    Parameters
    ----------
    plan
        The plan.

    Returns
    -------
    pandas.DataFrame
        `COLUMNS`; coordinates with six decimals, other numbers with at most four.
    """
    frame = plan.visits.reindex(columns=list(COLUMNS)).copy()
    for name in frame.columns:
        if pd.api.types.is_float_dtype(frame[name]):
            frame[name] = frame[name].round(_PLACES.get(str(name), _OTHER_PLACES))
    return frame


def make_table(plan: Plan, *, decimals: int) -> str:
    """Write the visits as comma-separated text.

    Parameters
    ----------
    plan
        The plan.
    decimals
        Decimals of the index.

    Returns
    -------
    str
        A header, then one row a visit; text that a spreadsheet would run is guarded.
    """
    return format_table(round_visits(plan), decimals=decimals)


def make_geojson(plan: Plan) -> str:
    """Write the visits as GeoJSON.

    Parameters
    ----------
    plan
        The plan.

    Returns
    -------
    str
        A FeatureCollection of points in WGS 84; missing values are null.
    """
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [row["longitude"], row["latitude"]]},
            "properties": {str(name): _plain(value) for name, value in row.items()},
        }
        for row in round_visits(plan).to_dict("records")
    ]
    whole = {
        "type": "FeatureCollection",
        "title": plan.title,
        "about": describe_plan(plan),
        "caution": CAUTION,
        "features": features,
    }
    return json.dumps(whole, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _plain(value: object) -> object:
    if value is None or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return None
    return value


def write_layer(plan: Plan, path: Path) -> Path:
    """Write the visits as a GeoPackage layer of points, `visits`.

    Parameters
    ----------
    plan
        The plan.
    path
        File to write; one that is there is replaced once the new one is complete.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    if path.suffix.lower() != ".gpkg":
        raise OutputError(f"{path} is no name for a GeoPackage; end it with .gpkg")
    frame = round_visits(plan)
    points = gpd.points_from_xy(frame["longitude"], frame["latitude"])
    for name in frame.columns:
        if not pd.api.types.is_numeric_dtype(frame[name]):
            texts = [
                None if gone else str(v) for v, gone in zip(frame[name], frame[name].isna(), strict=True)
            ]
            frame[name] = pd.Series(texts, index=frame.index, dtype=object)
    with whole_geopackage(path) as part:
        path.parent.mkdir(parents=True, exist_ok=True)
        pyogrio.write_dataframe(
            gpd.GeoDataFrame(frame, geometry=points, crs=CRS),
            part,
            layer=LAYER,
            driver="GPKG",
            geometry_type="Point",
            dataset_options={"VERSION": "1.2"},
            layer_options={"FID": "fid", "GEOMETRY_NAME": "geom", "DESCRIPTION": CAUTION},
        )
    return path


def tell_plan(plan: Plan) -> list[str]:
    """Say the plan in words, day by day.

    Parameters
    ----------
    plan
        The plan.

    Returns
    -------
    list of str
        The lines.
    """
    lines = [*describe_plan(plan), ""]
    for number, visits in plan.visits.groupby("day", sort=True):
        lines.append(f"Day {number}")
        for row in visits.to_dict("records"):
            name = f" {row['name']}" if row["name"] else ""
            where = f"{row['latitude']:.6f}, {row['longitude']:.6f}"
            lines.append(f"  {row['visit']}. {row['place_id']}{name} ({row['kind']}; {where})")
            lines.append(f"     {row['reason']}")
    return [*lines, "", CAUTION]
