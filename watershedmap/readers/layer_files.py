"""Files of map layers: what columns they have, and only those columns read that are asked for.

Anything pyogrio opens is read, plain tables (CSV) too; GeoParquet through pyarrow, which comes with the extra
`parquet`. Where pyarrow is installed other formats are read through it as well, for that is faster.
"""

from __future__ import annotations

import json
import warnings
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError

from watershedmap.errors import Fault

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

WGS84 = "EPSG:4326"
PARQUET = frozenset({".parquet", ".geoparquet"})

_BROKEN = (DataSourceError, DataLayerError, ValueError, OSError, KeyError)


@dataclass(frozen=True, slots=True)
class LayerFile:
    """One layer of a file, opened but not read."""

    path: Path
    """The file."""
    layer: str | None
    """Name of the layer in it; None for the first."""
    fields: tuple[str, ...]
    """Its columns, without the geometry."""
    has_map: bool
    """Whether it has geometry."""


def open_layer(path: Path, file: str, layer: str | None) -> tuple[LayerFile | None, list[Fault]]:
    """Find out which columns a layer has.

    Parameters
    ----------
    path
        The file.
    file
        Its name for reports.
    layer
        Name of the layer in it; None for the first.

    Returns
    -------
    LayerFile or None
        None when it cannot be read.
    list of Fault
        Why it cannot be read; a notice when it holds several layers and none is named.
    """
    try:
        if not path.exists():
            fix = "put the file there, or correct its name in survey.toml"
            return None, [Fault(file, None, "", "", "there is no such file", fix)]
        if path.suffix.lower() in PARQUET:
            fields, geometry = _parquet_fields(path)
            return LayerFile(path, layer, fields, bool(geometry)), []
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            info = pyogrio.read_info(path, layer=layer)
            found = LayerFile(path, layer, tuple(map(str, info["fields"])), info["geometry_type"] is not None)
            return found, _notice_layers(path, file, layer)
    except ImportError:
        fix = 'install the extra: pip install "watershedmap[parquet]"'
        return None, [Fault(file, None, "", "", "GeoParquet needs pyarrow, which is not installed", fix)]
    except _BROKEN as error:
        return None, [_unreadable(file, layer, error)]


def read_columns(
    opened: LayerFile, columns: Sequence[str], file: str
) -> tuple[gpd.GeoDataFrame | pd.DataFrame | None, list[Fault]]:
    """Read some columns of a layer, and its geometry.

    Parameters
    ----------
    opened
        As from `open_layer`.
    columns
        Columns of the layer.
    file
        Its name for reports.

    Returns
    -------
    geopandas.GeoDataFrame or pandas.DataFrame or None
        A plain frame for a table without a map; None when it cannot be read.
    list of Fault
        Why it cannot be read.
    """
    wanted = list(dict.fromkeys(columns))
    try:
        if opened.path.suffix.lower() in PARQUET:
            if not opened.has_map:
                return pd.read_parquet(opened.path, columns=wanted), []
            _, geometry = _parquet_fields(opened.path)
            return gpd.read_parquet(opened.path, columns=[*wanted, geometry]), []
        with warnings.catch_warnings():
            # Remarks of the format's driver (measured coordinates dropped, say) are not faults of ours.
            warnings.simplefilter("ignore")
            frame = pyogrio.read_dataframe(
                opened.path,
                layer=opened.layer,
                columns=wanted,
                use_arrow=find_spec("pyarrow") is not None,
            )
            return frame, []
    except _BROKEN as error:
        return None, [_unreadable(file, opened.layer, error)]


def _parquet_fields(path: Path) -> tuple[tuple[str, ...], str]:
    """Return the columns of a Parquet file, and the name of the one that holds the geometry."""
    schema = import_module("pyarrow.parquet").read_schema(path)  # an optional dependency
    described = json.loads((schema.metadata or {}).get(b"geo", b"{}"))
    geometry = str(described.get("primary_column", ""))
    return tuple(name for name in schema.names if name not in described.get("columns", {})), geometry


def _notice_layers(path: Path, file: str, layer: str | None) -> list[Fault]:
    """Notice that a file holds several layers and none was named."""
    names = [str(name) for name in pyogrio.list_layers(path)[:, 0]]
    if layer is not None or len(names) < 2:  # noqa: PLR2004 - one layer needs no name
        return []
    fix = f'name the one to use in survey.toml: {{ path = "{file}", layer = "{names[0]}" }}'
    problem = f"the file holds several layers; the first is used, {names[0]}"
    return [Fault(file, None, "", ", ".join(names), problem, fix, "notice")]


def _unreadable(file: str, layer: str | None, error: Exception) -> Fault:
    fix = "see that it is a map layer, and that the layer's name in survey.toml is right"
    return Fault(file, None, "", layer or "", f"cannot be read as a map layer: {error}", fix)
