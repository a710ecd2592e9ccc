"""Metrics and effort against published tables and worked figures; each check names its source."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from watershedmap.scoring.affinity import DEFAULT_MODEL
from watershedmap.scoring.effort import find_fraction, measure_density, scale_to_sample
from watershedmap.scoring.metrics import METRICS, compute_metrics
from watershedmap.taxa import resolve

# Barbour and others 1999, EPA 841-B-99-002, tables 7-1 and 7-2: response to increasing perturbation. Shares of
# non-insects stand there together with other Diptera.
RBP_RESPONSES = {
    "taxa_recorded": "decrease",
    "taxa_richness": "decrease",
    "ept_richness": "decrease",
    "ephemeroptera_richness": "decrease",
    "plecoptera_richness": "decrease",
    "trichoptera_richness": "decrease",
    "intolerant_richness": "decrease",
    "rarefied_richness": "decrease",
    "percent_ept": "decrease",
    "percent_tolerant": "increase",
    "percent_dominant": "increase",
    "percent_dominant_5": "increase",
    "percent_chironomidae": "increase",
    "percent_non_insect": "increase",
}
# Novak and Bode 1992: a model in seven groups; one family for each, in the order of the source.
FAMILIES = ["Oligochaeta", "Baetidae", "Perlidae", "Elmidae", "Hydropsychidae", "Chironomidae", "Physidae"]


@pytest.mark.parametrize(("name", "response"), RBP_RESPONSES.items())
def test_directions_are_those_of_the_rapid_bioassessment_protocols(name: str, response: str) -> None:
    metric = {metric.name: metric for metric in METRICS}[name]
    assert metric.better == {"decrease": "high", "increase": "low"}[response]
    assert "tables 7-1 and 7-2" in metric.source


def test_all_other_directions_are_said_to_be_practice_or_are_none() -> None:
    others = {metric.name: metric for metric in METRICS if metric.name not in RBP_RESPONSES}
    by_practice = {"shannon_diversity", "simpson_diversity", "pielou_evenness"}
    assert all("direction: common practice" in others[name].source for name in by_practice)
    # Novak and Bode 1992, abstract: affinity falls with pollution
    assert {name for name, metric in others.items() if metric.better != "neither"} == {
        *by_practice,
        "percent_model_affinity",
    }


def test_richness_is_of_distinct_taxa() -> None:
    # Rule: common practice, no source; richness of distinct taxa: Barbour and others 1999, chapter 7.
    names = ["Baetis", "Baetidae", "Perlidae", "Plecoptera", "Chironomidae", "Diptera", "Oligochaeta"]
    counts = pd.DataFrame({"sample_id": "a", "taxon": names, "count": 10})
    found = compute_metrics(counts, resolve(names)).loc["a"]
    assert found["taxa_recorded"] == 7
    assert found["taxa_richness"] == 4
    assert found["ept_richness"] == 2
    assert found["percent_ept"] == pytest.approx(400 / 7)  # shares are of individuals


def test_percent_model_affinity_of_a_worked_sample() -> None:
    # Novak and Bode 1992; percentages of the model from memory; sample and sum worked by hand:
    # 5 + 30 + 0 + 5 + 10 + 20 + 5 = 75, and 100 - (5 + 10 + 5 + 5 + 5 + 15 + 5) / 2 = 75.
    assert list(DEFAULT_MODEL.values()) == [5, 40, 5, 10, 10, 20, 10]
    counts = pd.DataFrame({"sample_id": "a", "taxon": FAMILIES, "count": [10, 30, 0, 5, 15, 35, 5]})
    found = compute_metrics(counts, resolve(FAMILIES)).loc["a"]
    assert found["percent_model_affinity"] == pytest.approx(75.0)


def test_300_animals_from_a_quarter_of_a_sample_stand_for_1200() -> None:
    # Worked figure of university teaching notes on metrics: 300 picked / 0.25.
    effort = pd.DataFrame({"sample_id": ["a"], "fraction_sorted": [0.25]})
    assert scale_to_sample(pd.Series({"a": 300}), effort)["a"] == pytest.approx(1200)


def test_210_animals_from_4_of_30_grids_stand_for_1575_and_for_787_5_on_a_square_metre() -> None:
    # Pan of 30 grids, 4 picked first, 2 m2 kicked: Barbour and others 1999, chapter 7; arithmetic by hand.
    effort = pd.DataFrame({"sample_id": ["a"], "grids_picked": [4], "grids_total": [30], "area_m2": [2.0]})
    total = pd.Series({"a": 210})
    assert find_fraction(effort)["a"] == pytest.approx(4 / 30)
    assert scale_to_sample(total, effort)["a"] == pytest.approx(1575)
    assert measure_density(total, effort)["a"] == pytest.approx(787.5)
    counts = pd.DataFrame({"sample_id": "a", "taxon": ["Elmidae", "Perlidae"], "count": [200, 10]})
    found = compute_metrics(counts, resolve(counts["taxon"]), effort=effort).loc["a"]
    assert found["density_per_m2"] == pytest.approx(787.5)
    assert found["total_individuals"] == 210


def test_twenty_jabs_of_half_a_metre_with_a_net_of_0_3_m_are_3_square_metres() -> None:
    # Barbour and others 1999, p. 7-6, prints "approximately 3.1"; 20 x 0.5 x 0.3 is 3.0. What is entered counts.
    effort = pd.DataFrame({"sample_id": ["a", "b"], "fraction_sorted": 1.0, "area_m2": [20 * 0.5 * 0.3, 3.1]})
    found = measure_density(pd.Series({"a": 300, "b": 310}), effort)
    np.testing.assert_allclose(found, [100, 100])


def test_model_affinity_is_what_bray_curtis_leaves_of_the_percentages() -> None:
    # Novak and Bode 1992 take the percentage similarity of Whittaker and Fairbanks 1958; on percentages it is
    # 100 less the Bray-Curtis dissimilarity, for which scipy is the reference.
    from scipy.spatial.distance import braycurtis  # noqa: PLC0415 - this test only

    names = ["Oligochaeta", "Baetidae", "Perlidae", "Elmidae", "Hydropsychidae", "Chironomidae", "Gammaridae"]
    numbers = [11, 37, 5, 8, 21, 60, 3]
    counts = pd.DataFrame({"sample_id": "a", "taxon": names, "count": numbers})
    ours = compute_metrics(counts, resolve(names))["percent_model_affinity"].iloc[0]
    percent = [100 * number / sum(numbers) for number in numbers]
    assert ours == pytest.approx(100 * (1 - braycurtis(percent, list(DEFAULT_MODEL.values()))))
