"""A survey is read whole: all faults of all files at once, and what is only odd is a notice."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import pytest

from watershedmap.errors import Fault, SurveyError, SurveyNotFoundError
from watershedmap.survey import read_survey

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import SurveyFolder


def faults_of(folder: SurveyFolder) -> tuple[Fault, ...]:
    with pytest.raises(SurveyError) as caught:
        read_survey(folder.path)
    return caught.value.faults


def test_a_good_survey_is_read_without_notices(survey_folder: SurveyFolder) -> None:
    survey = read_survey(survey_folder.path)
    assert survey.notices == ()
    assert survey.placement["reach_id"].tolist() == ["a", "c"]
    assert [path.name for path in survey.inputs] == [
        "areas.geojson",
        "counts.csv",
        "reaches.geojson",
        "samples.csv",
        "sites.csv",
        "survey.toml",
    ]


def test_faults_of_every_file_are_found_in_one_reading(survey_folder: SurveyFolder) -> None:
    survey_folder.change("sites.csv", "50.03", "150.03")
    survey_folder.change("samples.csv", "2025-05-02", "soon")
    survey_folder.change("counts.csv", "Asellidae,30", "Asellidae,many")
    survey_folder.write("areas.geojson", "{}")
    survey_folder.write_reaches({"a": [(10, 50), (10.1, 50)]}, {"a": {"downstream_id": "a"}})
    files = {fault.file for fault in faults_of(survey_folder) if fault.severity == "fault"}
    assert files == {"sites.csv", "samples.csv", "counts.csv", "areas.geojson", "reaches.geojson"}


def test_a_cycle_is_a_fault_that_names_its_reaches(survey_folder: SurveyFolder) -> None:
    text = (survey_folder.path / "reaches.geojson").read_text()
    survey_folder.write("reaches.geojson", text.replace('"downstream_id": ""', '"downstream_id": "c"'))
    faults = [fault for fault in faults_of(survey_folder) if fault.severity == "fault"]
    assert len(faults) == 1
    assert faults[0].file == "reaches.geojson"
    assert {"c", "d"} <= set(faults[0].value.replace(",", " ").split())


def test_an_unknown_taxon_is_reported_with_its_nearest_spelling_and_kept(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "2,Baetidae", "2,Baetidea")
    survey = read_survey(survey_folder.path)
    assert [(fault.row, fault.value) for fault in survey.notices] == [(5, "Baetidea")]
    assert "Baetidae" in survey.notices[0].fix
    assert survey.counts is not None
    assert "Baetidea" in set(survey.counts["taxon"])


def test_unknown_taxa_stop_the_run_when_the_survey_says_so(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[options]\nunknown_taxa = "stop"\n[tables]')
    survey_folder.change("counts.csv", "2,Baetidae", "2,Baetidea")
    assert [fault.value for fault in faults_of(survey_folder)] == ["Baetidea"]


def test_a_sample_without_counts_is_noticed(survey_folder: SurveyFolder) -> None:
    survey_folder.change("samples.csv", "3,C1", "4,C1,2025-06-02,D-net,1\n3,C1")
    assert [(fault.value, fault.problem) for fault in read_survey(survey_folder.path).notices] == [
        ("4", "this sample has no counts")
    ]


def test_a_site_far_from_every_reach_is_noticed_and_placed_nowhere(survey_folder: SurveyFolder) -> None:
    survey_folder.change("sites.csv", "10.0101", "10.0501")
    survey = read_survey(survey_folder.path)
    assert survey.placement["reach_id"].isna().tolist() == [False, True]
    assert len(survey.notices) == 1


def test_settings_with_faults_stop_before_anything_else_is_read(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", "[option]\n[tables]")
    assert [fault.file for fault in faults_of(survey_folder)] == ["survey.toml"]


def test_an_index_that_does_not_exist_is_a_fault_beside_those_of_the_tables(
    survey_folder: SurveyFolder,
) -> None:
    survey_folder.change("survey.toml", "[tables]", '[index]\nuse = "family_biotic_indx"\n[tables]')
    survey_folder.change("counts.csv", "Asellidae,30", "Asellidae,many")
    assert {(fault.file, fault.column) for fault in faults_of(survey_folder)} == {
        ("survey.toml", "index.use"),
        ("counts.csv", "count"),
    }


def test_no_folder_is_told_from_a_bad_one(tmp_path: Path) -> None:
    with pytest.raises(SurveyNotFoundError):
        read_survey(tmp_path / "nowhere")


def test_a_method_that_no_sample_has_is_a_fault(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[options]\nmethods = ["kik seine"]\n[tables]')
    (fault,) = faults_of(survey_folder)
    assert (fault.column, fault.fix) == ("options.methods", "the samples have: D-net, kick seine")


def test_every_part_of_a_shapefile_is_an_input(survey_folder: SurveyFolder) -> None:
    frame = gpd.read_file(survey_folder.path / "reaches.geojson").rename(columns={"downstream_id": "down"})
    frame.to_file(survey_folder.path / "r.shp")
    survey_folder.change("survey.toml", "reaches.geojson", "r.shp")
    survey_folder.change("survey.toml", "[layers]", '[columns.reaches]\ndownstream_id = "down"\n[layers]')
    names = {path.name for path in read_survey(survey_folder.path).inputs}
    assert {"r.shp", "r.dbf", "r.shx", "r.prj"} <= names


def test_reaches_of_no_length_are_noticed(survey_folder: SurveyFolder) -> None:
    text = (survey_folder.path / "reaches.geojson").read_text()
    survey_folder.write(
        "reaches.geojson", text.replace("[10.02, 50.04], [10.01, 50.02]", "[10.01, 50.02], [10.01, 50.02]")
    )
    problems = {notice.problem for notice in read_survey(survey_folder.path).notices}
    found = "places to look at in the layers: outside of all areas 1"  # what has no length lies nowhere
    assert problems == {"1 reach(es) have a line of no length", found}


def test_a_fault_in_the_stream_layer_adds_no_remarks_about_its_direction(survey_folder: SurveyFolder) -> None:
    survey_folder.write("reaches.geojson", "{}")
    assert len(faults_of(survey_folder)) == 1
