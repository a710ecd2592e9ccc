"""Flags say what weakens a sample, and nothing of what is not known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from watershedmap.scoring.quality import flag_samples

COLUMNS = [
    "total_individuals",
    "unknown_individuals",
    "scored_individuals",
    "individuals_without_tolerance",
    "score",
]


def flag(*row: float) -> str:
    return str(flag_samples(pd.DataFrame([row], columns=COLUMNS), min_individuals=100).iloc[0])


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ((200, 0, 200, 0, 4.5), ""),
        ((100, 0, 100, 0, 4.5), ""),
        ((99, 0, 99, 0, 4.5), "under 100 individuals"),
        ((0, 0, 0, 0, np.nan), "no animals; no score"),
        ((np.nan, np.nan, np.nan, np.nan, np.nan), "no counts; no score"),
        ((np.nan, np.nan, np.nan, np.nan, 4.5), ""),
        ((200, 1, 190, 10, 4.5), "1 individual of unknown name"),
        ((200, 7, 190, 10, 4.5), "7 individuals of unknown name"),
        ((200, 0, 180, 20, 4.5), ""),
        ((200, 0, 179, 21, 4.5), "over 10 % of individuals without a tolerance value"),
        (
            (50, 50, 0, 50, np.nan),
            (
                "under 100 individuals; 50 individuals of unknown name; "
                "over 10 % of individuals without a tolerance value; no score"
            ),
        ),
    ],
)
def test_each_flag_is_said_where_it_holds_and_only_there(row: tuple[float, ...], expected: str) -> None:
    assert flag(*row) == expected


def test_flags_stand_on_the_index_of_the_samples() -> None:
    samples = pd.DataFrame([[5, 0, 5, 0, 1.0], [500, 0, 500, 0, 1.0]], columns=COLUMNS, index=["b", "a"])
    flags = flag_samples(samples, min_individuals=10)
    assert flags.to_dict() == {"b": "under 10 individuals", "a": ""}
    assert flags.name == "flags"
    assert flag_samples(samples.iloc[:0], min_individuals=10).empty


def test_counts_that_may_be_missing_whole_numbers_are_read_too() -> None:
    samples = pd.DataFrame([[5, 0, 5, 0, 1.0], [None] * 5], columns=COLUMNS).convert_dtypes()
    assert flag_samples(samples, min_individuals=10).tolist() == [
        "under 10 individuals",
        "no counts; no score",
    ]
