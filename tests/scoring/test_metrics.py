"""Metrics hold their definitions, also where there is nothing to measure."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.metrics import METRICS, compute_metrics
from watershedmap.taxa import resolve

NAMES = ["Baetis rhodani", "Baetidae", "Leuctra", "Trichoptera", "Elmidae", "Oligochaeta", "Strange thing"]


def frame_of(*rows: tuple[str, str, int]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=["sample_id", "taxon", "count"])


def measure(*rows: tuple[str, str, int]) -> pd.DataFrame:
    counts = frame_of(*rows)
    return compute_metrics(counts, resolve(counts["taxon"]))


def test_every_metric_of_the_register_is_a_column_and_documented() -> None:
    found = measure(("a", "Elmidae", 1))
    assert {metric.name for metric in METRICS} | {"dominant_taxon"} == set(found.columns)
    for metric in METRICS:
        assert metric.label
        assert metric.definition.endswith(".")
        assert metric.source
        assert metric.better in ("high", "low", "neither")


def test_a_sample_of_known_content() -> None:
    found = measure(
        ("a", "Baetis rhodani", 4),
        ("a", "Baetis sp.", 2),
        ("a", "Trichoptera", 1),
        ("a", "Elmidae Lv.", 2),
        ("a", "Elmidae Ad.", 3),
        ("a", "Strange thing", 8),
        ("a", "Perlidae", 0),
    ).loc["a"]
    assert found["total_individuals"] == 20
    assert found["taxa_richness"] == 5
    assert found["ept_richness"] == 3
    assert found["percent_ept"] == pytest.approx(35)
    assert found["percent_dominant"] == pytest.approx(40)
    assert found["dominant_taxon"] == "Strange thing"
    assert found["unknown_individuals"] == 8


def test_samples_are_sorted_and_independent() -> None:
    found = measure(("b", "Elmidae", 3), ("a", "Perlidae", 2), ("b", "Perlidae", 1))
    assert list(found.index) == ["a", "b"]
    assert found.index.name == "sample_id"
    assert found["total_individuals"].tolist() == [2, 4]


def test_where_nothing_was_found_counts_are_zero_and_shares_are_missing() -> None:
    found = measure(("a", "Elmidae", 0), ("b", "Elmidae", 1)).loc["a"]
    for column in ("total_individuals", "taxa_richness", "ept_richness", "unknown_individuals"):
        assert found[column] == 0
    for column in ("percent_ept", "percent_dominant", "dominant_taxon", "shannon_diversity"):
        assert pd.isna(found[column])


def test_no_counts_give_no_rows_but_all_columns() -> None:
    counts = pd.DataFrame({"sample_id": [], "taxon": [], "count": []}).astype({"count": int})
    found = compute_metrics(counts, resolve([]))
    assert found.empty
    assert "shannon_diversity" in found.columns


def test_of_equally_numerous_taxa_the_first_by_name_is_dominant_in_any_order() -> None:
    rows = [("a", "Perlidae", 2), ("a", "Baetidae", 2), ("a", "Elmidae", 1)]
    assert measure(*rows).loc["a", "dominant_taxon"] == "Baetidae"
    assert measure(*reversed(rows)).loc["a", "dominant_taxon"] == "Baetidae"


def test_one_taxon_has_a_diversity_of_exactly_zero() -> None:
    value = measure(("a", "Elmidae", 7)).loc["a", "shannon_diversity"]
    assert value == 0
    assert math.copysign(1, value) == 1


def test_counts_are_left_as_they_were() -> None:
    counts = frame_of(("a", "Elmidae", 7), ("a", "Perlidae", 0))
    before = counts.copy()
    compute_metrics(counts, resolve(counts["taxon"]))
    pd.testing.assert_frame_equal(counts, before)


@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from(NAMES), st.integers(0, 50)), min_size=1))
def test_metrics_keep_their_ranges_and_do_not_depend_on_order(rows: list[tuple[str, str, int]]) -> None:
    found = measure(*rows)
    pd.testing.assert_frame_equal(found, measure(*reversed(rows)))
    assert (found["ept_richness"] <= found["taxa_richness"]).all()
    assert (found["unknown_individuals"] <= found["total_individuals"]).all()
    alive = found[found["total_individuals"] > 0]
    assert alive["percent_ept"].between(0, 100).all()
    assert alive["percent_dominant"].between(0, 100).all()
    richness = alive["taxa_richness"].astype(float)
    assert (alive["shannon_diversity"] <= np.log(richness) + 1e-9).all()
    assert (alive["percent_dominant"] >= 100 / richness - 1e-9).all()
    assert found["total_individuals"].sum() == sum(row[2] for row in rows)
