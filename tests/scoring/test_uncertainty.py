"""A score says how sure it is: interval, error and class probabilities from its counts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watershedmap.scoring.classes import Index, IndexClass, class_rank, classify
from watershedmap.scoring.indices import (
    ASPT,
    BMWP,
    FAMILY_BIOTIC_INDEX,
    STREAMSIDE_RATING,
    score_index,
)
from watershedmap.scoring.metrics import MetricSettings, compute_metrics
from watershedmap.scoring.multimetric import list_examples, read_definition
from watershedmap.scoring.samples import score_samples
from watershedmap.scoring.scales import MultimetricIndex, Percentile, Ramp
from watershedmap.scoring.uncertainty import score_intervals
from watershedmap.settings import Options, Quality
from watershedmap.taxa import resolve

NAMES = ["Leuctridae", "Perlidae", "Baetidae", "Chironomidae", "Asellidae", "Psychodidae", "Oligochaeta"]
TAXA = resolve(NAMES)
CHANCES = [f"probability_{number}" for number in range(1, 8)]


def counts_of(*samples: dict[str, int]) -> pd.DataFrame:
    rows = [
        (f"s{place}", name, count) for place, sample in enumerate(samples) for name, count in sample.items()
    ]
    return pd.DataFrame(rows, columns=["sample_id", "taxon", "count"])


def make_index(name: str, *limits: float | None, decimals: int = 0) -> Index:
    classes = tuple(IndexClass(f"class {place}", limit, "") for place, limit in enumerate(limits))
    return Index(
        name=name, label=name, unit="", better="high", decimals=decimals, classes=classes, source="invented"
    )


def test_the_interval_is_that_of_the_mean_over_individuals() -> None:
    found = score_intervals(counts_of({"Perlidae": 60, "Chironomidae": 60}), TAXA, FAMILY_BIOTIC_INDEX)
    animals = [1] * 60 + [6] * 60
    error = np.std(animals, ddof=1) / np.sqrt(120)
    assert found.loc["s0", "score_se"] == pytest.approx(error)
    assert found.loc["s0", "score_low"] == pytest.approx(3.5 - 1.645 * error, abs=0.03)
    assert found.loc["s0", "score_high"] == pytest.approx(3.5 + 1.645 * error, abs=0.03)


def test_equal_counts_on_both_sides_give_a_symmetric_interval() -> None:
    found = score_intervals(counts_of({"Perlidae": 60, "Chironomidae": 60}), TAXA, FAMILY_BIOTIC_INDEX).loc[
        "s0"
    ]
    assert found["score_high"] - 3.5 == pytest.approx(3.5 - found["score_low"])


def test_a_score_on_an_edge_is_as_likely_on_either_side() -> None:
    # Half Baetidae (4), half of value 4.51: the mean is 4.255, the edge between the second and third class.
    taxa = TAXA.assign(tolerance=TAXA["tolerance"].where(TAXA.index != "Asellidae", 4.51))
    found = score_intervals(counts_of({"Baetidae": 251, "Asellidae": 251}), taxa, FAMILY_BIOTIC_INDEX).loc[
        "s0"
    ]
    assert found["probability_2"] == pytest.approx(0.5, abs=0.02)
    assert found["probability_3"] == pytest.approx(0.5, abs=0.02)


def test_more_individuals_make_it_surer() -> None:
    samples = [{"Perlidae": size, "Chironomidae": 2 * size} for size in (10, 40, 160)]
    found = score_intervals(counts_of(*samples), TAXA, FAMILY_BIOTIC_INDEX)
    width = found["score_high"] - found["score_low"]
    assert width.is_monotonic_decreasing
    assert found["probability_3"].is_monotonic_increasing  # 4.33 is Good, the third class


def test_one_value_or_no_value_leaves_everything_unknown() -> None:
    found = score_intervals(
        counts_of({"Chironomidae": 200}, {"Oligochaeta": 9}, {"Perlidae": 1, "Baetidae": 1}, {"Perlidae": 0}),
        TAXA,
        FAMILY_BIOTIC_INDEX,
    )
    assert found.loc[["s0", "s1", "s3"]].isna().all(axis=None)
    assert found.loc["s2"].notna().all()


def test_the_interval_stays_on_the_scale() -> None:
    found = score_intervals(counts_of({"Leuctridae": 2, "Psychodidae": 1}), TAXA, FAMILY_BIOTIC_INDEX)
    assert found.loc["s0", "score_low"] >= 0
    assert found.loc["s0", "score_high"] <= 10


def test_very_large_samples_get_the_normal_interval() -> None:
    size = 10**9
    found = score_intervals(
        counts_of({"Perlidae": size, "Chironomidae": size}), TAXA, FAMILY_BIOTIC_INDEX
    ).loc["s0"]
    assert found["score_high"] - 3.5 == pytest.approx(1.645 * 2.5 / np.sqrt(2 * size), rel=1e-3)
    assert found[CHANCES].sum() == pytest.approx(1)


def test_higher_confidence_is_wider() -> None:
    counts = counts_of({"Perlidae": 60, "Chironomidae": 60})
    wide, narrow = (
        score_intervals(counts, TAXA, FAMILY_BIOTIC_INDEX, confidence=level).loc["s0"]
        for level in (0.99, 0.5)
    )
    assert wide["score_low"] < narrow["score_low"] < narrow["score_high"] < wide["score_high"]
    with pytest.raises(ValueError, match="confidence"):
        score_intervals(counts, TAXA, FAMILY_BIOTIC_INDEX, confidence=90)


def test_the_interval_holds_the_true_index_as_often_as_it_says() -> None:
    shares = np.array([0.05, 0.15, 0.4, 0.2, 0.1, 0.1])
    truth = shares @ TAXA.loc[NAMES[:6], "tolerance"].to_numpy()
    drawn = np.random.default_rng(8).multinomial(100, shares, size=2000)
    samples = [dict(zip(NAMES[:6], row.tolist(), strict=True)) for row in drawn]
    found = score_intervals(counts_of(*samples), TAXA, FAMILY_BIOTIC_INDEX)
    held = (found["score_low"] <= truth) & (truth <= found["score_high"])
    assert 0.88 <= held.mean() <= 0.92


def test_no_counts_give_no_rows_but_all_columns() -> None:
    empty = counts_of().astype({"count": int})
    for index in (FAMILY_BIOTIC_INDEX, BMWP, STREAMSIDE_RATING):
        found = score_intervals(empty, resolve([]), index)
        assert found.empty
        assert {"score_low", "score_high", "score_se", "probability_1"} <= set(found.columns)


@pytest.mark.parametrize("index", [BMWP, ASPT, STREAMSIDE_RATING])
def test_indices_of_presence_have_an_interval_about_the_score(index: Index) -> None:
    counts = counts_of(
        {"Leuctridae": 1, "Perlidae": 2, "Baetidae": 40, "Chironomidae": 70, "Asellidae": 1},
        {"Baetidae": 40, "Chironomidae": 70, "Oligochaeta": 0},
    )
    score = score_index(index.name, counts, TAXA)["score"]
    found = score_intervals(counts, TAXA, index)
    assert found.loc["s0", "score_low"] < score["s0"] < found.loc["s0", "score_high"]
    assert found.loc["s0"].filter(like="probability_").sum() == pytest.approx(1)


def test_a_metric_can_stand_as_index() -> None:
    counts = counts_of({"Perlidae": 60, "Chironomidae": 40})
    found = score_intervals(counts, TAXA, make_index("percent_ept", 75, 50, 25, None)).loc["s0"]
    assert found["score_low"] < 60 < found["score_high"]
    assert found["probability_2"] > 0.9
    rarefied = score_intervals(
        counts_of({"Perlidae": 119, "Baetidae": 1}), TAXA, make_index("rarefied_richness", 3, 2, None)
    )
    assert rarefied.loc["s0", "score_low"] <= 1.83 <= rarefied.loc["s0", "score_high"]


def test_resampled_figures_do_not_depend_on_the_neighbours_the_order_or_the_id() -> None:
    one = {"Perlidae": 30, "Baetidae": 4, "Chironomidae": 66}
    alone = score_intervals(counts_of(one), TAXA, STREAMSIDE_RATING).loc["s0"]
    beside = counts_of({"Asellidae": 5, "Baetidae": 9}, one)
    among = score_intervals(beside.iloc[::-1], TAXA, STREAMSIDE_RATING).loc["s1"]
    pd.testing.assert_series_equal(alone, among, check_names=False)


def test_an_unknown_index_is_refused() -> None:
    with pytest.raises(ValueError, match="no index or metric"):
        score_intervals(counts_of({"Perlidae": 3}), TAXA, replace(FAMILY_BIOTIC_INDEX, name="nothing"))


@settings(max_examples=60)
@given(
    st.lists(st.dictionaries(st.sampled_from(NAMES), st.integers(0, 300), min_size=1), min_size=1, max_size=4)
)
def test_probabilities_sum_to_one_and_the_interval_holds_the_score(samples: list[dict[str, int]]) -> None:
    counts = counts_of(*samples)
    found = score_intervals(counts, TAXA, FAMILY_BIOTIC_INDEX)
    score = score_index("family_biotic_index", counts, TAXA)["score"]
    assert list(found.index) == list(score.index)
    known = found["score_se"].notna()
    assert found[~known].isna().all(axis=None)
    assert found.loc[known, CHANCES].sum(axis=1).to_numpy() == pytest.approx(1)
    assert (found["score_low"][known] <= score[known] + 1e-12).all()
    assert (found["score_high"][known] >= score[known] - 1e-12).all()
    surest = found.loc[known, CHANCES].to_numpy()
    rank = class_rank(classify(score[known], FAMILY_BIOTIC_INDEX), FAMILY_BIOTIC_INDEX).to_numpy(dtype=int)
    assert (surest[np.arange(len(rank)), rank] > 0).all()


def test_a_multimetric_index_keeps_its_percentiles_while_counts_are_drawn_again() -> None:
    counts = counts_of(
        {"Leuctridae": 12, "Perlidae": 30, "Baetidae": 40, "Chironomidae": 30},
        {"Baetidae": 20, "Chironomidae": 90, "Asellidae": 12, "Psychodidae": 3},
        {"Perlidae": 2, "Baetidae": 60, "Chironomidae": 60},
    )
    index, faults = read_definition(list_examples()[0])
    assert index is not None
    assert faults == []
    score = score_index(index.name, counts, TAXA, definition=index)["score"]
    found = score_intervals(counts, TAXA, index, draws=100)
    known = found["score_se"].notna()
    assert known.any()
    assert (found["score_low"] <= score)[known].all()
    assert (found["score_high"] >= score)[known].all()
    assert found.loc[known].filter(like="probability_").sum(axis=1).to_numpy() == pytest.approx(1)
    assert (found["score_se"][known] < 30).all()


def test_metrics_are_computed_to_the_settings_of_the_survey() -> None:
    counts = counts_of({"Perlidae": 20, "Baetidae": 2, "Chironomidae": 20})
    index = make_index("rarefied_richness", 3, 2, None)
    assert score_intervals(counts, TAXA, index).isna().all(axis=None)  # fewer than 100 individuals
    found = score_intervals(counts, TAXA, index, settings=MetricSettings(rarefy_to=20))
    assert found.notna().all(axis=None)


def make_multimetric(*metrics: Ramp) -> MultimetricIndex:
    return MultimetricIndex(
        name="invented",
        label="Invented",
        unit="",
        better="high",
        decimals=0,
        classes=(IndexClass("good", 60, ""), IndexClass("fair", 30, ""), IndexClass("poor", None, "")),
        source="invented",
        scale=(0, 100),
        metrics=metrics,
        combination="mean",
    )


DENSE = Ramp("density_per_m2", "high", 0, Percentile(95))
SHARE = Ramp("percent_ept", "high", 0, 100)
RAREFIED = Ramp("rarefied_richness", "high", 0, 12)
SORTED = counts_of(
    {"Perlidae": 60, "Baetidae": 20, "Chironomidae": 40},
    {"Baetidae": 30, "Chironomidae": 170},
    {"Baetidae": 50, "Chironomidae": 30},
)
EFFORT = pd.DataFrame(
    {
        "sample_id": ["s0", "s1", "s2"],
        "fraction_sorted": [0.5, 0.25, np.nan],
        "area_m2": [0.3, 0.3, 0.3],
    }
)


def test_a_density_is_held_while_counts_are_drawn_again_so_the_width_is_that_of_the_other_metric() -> None:
    index = make_multimetric(DENSE, SHARE)
    metrics = compute_metrics(SORTED, TAXA, effort=EFFORT)
    score = score_index("invented", SORTED, TAXA, metrics=metrics, definition=index)["score"]
    found = score_intervals(SORTED, TAXA, index, effort=EFFORT)
    share = score_intervals(SORTED, TAXA, make_multimetric(SHARE))
    for sample in ("s0", "s1"):
        assert found.loc[sample, "score_low"] < score[sample] < found.loc[sample, "score_high"]
        assert found.loc[sample, "score_se"] == pytest.approx(share.loc[sample, "score_se"] / 2)
    assert found.loc["s2"].isna().all()  # the fraction sorted is not known


def test_totals_alone_have_no_interval() -> None:
    totals = make_multimetric(replace(DENSE, ceiling=3000), Ramp("total_individuals", "high", 0, 300))
    assert score_intervals(SORTED, TAXA, totals, effort=EFFORT).isna().all(axis=None)


def test_samples_are_scored_with_the_density_of_their_effort_and_an_interval() -> None:
    samples = EFFORT.assign(site_id="a", date=pd.Timestamp("2021-05-04"), year=2021, method="", replicate="")
    found, _ = score_samples(
        samples,
        SORTED,
        TAXA,
        index=make_multimetric(DENSE, SHARE),
        options=Options(),
        quality=Quality(),
        metric_settings=MetricSettings(),
    )
    found = found.set_index("sample_id")
    assert found.loc["s0", "density_per_m2"] == pytest.approx(800)
    assert (found["score_low"] < found["score"]).tolist() == [True, True, False]
    assert (found["score_high"] > found["score"]).tolist() == [True, True, False]


@pytest.mark.parametrize("size", [100, 101, 150, 199])
def test_rarefied_richness_in_an_index_has_an_interval_from_as_many_individuals_as_it_needs(
    size: int,
) -> None:
    one = {"Leuctridae": 2, "Perlidae": 2, "Baetidae": 30, "Asellidae": 1, "Psychodidae": 3}
    counts = counts_of(one | {"Chironomidae": size - sum(one.values())}, {"Baetidae": 60, "Perlidae": 39})
    index = make_multimetric(RAREFIED, SHARE)
    score = score_index("invented", counts, TAXA, definition=index)["score"]
    found = score_intervals(counts, TAXA, index)
    assert found.loc["s0", "score_low"] < score["s0"] < found.loc["s0", "score_high"]
    assert found.loc["s0"].filter(like="probability_").sum() == pytest.approx(1)
    assert found.loc["s1"].isna().all()  # 99 individuals have no score either


@pytest.mark.parametrize("size", [100, 150, 400])
def test_the_error_of_rarefied_richness_by_halves_is_near_the_spread_between_samples(size: int) -> None:
    shares = np.array([0.005, 0.01, 0.3, 0.6, 0.015, 0.02, 0.05])
    drawn = np.random.default_rng(5).multinomial(size, shares, size=300)
    counts = counts_of(*(dict(zip(NAMES, row.tolist(), strict=True)) for row in drawn))
    index = make_multimetric(RAREFIED)
    score = score_index("invented", counts, TAXA, definition=index)["score"]
    found = score_intervals(counts, TAXA, index, draws=60)
    ratio = np.sqrt((found["score_se"].fillna(0) ** 2).mean()) / score.std()
    assert 0.9 < ratio < 1.3


def test_animals_left_out_of_every_metric_do_not_take_the_interval_away() -> None:
    counts = counts_of({"Perlidae": 40, "Baetidae": 2, "Chironomidae": 60, "Araneae": 20})
    taxa = resolve([*NAMES, "Araneae"])
    taxa.loc["Araneae", "excluded"] = "terrestrial"
    kept = counts[counts["taxon"] != "Araneae"]
    for index in (make_index("rarefied_richness", 3, 2, None), make_multimetric(RAREFIED, SHARE)):
        found = score_intervals(counts, taxa, index)
        assert found.notna().all(axis=None)
        pd.testing.assert_frame_equal(found, score_intervals(kept, taxa, index))
