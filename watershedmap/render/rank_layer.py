"""A ranking as a map layer: one GeoPackage with the lines or polygons that were ranked, and all figures.

The layer is named `ranking` and has the columns of the table, in WGS 84; items that are not ranked are in it
too, without a rank. The same ranking gives the same bytes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from watershedmap.render.geopackage import CRS, whole_geopackage
from watershedmap.render.tables import TRIMMED_DECIMALS, column_decimals
from watershedmap.scoring.classes import round_half_away

if TYPE_CHECKING:
    from pathlib import Path

LAYER = "ranking"
_SHAPES = {1: "LineString", 5: "MultiLineString", 3: "Polygon", 6: "MultiPolygon"}
_PARTS = {"LineString": "MultiLineString", "Polygon": "MultiPolygon"}


def write_rank_layer(items: pd.DataFrame, shapes: gpd.GeoSeries, path: Path, *, decimals: int) -> Path:
    """Write ranked items with their shapes.

    Parameters
    ----------
    items
        As `watershedmap.planning.ranking.Ranking.items`.
    shapes
        Lines or polygons on the same row labels; more rows than items do no harm.
    path
        File to write; one that is there is replaced once the new one is complete.
    decimals
        Decimals of scores.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        When it cannot be written.
    """
    flat = gpd.GeoSeries(shapely.force_2d(np.asarray(shapes.loc[items.index])), crs=shapes.crs).to_crs(CRS)
    columns = {str(name): _make_field(items[name], decimals).to_numpy() for name in items.columns}
    kinds = {
        _SHAPES[number] for number in shapely.get_type_id(np.asarray(flat)).tolist() if number in _SHAPES
    }
    multi = any(kind.startswith("Multi") for kind in kinds)
    kind = next(iter(sorted(kinds)), "LineString")
    with whole_geopackage(path) as part:
        path.parent.mkdir(parents=True, exist_ok=True)
        pyogrio.write_dataframe(
            gpd.GeoDataFrame(pd.DataFrame(columns), geometry=np.asarray(flat), crs=CRS),
            part,
            layer=LAYER,
            driver="GPKG",
            geometry_type=_PARTS.get(kind, kind) if multi else kind,
            promote_to_multi=multi,
            dataset_options={"VERSION": "1.2"},
            layer_options={"FID": "fid", "GEOMETRY_NAME": "geom"},
        )
    return path


def _make_field(column: pd.Series, decimals: int) -> pd.Series:
    """Give a column a type that a map program opens; text stays text."""
    if pd.api.types.is_bool_dtype(column) or pd.api.types.is_integer_dtype(column):
        return column
    if pd.api.types.is_float_dtype(column):
        places = column_decimals(str(column.name), decimals=decimals)
        return round_half_away(column, TRIMMED_DECIMALS if places is None else places)
    text = [None if gone else str(v) for v, gone in zip(column, column.isna(), strict=True)]
    return pd.Series(text, index=column.index, dtype=object)
