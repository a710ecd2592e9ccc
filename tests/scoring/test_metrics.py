"""Metrics hold their definitions, also where there is nothing to measure."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.affinity import DEFAULT_MODEL
from watershedmap.scoring.metrics import METRICS, MetricSettings, compute_metrics
from watershedmap.taxa import resolve

NAMES = ["Baetis rhodani", "Baetidae", "Leuctra", "Trichoptera", "Elmidae", "Oligochaeta", "Strange thing"]


def frame_of(*rows: tuple[str, str, int]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=["sample_id", "taxon", "count"])


def measure(*rows: tuple[str, str, int]) -> pd.DataFrame:
    counts = frame_of(*rows)
    return compute_metrics(counts, resolve(counts["taxon"]))


def test_every_metric_of_the_register_is_a_column_and_documented() -> None:
    found = measure(("a", "Elmidae", 1))
    columns = [metric.name for metric in METRICS]
    columns.insert(columns.index("percent_dominant") + 1, "dominant_taxon")
    assert list(found.columns) == columns
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
    assert found["taxa_recorded"] == 5
    assert found["taxa_richness"] == 4  # the Baetis left unnamed may be Baetis rhodani
    assert found["ept_richness"] == 2
    assert found["ephemeroptera_richness"] == 1
    assert found["plecoptera_richness"] == 0
    assert found["trichoptera_richness"] == 1
    assert found["percent_ept"] == pytest.approx(35)
    assert found["percent_dominant"] == pytest.approx(40)
    assert found["dominant_taxon"] == "Strange thing"
    assert found["percent_dominant_5"] == 100
    assert found["unknown_individuals"] == 8
    assert found["excluded_individuals"] == 0


def test_shares_of_groups_are_of_all_individuals_and_unknown_names_are_in_no_group() -> None:
    found = measure(
        ("a", "Chironomidae", 10), ("a", "Tanypodinae", 10), ("a", "Physidae", 5), ("a", "Strange thing", 25)
    ).loc["a"]
    assert found["percent_chironomidae"] == 40
    assert found["percent_non_insect"] == 10


def test_tolerant_ones_are_a_share_of_those_with_a_value_and_missing_where_none_has_one() -> None:
    # Hilsenhoff 1988, from memory: Asellidae 8, Perlidae 1, Ephemeridae 4; worms have no value
    found = measure(
        ("a", "Asellidae", 3), ("a", "Perlidae", 1), ("a", "Oligochaeta", 96), ("b", "Oligochaeta", 9)
    )
    assert found.loc["a", "percent_tolerant"] == 75
    assert found.loc["a", "intolerant_richness"] == 1
    assert found.loc["b", ["percent_tolerant", "intolerant_richness"]].isna().all()


def test_tolerance_limits_belong_to_the_intolerant_and_the_tolerant() -> None:
    counts = frame_of(*(("a", name, 1) for name in ("Perlidae", "Elmidae", "Asellidae", "Simuliidae")))
    taxa = resolve(counts["taxon"])
    values = {"Perlidae": 3.0, "Elmidae": 3.1, "Asellidae": 6.9, "Simuliidae": 7.0}
    found = compute_metrics(counts, taxa.assign(tolerance=taxa["taxon"].map(values))).loc["a"]
    assert found["intolerant_richness"] == 1
    assert found["percent_tolerant"] == 25


def test_excluded_names_are_in_no_metric_but_their_own() -> None:
    kept = [("a", "Elmidae", 60), ("a", "Perlidae", 50)]
    counts = frame_of(*kept, ("a", "Araneae", 40), ("b", "Araneae", 2))
    excluded = resolve(counts["taxon"]).assign(excluded=["terrestrial", "", ""])
    found = compute_metrics(counts, excluded)
    without = [name for name in found if name != "excluded_individuals"]
    pd.testing.assert_frame_equal(found.loc[["a"], without], measure(*kept)[without])
    assert found["excluded_individuals"].tolist() == [40, 2]
    assert found["total_individuals"].tolist() == [110, 0]
    assert found["taxa_recorded"].tolist() == [2, 0]


def test_settings_change_rarefied_richness_and_affinity_and_nothing_else() -> None:
    counts = frame_of(("a", "Elmidae", 6), ("a", "Perlidae", 4))
    taxa = resolve(counts["taxon"])
    usual = compute_metrics(counts, taxa)
    model = dict.fromkeys(DEFAULT_MODEL, 0.0) | {"Coleoptera": 60.0, "Plecoptera": 40.0}
    found = compute_metrics(counts, taxa, settings=MetricSettings(rarefy_to=10, model=model))
    assert math.isnan(usual.loc["a", "rarefied_richness"])
    assert found.loc["a", "rarefied_richness"] == pytest.approx(2)
    assert usual.loc["a", "percent_model_affinity"] == 15
    assert found.loc["a", "percent_model_affinity"] == 100
    others = [name for name in found if name not in ("rarefied_richness", "percent_model_affinity")]
    pd.testing.assert_frame_equal(found[others], usual[others])


def test_settings_that_nothing_can_be_computed_with_are_refused() -> None:
    with pytest.raises(ValueError, match="rarefy_to is 0"):
        MetricSettings(rarefy_to=0)
    with pytest.raises(ValueError, match="add up to 95"):
        MetricSettings(model={**DEFAULT_MODEL, "Other": 5.0})


def test_effort_scales_the_density_and_nothing_else() -> None:
    counts = frame_of(("a", "Elmidae", 6), ("a", "Perlidae", 4), ("b", "Perlidae", 0))
    taxa = resolve(counts["taxon"])
    effort = pd.DataFrame({"sample_id": ["b", "a"], "fraction_sorted": [1, 0.5], "area_m2": [1, 4]})
    usual, found = compute_metrics(counts, taxa), compute_metrics(counts, taxa, effort=effort)
    assert usual["density_per_m2"].isna().all()
    assert found["density_per_m2"].tolist() == [5, 0]
    pd.testing.assert_frame_equal(found.drop(columns="density_per_m2"), usual.drop(columns="density_per_m2"))


def test_samples_are_sorted_and_independent() -> None:
    found = measure(("b", "Elmidae", 3), ("a", "Perlidae", 2), ("b", "Perlidae", 1))
    assert list(found.index) == ["a", "b"]
    assert found.index.name == "sample_id"
    assert found["total_individuals"].tolist() == [2, 4]


def test_where_nothing_was_found_counts_are_zero_and_shares_are_missing() -> None:
    found = measure(("a", "Elmidae", 0), ("b", "Elmidae", 1)).loc["a"]
    zero = {metric.name for metric in METRICS if metric.unit in ("individuals", "taxa")} - {
        "rarefied_richness"
    }
    for column in found.index:
        if column in zero:
            assert found[column] == 0
        else:
            assert pd.isna(found[column])


def test_no_counts_give_no_rows_but_all_columns() -> None:
    counts = pd.DataFrame({"sample_id": [], "taxon": [], "count": []}).astype({"count": int})
    found = compute_metrics(counts, resolve([]))
    assert found.empty
    assert list(found.columns) == list(measure(("a", "Elmidae", 1)).columns)


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
    assert (found["taxa_richness"] <= found["taxa_recorded"]).all()
    assert (found["ept_richness"] <= found["taxa_richness"]).all()
    orders = ["ephemeroptera_richness", "plecoptera_richness", "trichoptera_richness"]
    assert (found[orders].sum(axis=1) == found["ept_richness"]).all()
    assert not (found["rarefied_richness"] > found["taxa_richness"] + 1e-9).any()
    assert not (found["rarefied_richness"] < np.minimum(found["taxa_richness"], 1) - 1e-9).any()
    assert (found["unknown_individuals"] <= found["total_individuals"]).all()
    alive = found[found["total_individuals"] > 0]
    for metric in METRICS:
        if metric.unit == "%" and metric.name != "percent_tolerant":
            assert alive[metric.name].between(0, 100).all(), metric.name
    assert (alive["taxa_richness"] >= 1).all()
    assert (alive["percent_dominant"] <= alive["percent_dominant_5"]).all()
    assert alive["simpson_diversity"].between(0, 1).all()
    assert (alive["pielou_evenness"].isna() == (alive["taxa_recorded"] < 2)).all()
    richness = alive["taxa_recorded"].astype(float)
    assert (alive["shannon_diversity"] <= np.log(richness) + 1e-9).all()
    assert (alive["percent_dominant"] >= 100 / richness - 1e-9).all()
    assert (alive["percent_dominant_5"] >= 100 * np.minimum(5, richness) / richness - 1e-9).all()
    assert found["total_individuals"].sum() == sum(row[2] for row in rows)
