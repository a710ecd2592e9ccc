"""Counts are scaled for a density only, and only where the effort is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.effort import find_fraction, measure_density, scale_to_sample


def effort_of(**columns: list[float | None]) -> pd.DataFrame:
    length = len(next(iter(columns.values())))
    return pd.DataFrame({"sample_id": list("abcdef")[:length], **columns})


TOTAL = pd.Series({"a": 300.0, "b": 210.0, "c": 0.0}, name="total_individuals").rename_axis("sample_id")


def test_a_fraction_that_is_given_counts_before_one_from_grids() -> None:
    effort = effort_of(
        fraction_sorted=[0.25, np.nan, np.nan], grids_picked=[6, 6, np.nan], grids_total=[30, 30, 30]
    )
    np.testing.assert_array_equal(find_fraction(effort), [0.25, 0.2, np.nan])


def test_columns_may_be_absent_or_hold_nothing() -> None:
    np.testing.assert_array_equal(find_fraction(effort_of(minutes=[3, 3])), [np.nan, np.nan])
    nothing = effort_of(fraction_sorted=[None, None], area_m2=[None, 1]).astype({"area_m2": "Int64"})
    assert measure_density(TOTAL, nothing).isna().all()


def test_an_unknown_fraction_is_not_taken_for_a_whole_sample() -> None:
    found = measure_density(TOTAL, effort_of(fraction_sorted=[1, np.nan, 1], area_m2=[2, 2, np.nan]))
    np.testing.assert_array_equal(found, [150, np.nan, np.nan])


def test_effort_is_matched_by_sample_id_and_not_by_place() -> None:
    effort = effort_of(fraction_sorted=[0.5, 0.1, 1, 1], area_m2=[1, 1, 1, 1]).iloc[::-1]
    assert measure_density(TOTAL, effort).tolist() == [600, 2100, 0]
    assert measure_density(TOTAL, effort.set_index("sample_id")).tolist() == [600, 2100, 0]
    assert measure_density(TOTAL, effort[effort["sample_id"] != "b"]).isna().tolist() == [False, True, False]


def test_no_effort_at_all_gives_no_density() -> None:
    assert measure_density(TOTAL, effort_of(area_m2=[1.0]).iloc[:0]).isna().all()


@pytest.mark.parametrize(
    ("effort", "match"),
    [
        (effort_of(fraction_sorted=[0.0]), "sample a: the fraction sorted"),
        (effort_of(fraction_sorted=[1.5]), "sample a: the fraction sorted"),
        (effort_of(fraction_sorted=[1, -0.1]), "sample b: the fraction sorted"),
        (effort_of(grids_picked=[31], grids_total=[30]), "sample a: the fraction sorted"),
        (effort_of(grids_picked=[0], grids_total=[0]), "sample a: grids_total"),
        (effort_of(fraction_sorted=[1], area_m2=[0]), "sample a: area_m2"),
        (effort_of(fraction_sorted=[1, 1]).assign(sample_id="a"), "sample a: its effort is given twice"),
    ],
)
def test_impossible_effort_is_refused_by_sample(effort: pd.DataFrame, match: str) -> None:
    with pytest.raises(ValueError, match=match):
        measure_density(TOTAL, effort)


@given(st.integers(1, 60), st.integers(1, 60), st.integers(0, 5000))
def test_scaling_up_and_back_gives_the_number_picked(picked: int, more: int, number: int) -> None:
    effort = effort_of(grids_picked=[picked], grids_total=[picked + more])
    total = pd.Series({"a": float(number)})
    whole = scale_to_sample(total, effort)
    assert whole["a"] >= number
    assert whole["a"] * picked / (picked + more) == pytest.approx(number)
