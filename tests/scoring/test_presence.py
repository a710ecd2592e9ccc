"""The error of a sum over taxa found is what halving the sample would take from it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from watershedmap.scoring.indices import score_index
from watershedmap.scoring.presence import estimate_errors, measure_points
from watershedmap.taxa import resolve

NAMES = ["Leuctridae", "Perlidae", "Heptageniidae", "Baetidae", "Elmidae", "Chironomidae", "Asellidae"]
TAXA = resolve(NAMES)


def test_the_variance_is_the_weight_lost_in_random_halves() -> None:
    individuals, squares = np.array([1.0, 2.0, 5.0, 40.0]), np.array([1.0, 4.0, 9.0, 1.0])
    error = estimate_errors(np.zeros(4, dtype=np.intp), individuals, squares, 2)
    assert error.tolist() == pytest.approx([np.sqrt(1 / 2 + 4 / 4 + 9 / 32 + 2.0**-40), 0.0])


def test_for_taxa_that_come_in_with_the_logarithm_of_numbers_the_error_is_right() -> None:
    # Expected counts evenly spaced in their logarithm, from far too few to be found to far too many to be missed.
    expected = np.exp(np.linspace(np.log(1e-4), np.log(1e4), 300))
    drawn = np.random.default_rng(3).poisson(expected, size=(2000, 300))
    sample, _ = np.nonzero(drawn)
    individuals = drawn[drawn > 0].astype(float)
    error = estimate_errors(sample, individuals, np.ones(len(individuals)), 2000)
    assert np.mean(error**2) == pytest.approx((drawn > 0).sum(axis=1).var(), rel=0.08)


@pytest.mark.parametrize(("name", "averaged"), [("bmwp", False), ("aspt", True)])
def test_the_score_is_that_of_the_index(name: str, averaged: bool) -> None:  # noqa: FBT001 - a case of the test
    rows = [("a", "Leuctridae", 3), ("a", "Baetidae", 9), ("a", "Chironomidae", 0), ("b", "Elmidae", 4)]
    counts = pd.DataFrame([*rows, ("c", "Elmidae", 0)], columns=["sample_id", "taxon", "count"])
    found = measure_points(counts, TAXA, averaged=averaged)
    score = score_index(name, counts, TAXA)["score"]
    pd.testing.assert_series_equal(found["score"].loc[["a", "b"]], score.loc[["a", "b"]])
    assert found.loc["a", "score_se"] > 0
    assert np.isnan(found.loc["c", "score_se"])
    assert np.isnan(found.loc["b", "score_se"]) == averaged  # one family has no average to speak of
