"""Definition files of multimetric indices: what they mean, and every fault named with key, value and fix."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.errors import SurveyError
from watershedmap.scoring.classes import classify
from watershedmap.scoring.indices import fix_definition, score_index
from watershedmap.scoring.multimetric import MultimetricIndex, list_examples, read_definition
from watershedmap.scoring.scales import (
    CutPoints,
    Percentile,
    Ramp,
    combine_scores,
    fix_percentiles,
    rate_metrics,
)

if TYPE_CHECKING:
    from pathlib import Path

HEAD = """
[index]
name = "ours"
label = "Our index"
combination = "sum"
decimals = 0
"""
TAXA_135 = """
[[metrics]]
metric = "taxa_richness"
scale = "1-3-5"
cut_points = [28, 14]
"""
EPT_135 = """
[[metrics]]
metric = "percent_ept"
scale = "1-3-5"
cut_points = [50, 20]
at_cut_points = ["worse", "better"]
"""
CLASSES = """
[[classes]]
label = "Good"
limit = 8
[[classes]]
label = "Fair"
limit = 4
[[classes]]
label = "Poor"
"""
WHOLE = HEAD + TAXA_135 + EPT_135 + CLASSES
RAMP = '[[metrics]]\nmetric = "taxa_richness"\nscale = "0-100"\nfloor = 0\nceiling = 30\n'


def read(text: str) -> MultimetricIndex:
    index, faults = read_definition(text)
    assert [fault for fault in faults if fault.severity == "fault"] == []
    assert index is not None
    return index


def ramp(**changes: object) -> str:
    """Write a definition with one ramp, some of its keys changed."""
    keys = {"metric": '"taxa_richness"', "scale": '"0-100"', "floor": "0", "ceiling": "30"} | changes
    block = "[[metrics]]\n" + "".join(
        f"{key} = {value}\n" for key, value in keys.items() if value is not None
    )
    return HEAD + block + CLASSES


def test_a_definition_is_an_index_with_its_scale() -> None:
    index = read(WHOLE)
    assert (index.name, index.label, index.better, index.scale) == ("ours", "Our index", "high", (2.0, 10.0))
    assert index.labels == ("Good", "Fair", "Poor")
    assert index.limits == (8.0, 4.0)
    assert index.metrics == (
        CutPoints("taxa_richness", "high", (28.0, 14.0)),
        CutPoints("percent_ept", "high", (50.0, 20.0), (False, True)),
    )


def test_the_mean_of_ramps_runs_from_0_to_100() -> None:
    text = ramp().replace('"sum"', '"mean"')
    assert read(text).scale == (0.0, 100.0)


def test_cut_points_give_their_scores_on_the_side_that_is_said() -> None:
    taxa, ept = read(WHOLE).metrics
    values = pd.Series([0, 13, 14, 27, 28, 90, np.nan])
    assert taxa.rate(values).tolist()[:-1] == [1, 1, 3, 3, 5, 5]
    assert np.isnan(taxa.rate(values).iloc[-1])
    assert ept.rate(pd.Series([19.99, 20, 50, 50.01])).tolist() == [1, 3, 3, 5]


def test_a_percentage_that_is_a_hair_off_a_cut_point_is_at_it() -> None:
    value = 100 * 0.29
    assert value != 29
    assert CutPoints("percent_ept", "high", (40.0, 29.0)).rate(pd.Series([value])).tolist() == [3]
    assert CutPoints("percent_ept", "high", (40.0, 29.0), (True, False)).rate(pd.Series([29.0])).tolist() == [
        1
    ]


def test_a_sample_without_one_of_the_metrics_has_no_score() -> None:
    index = read(WHOLE)
    values = pd.DataFrame({"taxa_richness": [30.0, 30.0], "percent_ept": [60.0, np.nan]}, index=["a", "b"])
    scores = combine_scores(index, rate_metrics(index, values))
    assert scores["a"] == 10
    assert np.isnan(scores["b"])


def test_an_open_class_leaves_its_limit_to_the_next() -> None:
    index = read(WHOLE.replace("limit = 8", "limit = 8\nclosed = false"))
    assert classify(pd.Series([9.0, 8.0, 4.0, 3.0]), index).tolist() == ["Good", "Fair", "Fair", "Poor"]


@given(st.lists(st.floats(0, 100), min_size=2, max_size=20))
def test_a_better_value_never_scores_less(values: list[float]) -> None:
    ordered = pd.Series(sorted(values))
    for item in (CutPoints("x", "high", (50.0, 20.0)), Ramp("x", "high", 5.0, 80.0)):
        assert item.rate(ordered).is_monotonic_increasing
    for item in (CutPoints("x", "low", (20.0, 50.0)), Ramp("x", "low", 80.0, 5.0)):
        assert item.rate(ordered).is_monotonic_decreasing


def test_percentiles_come_from_the_samples_named_or_from_all() -> None:
    values = pd.DataFrame({"taxa_richness": [10.0, 20.0, 30.0, 100.0]}, index=list("abcd"))
    everywhere = read(ramp(ceiling='"p50"'))
    assert fix_percentiles(everywhere, values).metrics[0].ceiling == 25
    named = replace(everywhere, percentile_samples=("a", "b", "c"))
    assert fix_percentiles(named, values).metrics[0].ceiling == 20
    assert rate_metrics(named, values)["taxa_richness"].tolist() == [50, 100, 100, 100]


def test_the_type_of_percentile_is_kept_and_used() -> None:
    values = pd.DataFrame({"taxa_richness": np.arange(40.0, 95.0, 5.0)})
    text = ramp(floor='"p5"', ceiling='"p25"')
    seven = fix_percentiles(read(text), values).metrics[0]
    six = fix_percentiles(read(text + "[percentiles]\ntype = 6\n"), values).metrics[0]
    assert (seven.floor, seven.ceiling) == (42.5, 52.5)
    assert (six.floor, six.ceiling) == (40.0, 50.0)


def test_percentiles_that_cannot_be_taken_are_faults_of_the_definition() -> None:
    index = read(ramp(ceiling='"p95"'))
    nothing = pd.DataFrame({"taxa_richness": [0.0, 0.0]}, index=["a", "b"])
    with pytest.raises(SurveyError) as caught:
        rate_metrics(index, nothing)
    assert caught.value.faults[0].column == "metrics 1"
    with pytest.raises(SurveyError) as caught:
        rate_metrics(replace(index, percentile_samples=("z",)), nothing)
    assert (caught.value.faults[0].column, caught.value.faults[0].value) == ("percentiles.samples", "z")
    with pytest.raises(TypeError, match="percentiles"):
        index.metrics[0].rate(nothing["taxa_richness"])


@pytest.mark.parametrize(
    ("text", "key", "value", "problem"),
    [
        (
            WHOLE.replace('"taxa_richness"', '"taxa_richnes"'),
            "metrics 1.metric",
            "taxa_richnes",
            "no such metric",
        ),
        (WHOLE.replace("[28, 14]", "[14, 28]"), "metrics 1.cut_points", "[14, 28]", "overlap"),
        (WHOLE.replace("[28, 14]", "[14, 14]"), "metrics 1.cut_points", "[14, 14]", "overlap"),
        (WHOLE.replace("[28, 14]", "[28]"), "metrics 1.cut_points", "[28]", "two cut points"),
        (WHOLE.replace("[28, 14]", '["a", 14]'), "metrics 1.cut_points", "a", "not a number"),
        (WHOLE.replace("[28, 14]", "[28, nan]"), "metrics 1.cut_points", "nan", "not a number"),
        (WHOLE.replace("[28, 14]", "[28, -1]"), "metrics 1.cut_points", "-1", "never below 0"),
        (WHOLE.replace("[50, 20]", "[150, 20]"), "metrics 2.cut_points", "150", "percentage over 100"),
        (
            WHOLE.replace('["worse", "better"]', '["worst", "better"]'),
            "metrics 2.at_cut_points",
            None,
            "side",
        ),
        (
            WHOLE.replace('scale = "1-3-5"\ncut_points = [28', 'scale = "135"\ncut_points = [28'),
            "metrics 1.scale",
            "135",
            "choices",
        ),
        (WHOLE.replace('"percent_ept"', '"taxa_richness"'), "metrics 2.metric", "taxa_richness", "twice"),
        (WHOLE.replace('"taxa_richness"', '"total_individuals"'), "metrics 1.better", "", "no direction"),
        (HEAD + CLASSES, "metrics", "", "no metrics"),
        (HEAD + TAXA_135, "classes", "", "no classes"),
        (WHOLE.replace("limit = 8", "limit = 4"), "classes 2.limit", "4", "overlap"),
        (WHOLE.replace("limit = 8", "limit = 3"), "classes 2.limit", "4", "overlap"),
        (WHOLE.replace("limit = 8", "limit = 11"), "classes 1.limit", "11.0", "from 2 to 10"),
        (WHOLE.replace("limit = 4", "limit = 2"), "classes 2.limit", "2.0", "from 2 to 10"),
        (WHOLE.replace("limit = 8", "limit = 8.5"), "classes 1.limit", "8.5", "more decimals"),
        (WHOLE.replace("limit = 8\n", ""), "classes 1.limit", "", "missing"),
        (WHOLE + "limit = 2\n", "classes 3.limit", "2", "last class"),
        (WHOLE.replace('"Fair"', '"Good"'), "classes", "good", "share a label"),
        (WHOLE.replace('"Poor"', '"Unknown"'), "classes 3.label", "Unknown", "another meaning"),
        (WHOLE.replace('label = "Poor"', ""), "classes 3.label", "", "no label"),
        (WHOLE.replace('"Our index"', "3"), "index.label", "3", "not text"),
        (WHOLE.replace("limit = 8", 'limit = 8\nclosed = "no"'), "classes 1.closed", "no", "neither true"),
        (WHOLE.replace('"sum"', '"product"'), "index.combination", "product", "choices"),
        (WHOLE.replace('"ours"', '"Our index!"'), "index.name", "Our index!", "name"),
        (WHOLE.replace('"ours"', '"bmwp"'), "index.name", "bmwp", "taken"),
        (WHOLE.replace("decimals = 0", "decimals = 1.5"), "index.decimals", "1.5", "decimals"),
        (
            WHOLE.replace("cut_points = [28", "cutpoints = [28"),
            "metrics 1.cutpoints",
            "[28, 14]",
            "unknown key",
        ),
        (WHOLE.replace("[index]", "[indx]"), "indx", None, "unknown key"),
        (WHOLE + "[percentiles]\ntype = 8\n", "percentiles.type", "8", "type"),
        (WHOLE + "[percentiles]\nsamples = [1]\n", "percentiles.samples", "[1]", "list of samples"),
        (WHOLE.replace("[28, 14]", "[28, 14]\nfloor = 3"), "metrics 1.floor", "3", "no such key"),
        (ramp(ceiling="0"), "metrics 1.floor", "0", "the same"),
        (ramp(floor="40"), "metrics 1.floor", "40", "wrong way round"),
        (ramp(floor='"p95"', ceiling='"p5"'), "metrics 1.floor", "p95", "wrong way round"),
        (ramp(ceiling='"p195"'), "metrics 1.ceiling", "p195", "percentile over 100"),
        (ramp(ceiling='"most"'), "metrics 1.ceiling", "most", "neither a number"),
        (ramp(ceiling=None), "metrics 1.ceiling", "", "missing"),
        (ramp(metric='"percent_ept"', ceiling="101"), "metrics 1.ceiling", "101", "percentage over 100"),
        (ramp(metric='"family_biotic_index"', floor="12", ceiling="3"), "metrics 1.floor", "12", "above 10"),
        (ramp(cut_points="[2, 1]"), "metrics 1.cut_points", "[2, 1]", "no such key"),
        ("metrics = 3\n" + HEAD + CLASSES, "metrics", "3", "not a list"),
        ("index = 3\n" + TAXA_135 + CLASSES, "index", "3", "not a section"),
        ("x = \n", "", "", "not valid TOML"),
    ],
)
def test_every_fault_names_file_key_value_and_fix(
    text: str, key: str, value: str | None, problem: str
) -> None:
    index, faults = read_definition(text, file="ours.toml")
    assert index is None
    found = [fault for fault in faults if fault.column == key and problem in fault.problem]
    assert len(found) == 1, faults
    assert found[0].file == "ours.toml"
    assert value is None or found[0].value == value
    assert found[0].fix


def test_all_faults_are_gathered_in_one_go() -> None:
    text = WHOLE.replace("[28, 14]", "[14, 28]").replace("[50, 20]", "[150, 20]").replace('"sum"', '"all"')
    _, faults = read_definition(text)
    assert {fault.column for fault in faults} == {
        "index.combination",
        "metrics 1.cut_points",
        "metrics 2.cut_points",
    }


def test_a_misspelt_metric_is_answered_with_the_right_one() -> None:
    _, faults = read_definition(WHOLE.replace('"taxa_richness"', '"taxa_richnes"'))
    assert faults[0].fix == "did you mean taxa_richness?"


def test_mixed_scales_and_turned_directions_are_noticed_and_do_not_stop() -> None:
    text = (HEAD + TAXA_135 + RAMP + CLASSES).replace(
        '"taxa_richness"\nscale = "0', '"ept_richness"\nscale = "0'
    )
    index, faults = read_definition(text)
    assert index is not None
    assert [(fault.column, fault.severity) for fault in faults] == [("metrics", "notice")]
    turned = WHOLE.replace("cut_points = [28, 14]", 'better = "low"\ncut_points = [14, 28]')
    index, faults = read_definition(turned)
    assert index is not None
    assert [(fault.column, fault.severity) for fault in faults] == [("metrics 1.better", "notice")]


def test_a_path_is_read_and_a_missing_or_undecodable_file_is_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text(WHOLE, encoding="utf-8")
    assert read_definition(path) == read_definition(str(path))
    assert read(WHOLE) == replace(read_definition(path)[0], file="definition", source="defined in definition")
    assert read_definition(tmp_path / "none.toml")[1][0].file == "none.toml"
    path.write_bytes(b"\xff\xfe\x00")
    assert "valid TOML" in read_definition(path)[1][0].problem


@pytest.mark.parametrize("path", list_examples(), ids=lambda path: path.name)
def test_the_examples_have_no_fault_and_say_calibrate(path: Path) -> None:
    index, faults = read_definition(path)
    assert faults == []
    assert index is not None
    assert "calibrate for your region" in index.source
    assert path.read_text(encoding="utf-8").startswith("# Calibrate for your region")


def test_the_worked_figures_in_the_examples_hold() -> None:
    examples = {path.name: read_definition(path)[0] for path in list_examples()}
    assert sorted(examples) == ["example_0_100.toml", "example_135.toml"]
    ramps, steps = examples["example_0_100.toml"], examples["example_135.toml"]
    assert isinstance(ramps, MultimetricIndex)
    assert isinstance(steps, MultimetricIndex)
    values = pd.DataFrame(
        {
            "taxa_richness": [22.0],
            "ept_richness": [8.0],
            "percent_ept": [30.0],
            "percent_dominant": [48.0],
            "family_biotic_index": [5.2],
        }
    )
    rated = rate_metrics(steps, values)
    assert rated.loc[0].tolist() == [5, 3, 3, 3, 3]
    assert classify(combine_scores(steps, rated), steps).tolist() == ["Fair"]
    ends = {"taxa_richness": ("ceiling", 30.0), "family_biotic_index": ("ceiling", 3.0)}
    assert [item.metric for item in ramps.metrics if isinstance(item.ceiling, Percentile)] == list(ends)
    fixed = tuple(
        replace(item, **dict([ends[item.metric]])) if item.metric in ends else item for item in ramps.metrics
    )
    values = pd.DataFrame(
        {
            "taxa_richness": [21.0],
            "ept_richness": [6.0],
            "shannon_diversity": [2.1],
            "family_biotic_index": [6.5],
        }
    )
    ramps = replace(ramps, metrics=fixed)
    rated = rate_metrics(ramps, values)
    np.testing.assert_allclose(rated.loc[0], [70, 50, 70, 50])
    assert combine_scores(ramps, rated).tolist() == pytest.approx([60.0])


def make_survey() -> tuple[pd.DataFrame, pd.DataFrame]:
    rows = [
        ("Perlidae", True, 1.0),
        ("Baetidae", True, 4.0),
        ("Chironomidae", False, 6.0),
        ("Worm", False, np.nan),
    ]
    taxa = pd.DataFrame(rows, columns=["taxon", "ept", "tolerance"])
    taxa = taxa.assign(known=True, rank="family", family=taxa["taxon"], order="", group="Insecta")
    taxa["order"] = ["Plecoptera", "Ephemeroptera", "Diptera", ""]
    taxa.index = pd.Index(taxa["taxon"], name="name")
    counts = pd.DataFrame(
        [("a", "Perlidae", 30), ("a", "Baetidae", 10), ("a", "Worm", 10), ("b", "Chironomidae", 40)],
        columns=["sample_id", "taxon", "count"],
    )
    return counts, taxa


def test_a_definition_is_scored_from_metrics_and_indices_together() -> None:
    counts, taxa = make_survey()
    block = '[[metrics]]\nmetric = "family_biotic_index"\nscale = "0-100"\nfloor = 10\nceiling = 0\n'
    ept = '[[metrics]]\nmetric = "percent_ept"\nscale = "0-100"\nfloor = 0\nceiling = 100\n'
    index = read(HEAD.replace('"sum"', '"mean"') + block + ept + CLASSES)
    found = score_index("ours", counts, taxa, definition=index)
    np.testing.assert_allclose(found["score"], [(82.5 + 80) / 2, (40 + 0) / 2])
    assert found["scored_individuals"].tolist() == [40, 40]
    assert found["individuals_without_tolerance"].tolist() == [10, 0]
    metrics = pd.DataFrame({"percent_ept": [80.0, 0.0]}, index=pd.Index(["a", "b"], name="sample_id"))
    pd.testing.assert_frame_equal(found, score_index("ours", counts, taxa, definition=index, metrics=metrics))


def test_a_definition_fixed_once_keeps_its_scale_for_other_counts() -> None:
    counts, taxa = make_survey()
    index = read(ramp(ceiling='"p100"'))
    fixed = fix_definition(index, counts, taxa)
    assert fixed.metrics[0].ceiling == 3
    only_b = counts[counts["sample_id"] == "b"]
    assert score_index("ours", only_b, taxa, definition=fixed)["score"].tolist() == pytest.approx([100 / 3])
    assert score_index("ours", only_b, taxa, definition=index)["score"].tolist() == [100]
