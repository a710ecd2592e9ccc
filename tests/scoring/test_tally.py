"""Counts are added up by sample and accepted taxon; nothing is lost on the way."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

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
