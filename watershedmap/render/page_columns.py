"""Columns of frames as lists of plain JSON values, for the page.

A missing number is None, a missing text is empty, a missing pick from a list is -1. Numbers are rounded half
away from zero, as scores are for classes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from watershedmap.scoring.classes import round_half_away

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from watershedmap.scoring.indices import Index


def column(frame: pd.DataFrame, name: str) -> pd.Series:
    """Return a column; all missing when the frame does not have it, as metrics of scores brought in.

    Parameters
    ----------
    frame
        Any frame.
    name
        Name of the column.

    Returns
    -------
    pandas.Series
        On the index of the frame.
    """
    return frame[name] if name in frame else pd.Series(np.nan, index=frame.index)


def numbers(frame: pd.DataFrame, name: str, decimals: int) -> list[float | None]:
    """Return a column of numbers, rounded.

    Parameters
    ----------
    frame, name
        As for `column`.
    decimals
        Decimals that are kept.

    Returns
    -------
    list
        Numbers, None where one is missing or not finite.
    """
    return plain(column(frame, name), decimals)


def plain(values: Any, decimals: int) -> list[float | None]:  # noqa: ANN401 - any column of numbers
    """Round to JSON numbers, whole ones without a point.

    Parameters
    ----------
    values
        Anything that makes a column of numbers.
    decimals
        Decimals that are kept.

    Returns
    -------
    list
        Numbers, None where one is missing or not finite.
    """
    found = pd.to_numeric(pd.Series(values), errors="coerce")
    rounded = round_half_away(found, decimals).tolist()
    return [shorten(round(value, decimals)) if np.isfinite(value) else None for value in rounded]


def shorten(value: float) -> float:
    """Return a whole number as an integer, any other as it is.

    Parameters
    ----------
    value
        A finite number.

    Returns
    -------
    float
        The same number.
    """
    return int(value) if value == int(value) else value


def texts(frame: pd.DataFrame, name: str) -> list[str]:
    """Return a column of texts.

    Parameters
    ----------
    frame, name
        As for `column`.

    Returns
    -------
    list of str
        Texts as they stand in the table, empty where one is missing.
    """
    return ["" if pd.isna(value) else str(value) for value in column(frame, name)]


def positions(ids: Sequence[str] | pd.Series) -> dict[str, int]:
    """Return the position of each id.

    Parameters
    ----------
    ids
        Unique names.

    Returns
    -------
    dict
        Position, from 0, by name.
    """
    return {str(name): position for position, name in enumerate(ids)}


def ranks(index: Index) -> dict[str, int]:
    """Return the rank of each class.

    Parameters
    ----------
    index
        The index that stands for condition.

    Returns
    -------
    dict
        Rank, 0 the best, by label.
    """
    return {band.label: rank for rank, band in enumerate(index.classes)}


def picks(frame: pd.DataFrame, name: str, places: Mapping[str, int]) -> list[int]:
    """Return a column of names as positions.

    Parameters
    ----------
    frame, name
        As for `column`.
    places
        As from `positions`.

    Returns
    -------
    list of int
        Positions, -1 for a name that is missing or not among the places.
    """
    return [places.get(value, -1) for value in texts(frame, name)]


def pick_lists(frame: pd.DataFrame, name: str, places: Mapping[str, int]) -> list[list[int]]:
    """Split names joined by "; "; one that holds the separator itself is found as a whole.

    Parameters
    ----------
    frame, name
        As for `column`.
    places
        As from `positions`.

    Returns
    -------
    list of list of int
        Positions of the names that are known.
    """
    groups = [[text] if text in places else text.split("; ") for text in texts(frame, name)]
    return [[places[one] for one in group if one in places] for group in groups]
