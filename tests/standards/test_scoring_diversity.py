"""Diversity against scikit-bio as the reference, and against the table its diversity tutorial prints.

The counts are those of the tutorial "Diversity calculations" in the documentation of scikit-bio (six samples,
seven taxa), which prints the number of taxa of each sample: 5, 5, 4, 4, 5, 3.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skbio.diversity.alpha import berger_parker_d, shannon, sobs

from watershedmap.scoring.metrics import compute_metrics
from watershedmap.taxa import resolve

TAXA = ["Baetidae", "Perlidae", "Elmidae", "Simuliidae", "Chironomidae", "Asellidae", "Physidae"]
TUTORIAL = {
    "A": ([23, 64, 14, 0, 0, 3, 1], 5),
    "B": ([0, 3, 35, 42, 0, 12, 1], 5),
    "C": ([0, 5, 5, 0, 40, 40, 0], 4),
    "D": ([44, 35, 9, 0, 1, 0, 0], 4),
    "E": ([0, 2, 8, 0, 35, 45, 1], 5),
    "F": ([0, 0, 25, 35, 0, 19, 0], 3),
}


def measure(counts: list[int]) -> pd.Series:
    frame = pd.DataFrame({"sample_id": "one", "taxon": TAXA, "count": counts})
    return compute_metrics(frame, resolve(TAXA)).loc["one"]


@pytest.mark.parametrize(("counts", "printed"), TUTORIAL.values(), ids=TUTORIAL.keys())
def test_the_tutorial_samples_give_the_printed_number_of_taxa(counts: list[int], printed: int) -> None:
    assert measure(counts)["taxa_richness"] == printed


@given(st.lists(st.integers(0, 10_000), min_size=7, max_size=7).filter(any))
def test_richness_diversity_and_dominance_agree_with_scikit_bio(counts: list[int]) -> None:
    found = measure(counts)
    assert found["taxa_richness"] == sobs(counts)
    assert found["shannon_diversity"] == pytest.approx(shannon(counts, base=math.e), abs=1e-12)
    assert found["percent_dominant"] == pytest.approx(100 * berger_parker_d(counts))


def test_shannon_is_in_base_e() -> None:
    # Four equal shares: ln 4 in base e, 2 in base 2. Shannon 1948; arithmetic.
    assert measure([5, 5, 5, 5, 0, 0, 0])["shannon_diversity"] == pytest.approx(np.log(4))
