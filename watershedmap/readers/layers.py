"""Reads map layers: stream reaches and sub-watersheds, into WGS 84 and our column names.

Columns are found by `watershedmap.readers.schemas`, so that many open layers can be used as they come.
Heights and measures of the geometry are dropped. A table without a map serves as a layer of reaches when it
has ids and says what flows into what.

Known bias: an id is taken for "nothing downstream" by the words of `watershedmap.readers.layer_values`; a
layer that uses another word for it seems to leave the layer there, which is noticed.
"""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import ProjError

from watershedmap.errors import Fault
from watershedmap.readers.layer_files import WGS84, open_layer, read_columns
from watershedmap.readers.layer_values import as_ids, as_numbers, mask_ends
from watershedmap.readers.schemas import TOPOLOGY, Match, match_columns
from watershedmap.settings import TABLE_COLUMNS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy.typing as npt

    from watershedmap.settings import Settings

__all__ = ["as_ids", "read_reaches", "read_subwatersheds"]

NUMBERS = (
    "share",
    "area_km2",
    "upstream_area_km2",
    "length_km",
    "stream_order",
    "start_elevation_m",
    "end_elevation_m",
    "width_m",
)
"""Columns of numbers; all others are text."""

_LINES = (shapely.GeometryType.LINESTRING, shapely.GeometryType.MULTILINESTRING)
_AREAS = (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)
_KEYS = {"reaches": "reach_id", "subwatersheds": "subwatershed_id"}


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
        reach_id (text), name (may be empty), the line or nothing, and those that the layer has of
        downstream_id (missing at an outlet), from_node, to_node, nested_code, barrier, group (text), share,
        area_km2, upstream_area_km2, length_km, start_elevation_m, end_elevation_m, width_m (missing where not
        known) and stream_order (whole numbers).
    list of Fault
        All faults of the layer. A layer without ids gets row numbers, which is a notice; so is what was
        recognised by the names of columns.
    """
    frame, match, faults = _read_layer(folder, settings, "reaches")
    file = settings.layers["reaches"].path
    faults += _check_ids(frame, "reach_id", file, match)
    kinds = shapely.get_type_id(frame.geometry.to_numpy())
    wrong = ~np.isin(kinds, [*_LINES, _NOTHING])
    if wrong.any():
        faults.append(_wrong_geometry(file, frame.loc[wrong], "lines"))
    faults += _check_nodes(frame, file, match)
    if "downstream_id" in frame:
        frame["downstream_id"] = mask_ends(frame["downstream_id"], frame["reach_id"])
    if "stream_order" in frame:
        frame["stream_order"] = frame["stream_order"].round().astype("Int64")
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
        subwatershed_id (text), name (the id where the layer has none), the polygon, mended where invalid, and
        downstream_id (missing where nothing lies downstream) if the layer has it.
    list of Fault
        All faults of the layer; mended polygons are a notice.
    """
    if "subwatersheds" not in settings.layers:
        return None, []
    frame, match, faults = _read_layer(folder, settings, "subwatersheds")
    file = settings.layers["subwatersheds"].path
    faults += _check_ids(frame, "subwatershed_id", file, match)
    wrong = ~np.isin(shapely.get_type_id(frame.geometry.to_numpy()), _AREAS)
    if wrong.any():
        faults.append(_wrong_geometry(file, frame.loc[wrong], "polygons"))
        return frame, faults
    invalid = ~frame.geometry.is_valid
    if invalid.any():
        ids = _some(frame.loc[invalid, "subwatershed_id"])
        problem = f"{int(invalid.sum())} polygon(s) cross themselves and were mended"
        column = match.columns.get("subwatershed_id", "subwatershed_id")
        faults.append(Fault(file, None, column, ids, problem, "mend them in the layer", "notice"))
        frame.loc[invalid, "geometry"] = _mend(frame.loc[invalid, "geometry"].to_numpy())
    frame["name"] = frame["name"].where(frame["name"] != "", frame["subwatershed_id"])
    if "downstream_id" in frame:
        frame["downstream_id"] = mask_ends(frame["downstream_id"], frame["subwatershed_id"])
    return frame, faults


def _read_layer(folder: Path, settings: Settings, kind: str) -> tuple[gpd.GeoDataFrame, Match, list[Fault]]:
    """Read one layer as it is; on any fault the frame is empty but has our columns."""
    layer, key = settings.layers[kind], _KEYS[kind]
    empty = gpd.GeoDataFrame({key: [], "name": []}, geometry=[], crs=WGS84, dtype=object)
    nothing = Match(columns={})
    opened, faults = open_layer(folder / layer.path, layer.path, layer.layer)
    if opened is None:
        return empty, nothing, faults
    match, found = _match(opened.fields, settings, kind)
    if not opened.has_map and (kind != "reaches" or not _tells_flow(match)):
        fix = "use a file that holds lines or polygons, not a plain table"
        if kind == "reaches":
            fix = "use a file that holds lines, or a table with ids and the id of the next reach, or nodes"
        fault = Fault(layer.path, None, "", layer.layer or "", "this is a table without a map", fix)
        return empty, nothing, [fault]
    needed = [*match.columns.values(), *([match.flow] if match.flow else [])]
    frame, failing = read_columns(opened, needed, layer.path)
    if frame is None:
        return empty, nothing, failing
    if frame.empty:
        return (
            empty,
            nothing,
            [Fault(layer.path, None, "", "", "the layer is empty", "see that it holds features")],
        )
    shapes, lost = _place(frame, layer.path)
    if shapes is None:
        return empty, nothing, lost
    named, wrong = _name_columns(frame, match, kind, layer.path)
    named = gpd.GeoDataFrame(named, geometry=shapes, crs=WGS84)
    return named, match, faults + found + lost + wrong + _check_places(named, key, layer.path)


def _match(fields: Sequence[str], settings: Settings, kind: str) -> tuple[Match, list[Fault]]:
    """Find our columns in a layer; those that survey.toml names and that are not there are faults."""
    layer, known = settings.layers[kind], TABLE_COLUMNS[kind]
    named, faults = {}, []
    for ours in known:
        theirs = settings.column(kind, ours)
        if theirs in fields:
            if ours in settings.columns.get(kind, {}):
                named[ours] = theirs
        elif theirs != ours:
            near = difflib.get_close_matches(theirs, fields, n=1)
            fix = f"did you mean {near[0]}?" if near else f"the layer has: {', '.join(fields)}"
            faults.append(Fault(layer.path, None, theirs, "", "the layer has no such column", fix))
    match = match_columns(fields, named, known, layer=kind)
    if match.taken:
        guessed = [name for name in match.columns if match.columns[name] in match.taken]
        taken = ", ".join(match.columns[name] for name in guessed)
        verb = "column {} was" if len(guessed) == 1 else "columns {} were"
        like = f", as in {match.schema}" if match.schema else ""
        problem = f"the {verb.format(taken)} taken for {', '.join(guessed)}{like}"
        fix = f"nothing, if that is right; otherwise name others under [columns.{kind}]"
        faults.append(Fault(layer.path, None, "", taken, problem, fix, "notice"))
    return match, faults


def _tells_flow(match: Match) -> bool:
    """Tell whether there are ids, and columns that say what flows into what."""
    there = set(match.columns)
    ways = ({"downstream_id"}, {"from_node", "to_node"}, {"nested_code"})
    return "reach_id" in there and any(way <= there for way in ways)


def _place(
    frame: gpd.GeoDataFrame | pd.DataFrame, file: str
) -> tuple[npt.NDArray[np.object_] | None, list[Fault]]:
    """Return the shapes in longitude and latitude, without heights; none for a table without a map."""
    if not isinstance(frame, gpd.GeoDataFrame):
        problem = (
            f"this is a table without a map: its {len(frame)} reaches are traced, but not drawn, and "
            "no site is placed on them by its coordinates"
        )
        fix = "nothing, if that is enough; otherwise use a layer of lines"
        return np.full(len(frame), None, dtype=object), [Fault(file, None, "", "", problem, fix, "notice")]
    if frame.crs is None:
        fix = "give the layer its coordinate reference system, for example by saving it as a GeoPackage"
        return None, [Fault(file, None, "", "", "the layer does not say its coordinate system", fix)]
    shapes = frame.geometry
    if frame.crs != CRS(WGS84):
        try:
            shapes = shapes.to_crs(WGS84)
        except ProjError as error:
            fix = "save the layer in a coordinate system with an EPSG code"
            problem = f"cannot be placed: {error}"
            return None, [Fault(file, None, "", str(frame.crs.name), problem, fix)]
    flat = shapes.to_numpy()
    if shapely.has_z(flat).any():
        flat = shapely.force_2d(flat)
    return np.asarray(flat, dtype=object), []


def _name_columns(
    frame: pd.DataFrame, match: Match, kind: str, file: str
) -> tuple[pd.DataFrame, list[Fault]]:
    """Bring the columns to our names and types."""
    key, known = _KEYS[kind], [name for name in TABLE_COLUMNS[kind] if name in match.columns]
    rows, faults = pd.RangeIndex(len(frame)), []
    cells = {name: frame[match.columns[name]].set_axis(rows) for name in known}
    named = {name: as_ids(cells[name]) for name in known if name not in NUMBERS}
    unsure = key in named and match.columns[key] in match.taken and not set(TOPOLOGY) & set(named)
    if key not in named or (unsure and not _is_key(named[key])):
        fix = f"name the column of ids in survey.toml: [columns.{kind}] {key} = ..."
        problem = "the layer has no column of ids that we know; rows are numbered instead"
        faults.append(Fault(file, None, key, "", problem, fix, "notice"))
        named[key] = pd.Series([f"row {number}" for number in range(1, len(rows) + 1)], dtype=str)
    named.setdefault("name", pd.Series("", index=rows, dtype=str))
    if match.flow:
        _turn_nodes(named, as_ids(frame[match.flow].set_axis(rows)), match)
    for name in known:
        if name in NUMBERS:
            by, theirs = match.factor.get(name, 1.0), match.columns[name]
            named[name], found = as_numbers(
                cells[name], name, ids=named[key], factor=by, file=file, named=theirs
            )
            faults += found
    ordered = [key, "name", *(name for name in known if name not in {key, "name"})]
    return pd.DataFrame({name: named[name] for name in ordered}), faults


def _turn_nodes(named: dict[str, pd.Series], flow: pd.Series, match: Match) -> None:
    """Swap the nodes of lines that flow from the second to the first."""
    words = flow.str.lower().str.replace(r"[^a-z]", "", regex=True)
    against = words.isin(list(match.against))
    first, second = named["from_node"], named["to_node"]
    named["from_node"], named["to_node"] = first.mask(against, second), second.mask(against, first)


def _is_key(ids: pd.Series) -> bool:
    return bool((ids != "").all() and ids.is_unique)


def _check_ids(frame: gpd.GeoDataFrame, key: str, file: str, match: Match) -> list[Fault]:
    faults = []
    column = match.columns.get(key, key)
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


def _check_nodes(frame: gpd.GeoDataFrame, file: str, match: Match) -> list[Fault]:
    """Fault a node column without the other, and reaches without a node."""
    nodes = [name for name in ("from_node", "to_node") if name in frame]
    faults = []
    if len(nodes) == 1:
        other = "to_node" if nodes == ["from_node"] else "from_node"
        fix = f"name the column of {other} in survey.toml too, or neither"
        problem = "one node column without the other"
        faults.append(Fault(file, None, match.columns[nodes[0]], "", problem, fix))
    for column in nodes:
        if (frame[column] == "").any():
            ids = _some(frame.loc[frame[column] == "", "reach_id"])
            fix = "fill it in, or leave both node columns out of survey.toml"
            faults.append(Fault(file, None, match.columns[column], ids, "reaches without a node", fix))
    return faults


def _check_places(frame: gpd.GeoDataFrame, key: str, file: str) -> list[Fault]:
    """Fault features that lie off the globe: their coordinates are not in the system the layer names."""
    shapes = frame.geometry.to_numpy()
    bounds = shapely.bounds(shapes)
    given = ~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)
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


_NOTHING = shapely.GeometryType.MISSING


def _wrong_geometry(file: str, frame: gpd.GeoDataFrame, wanted: str) -> Fault:
    found = ", ".join(sorted({"nothing" if pd.isna(kind) else str(kind) for kind in frame.geom_type}))
    problem = f"{len(frame)} feature(s) are not {wanted} but {found}"
    return Fault(file, None, "", _some(frame.iloc[:, 0]), problem, f"use a layer of {wanted}")


def _some(ids: pd.Series, most: int = 10) -> str:
    """Join the first few ids for a message."""
    shown = ", ".join(map(str, ids.iloc[:most]))
    return shown if len(ids) <= most else f"{shown} and {len(ids) - most} more"
