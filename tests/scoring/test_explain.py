"""The arithmetic that is shown is the arithmetic that was done."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from watershedmap.scoring.explain import Explanation, explain_sample
from watershedmap.scoring.indices import (
    ASPT,
    BIOTIC_INDEX,
    BMWP,
    FAMILY_BIOTIC_INDEX,
    INDICES,
    STREAMSIDE_RATING,
    Index,
    IndexClass,
    score_index,
)
from watershedmap.scoring.scales import CutPoints, MultimetricIndex, Percentile, Ramp

NAN = math.nan
ROWS = [
    # name, taxon, rank, family, order, group, ept, tolerance, source, known, sensitivity, bmwp, bmwp_group, excluded
    ("Perlidae", "Perlidae", "family", "Perlidae", "Plecoptera", "Insecta", True, 1.0, "T", True, 1.0, 10.0, "", ""),
    ("Perla", "Perla", "genus", "Perlidae", "Plecoptera", "Insecta", True, 1.0, "T", True, 1.0, 10.0, "", ""),
    ("Baetidae", "Baetidae", "family", "Baetidae", "Ephemeroptera", "Insecta", True, 4.0, "T", True, 1.0, 4.0, "", ""),
    (
        "Dugesiidae", "Dugesiidae", "family", "Dugesiidae", "Tricladida", "Turbellaria",
        False, NAN, "not in table T", True, NAN, 5.0, "Planariidae", "",
    ),
    ("Chironomidae larvae", "Chironomidae", "family", "Chironomidae", "Diptera", "Insecta", False, 6.0, "T", True, 3.0, 2.0, "", ""),
    ("Gugus", "Gugus", "", "", "", "", False, NAN, "", False, NAN, NAN, "", ""),
    ("Spider", "Araneae", "order", "", "Araneae", "Arachnida", False, NAN, "", True, NAN, NAN, "", "terrestrial"),
]  # fmt: skip
COLUMNS = [
    "name", "taxon", "rank", "family", "order", "group", "ept", "tolerance", "tolerance_source", "known",
    "sensitivity", "bmwp", "bmwp_group", "excluded",
]  # fmt: skip
TAXA = pd.DataFrame(ROWS, columns=COLUMNS).set_index("name")
COUNTS = pd.DataFrame(
    [
        ("one", "Perlidae", 10),
        ("one", "Perla", 5),
        ("one", "Baetidae", 20),
        ("one", "Baetidae", 10),
        ("one", "Dugesiidae", 4),
        ("one", "Chironomidae larvae", 25),
        ("one", "Gugus", 3),
        ("one", "Spider", 2),
        ("two", "Baetidae", 0),
        ("three", "Gugus", 7),
        ("four", "Chironomidae larvae", 200),
    ],
    columns=["sample_id", "taxon", "count"],
)


def explain(sample_id: str, index: Index) -> Explanation:
    scored = score_index(index.name, COUNTS, TAXA)
    return explain_sample(sample_id, scored.reset_index(), COUNTS, TAXA, index=index)


def texts(explanation: Explanation) -> list[tuple[str, float | None]]:
    return [(step.text, step.result) for step in explanation.steps]


@pytest.mark.parametrize("index", INDICES.values(), ids=list(INDICES))
@pytest.mark.parametrize("sample_id", ["one", "two", "three", "four"])
def test_the_arithmetic_comes_to_the_score_for_every_index_and_sample(sample_id: str, index: Index) -> None:
    explanation = explain(sample_id, index)
    assert explanation.agrees
    assert (explanation.score is None) == (explanation.label is None)


def test_the_mean_tolerance_is_shown_line_by_line_to_rounding_and_class() -> None:
    explanation = explain("one", FAMILY_BIOTIC_INDEX)
    assert texts(explanation) == [
        ("Baetidae: 30 x 4", 120),
        ("Chironomidae: 25 x 6", 150),
        ("Perla: 5 x 1", 5),
        ("Perlidae: 10 x 1", 10),
        ("Individuals without a value, in neither sum", 7),
        ("Sum of individuals x value", 285),
        ("Individuals with a value", 70),
        ("Mean: 285 / 70", 285 / 70),
        ("Rounded to 2 decimals, halves away from zero", 4.07),
        ("Class: Very good (over 3.75, up to 4.25)", None),
    ]
    assert explanation.label == "Very good"


def test_every_name_is_listed_with_its_value_and_source_or_why_there_is_none() -> None:
    lines = {line.name: line for line in explain("one", FAMILY_BIOTIC_INDEX).taxa}
    assert set(lines) == set(TAXA.index)
    assert (lines["Baetidae"].count, lines["Baetidae"].value, lines["Baetidae"].source) == (30, 4.0, "T")
    assert (lines["Dugesiidae"].value, lines["Dugesiidae"].source) == (None, "not in table T")
    assert (lines["Gugus"].taxon, lines["Gugus"].remark) == ("", "no table knows this name")
    assert (lines["Spider"].value, lines["Spider"].remark) == (None, "left out: terrestrial")
    assert lines["Chironomidae larvae"].taxon == "Chironomidae"
    assert [line.count for line in explain("one", FAMILY_BIOTIC_INDEX).taxa] == [30, 25, 10, 5, 4, 3, 2]


def test_a_taxon_looked_for_and_not_found_is_said() -> None:
    explanation = explain("two", FAMILY_BIOTIC_INDEX)
    assert [(line.count, line.remark) for line in explanation.taxa] == [(0, "none found")]
    assert texts(explanation)[0] == ("No individual has a value: there is no score", None)
    assert explanation.label is None


def test_scoring_families_count_once_under_the_name_of_the_list() -> None:
    assert texts(explain("one", BMWP))[:5] == [
        ("Baetidae: points", 4),
        ("Chironomidae: points", 2),
        ("Perlidae: points", 10),
        ("Planariidae: points", 5),
        ("Sum of points", 21),
    ]
    assert texts(explain("one", ASPT))[4:7] == [
        ("Sum of points", 21),
        ("Scoring families", 4),
        ("Mean: 21 / 4", 5.25),
    ]


def test_kinds_are_shown_with_number_letter_and_group() -> None:
    explanation = explain("four", STREAMSIDE_RATING)
    assert texts(explanation)[0][0].endswith(": 200 individuals, dominant, group 3")
    assert texts(explanation)[0][1] == 1.0
    assert explanation.taxa[0].remark.startswith("kind: ")


def test_a_metric_is_shown_with_its_definition() -> None:
    classes = (IndexClass("Many", 2, ""), IndexClass("Few", None, ""))
    index = Index("taxa_richness", "Taxa", "taxa", "high", 0, classes, "own")
    samples = pd.DataFrame({"sample_id": ["one"], "score": [3.0], "taxa_richness": [3]})
    explanation = explain_sample("one", samples, COUNTS, TAXA, index=index)
    assert explanation.steps[0].text.startswith("Taxa: ")
    assert explanation.steps[0].result == 3
    assert explanation.steps[-1].text == "Class: Many (down to 2)"
    assert explanation.agrees


def multimetric() -> MultimetricIndex:
    return MultimetricIndex(
        name="own",
        label="Own",
        unit="",
        better="high",
        decimals=1,
        classes=(IndexClass("Good", 50.0, ""), IndexClass("Poor", None, "")),
        source="own",
        metrics=(
            CutPoints("percent_ept", "high", (60.0, 30.0)),
            Ramp("family_biotic_index", "low", 10.0, Percentile(0)),
        ),
        combination="mean",
    )


def test_a_multimetric_index_is_shown_metric_by_metric_with_percentiles_of_all_samples() -> None:
    definition = multimetric()
    metrics = pd.DataFrame({"percent_ept": [62.5, NAN, 0.0, 0.0]}, index=["one", "two", "three", "four"])
    scored = score_index(
        "own", COUNTS, TAXA, definition=definition,
        metrics=metrics.rename_axis("sample_id"),
    )  # fmt: skip
    samples = scored.join(metrics).reset_index()
    explanation = explain_sample("four", samples, COUNTS, TAXA, index=definition)
    best = 285 / 70
    assert explanation.agrees
    ramp = 100 * (10 - 6) / (10 - best)
    assert texts(explanation)[:3] == [
        ("percent_ept: 0 is under 30: 1", 1.0),
        (
            "family_biotic_index: 100 x (6 - 10) / (4.07143 - 10), ceiling p0 = 4.07143",
            pytest.approx(ramp),
        ),
        ("Sum over metrics", pytest.approx(1 + ramp)),
    ]
    assert texts(explanation)[3][1] == pytest.approx((1 + ramp) / 2)
    assert explain_sample("two", samples, COUNTS, TAXA, index=definition).label is None


def explain_metric(scale: CutPoints | Ramp, value: float, *, others: tuple[float, ...] = ()) -> Explanation:
    definition = replace(multimetric(), metrics=(scale,), combination="sum")
    ids = ["one", "two", "three", "four"][: 1 + len(others)]
    metrics = pd.DataFrame({scale.metric: [value, *others]}, index=pd.Index(ids, name="sample_id"))
    counts = COUNTS[COUNTS["sample_id"].isin(ids)]
    scored = score_index("own", counts, TAXA, definition=definition, metrics=metrics)
    samples = scored.join(metrics).reset_index()
    return explain_sample("one", samples, counts, TAXA, index=definition)


@pytest.mark.parametrize(
    ("scale", "value", "text", "score"),
    [
        (CutPoints("m", "high", (20, 10)), 34, "34 is 20 or more: 5", 5),
        (CutPoints("m", "high", (20, 10)), 20, "20 is 20 or more: 5", 5),
        (CutPoints("m", "high", (20, 10)), 12.5, "12.5 is 10 or more, under 20: 3", 3),
        (CutPoints("m", "high", (20, 10)), 3, "3 is under 10: 1", 1),
        (CutPoints("m", "high", (20, 10), (False, False)), 20, "20 is over 10, 20 or less: 3", 3),
        (CutPoints("m", "high", (20, 10), (False, False)), 10, "10 is 10 or less: 1", 1),
        (CutPoints("m", "high", (20, 10), (False, False)), 21, "21 is over 20: 5", 5),
        (CutPoints("m", "low", (4, 6)), 4, "4 is 4 or less: 5", 5),
        (CutPoints("m", "low", (4, 6)), 5, "5 is 6 or less, over 4: 3", 3),
        (CutPoints("m", "low", (4, 6)), 7, "7 is over 6: 1", 1),
        (CutPoints("m", "low", (4, 6), (False, False)), 6, "6 is 6 or more: 1", 1),
        (Ramp("m", "high", 0, 30), 21, "100 x (21 - 0) / (30 - 0)", 70),
        (Ramp("m", "high", 0, 30), 40, "100 x (40 - 0) / (30 - 0), held at 100", 100),
        (Ramp("m", "low", 100, 20), 120, "100 x (120 - 100) / (20 - 100), held at 0", 0),
    ],
)
def test_each_metric_is_shown_with_the_arithmetic_of_its_scale(
    scale: CutPoints | Ramp, value: float, text: str, score: float
) -> None:
    explanation = explain_metric(scale, value)
    assert texts(explanation)[0] == (f"m: {text}", pytest.approx(score))
    assert explanation.agrees


def test_percentiles_are_shown_as_the_samples_gave_them() -> None:
    scale = Ramp("m", "high", Percentile(0), Percentile(100))
    explanation = explain_metric(scale, 21, others=(6, 30, 10))
    text = "m: 100 x (21 - 6.0) / (30.0 - 6.0), floor p0 = 6.0, ceiling p100 = 30.0"
    assert texts(explanation)[0] == (text, pytest.approx(62.5))
    explanation = explain_metric(Ramp("m", "high", 0, Percentile(95)), 21, others=(30, 30, 30))
    assert texts(explanation)[0] == ("m: 100 x (21 - 0) / (30.0 - 0), ceiling p95 = 30.0", pytest.approx(70))


def test_percentiles_taken_before_explain_a_sample_by_itself_as_among_all() -> None:
    definition = replace(multimetric(), metrics=(Ramp("m", "high", 0, Percentile(100)),))
    fixed = replace(definition, metrics=(Ramp("m", "high", 0, 30),))
    samples = pd.DataFrame({"sample_id": ["one", "two"], "score": [70.0, 100.0], "m": [21.0, 30.0]})
    among_all = explain_sample("one", samples, COUNTS, TAXA, index=definition)
    counts = COUNTS[COUNTS["sample_id"] == "one"]
    alone = explain_sample("one", samples.iloc[:1], counts, TAXA, index=definition, fixed=fixed)
    assert texts(alone)[0] == ("m: 100 x (21 - 0) / (30.0 - 0), ceiling p100 = 30.0", pytest.approx(70))
    assert alone.agrees
    assert alone == among_all


def test_a_metric_without_a_value_is_said_to_have_none() -> None:
    assert texts(explain_metric(Ramp("m", "high", 0, 30), NAN))[0] == ("m: no value", None)


@pytest.mark.parametrize(
    "metric", ["family_biotic_index", "biotic_index", "intolerant_richness", "percent_tolerant"]
)
def test_taxa_have_tolerance_and_source_where_a_metric_uses_tolerance(metric: str) -> None:
    lines = {line.name: line for line in explain_metric(Ramp(metric, "low", 10, 0), 5).taxa}
    assert (lines["Baetidae"].value, lines["Baetidae"].source) == (4.0, "T")
    assert (lines["Dugesiidae"].value, lines["Dugesiidae"].source) == (None, "not in table T")


def test_taxa_have_no_value_where_no_metric_uses_one() -> None:
    lines = explain_metric(Ramp("taxa_richness", "high", 0, 30), 5).taxa
    assert {(line.value, line.source) for line in lines} == {(None, "")}


def test_a_value_of_the_users_own_is_shown_with_its_source_and_others_with_that_of_the_list() -> None:
    own = TAXA.assign(bmwp_source="", sensitivity_source="")
    own.loc["Perlidae", ["bmwp_source", "sensitivity_source"]] = "taxa.csv, row 2"
    counts = COUNTS[COUNTS["sample_id"] == "one"]
    for index, said in ((BMWP, "BMWP list"), (ASPT, "BMWP list"), (STREAMSIDE_RATING, "streamside rating")):
        samples = score_index(index.name, counts, own).reset_index()
        lines = {line.name: line for line in explain_sample("one", samples, counts, own, index=index).taxa}
        assert lines["Perlidae"].source == "taxa.csv, row 2"
        assert lines["Baetidae"].source.endswith(said)
        assert lines["Gugus"].source == ""


def test_a_score_brought_in_is_said_to_be_that() -> None:
    samples = pd.DataFrame({"sample_id": ["one"], "score": [3.754]})
    explanation = explain_sample("one", samples, None, None, index=FAMILY_BIOTIC_INDEX)
    assert texts(explanation) == [
        ("Score as brought in", 3.754),
        ("Rounded to 2 decimals, halves away from zero", 3.75),
        ("Class: Excellent (up to 3.75)", None),
    ]
    assert explanation.taxa == ()


def test_arithmetic_that_does_not_come_to_the_score_is_owned_up_to() -> None:
    samples = pd.DataFrame({"sample_id": ["one", "three"], "score": [4.0, np.nan]})
    assert not explain_sample("one", samples, COUNTS, TAXA, index=BIOTIC_INDEX).agrees
    assert explain_sample("three", samples, COUNTS, TAXA, index=BIOTIC_INDEX).agrees


def test_an_unknown_sample_is_a_key_error() -> None:
    with pytest.raises(KeyError, match="nowhere"):
        explain("nowhere", FAMILY_BIOTIC_INDEX)
