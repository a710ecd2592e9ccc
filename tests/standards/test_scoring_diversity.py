"""Diversity against scikit-bio as the reference, and against the table its diversity tutorial prints.

The counts are those of the tutorial "Diversity calculations" in the documentation of scikit-bio (six samples,
seven taxa), which prints the number of taxa of each sample: 5, 5, 4, 4, 5, 3. The other figures of the tutorial's
samples were computed from its counts with scikit-bio 0.7.4, in base e; it does not print them.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skbio.diversity.alpha import berger_parker_d, pielou_e, shannon, simpson, sobs
from skbio.stats import subsample_counts

from watershedmap.scoring.metrics import MetricSettings, compute_metrics
from watershedmap.taxa import resolve

TAXA = ["Baetidae", "Perlidae", "Elmidae", "Simuliidae", "Chironomidae", "Asellidae", "Physidae"]
# counts; taxa as printed; Shannon in base e, Simpson 1 - D and Pielou with scikit-bio
TUTORIAL = {
    "A": ([23, 64, 14, 0, 0, 3, 1], 5, 1.0489363141, 0.5618140590, 0.6517407761),
    "B": ([0, 3, 35, 42, 0, 12, 1], 5, 1.1505132266, 0.6366053879, 0.7148540604),
    "C": ([0, 5, 5, 0, 40, 40, 0], 4, 1.0419792764, 0.5987654321, 0.7516291674),
    "D": ([44, 35, 9, 0, 1, 0, 0], 4, 0.9974392097, 0.5905819972, 0.7195003007),
    "E": ([0, 2, 8, 0, 35, 45, 1], 5, 1.0629603759, 0.5992029948, 0.6604544156),
    "F": ([0, 0, 25, 35, 0, 19, 0], 3, 1.0675058477, 0.6457298510, 0.9716856972),
}


def measure(counts: list[int]) -> pd.Series:
    frame = pd.DataFrame({"sample_id": "one", "taxon": TAXA, "count": counts})
    return compute_metrics(frame, resolve(TAXA)).loc["one"]


@pytest.mark.parametrize(
    ("counts", "taxa", "shannon_e", "simpson_1", "pielou"), TUTORIAL.values(), ids=TUTORIAL.keys()
)
def test_the_tutorial_samples_give_the_printed_number_of_taxa_and_the_known_diversities(
    counts: list[int], taxa: int, shannon_e: float, simpson_1: float, pielou: float
) -> None:
    found = measure(counts)
    assert found["taxa_richness"] == taxa
    assert found["taxa_recorded"] == taxa
    assert found["shannon_diversity"] == pytest.approx(shannon_e, abs=1e-10)
    assert found["simpson_diversity"] == pytest.approx(simpson_1, abs=1e-10)
    assert found["pielou_evenness"] == pytest.approx(pielou, abs=1e-10)


@given(st.lists(st.integers(0, 10_000), min_size=7, max_size=7).filter(any))
def test_richness_diversity_and_dominance_agree_with_scikit_bio(counts: list[int]) -> None:
    found = measure(counts)
    assert found["taxa_richness"] == sobs(counts)
    assert found["shannon_diversity"] == pytest.approx(shannon(counts, base=math.e), abs=1e-12)
    assert found["simpson_diversity"] == pytest.approx(simpson(counts), abs=1e-12)
    assert found["percent_dominant"] == pytest.approx(100 * berger_parker_d(counts))
    if sobs(counts) > 1:
        assert found["pielou_evenness"] == pytest.approx(pielou_e(counts), abs=1e-12)
    else:  # 0 / ln 1 is undefined, whatever a library puts there
        assert math.isnan(found["pielou_evenness"])


@pytest.mark.parametrize("sample", ["A", "B"])
def test_rarefied_richness_is_the_mean_of_scikit_bio_subsamples(sample: str) -> None:
    # Hurlbert 1971: the expectation over draws without replacement; 4,000 draws, within 4 standard errors.
    counts = np.array(TUTORIAL[sample][0])
    frame = pd.DataFrame({"sample_id": "one", "taxon": TAXA, "count": counts})
    found = compute_metrics(frame, resolve(TAXA), settings=MetricSettings(rarefy_to=20))
    random = np.random.default_rng(7)
    drawn = np.array([sobs(subsample_counts(counts, 20, seed=random)) for _ in range(4_000)])
    assert drawn.std() > 0.3
    error = drawn.std() / math.sqrt(len(drawn))
    assert found.loc["one", "rarefied_richness"] == pytest.approx(drawn.mean(), abs=4 * error)


def test_shannon_is_in_base_e() -> None:
    # Four equal shares: ln 4 in base e, 2 in base 2. Shannon 1948; arithmetic.
    assert measure([5, 5, 5, 5, 0, 0, 0])["shannon_diversity"] == pytest.approx(np.log(4))
