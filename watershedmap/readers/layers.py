"""Reads map layers: stream reaches and sub-watersheds, into WGS 84 and our column names.

Anything pyogrio opens is read; GeoParquet through pyarrow, which comes with the extra `parquet`.
"""

from __future__ import annotations

import difflib
import warnings
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from pyproj.exceptions import ProjError

from watershedmap.errors import Fault

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from watershedmap.settings import Settings

WGS84 = "EPSG:4326"
NO_DOWNSTREAM = frozenset({"", "0", "-1", "nan", "none", "null", "<na>"})
"""Ways in which layers write "nothing downstream", in lower case; an id of the layer itself is never one."""


def read_reaches(folder: Path, settings: Settings) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Read the layer of stream reaches.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings.

    Returns
    -------
    geopandas.GeoDataFrame
        reach_id (text), name (may be empty), the line or nothing, and those of downstream_id (missing at an
        outlet), from_node and to_node that the layer has.
    list of Fault
        All faults of the layer. A layer without ids gets row numbers, which is a notice.
    """
    frame, faults = _read_layer(folder, settings, "reaches")
    file = settings.layers["reaches"].path
    name_of = {name: settings.column("reaches", name) for name in frame.columns}
    faults += _check_ids(frame, "reach_id", file, name_of)
    wrong = ~frame.geom_type.isin(["LineString", "MultiLineString"]) & ~shapely.is_missing(frame.geometry)
    if wrong.any():
        faults.append(_wrong_geometry(file, frame.loc[wrong], "lines"))
    nodes = [name for name in ("from_node", "to_node") if name in frame]
    if len(nodes) == 1:
        other = "to_node" if nodes == ["from_node"] else "from_node"
        fix = f"name the column of {other} in survey.toml too, or neither"
        faults.append(Fault(file, None, name_of[nodes[0]], "", "one node column without the other", fix))
    if "downstream_id" in frame:
        own = set(frame["reach_id"])
        ends = frame["downstream_id"].str.lower().isin(list(NO_DOWNSTREAM)) & ~frame["downstream_id"].isin(
            own
        )
        frame["downstream_id"] = frame["downstream_id"].mask(ends)
    for column in ("from_node", "to_node"):
        if column in frame and (frame[column] == "").any():
            ids = _some(frame.loc[frame[column] == "", "reach_id"])
            fix = "fill it in, or leave both node columns out of survey.toml"
            faults.append(Fault(file, None, name_of[column], ids, "reaches without a node", fix))
    return frame, faults


def read_subwatersheds(folder: Path, settings: Settings) -> tuple[gpd.GeoDataFrame | None, list[Fault]]:
    """Read the layer of sub-watersheds, where the survey names one.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings.

    Returns
    -------
    geopandas.GeoDataFrame or None
        subwatershed_id (text), name (the id where the layer has none), the polygon, mended where invalid.
    list of Fault
        All faults of the layer; mended polygons are a notice.
    """
    if "subwatersheds" not in settings.layers:
        return None, []
    frame, faults = _read_layer(folder, settings, "subwatersheds")
    file = settings.layers["subwatersheds"].path
    column = settings.column("subwatersheds", "subwatershed_id")
    faults += _check_ids(frame, "subwatershed_id", file, {"subwatershed_id": column})
    wrong = ~frame.geom_type.isin(["Polygon", "MultiPolygon"]).to_numpy()
    if wrong.any():
        faults.append(_wrong_geometry(file, frame.loc[wrong], "polygons"))
        return frame, faults
    invalid = ~frame.geometry.is_valid
    if invalid.any():
        ids = _some(frame.loc[invalid, "subwatershed_id"])
        problem = f"{int(invalid.sum())} polygon(s) cross themselves and were mended"
        faults.append(Fault(file, None, column, ids, problem, "mend them in the layer", "notice"))
        frame.loc[invalid, "geometry"] = _mend(frame.loc[invalid, "geometry"].to_numpy())
    frame["name"] = frame["name"].where(frame["name"] != "", frame["subwatershed_id"])
    return frame, faults


def _read_layer(folder: Path, settings: Settings, kind: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Read one layer as it is; on any fault the frame is empty but has our columns."""
    layer = settings.layers[kind]
    key = "reach_id" if kind == "reaches" else "subwatershed_id"
    empty = gpd.GeoDataFrame({key: [], "name": []}, geometry=[], crs=WGS84, dtype=object)
    frame, opening = _open(folder / layer.path, layer.path, layer.layer)
    if frame is None:
        return empty, opening
    if not isinstance(frame, gpd.GeoDataFrame):
        fix = "use a file that holds lines or polygons, not a plain table"
        return empty, [Fault(layer.path, None, "", layer.layer or "", "this is a table without a map", fix)]
    if frame.crs is None:
        fix = "give the layer its coordinate reference system, for example by saving it as a GeoPackage"
        return empty, [Fault(layer.path, None, "", "", "the layer does not say its coordinate system", fix)]
    if frame.empty:
        return empty, [Fault(layer.path, None, "", "", "the layer is empty", "see that it holds features")]
    named, faults = _name_columns(frame, settings, kind)
    faults += opening
    if key not in named:
        fix = f"name the column of ids in survey.toml: [columns.{kind}] {key} = ..."
        problem = "the layer has no column of ids that we know; rows are numbered instead"
        faults.append(Fault(layer.path, None, key, "", problem, fix, "notice"))
        named.insert(0, key, [f"row {number}" for number in range(1, len(named) + 1)])
    if "name" not in named:
        named["name"] = ""
    try:
        named = named.to_crs(WGS84).reset_index(drop=True)
    except ProjError as error:
        fix = "save the layer in a coordinate system with an EPSG code"
        return empty, [
            *faults,
            Fault(layer.path, None, "", str(frame.crs.name), f"cannot be placed: {error}", fix),
        ]
    named["geometry"] = shapely.force_2d(named.geometry.to_numpy())
    return named, faults + _check_places(named, key, layer.path)


def _check_places(frame: gpd.GeoDataFrame, key: str, file: str) -> list[Fault]:
    """Fault features that lie off the globe: their coordinates are not in the system the layer names."""
    bounds = shapely.bounds(frame.geometry.to_numpy())
    given = ~shapely.is_missing(frame.geometry) & ~shapely.is_empty(frame.geometry)
    # Both are false for what is not finite.
    within = (bounds[:, :2] >= (-180, -90)).all(axis=1) & (bounds[:, 2:] <= (180, 90)).all(axis=1)
    lost = given & ~within
    if not lost.any():
        return []
    problem = f"{int(lost.sum())} feature(s) lie outside -180 to 180 or -90 to 90 degrees"
    fix = "the layer's coordinates are not in the system it names: correct its coordinate reference system"
    return [Fault(file, None, key, _some(frame.loc[lost, key]), problem, fix)]


def _mend(polygons: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Make polygons valid, keeping only what is still an area: a mended polygon can leave lines behind."""
    mended = np.empty(len(polygons), dtype=object)
    for row, shape in enumerate(shapely.make_valid(polygons)):
        parts = shapely.get_parts(shapely.get_parts(shape))
        mended[row] = shapely.union_all(parts[shapely.get_dimensions(parts) == 2])  # noqa: PLR2004 - areas
    return mended


def _open(path: Path, file: str, layer: str | None) -> tuple[gpd.GeoDataFrame | None, list[Fault]]:
    try:
        if not path.exists():
            fix = "put the file there, or correct its name in survey.toml"
            return None, [Fault(file, None, "", "", "there is no such file", fix)]
        if path.suffix.lower() in {".parquet", ".geoparquet"}:
            return gpd.read_parquet(path), []
        with warnings.catch_warnings():
            # Remarks of the format's driver (measured coordinates dropped, say) are not faults of ours.
            warnings.simplefilter("ignore")
            return gpd.read_file(path, layer=layer, engine="pyogrio"), _notice_layers(path, file, layer)
    except ImportError:
        fix = 'install the extra: pip install "watershedmap[parquet]"'
        return None, [Fault(file, None, "", "", "GeoParquet needs pyarrow, which is not installed", fix)]
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, ValueError, OSError) as error:
        fix = "see that it is a map layer, and that the layer's name in survey.toml is right"
        return None, [Fault(file, None, "", layer or "", f"cannot be read as a map layer: {error}", fix)]


def _notice_layers(path: Path, file: str, layer: str | None) -> list[Fault]:
    """Notice that a file holds several layers and none was named."""
    names = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    if layer is not None or len(names) < 2:  # noqa: PLR2004 - one layer needs no name
        return []
    fix = f'name the one to use in survey.toml: {{ path = "{file}", layer = "{names[0]}" }}'
    problem = f"the file holds several layers; the first is used, {names[0]}"
    return [Fault(file, None, "", ", ".join(names), problem, fix, "notice")]


def _name_columns(
    frame: gpd.GeoDataFrame, settings: Settings, kind: str
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Keep the columns we know, as text, under our names."""
    layer = settings.layers[kind]
    named: dict[str, pd.Series] = {}
    faults = []
    for ours in _KNOWN[kind]:
        theirs = settings.column(kind, ours)
        if theirs in frame.columns:
            named[ours] = as_ids(frame[theirs])
        elif theirs != ours:
            near = difflib.get_close_matches(theirs, [str(name) for name in frame.columns], n=1)
            fix = (
                f"did you mean {near[0]}?" if near else f"the layer has: {', '.join(map(str, frame.columns))}"
            )
            faults.append(Fault(layer.path, None, theirs, "", "the layer has no such column", fix))
    return gpd.GeoDataFrame(named, geometry=frame.geometry, crs=frame.crs), faults


_KNOWN = {
    "reaches": ("reach_id", "name", "downstream_id", "from_node", "to_node"),
    "subwatersheds": ("subwatershed_id", "name"),
}


def as_ids(values: pd.Series) -> pd.Series:
    """Write ids as text, whole floats without a decimal part, missing ones as empty text.

    Parameters
    ----------
    values
        Ids as integers, floats or text.

    Returns
    -------
    pandas.Series
        Text on the same index: 60586620.0 and "60586620" become the same id.
    """
    if pd.api.types.is_float_dtype(values):
        whole = values.dropna() % 1 == 0
        if whole.all():
            values = values.astype("Int64")
    text = values.astype(object).where(values.notna(), "")
    return text.map(lambda value: str(value).strip()).astype(str)


def _check_ids(frame: gpd.GeoDataFrame, key: str, file: str, name_of: dict[str, str]) -> list[Fault]:
    faults = []
    column = name_of.get(key, key)
    blank = frame[key] == ""
    if blank.any():
        problem = f"{int(blank.sum())} feature(s) have no id"
        faults.append(Fault(file, None, column, "", problem, "give every feature its own id"))
    repeated = frame[key].duplicated(keep=False) & ~blank
    if repeated.any():
        ids = _some(frame.loc[repeated, key].drop_duplicates())
        problem = f"{int(repeated.sum())} features share an id with another"
        faults.append(Fault(file, None, column, ids, problem, "give every feature its own id"))
    return faults


def _wrong_geometry(file: str, frame: gpd.GeoDataFrame, wanted: str) -> Fault:
    found = ", ".join(sorted({"nothing" if pd.isna(kind) else str(kind) for kind in frame.geom_type}))
    problem = f"{len(frame)} feature(s) are not {wanted} but {found}"
    return Fault(file, None, "", _some(frame.iloc[:, 0]), problem, f"use a layer of {wanted}")


def _some(ids: pd.Series, most: int = 10) -> str:
    """Join the first few ids for a message."""
    shown = ", ".join(map(str, ids.iloc[:most]))
    return shown if len(ids) <= most else f"{shown} and {len(ids) - most} more"
