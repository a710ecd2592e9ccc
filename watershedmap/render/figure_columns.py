"""What a figure needs to know of reaches, sites and sub-watersheds, as plain arrays and counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.render.page_columns import column, picks, ranks
from watershedmap.render.page_data import CERTAIN_FROM
from watershedmap.render.page_reaches import EVIDENCE, TRENDS
from watershedmap.render.page_steps import CLEAR

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.assessment import Assessment
    from watershedmap.scoring.indices import Index

    Ints = npt.NDArray[np.int64]
    Bools = npt.NDArray[np.bool_]

MEASURED, INFERRED, UNASSESSED = range(len(EVIDENCE))


def rank_of(frame: pd.DataFrame, index: Index) -> Ints:
    """Return the rank of the class of each row.

    Parameters
    ----------
    frame
        With `class`.
    index
        The index that stands for condition.

    Returns
    -------
    numpy.ndarray
        0 the best, -1 without a class.
    """
    return np.array(picks(frame, "class", ranks(index)), dtype=np.int64)


def evidence_of(frame: pd.DataFrame) -> Ints:
    """Return the evidence of each reach.

    Parameters
    ----------
    frame
        With `evidence`.

    Returns
    -------
    numpy.ndarray
        `MEASURED`, `INFERRED` or `UNASSESSED`; what has no class is unassessed too.
    """
    places = {word: i for i, word in enumerate(EVIDENCE)}
    found = np.array(picks(frame, "evidence", places), dtype=np.int64)
    return np.where((found < 0) | frame["class"].isna().to_numpy(), UNASSESSED, found)


def trend_of(frame: pd.DataFrame) -> Ints:
    """Return the trend of each row.

    Parameters
    ----------
    frame
        With `trend`.

    Returns
    -------
    numpy.ndarray
        Place in `TRENDS`, -1 where there is none.
    """
    return np.array(picks(frame, "trend", {word: i for i, word in enumerate(TRENDS)}), dtype=np.int64)


def is_uncertain(frame: pd.DataFrame) -> Bools:
    """Say where the stated class is known to be unsure, as the map page says it.

    Parameters
    ----------
    frame
        With `class_certainty`, or without where it is not known.

    Returns
    -------
    numpy.ndarray
        True where its probability, in whole percent, is under the limit.
    """
    certainty = pd.to_numeric(column(frame, "class_certainty"), errors="coerce").to_numpy(
        dtype=float, na_value=np.nan
    )
    known = np.isfinite(certainty) & frame["class"].notna().to_numpy()
    percent = np.floor(100 * np.where(known, certainty, 1.0) + 0.5)
    return np.asarray(known & (percent < round(100 * CERTAIN_FROM)))


def area_evidence(frame: pd.DataFrame) -> Ints:
    """Say of each sub-watershed whether any of its streams is measured.

    Parameters
    ----------
    frame
        With `class` and `measured_km`.

    Returns
    -------
    numpy.ndarray
        `MEASURED`, `INFERRED` or `UNASSESSED`.
    """
    known = np.where(frame["measured_km"] > 0, MEASURED, INFERRED)
    return np.where(frame["class"].isna(), UNASSESSED, known)


def clear_steps(assessment: Assessment) -> pd.DataFrame | None:
    """Return the steps that are drawn.

    Parameters
    ----------
    assessment
        What was computed.

    Returns
    -------
    pandas.DataFrame or None
        Rows of clear steps; None where no step was looked for.
    """
    steps = getattr(assessment, "steps", None)
    if steps is None:
        return None
    clear: pd.DataFrame = steps[steps["step"].isin(CLEAR)].reset_index(drop=True)
    return clear


def count_km(frame: pd.DataFrame, where: Bools) -> tuple[int, float]:
    """Count rows and their kilometres.

    Parameters
    ----------
    frame
        With `length_km`.
    where
        Which rows.

    Returns
    -------
    tuple
        How many, and how long together; a length that is missing adds nothing.
    """
    return int(where.sum()), float(frame["length_km"].to_numpy(dtype=float)[where].sum())
