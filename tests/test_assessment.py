"""The pipeline end to end, on the small survey and on the demo's story."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

import watershedmap
from watershedmap.assessment import Assessment, assess

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import SurveyFolder


def test_scores_reach_the_map_frames(survey_folder: SurveyFolder) -> None:
    assessment = assess(survey_folder.path)
    samples = assessment.samples.set_index("sample_id")
    # Tolerance after Hilsenhoff 1988, from memory: Perlidae 1, Baetidae 4, Chironomidae 6, Asellidae 8.
    assert samples["score"].to_dict() == pytest.approx(
        {"1": (60 * 1 + 60 * 4) / 120, "2": (80 * 1 + 40 * 4) / 120, "3": (90 * 6 + 30 * 8) / 120}
    )
    reaches = assessment.reaches.set_index("reach_id")
    assert reaches["evidence"].to_dict() == {
        "a": "measured",
        "b": "inferred",
        "c": "measured",
        "d": "inferred",
    }
    assert reaches.loc["a", "score"] == pytest.approx(2.25)
    assert reaches.loc["c", "class"] == "Fairly poor"  # 6.50, the closed end of its class
    assert reaches.loc["d", "inferred_from"] == "C1"
    assert reaches["strahler_order"].to_dict() == {"a": 1, "b": 1, "c": 2, "d": 2}
    assert reaches["subwatershed_id"].to_dict() == {"a": "north", "b": "north", "c": "south", "d": "south"}


def test_an_unmeasured_reach_has_no_trend_and_a_measured_one_with_few_years_says_so(
    survey_folder: SurveyFolder,
) -> None:
    reaches = assess(survey_folder.path).reaches.set_index("reach_id")
    assert reaches.loc["a", "trend"] == "too few years"
    assert reaches.loc[["b", "d"], "trend"].isna().all()
    assert reaches["slope_per_year"].isna().all()


def test_the_input_frames_are_not_changed(survey_folder: SurveyFolder) -> None:
    survey = watershedmap.read_survey(survey_folder.path)
    before = survey.samples.copy(), survey.sites.copy(), survey.reaches.copy()
    watershedmap.assess_survey(survey)
    for old, new in zip(before, (survey.samples, survey.sites, survey.reaches), strict=True):
        pd.testing.assert_frame_equal(old, new)


def test_a_method_can_be_chosen(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[options]\nmethods = ["kick seine"]\n[tables]')
    sites = assess(survey_folder.path).sites.set_index("site_id")
    assert sites.loc["C1", "n_samples"] == 0
    assert np.isnan(sites.loc["C1", "score"])


def test_small_samples_are_flagged_and_can_be_left_out(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "3,Chironomidae,90\n3,Asellidae,30", "3,Chironomidae,9")
    kept = assess(survey_folder.path).samples.set_index("sample_id")
    assert "under 100 individuals" in kept.loc["3", "flags"]
    assert kept.loc["3", "used"]
    survey_folder.change("survey.toml", "[tables]", "[options]\nuse_small_samples = false\n[tables]")
    assert not assess(survey_folder.path).samples.set_index("sample_id").loc["3", "used"]


def test_methods_that_change_at_a_site_are_noticed(survey_folder: SurveyFolder) -> None:
    survey_folder.change("samples.csv", "2,A1,2025-05-01,kick seine", "2,A1,2025-05-01,D-net")
    assert [notice.value for notice in assess(survey_folder.path).notices] == ["D-net, kick seine"]


def test_a_metric_becomes_the_index_once_its_classes_are_given(survey_folder: SurveyFolder) -> None:
    classes = (
        '[index]\nuse = "ept_richness"\nbetter = "high"\n'
        '[[index.classes]]\nlabel = "many"\nlimit = 2\n[[index.classes]]\nlabel = "few"\n'
    )
    survey_folder.change("survey.toml", "[tables]", classes + "[tables]")
    reaches = assess(survey_folder.path).reaches.set_index("reach_id")
    assert reaches["class"].dropna().to_dict() == {"a": "many", "b": "few", "c": "few", "d": "few"}


def test_scores_brought_in_need_no_counts_and_leave_metrics_unknown(survey_folder: SurveyFolder) -> None:
    survey_folder.change(
        "survey.toml",
        'samples = "samples.csv"\ncounts = "counts.csv"',
        'scores = "scores.csv"\n[index]\nuse = "scores"\nbetter = "high"\n'
        '[[index.classes]]\nlabel = "good"\nlimit = 50\n[[index.classes]]\nlabel = "bad"\n',
    )
    rows = "".join(
        f"A1,{year}-05-01,{score}\n" for year, score in zip(range(2018, 2024), range(30, 90, 10), strict=True)
    )
    survey_folder.write("scores.csv", "site_id,date,score\n" + rows)
    assessment = assess(survey_folder.path)
    assert assessment.taxa is None
    assert assessment.samples["total_individuals"].isna().all()
    site = assessment.sites.set_index("site_id").loc["A1"]
    assert site["class"] == "good"
    assert site["trend"] == "improving"  # the score rises, and high is good
    assert site["slope_per_year"] == pytest.approx(10)


def test_a_layer_of_unknown_direction_gives_only_what_was_measured(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[options]\ndirection = "unknown"\n[tables]')
    text = (survey_folder.path / "reaches.geojson").read_text()
    survey_folder.write("reaches.geojson", text.replace("downstream_id", "other"))
    reaches = assess(survey_folder.path).reaches.set_index("reach_id")
    assert reaches["evidence"].to_dict() == {
        "a": "measured",
        "b": "unassessed",
        "c": "measured",
        "d": "unassessed",
    }
    flow = [
        "strahler_order",
        "upstream_km",
        "upstream_sites",
        "site_upstream",
        "site_downstream",
        "downstream_id",
    ]
    assert reaches[flow].isna().all(axis=None)


def test_a_survey_without_sub_watersheds_is_whole(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", 'subwatersheds = "areas.geojson"\n', "")
    assessment = assess(survey_folder.path)
    assert assessment.subwatersheds is None
    assert assessment.sites["subwatershed_id"].isna().all()


def test_an_index_from_few_individuals_of_many_is_flagged_and_can_be_left_out(
    survey_folder: SurveyFolder,
) -> None:
    # Worms carry no tolerance value in the list of 1988, so the index rests on one stonefly.
    survey_folder.change("counts.csv", "3,Chironomidae,90\n3,Asellidae,30", "3,Tubificidae,500\n3,Perlidae,1")
    sample = assess(survey_folder.path).samples.set_index("sample_id").loc["3"]
    assert "index from 1 individuals only" in sample["flags"]
    survey_folder.change("survey.toml", "[tables]", "[options]\nuse_small_samples = false\n[tables]")
    assert not assess(survey_folder.path).samples.set_index("sample_id").loc["3", "used"]


def test_samples_that_are_not_used_are_counted_by_reason(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "3,Chironomidae,90\n3,Asellidae,30", "3,Tubificidae,500")
    problems = [notice.problem for notice in assess(survey_folder.path).notices]
    assert "1 of 3 samples are not used (No score: 1)" in problems


def test_a_site_of_blank_samples_has_too_few_years_and_one_without_samples_no_trend(
    survey_folder: SurveyFolder,
) -> None:
    survey_folder.change("counts.csv", "3,Chironomidae,90\n3,Asellidae,30", "3,Baetidae,0")
    survey_folder.change("sites.csv", "C1,", "B1,Upper b,10.0151,50.03,\nC1,")
    sites = assess(survey_folder.path).sites.set_index("site_id")
    assert sites.loc["C1", "trend"] == "too few years"
    assert pd.isna(sites.loc["B1", "trend"])


def test_a_last_year_that_stands_alone_is_noticed_with_the_sites_it_makes_old(
    survey_folder: SurveyFolder,
) -> None:
    survey_folder.change("samples.csv", "2025-05-02", "2092-05-02")
    found = {notice.value for notice in assess(survey_folder.path).notices}
    assert found == {"2092", "A1"}


def test_streams_and_sites_outside_every_sub_watershed_are_noticed(survey_folder: SurveyFolder) -> None:
    text = (survey_folder.path / "areas.geojson").read_text()
    survey_folder.write("areas.geojson", text.replace("50.02", "50.035"))
    survey_folder.write("areas.geojson", text.replace("49.9,", "50.015,").replace("49.9]", "50.015]"))
    notices = [
        notice for notice in assess(survey_folder.path).notices if "no sub-watershed" in notice.problem
    ]
    assert [notice.value for notice in notices] == ["C1"]


@pytest.fixture(scope="module")
def demo(demo_folder: Path) -> Assessment:
    return assess(demo_folder)


@pytest.mark.parametrize(
    ("site", "wanted"),
    [
        ("S01", {"Excellent"}),  # a clean headwater
        ("S07", {"Fairly poor", "Poor", "Very poor"}),  # the town
        ("S08", {"Fairly poor", "Poor", "Very poor"}),  # below its outfall
        ("S10", {"Good", "Fair"}),  # after a clean tributary has joined
    ],
)
def test_the_demo_tells_its_story_of_condition(demo: Assessment, site: str, wanted: set[str]) -> None:
    assert demo.sites.set_index("site_id").loc[site, "class"] in wanted


def test_the_demo_tells_its_story_of_trends(demo: Assessment) -> None:
    trends = demo.sites.set_index("site_id")["trend"]
    assert trends[trends == "improving"].index.tolist() == ["S26"]
    assert trends[trends == "worsening"].index.tolist() == ["S16"]
    assert set(trends[trends == "too few years"].index) == {"S19", "S27", "S28"}


def test_the_demos_clean_tributary_dilutes_the_river_below_the_town(demo: Assessment) -> None:
    score = demo.sites.set_index("site_id")["score"]
    assert score["S06"] < score["S09"] < score["S08"]
    assert score["S23"] < score["S09"]


def test_the_demos_stale_site_says_nothing_of_its_reach_today(demo: Assessment) -> None:
    site = demo.sites.set_index("site_id").loc["S28"]
    reach = demo.reaches.set_index("reach_id").loc[site["reach_id"]]
    assert not site["current"]
    assert reach["evidence"] != "measured"


def test_the_demo_leaves_one_branch_without_measurement(demo: Assessment) -> None:
    assert demo.subwatersheds is not None
    assert (demo.subwatersheds["measured_km"] == 0).sum() == 1


def test_lengths_add_up_over_evidence_and_over_sub_watersheds(demo: Assessment) -> None:
    reaches, areas = demo.reaches, demo.subwatersheds
    assert areas is not None
    outlet = reaches[reaches["downstream_id"].isna()]
    assert outlet["upstream_km"].tolist() == pytest.approx([reaches["length_km"].sum()])
    per_class = [column for column in reaches if column.startswith("upstream_km_")]
    assert reaches[per_class].sum(axis=1).to_numpy() == pytest.approx(reaches["upstream_km"].to_numpy())
    assert areas["stream_km"].sum() == pytest.approx(reaches["length_km"].sum(), rel=0.01)


@pytest.mark.parametrize("use", ["biotic_index", "bmwp", "aspt", "streamside_rating"])
def test_every_built_in_index_goes_all_the_way_to_the_map(survey_folder: SurveyFolder, use: str) -> None:
    survey_folder.change("survey.toml", "[tables]", f'[index]\nuse = "{use}"\n[tables]')
    assessment = assess(survey_folder.path)
    assert assessment.index.name == use
    assert assessment.samples["score"].notna().all()
    assert assessment.reaches["class"].notna().sum() >= 2
    watershedmap.write_results(assessment, survey_folder.path.parent / "out")


def test_a_definition_file_makes_the_index(survey_folder: SurveyFolder) -> None:
    survey_folder.write(
        "index.toml",
        '[index]\nname = "ours"\nlabel = "Ours"\ncombination = "sum"\ndecimals = 0\nsource = "made up"\n'
        '[[metrics]]\nmetric = "percent_ept"\nscale = "1-3-5"\ncut_points = [50, 20]\n'
        '[[metrics]]\nmetric = "taxa_richness"\nscale = "1-3-5"\ncut_points = [3, 1]\n'
        '[[classes]]\nlabel = "Good"\nlimit = 8\n[[classes]]\nlabel = "Poor"\n',
    )
    survey_folder.change("survey.toml", "[tables]", '[index]\ndefinition = "index.toml"\n[tables]')
    assessment = assess(survey_folder.path)
    assert assessment.samples.set_index("sample_id")["score"].to_dict() == {"1": 8, "2": 8, "3": 4}
    assert [path.name for path in assessment.survey.inputs].count("index.toml") == 1


def test_a_fault_in_a_definition_file_names_its_key(survey_folder: SurveyFolder) -> None:
    survey_folder.write(
        "index.toml",
        '[index]\nname = "x"\nlabel = "x"\ncombination = "sum"\n[[metrics]]\nmetric = "percnt_ept"\n',
    )
    survey_folder.change("survey.toml", "[tables]", '[index]\ndefinition = "index.toml"\n[tables]')
    with pytest.raises(watershedmap.SurveyError) as caught:
        assess(survey_folder.path)
    assert {fault.file for fault in caught.value.faults} == {"index.toml"}
    assert any("percent_ept" in fault.fix for fault in caught.value.faults)


def test_a_survey_brings_its_own_taxa_and_the_methods_say_so(survey_folder: SurveyFolder) -> None:
    survey_folder.write("taxa.csv", "taxon,tolerance\nPerlidae,3\nBlue wriggler,9\n")
    survey_folder.change("survey.toml", "[tables]", '[tables]\ntaxa = "taxa.csv"')
    survey_folder.change("counts.csv", "2,Baetidae", "2,Blue wriggler")
    assessment = assess(survey_folder.path)
    assert assessment.samples.set_index("sample_id")["score"].to_dict() == pytest.approx(
        {"1": (60 * 3 + 60 * 4) / 120, "2": (80 * 3 + 40 * 9) / 120, "3": 6.5}
    )
    assert assessment.taxa is not None
    assert assessment.taxa["origin"].to_dict()["Perlidae"] == "survey"
    assert assessment.taxa["origin"].to_dict()["Baetidae"] == "built in"


def test_another_list_of_tolerance_values_can_be_chosen(survey_folder: SurveyFolder) -> None:
    # Tabanidae: 6 after Hilsenhoff 1988 (from memory), 8 in Barbour et al. 1999, Appendix B, Northwest.
    survey_folder.change("counts.csv", "3,Asellidae,30", "3,Tabanidae,30")
    before = assess(survey_folder.path).samples.set_index("sample_id").loc["3", "score"]
    survey_folder.change("survey.toml", "[tables]", '[options]\ntolerance = "rbp_northwest"\n[tables]')
    after = assess(survey_folder.path).samples.set_index("sample_id").loc["3", "score"]
    assert (before, after) == pytest.approx((6.0, (90 * 6 + 30 * 8) / 120))


def test_a_quality_limit_can_leave_samples_out_and_they_are_listed(survey_folder: SurveyFolder) -> None:
    survey_folder.write(
        "samples.csv",
        "sample_id,site_id,date,method,sorting_efficiency\n"
        "1,A1,2024-05-01,kick seine,95\n2,A1,2025-05-01,kick seine,80\n3,C1,2025-05-02,D-net,\n",
    )
    survey_folder.change(
        "survey.toml",
        "[tables]",
        '[quality]\nsorting_efficiency = { limit = 90, action = "leave out" }\n[tables]',
    )
    assessment = assess(survey_folder.path)
    assert assessment.samples.set_index("sample_id")["used"].to_dict() == {"1": True, "2": False, "3": True}
    hit = assessment.checks.set_index("check").loc["sorting_efficiency"]
    assert (hit["sample_id"], hit["action"]) == ("2", "leave out")


def test_a_model_of_affinity_that_does_not_sum_to_100_is_a_fault(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", "[affinity_model]\nEphemeroptera = 40\n[tables]")
    with pytest.raises(watershedmap.SurveyError) as caught:
        assess(survey_folder.path)
    assert [fault.column for fault in caught.value.faults] == ["affinity_model"]


def test_condition_carries_its_error_and_class_probabilities(demo: Assessment) -> None:
    columns = [f"probability_{number}" for number in range(1, 8)]
    sites = demo.sites[demo.sites["score_se"].notna()]
    assert sites[columns].sum(axis=1).to_numpy() == pytest.approx(1.0)
    assert sites["class_certainty"].between(0, 1).all()
    measured = demo.reaches["evidence"] == "measured"
    assert demo.reaches.loc[measured, "class_certainty"].notna().all()
    inferred = demo.reaches["evidence"] == "inferred"
    assert demo.reaches.loc[inferred, "class_certainty"].notna().all()
    assert demo.reaches.loc[~measured & ~inferred, "class_certainty"].isna().all()
    width = demo.reaches["score_high"] - demo.reaches["score_low"]
    assert width[inferred].median() > width[measured].median()
    assert demo.samples["score_low"].notna().mean() > 0.99


def test_a_sample_that_is_left_out_does_not_set_the_year(survey_folder: SurveyFolder) -> None:
    survey_folder.change("samples.csv", "3,C1,2025-05-02,D-net", "3,C1,2052-05-02,D-net")
    survey_folder.change("survey.toml", "[tables]", '[options]\nmethods = ["kick seine"]\n[tables]')
    assessment = assess(survey_folder.path)
    assert assessment.as_of_year == 2025
    assert (assessment.reaches["evidence"] == "measured").any()


def test_a_condition_is_never_surer_than_the_counts_behind_it(demo: Assessment) -> None:
    both = demo.sites[demo.sites["score_se"].notna()]
    assert set(both["interval_basis"]) == {"years", "counts"}


def test_genus_limits_over_family_values_are_noticed(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[index]\nuse = "biotic_index"\n[tables]')
    assert any("values of families" in notice.problem for notice in assess(survey_folder.path).notices)
