"""Values of layer columns: ids as text, and numbers, from whatever type a file keeps them in.

An id is the same as an integer, as a float or as text: 60586620, 60586620.0 and "60586620". A float holds
whole numbers only up to 2 to the power of 53; longer ids have lost their last digits before they are read.

A negative figure where none can be (an area of -9999, say), and an elevation below that of any place on land,
stand for "not known" in many layers; they are taken as missing, and said to be.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.errors import Fault
from watershedmap.readers.tables import MISSING

if TYPE_CHECKING:
    import numpy.typing as npt

NO_DOWNSTREAM = frozenset({"", "0", "-1", "-9999", "nan", "none", "null", "<na>", "0.0", "-1.0"})
"""Ways in which layers write "nothing downstream", in lower case; an id of the layer itself is never one."""
LOWEST = {"start_elevation_m": -1000.0, "end_elevation_m": -1000.0, "share": -np.inf}
"""Smallest figure that is one, where it is not 0; the lowest land lies 430 m below the sea."""

_LONGEST = max(map(len, NO_DOWNSTREAM))
_SHOWN = 10


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
    gone = values.isna().to_numpy()
    if pd.api.types.is_integer_dtype(values):
        text = [str(number) for number in values.fillna(0).to_numpy(dtype="int64").tolist()]
    else:
        text = [str(value).strip() for value in values.tolist()]
    ids = np.array(text, dtype=object)
    ids[gone] = ""
    return pd.Series(ids, index=values.index, dtype=str)


def mask_ends(downstream: pd.Series, ids: pd.Series) -> pd.Series:
    """Blank the ids that mean "nothing downstream".

    Parameters
    ----------
    downstream
        Ids of what lies downstream, as text.
    ids
        Ids of the layer itself.

    Returns
    -------
    pandas.Series
        Missing where there is nothing downstream.
    """
    words = downstream[downstream.str.len() <= _LONGEST]
    words = words[words.str.lower().isin(list(NO_DOWNSTREAM))]
    distinct = words.unique().tolist()
    own = set(ids[ids.isin(distinct)])
    return downstream.mask(downstream.isin([word for word in distinct if word not in own]))


def as_numbers(
    values: pd.Series, column: str, *, ids: pd.Series, factor: float, file: str, named: str
) -> tuple[pd.Series, list[Fault]]:
    """Turn a column into numbers.

    Parameters
    ----------
    values
        As read.
    column
        Our name of it.
    ids
        Ids of the features, on the same rows.
    factor
        What figures are multiplied by.
    file, named
        File, and the column's name in it, for reports.

    Returns
    -------
    pandas.Series
        Floats, missing where the cell is empty, at fault, or stands for "not known".
    list of Fault
        A fault for all cells with text in them, a notice for all that stand for "not known".
    """
    numbers, text = _parse(values)
    found = []
    if text.any():
        problem = f"{int(text.sum())} feature(s) have text where a number is expected"
        cells = [f"{name}: {cell}" for name, cell in zip(ids[text], values[text], strict=True)]
        fix = "write plain numbers with a decimal point, and leave cells empty where nothing is known"
        found.append(Fault(file, None, named, _some(cells), problem, fix))
    low = LOWEST.get(column, 0.0)
    below = (numbers < low).to_numpy()
    if below.any():
        problem = f"{int(below.sum())} feature(s) have a number below {low:,.0f}; it is taken as not known"
        cells = [f"{name}: {cell:g}" for name, cell in zip(ids[below], numbers[below], strict=True)]
        fix = "nothing, if that is what it means; otherwise correct it"
        found.append(Fault(file, None, named, _some(cells), problem, fix, "notice"))
    return numbers.mask(below) * factor, found


def _parse(values: pd.Series) -> tuple[pd.Series, npt.NDArray[np.bool_]]:
    """Return floats, and where text stands, or a number without end."""
    if pd.api.types.is_numeric_dtype(values):
        numbers = pd.Series(values.to_numpy(dtype=float, na_value=np.nan), index=values.index)
        return numbers.mask(np.isinf(numbers)), np.isinf(numbers.to_numpy())
    cells = as_ids(values)
    given = ~cells.str.lower().isin(list(MISSING)).to_numpy()
    numbers = pd.to_numeric(cells.where(given), errors="coerce").astype(float)
    finite = np.isfinite(numbers.to_numpy())
    return numbers.where(finite), given & ~finite


def _some(cells: list[str]) -> str:
    """Join the first few cells for a message."""
    shown = "; ".join(cells[:_SHOWN])
    return shown if len(cells) <= _SHOWN else f"{shown} and {len(cells) - _SHOWN} more"
