"""Closed forms of the error of a metric agree with drawing samples from a known community."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from watershedmap.scoring.indices import score_index
from watershedmap.scoring.metrics import METRICS, compute_metrics
from watershedmap.scoring.presence import measure_points
from watershedmap.scoring.spread import CLOSED_FORMS, metric_intervals
from watershedmap.taxa import resolve

NAMES = ["Leuctridae", "Perlidae", "Baetidae", "Heptageniidae", "Hydropsychidae", "Elmidae", "Chironomidae"]
NAMES += ["Simuliidae", "Asellidae", "Gammaridae", "Tipulidae", "Psychodidae"]
TAXA = resolve(NAMES)
ALL = [metric.name for metric in METRICS]


def counts_of(table: np.ndarray) -> pd.DataFrame:
    row, column = np.nonzero(table)
    ids = np.array([f"s{number:04d}" for number in range(len(table))])
    return pd.DataFrame(
        {"sample_id": ids[row], "taxon": np.array(NAMES)[column], "count": table[row, column]}
    )


def draw(samples: int, individuals: int) -> pd.DataFrame:
    shares = 0.6 ** np.arange(len(NAMES))[[8, 3, 0, 6, 10, 1, 2, 5, 9, 4, 7, 11]]
    return counts_of(np.random.default_rng(2).multinomial(individuals, shares / shares.sum(), size=samples))


def test_every_metric_of_the_register_has_an_answer() -> None:
    found = metric_intervals(draw(3, 150), TAXA, ALL, draws=20)
    assert list(found.columns) == [f"{name}{end}" for name in ALL for end in ("", "_low", "_high", "_se")]
    assert set(CLOSED_FORMS) <= set(ALL)
    for name, form in CLOSED_FORMS.items():
        if form == "none":
            assert found[[f"{name}_low", f"{name}_high", f"{name}_se"]].isna().all(axis=None)


def test_a_density_has_its_value_where_the_effort_is_given_and_no_interval() -> None:
    counts = draw(2, 150)
    effort = pd.DataFrame({"sample_id": ["s0000", "s0001"], "fraction_sorted": 0.5, "area_m2": 0.3})
    found = metric_intervals(counts, TAXA, ["density_per_m2"], effort=effort)
    assert found["density_per_m2"].tolist() == pytest.approx([1000, 1000])
    assert found.drop(columns="density_per_m2").isna().all(axis=None)


@pytest.mark.parametrize(
    "name",
    ["percent_ept", "percent_chironomidae", "shannon_diversity", "simpson_diversity"],
)
def test_the_error_is_the_spread_between_samples_of_one_community(name: str) -> None:
    found = metric_intervals(draw(400, 200), TAXA, [name], draws=60)
    assert found[f"{name}_se"].mean() == pytest.approx(found[name].std(), rel=0.12)


def test_the_resampled_error_of_rarefied_richness_errs_to_the_narrow_side_as_the_docstring_says() -> None:
    found = metric_intervals(draw(200, 200), TAXA, ["rarefied_richness"], draws=60)
    assert 0.6 < found["rarefied_richness_se"].mean() / found["rarefied_richness"].std() < 1.0


@pytest.mark.parametrize("name", ["taxa_richness", "ept_richness", "taxa_recorded"])
def test_the_error_of_richness_errs_to_the_wide_side_and_not_by_much(name: str) -> None:
    found = metric_intervals(draw(400, 200), TAXA, [name])
    assert 0.95 < np.sqrt((found[f"{name}_se"] ** 2).mean()) / found[name].std() < 1.35


def test_the_error_of_bmwp_and_aspt_is_near_the_spread_between_samples() -> None:
    counts = draw(400, 200)
    for name, averaged in (("bmwp", False), ("aspt", True)):
        found = measure_points(counts, TAXA, averaged=averaged)
        pd.testing.assert_series_equal(found["score"], score_index(name, counts, TAXA)["score"])
        assert 0.85 < np.sqrt((found["score_se"] ** 2).mean()) / found["score"].std() < 1.4


@pytest.mark.parametrize(("mayflies", "others"), [(30, 70), (0, 50), (50, 0), (1, 3)])
def test_a_percentage_has_wilsons_interval(mayflies: int, others: int) -> None:
    counts = pd.DataFrame(
        {"sample_id": "a", "taxon": ["Baetidae", "Chironomidae"], "count": [mayflies, others]}
    )
    found = metric_intervals(counts, TAXA, ["percent_ept"]).loc["a"]
    known = binomtest(mayflies, mayflies + others).proportion_ci(confidence_level=0.9, method="wilson")
    assert found[["percent_ept_low", "percent_ept_high"]].tolist() == pytest.approx(
        [100 * known.low, 100 * known.high], abs=1e-9
    )
    assert found["percent_ept_se"] > 0


def test_a_share_of_animals_with_a_value_counts_only_those() -> None:
    taxa = resolve(["Psychodidae", "Baetidae", "Oligochaeta"])
    rows = {"sample_id": "a", "taxon": ["Psychodidae", "Baetidae", "Oligochaeta"], "count": [5, 5, 90]}
    found = metric_intervals(pd.DataFrame(rows), taxa, ["percent_tolerant"]).loc["a"]
    known = binomtest(5, 10).proportion_ci(confidence_level=0.9, method="wilson")
    assert found["percent_tolerant_low"] == pytest.approx(100 * known.low)


def test_where_nothing_or_one_taxon_was_found_diversity_has_no_interval() -> None:
    rows = [("a", "Baetidae", 0), ("b", "Baetidae", 9)]
    counts = pd.DataFrame(rows, columns=["sample_id", "taxon", "count"])
    names = ["shannon_diversity", "simpson_diversity", "pielou_evenness"]
    found = metric_intervals(counts, TAXA, [*names, "taxa_richness", "percent_ept"])
    assert found[[f"{name}_se" for name in names]].isna().all(axis=None)
    assert found.loc["a", ["taxa_richness_low", "percent_ept_low"]].isna().all()
    assert found.loc["b", "percent_ept_low"] < 100


def test_a_metric_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="not in the register of metrics: wealth"):
        metric_intervals(draw(1, 10), TAXA, ["wealth"])
    with pytest.raises(ValueError, match="confidence"):
        metric_intervals(draw(1, 10), TAXA, ["percent_ept"], confidence=1.0)


@settings(max_examples=40)
@given(st.lists(st.integers(0, 60), min_size=len(NAMES), max_size=len(NAMES)))
def test_every_interval_holds_its_value_and_keeps_its_range(row: list[int]) -> None:
    counts = counts_of(np.array([row]))
    names = [name for name in CLOSED_FORMS if CLOSED_FORMS[name] != "none"]
    found = metric_intervals(counts, TAXA, names)
    values = compute_metrics(counts, TAXA)[names]
    for name in names:
        known = found[f"{name}_se"].notna()
        assert (found.loc[known, f"{name}_low"] <= values.loc[known, name] + 1e-9).all()
        assert (found.loc[known, f"{name}_high"] >= values.loc[known, name] - 1e-9).all()
        assert (found.loc[known, f"{name}_low"] >= 0).all()
        if name.startswith("percent"):
            assert (found.loc[known, f"{name}_high"] <= 100).all()
