"""Adjusting p-values for being many."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.trends.false_discovery import adjust_p_values
from watershedmap.trends.paired import signed_rank_test

P_VALUES = st.lists(st.floats(0, 1), min_size=1, max_size=40)


def test_what_was_not_tested_stays_nan_and_does_not_count() -> None:
    found = adjust_p_values([np.nan, 0.03, np.nan, 0.04])
    assert np.isnan(found).tolist() == [True, False, True, False]
    assert found[[1, 3]] == pytest.approx([0.04, 0.04])


def test_nothing_tested_gives_nothing() -> None:
    assert adjust_p_values([]).size == 0
    assert np.isnan(adjust_p_values([np.nan, np.nan])).all()


def test_a_single_test_is_as_it_was() -> None:
    assert adjust_p_values([0.2]).tolist() == [0.2]


@pytest.mark.parametrize("wrong", [[-0.1, 0.5], [0.5, 1.1]])
def test_what_is_no_probability_is_refused(wrong: list[float]) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        adjust_p_values(wrong)


@given(P_VALUES)
def test_adjusted_values_are_never_smaller_never_above_one_and_keep_the_order(given: list[float]) -> None:
    found = adjust_p_values(given)
    assert (found >= np.array(given)).all()
    assert (found <= 1).all()
    order = np.argsort(given)
    assert (np.diff(found[order]) >= 0).all()


@given(P_VALUES, st.randoms(use_true_random=False))
def test_the_order_of_tests_does_not_matter(given: list[float], random: object) -> None:
    shuffled = list(enumerate(given))
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    found = adjust_p_values([p for _, p in shuffled])
    assert found.tolist() == adjust_p_values(given)[[number for number, _ in shuffled]].tolist()


@given(P_VALUES, st.floats(0.01, 0.5))
def test_findings_are_those_of_the_step_up_rule(given: list[float], rate: float) -> None:
    # Benjamini and Hochberg 1995: reject the k smallest, k the largest i with p_(i) <= i * rate / m
    ordered, m = np.sort(given), len(given)
    nearest = np.abs(ordered - np.arange(1, m + 1) * rate / m).min()
    reached = np.flatnonzero(ordered <= np.arange(1, m + 1) * rate / m)
    expected = int(reached[-1]) + 1 if reached.size else 0
    if nearest > 1e-12:  # where rounding cannot decide
        assert int((adjust_p_values(given) <= rate).sum()) == expected


def test_few_surveys_without_a_step_find_one_although_pairs_share_their_sites() -> None:
    # twenty sites one below the other over twelve years: neighbouring differences share a site, with the sign turned
    rng = np.random.default_rng(1)
    found = []
    for _ in range(200):
        differences = np.diff(rng.normal(size=(12, 20)), axis=1).T
        p_values = [signed_rank_test(one).p_value for one in differences]
        found.append((adjust_p_values(p_values) <= 0.05).any())
    assert 0 < np.mean(found) < 0.10
