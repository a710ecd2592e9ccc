"""The exact distribution of a resampled mean agrees with counting every outcome and with drawing at random."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watershedmap.scoring.lattice import Batch, Groups, find_step, resample_means


def groups_of(values: list[float], *rows: list[float]) -> Groups:
    return Groups(values=np.array(values, dtype=float), individuals=np.array(rows, dtype=float))


def only_batch(groups: Groups) -> Batch:
    batches = list(resample_means(groups))
    assert len(batches) == 1
    return batches[0]


def test_every_outcome_of_three_animals_is_counted() -> None:
    animals = [0.0, 3.0, 4.0]
    batch = only_batch(groups_of(animals, [1, 1, 1]))
    score, stretch = np.mean(animals), np.sqrt(3 / 2)
    means = np.array([np.mean(drawn) for drawn in product(animals, repeat=3)])
    edges = np.array([0.5, 1.7, 2.5, 3.6])
    expected = [(score + stretch * (means - score) < edge).mean() for edge in edges]
    assert batch.below(edges)[0] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("values", [[0, 2, 5, 9], [0.1, 2.2, 5.0, 9.7], [0.1234, 1.777, 3.14159, 8.5]])
def test_it_agrees_with_drawing_at_random(values: list[float]) -> None:
    individuals = np.array([70, 50, 25, 5])
    batch = only_batch(groups_of(values, individuals.tolist()))
    total, score = individuals.sum(), np.average(values, weights=individuals)
    drawn = np.random.default_rng(1).multinomial(total, individuals / total, size=200_000) @ values / total
    drawn = score + np.sqrt(total / (total - 1)) * (drawn - score)
    for share in (0.05, 0.5, 0.95):
        assert batch.quantile(share)[0] == pytest.approx(np.quantile(drawn, share), abs=0.025)
    edges = np.quantile(drawn, [0.1, 0.4, 0.8])
    assert batch.below(edges)[0] == pytest.approx([0.1, 0.4, 0.8], abs=0.025)


def test_a_rare_far_value_does_not_wrap_round_the_window() -> None:
    batch = only_batch(groups_of([0, 10], [499, 1]))
    # The number of tens is binomial with mean 1; its chance of none is (499 / 500) ** 500.
    score, stretch = 10 / 500, np.sqrt(500 / 499)
    none, one = score - stretch * score, score + stretch * (10 / 500 - score)
    found = batch.below(np.array([none + 1e-6, one + 1e-6]))[0]
    assert found == pytest.approx([0.998**500, 0.998**500 + 500 * 0.002 * 0.998**499], abs=1e-8)


def test_the_lattice_is_the_widest_that_holds_the_values() -> None:
    assert find_step(np.array([0.0, 4.0, 7.0])) == 1.0
    assert find_step(np.array([0.5, 4.0])) == 0.5
    assert find_step(np.array([0.1, 9.7])) == 0.1
    assert find_step(np.array([0.12, 9.7])) == 0.01
    assert find_step(np.array([0.0, np.pi])) == pytest.approx(np.pi / 1000)


def test_samples_of_one_value_or_beyond_the_window_are_in_no_batch() -> None:
    rows = [[0, 7, 0], [5, 5, 5], [0, 0, 0], [3e11, 3e11, 3e11]]
    found = np.concatenate([batch.rows for batch in resample_means(groups_of([0, 4, 9], *rows))])
    assert found.tolist() == [1]
    assert not list(resample_means(groups_of([4], [7])))


def test_the_error_is_the_unbiased_one_and_unknown_for_one_value() -> None:
    groups = groups_of([2, 5], [3, 4], [0, 9], [0, 0])
    animals = [2] * 3 + [5] * 4
    assert groups.error[0] == pytest.approx(np.std(animals, ddof=1) / np.sqrt(7))
    assert np.isnan(groups.error[1:]).all()
    assert groups.mean[:2].tolist() == pytest.approx([np.mean(animals), 5.0])


@settings(max_examples=60)
@given(st.lists(st.lists(st.integers(0, 400), min_size=4, max_size=4), min_size=1, max_size=5))
def test_probabilities_rise_from_nothing_to_all_and_mean_and_variance_are_the_samples_own(
    rows: list[list[int]],
) -> None:
    groups = groups_of([0, 1, 4, 10], *rows)
    for batch in resample_means(groups):
        edges = np.linspace(-30, 30, 4001)
        below = batch.below(edges)
        assert (np.diff(below, axis=1) >= 0).all()
        assert below[:, 0] == pytest.approx(0, abs=1e-7)
        assert below[:, -1] == pytest.approx(1, abs=1e-7)
        mass = np.diff(below, axis=1)
        middle = (edges[1:] + edges[:-1]) / 2
        mean = mass @ middle
        assert mean == pytest.approx(groups.mean[batch.rows], abs=0.01)
        variance = (mass * (middle - mean[:, None]) ** 2).sum(axis=1)
        assert variance == pytest.approx(groups.error[batch.rows] ** 2, rel=0.01, abs=1e-3)
