"""Rarefied richness is the exact expectation of distinct taxa in a smaller sample."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.rarefaction import rarefy_richness
from watershedmap.scoring.richness import count_below, count_taxa
from watershedmap.scoring.tally import Tally, make_tally
from watershedmap.taxa import resolve

FAMILIES = ["Baetidae", "Perlidae", "Elmidae", "Simuliidae", "Asellidae", "Physidae"]
NESTED = ["Baetis rhodani", "Baetis", "Baetidae", "Heptageniidae", "Ephemeroptera", "Perlidae"]


def tally_of(names: list[str], counts: list[int]) -> Tally:
    frame = pd.DataFrame({"sample_id": "a", "taxon": names, "count": counts})
    return make_tally(frame, resolve(names))


def rarefy(names: list[str], counts: list[int], individuals: int) -> float:
    tally = tally_of(names, counts)
    return float(rarefy_richness(tally, count_below(tally), individuals=individuals)[0])


def distinct(names: list[str]) -> int:
    tally = tally_of(names, [1] * len(names))
    return int(count_taxa(tally, count_below(tally) == 0)[0])


@given(st.lists(st.integers(0, 40), min_size=6, max_size=6).filter(any), st.data())
def test_without_nested_names_it_is_the_closed_form_in_whole_numbers(
    counts: list[int], data: st.DataObject
) -> None:
    total = sum(counts)
    drawn = data.draw(st.integers(1, total))
    whole = math.comb(total, drawn)
    expected = sum(1 - Fraction(math.comb(total - count, drawn), whole) for count in counts)
    assert rarefy(FAMILIES, counts, drawn) == pytest.approx(float(expected), rel=1e-10)


@pytest.mark.parametrize("counts", [[2, 1, 1, 2, 1, 1], [0, 3, 2, 0, 2, 1], [1, 0, 1, 1, 3, 0]])
def test_with_nested_names_it_is_the_mean_over_every_possible_draw(counts: list[int]) -> None:
    animals = [name for name, count in zip(NESTED, counts, strict=True) for _ in range(count)]
    richness = {
        names: distinct(list(names))
        for names in {
            tuple(sorted({*draw}))
            for size in range(1, len(animals) + 1)
            for draw in combinations(animals, size)
        }
    }
    for drawn in range(1, len(animals) + 1):
        draws = [richness[tuple(sorted({*draw}))] for draw in combinations(animals, drawn)]
        assert rarefy(NESTED, counts, drawn) == pytest.approx(sum(draws) / len(draws), rel=1e-12)


@given(st.lists(st.integers(0, 200), min_size=6, max_size=6).filter(any))
def test_rarefied_to_all_individuals_it_is_the_richness_itself(counts: list[int]) -> None:
    tally = tally_of(NESTED, counts)
    below = count_below(tally)
    found = rarefy_richness(tally, below, individuals=sum(counts))
    assert found == pytest.approx(count_taxa(tally, below == 0), abs=1e-9)


@given(st.lists(st.integers(0, 50), min_size=6, max_size=6).filter(lambda counts: sum(counts) > 1))
def test_it_starts_at_one_and_never_falls_as_more_are_drawn(counts: list[int]) -> None:
    values = [
        rarefy(FAMILIES, counts, drawn) for drawn in range(1, sum(counts) + 1, max(1, sum(counts) // 10))
    ]
    assert values[0] == pytest.approx(1)
    assert (np.diff(values) >= -1e-9).all()


def test_a_sample_with_fewer_individuals_has_none() -> None:
    assert math.isnan(rarefy(FAMILIES, [50, 40, 9, 0, 0, 0], 100))
    assert rarefy(FAMILIES, [50, 40, 10, 0, 0, 0], 100) == pytest.approx(3)


def test_of_a_million_individuals_it_is_still_right() -> None:
    counts = [900_000, 90_000, 9_000, 900, 99, 1]
    whole = math.comb(1_000_000, 100)
    expected = sum(1 - Fraction(math.comb(1_000_000 - count, 100), whole) for count in counts)
    assert rarefy(FAMILIES, counts, 100) == pytest.approx(float(expected), rel=1e-9)


@pytest.mark.parametrize("individuals", [0, -1, 1.5, math.nan])
def test_a_number_that_cannot_be_drawn_is_refused(individuals: float) -> None:
    tally = tally_of(FAMILIES, [1] * 6)
    with pytest.raises(ValueError, match="whole number of individuals"):
        rarefy_richness(tally, count_below(tally), individuals=individuals)  # type: ignore[arg-type]
