"""The layers of an assessment as one GeoPackage, for any GIS.

Layers `reaches`, `sites`, `steps` (lines between sites), `layer_findings` (places in the layers to look at)
and, where the survey has them, `subwatersheds`, in WGS 84, with the columns and the rounding of the plain
tables. A missing value is NULL, a truth value a boolean, text is text even where a whole column is missing.
No tables without geometry are added. Heights of the geometry are dropped.

GeoPackage is OGC 12-128; version 1.2 is written, which older programs read too. It wants a time of last
change; a fixed one is written, so that the same assessment gives the same bytes.
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from watershedmap.errors import OutputError
from watershedmap.render.tables import TRIMMED_DECIMALS, column_decimals, order_columns
from watershedmap.scoring.classes import round_half_away

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from watershedmap.assessment import Assessment

CRS: Final = "EPSG:4326"

FIXED_DATE: Final = "2000-01-01T00:00:00.000Z"
"""Stands in the file as the time of last change; says nothing of when it was written."""

SHAPES: Final[Mapping[str, str]] = {
    "reaches": "LineString",
    "sites": "Point",
    "subwatersheds": "Polygon",
    "steps": "LineString",
    "layer_findings": "Point",
}
"""Geometry type of each layer; the multi-part form is used when any feature needs it."""

TEXT: Final = frozenset(
    {
        "reach_id",
        "name",
        "downstream_id",
        "subwatershed_id",
        "evidence",
        "class",
        "class_low",
        "class_high",
        "site_id",
        "site_ids",
        "inferred_from",
        "trend",
        "trend_method",
        "site_upstream",
        "site_downstream",
        "notes",
        "placement",
        "ambiguity",
        "candidates",
        "chain_source",
        "test",
        "step",
        "reaches_between",
        "tributaries",
        "tributary_names",
        "tributary_scores",
        "finding",
        "severity",
        "ids",
        "note",
        "fix",
    }
)
"""Columns that are text even when all of their values are missing."""

WHOLE: Final = frozenset(
    {"n_samples", "n_years", "first_year", "last_year", "strahler_order", "n_sites", "trend_years"}
)
"""Columns of whole numbers, whatever a missing value made of them."""


def write_geopackage(assessment: Assessment, path: Path) -> Path:
    """Write the layers of an assessment.

    Parameters
    ----------
    assessment
        What to write; it is not changed.
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
    frames: dict[str, gpd.GeoDataFrame | None] = {
        "reaches": assessment.reaches,
        "sites": assessment.sites,
        "subwatersheds": assessment.subwatersheds,
        "steps": assessment.steps,
        "layer_findings": assessment.survey.findings,
    }
    present = {layer: frame for layer, frame in frames.items() if frame is not None}
    return _write_whole(present, path, decimals=assessment.index.decimals)


def write_findings(findings: gpd.GeoDataFrame, path: Path) -> Path:
    """Write what was found in the map layers as a layer of points.

    Parameters
    ----------
    findings
        finding, severity, ids, note, fix, and a point or None.
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
    return _write_whole({"layer_findings": findings}, path, decimals=0)


def _write_whole(frames: Mapping[str, gpd.GeoDataFrame], path: Path, *, decimals: int) -> Path:
    with whole_geopackage(path) as part:
        for layer, frame in frames.items():
            _write_layer(frame, layer, part, decimals=decimals)
    return path


@contextmanager
def whole_geopackage(path: Path) -> Iterator[Path]:
    """Write a GeoPackage whole or not at all, with a fixed date.

    Parameters
    ----------
    path
        File to write; one that is there is replaced once the block has ended.

    Yields
    ------
    Path
        The file to write into meanwhile; there is none of that name yet.

    Raises
    ------
    OutputError
        When it cannot be written; what was there stays.
    """
    part = path.with_name(f".{path.stem}.part{path.suffix}")
    try:
        part.unlink(missing_ok=True)
        with _fixed_date():
            yield part
        part.replace(path)
    except (OSError, DataSourceError, DataLayerError) as error:
        part.unlink(missing_ok=True)
        raise OutputError(
            f"{path.name} cannot be written: {error}; check the folder and try again"
        ) from error


def _write_layer(frame: gpd.GeoDataFrame, layer: str, path: Path, *, decimals: int) -> None:
    plain = order_columns(frame, layer)
    fields = {name: _field(plain[name], decimals=decimals) for name in plain.columns}
    flat = gpd.GeoSeries(shapely.force_2d(frame.geometry.to_numpy()), crs=frame.crs).to_crs(CRS)
    multi = any(kind.startswith("Multi") for kind in flat.geom_type.dropna().unique())
    pyogrio.write_dataframe(
        gpd.GeoDataFrame(pd.DataFrame(fields).reset_index(drop=True), geometry=flat),
        path,
        layer=layer,
        driver="GPKG",
        geometry_type=f"Multi{SHAPES[layer]}" if multi else SHAPES[layer],
        promote_to_multi=multi,
        append=path.exists(),
        dataset_options=None if path.exists() else {"VERSION": "1.2"},
        layer_options={"FID": "fid", "GEOMETRY_NAME": "geom"},
    )


def _field(column: pd.Series, *, decimals: int) -> pd.Series:
    """Give a column a type that is the same for every survey, and that a GIS opens."""
    name = str(column.name)
    if name in TEXT or not (
        pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_any_dtype(column)
    ):
        text = [None if gone else str(v) for v, gone in zip(column, column.isna(), strict=True)]
        return pd.Series(text, index=column.index, dtype=object)
    if name in WHOLE:
        return column.astype("Int64")
    if pd.api.types.is_float_dtype(column):
        places = column_decimals(name, decimals=decimals)
        return round_half_away(column, TRIMMED_DECIMALS if places is None else places)
    return column


@contextmanager
def _fixed_date() -> Iterator[None]:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
