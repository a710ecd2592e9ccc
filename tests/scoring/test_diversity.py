"""Diversity and dominance keep their ranges, and rank taxa the same way whatever the order of the file."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.diversity import (
    measure_pielou,
    measure_shannon,
    measure_simpson,
    name_top,
    order_by_number,
    share_of_top,
)
from watershedmap.scoring.tally import Tally, make_tally
from watershedmap.taxa import resolve

FAMILIES = ["Baetidae", "Perlidae", "Elmidae", "Simuliidae", "Asellidae", "Physidae", "Leuctridae"]
ROWS = st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from(FAMILIES), st.integers(0, 60)), min_size=1)


def tally_of(rows: list[tuple[str, str, int]]) -> Tally:
    counts = pd.DataFrame(rows, columns=["sample_id", "taxon", "count"])
    return make_tally(counts, resolve(counts["taxon"]))


@pytest.mark.parametrize("taxa", [2, 3, 7])
def test_equal_numbers_give_an_evenness_of_1_and_the_largest_diversity(taxa: int) -> None:
    tally = tally_of([("a", name, 5) for name in FAMILIES[:taxa]])
    assert measure_pielou(tally)[0] == pytest.approx(1)
    assert measure_pielou(tally)[0] <= 1
    assert measure_shannon(tally)[0] == pytest.approx(math.log(taxa))
    assert measure_simpson(tally)[0] == pytest.approx(1 - 1 / taxa)


def test_of_one_taxon_diversity_is_0_and_evenness_undefined() -> None:
    tally = tally_of([("a", "Elmidae", 7)])
    assert measure_shannon(tally).tolist() == [0]
    assert measure_simpson(tally).tolist() == [0]
    assert np.isnan(measure_pielou(tally)).all()


def test_of_nothing_all_are_missing() -> None:
    tally = tally_of([("a", "Elmidae", 0)])
    order = order_by_number(tally)
    for values in (
        measure_shannon(tally),
        measure_simpson(tally),
        measure_pielou(tally),
        share_of_top(tally, *order, taxa=5),
    ):
        assert np.isnan(values).all()
    assert name_top(tally, *order).isna().all()


def test_where_there_are_fewer_taxa_than_asked_all_are_the_top() -> None:
    tally = tally_of([("a", "Elmidae", 7), ("a", "Perlidae", 3)])
    assert share_of_top(tally, *order_by_number(tally), taxa=5).tolist() == [100]


@given(ROWS)
def test_the_top_taxa_are_those_a_sort_by_number_and_name_puts_first(
    rows: list[tuple[str, str, int]],
) -> None:
    tally = tally_of(rows)
    order = order_by_number(tally)
    shares, names = share_of_top(tally, *order, taxa=2), name_top(tally, *order)
    for place, sample in enumerate(tally.samples):
        numbers = dict.fromkeys(FAMILIES, 0)
        for one, name, count in rows:
            numbers[name] += count if one == sample else 0
        ranked = sorted(numbers, key=lambda name: (-numbers[name], name))
        total = sum(numbers.values())
        if total:
            assert shares[place] == pytest.approx(100 * sum(numbers[name] for name in ranked[:2]) / total)
            assert names[sample] == ranked[0]


@given(ROWS)
def test_diversities_keep_their_ranges(rows: list[tuple[str, str, int]]) -> None:
    tally = tally_of(rows)
    taxa = tally.sum_by_sample(np.ones(len(tally.individuals)))
    alive = taxa > 0
    assert (measure_shannon(tally)[alive] <= np.log(taxa[alive]) + 1e-12).all()
    assert (measure_simpson(tally)[alive] <= 1 - 1 / taxa[alive] + 1e-12).all()
    evenness = measure_pielou(tally)
    assert (np.isnan(evenness) == (taxa < 2)).all()
    assert ((evenness[taxa > 1] >= 0) & (evenness[taxa > 1] <= 1)).all()
