"""Spatially balanced draws against what is published of them.

Sources: Grafstrom, Lundstrom and Schelin 2012, Biometrics 68:514-520 (local pivotal method; the update from
memory); Stevens and Olsen 2004, J. Am. Stat. Assoc. 99:262-278 (balance by Voronoi cells). The ten chances
are an example in common use among survey statisticians, which any design with fixed chances must return. The
units on a line and the two meetings are worked by hand.
"""

from __future__ import annotations

import numpy as np
import pytest

from watershedmap.planning.balance import (
    compare_balance,
    draw_balanced,
    draw_random,
    find_chances,
    measure_balance,
    meet,
)

CHANCES = np.array([0.2, 0.25, 0.35, 0.4, 0.5, 0.5, 0.55, 0.65, 0.7, 0.9])
DRAWS = 4000
LINE = np.column_stack([np.arange(1.0, 7.0), np.zeros(6)])


def tolerance() -> np.ndarray:
    """Four standard errors of a share from so many draws: of ten shares none should be farther off."""
    return 4 * np.sqrt(CHANCES * (1 - CHANCES) / DRAWS)


def test_balanced_draws_include_each_unit_with_its_own_chance_and_have_a_fixed_size() -> None:
    places = np.random.default_rng(3).random((10, 2))
    counts = np.zeros(10)
    for seed in range(DRAWS):
        drawn = draw_balanced(places, CHANCES, seed=seed)
        assert len(drawn) == 5
        counts[drawn] += 1
    assert (np.abs(counts / DRAWS - CHANCES) < tolerance()).all()


def test_random_draws_include_each_unit_with_its_own_chance_and_have_a_fixed_size() -> None:
    random = np.random.default_rng(4)
    counts = np.zeros(10)
    for _ in range(DRAWS):
        drawn = draw_random(CHANCES, random)
        assert len(drawn) == 5
        counts[drawn] += 1
    assert (np.abs(counts / DRAWS - CHANCES) < tolerance()).all()


@pytest.mark.parametrize(
    ("first", "second", "share", "won", "lost"),
    [
        (0.3, 0.4, 0.5714, (0.0, 0.7), (0.7, 0.0)),
        (0.7, 0.6, 0.5714, (1.0, 0.3), (0.3, 1.0)),
    ],
)
def test_two_units_meet_as_published(
    first: float, second: float, share: float, won: tuple[float, float], lost: tuple[float, float]
) -> None:
    assert meet(first, second, share - 0.001) == pytest.approx(won)
    assert meet(first, second, share + 0.001) == pytest.approx(lost)
    assert share * won[0] + (1 - share) * lost[0] == pytest.approx(first, abs=1e-4)


@pytest.mark.parametrize(
    ("drawn", "balance"), [((2, 5), 0.0), ((1, 2), 0.4444), ((3, 4), 0.0), ((1, 6), 0.0), ((1, 3), 0.25)]
)
def test_balance_of_six_units_on_a_line_is_that_worked_by_hand(
    drawn: tuple[int, int], balance: float
) -> None:
    rows = np.array(drawn) - 1
    assert measure_balance(LINE, np.full(6, 1 / 3), rows) == pytest.approx(balance, abs=1e-4)


def test_balanced_draws_are_better_balanced_than_random_ones() -> None:
    places = np.random.default_rng(5).random((300, 2))
    chances = np.full(300, 0.1)
    balanced = [
        measure_balance(places, chances, draw_balanced(places, chances, seed=seed)) for seed in range(40)
    ]
    assert np.mean(balanced) < 0.6 * compare_balance(places, chances, draws=100, seed=1)


def test_chances_sum_to_the_size_and_none_passes_one() -> None:
    chances = find_chances(np.array([10.0, 1.0, 1.0, 1.0, 0.0]), 2)
    assert chances == pytest.approx([1, 1 / 3, 1 / 3, 1 / 3, 0])
