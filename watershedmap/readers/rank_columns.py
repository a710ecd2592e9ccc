"""Reads the columns of the stream layer that `[rank.columns]` names as parts of restoration need."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.errors import Fault
from watershedmap.readers.layer_files import open_layer, read_columns

if TYPE_CHECKING:
    from pathlib import Path

    from watershedmap.settings import Settings


def read_rank_columns(folder: Path, settings: Settings) -> tuple[pd.DataFrame, list[Fault]]:
    """Read the columns of the stream layer that `[rank.columns]` names.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings, free of faults.

    Returns
    -------
    pandas.DataFrame
        On the rows of the layer, one column of floats each, missing where the cell is empty.
    list of Fault
        A column that the layer lacks, or that holds text.
    """
    wanted = [column.name for column in settings.rank.columns]
    layer = settings.layers["reaches"]
    if not wanted:
        return pd.DataFrame(), []
    opened, faults = open_layer(folder / layer.path, layer.path, layer.layer)
    stopping = [fault for fault in faults if fault.severity == "fault"]
    if opened is None:
        return pd.DataFrame(), stopping
    for name in (name for name in wanted if name not in opened.fields):
        near = difflib.get_close_matches(name, opened.fields, n=1)
        fix = f"did you mean {near[0]}?" if near else f"the layer has: {', '.join(opened.fields)}"
        stopping.append(
            Fault(layer.path, None, name, "", "the layer has no such column; [rank.columns] names it", fix)
        )
    if stopping:
        return pd.DataFrame(), stopping
    frame, faults = read_columns(opened, wanted, layer.path)
    if frame is None:
        return pd.DataFrame(), faults
    numbers = {name: _as_floats(frame[name]) for name in wanted}
    fix = "name a column of numbers under [rank.columns]"
    return pd.DataFrame({name: found for name, (found, _) in numbers.items()}), [
        Fault(layer.path, None, name, strange, "text where a number is expected", fix)
        for name, (_, strange) in numbers.items()
        if strange
    ]


def _as_floats(cells: pd.Series) -> tuple[np.ndarray, str]:
    """Return floats, and the first cell that is no number."""
    numbers = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
    numbers = np.where(np.isfinite(numbers), numbers, np.nan)
    given = ~(cells.isna() | (cells.astype(str).str.strip() == "")).to_numpy()
    strange = np.flatnonzero(given & np.isnan(numbers))
    return numbers, str(cells.iloc[strange[0]]) if strange.size else ""
