"""Counts are added up by sample and accepted taxon; nothing is lost on the way."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.tally import divide, make_tally
from watershedmap.taxa import resolve


def test_names_of_one_taxon_are_added_up_and_zeros_make_no_pair() -> None:
    counts = pd.DataFrame(
        {
            "sample_id": ["b", "a", "a", "a"],
            "taxon": ["Perlidae", "Tubificidae", "Naididae sp.", "Perlidae"],
            "count": [0, 2, 3, 4],
        }
    )
    tally = make_tally(counts, resolve(counts["taxon"]))
    assert list(tally.samples) == ["a", "b"]
    assert list(tally.taxa.index) == ["Naididae", "Perlidae"]
    assert tally.individuals.tolist() == [5, 4]
    assert tally.sum_by_sample(tally.individuals).tolist() == [9, 0]


def test_what_is_known_of_a_taxon_is_at_hand_for_each_pair() -> None:
    counts = pd.DataFrame({"sample_id": ["a", "a"], "taxon": ["Perlidae", "Elmidae"], "count": [1, 2]})
    tally = make_tally(counts, resolve(counts["taxon"]))
    assert tally.of_taxon("order").tolist() == ["Coleoptera", "Plecoptera"]
    assert tally.count_by_sample(tally.individuals > 1).tolist() == [1]


def test_individuals_under_an_excluded_name_are_left_out_and_counted_beside() -> None:
    counts = pd.DataFrame(
        {
            "sample_id": ["a", "a", "a", "b"],
            "taxon": ["Perlidae", "Perlidae larva", "Araneae", "Araneae"],
            "count": [3, 4, 5, 6],
        }
    )
    taxa = resolve(counts["taxon"]).assign(excluded=["terrestrial", "", "empty skin"])
    assert list(taxa.index) == ["Araneae", "Perlidae", "Perlidae larva"]
    tally = make_tally(counts, taxa)
    assert list(tally.samples) == ["a", "b"]
    assert list(tally.taxa.index) == ["Perlidae"]
    assert tally.individuals.tolist() == [3]
    assert tally.excluded.tolist() == [9, 6]


@pytest.mark.parametrize("reason", ["", None, np.nan])
def test_a_name_without_a_reason_is_not_excluded(reason: object) -> None:
    counts = pd.DataFrame({"sample_id": ["a"], "taxon": ["Perlidae"], "count": [3]})
    tally = make_tally(counts, resolve(["Perlidae"]).assign(excluded=[reason]))
    assert tally.individuals.tolist() == [3]
    assert tally.excluded.tolist() == [0]


@given(
    st.lists(
        st.tuples(
            st.sampled_from("abc"), st.sampled_from(["Perlidae", "Elmidae", "Araneae"]), st.integers(0, 9)
        )
    )
)
def test_no_individual_is_lost_or_doubled(rows: list[tuple[str, str, int]]) -> None:
    counts = pd.DataFrame(rows, columns=["sample_id", "taxon", "count"]).astype({"count": int})
    taxa = resolve(["Araneae", "Elmidae", "Perlidae"]).assign(excluded=["terrestrial", "", ""])
    tally = make_tally(counts, taxa)
    total = tally.sum_by_sample(tally.individuals) + tally.excluded
    expected = counts.groupby("sample_id")["count"].sum()
    assert dict(zip(tally.samples, total, strict=True)) == expected.to_dict()
    assert (tally.individuals > 0).all()
    assert (np.diff(tally.sample * len(tally.taxa) + tally.taxon) > 0).all()


def test_a_name_that_was_not_resolved_is_refused_not_dropped() -> None:
    counts = pd.DataFrame({"sample_id": ["a"], "taxon": ["Perlidae"], "count": [1]})
    with pytest.raises(ValueError, match="Perlidae"):
        make_tally(counts, resolve(["Baetidae"]))


@pytest.mark.parametrize("count", [-1.0, np.nan])
def test_a_count_below_zero_or_missing_is_refused(count: float) -> None:
    counts = pd.DataFrame({"sample_id": ["a"], "taxon": ["Perlidae"], "count": [count]})
    with pytest.raises(ValueError, match="missing or below zero"):
        make_tally(counts, resolve(["Perlidae"]))


def test_of_nothing_there_is_no_share() -> None:
    assert np.isnan(divide(np.array([0.0]), np.array([0.0])))[0]
    assert divide(np.array([1.0]), np.array([4.0])).tolist() == [0.25]
