"""Samples, counts and scores: a missing value is never a zero, and nothing is dropped in silence."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from watershedmap.errors import SurveyError
from watershedmap.readers.samples import read_counts, read_samples, read_scores
from watershedmap.readers.settings import read_settings
from watershedmap.survey import read_survey

if TYPE_CHECKING:
    import pandas as pd
    from conftest import SurveyFolder

    from watershedmap.errors import Fault

SITES = {"A1", "C1"}


def samples_of(folder: SurveyFolder) -> tuple[pd.DataFrame, list[Fault]]:
    return read_samples(folder.path, read_settings(folder.path)[0], site_ids=SITES)


def counts_of(folder: SurveyFolder) -> tuple[pd.DataFrame, list[Fault]]:
    settings, _ = read_settings(folder.path)
    return read_counts(folder.path, settings, samples=samples_of(folder)[0])


def test_a_good_survey_has_no_faults(survey_folder: SurveyFolder) -> None:
    samples, faults = samples_of(survey_folder)
    counts, more = counts_of(survey_folder)
    assert faults + more == []
    assert samples["year"].tolist() == [2024, 2025, 2025]
    assert counts["count"].sum() == 360


@pytest.mark.parametrize(
    ("old", "new", "column", "problem"),
    [
        ("3,C1", "2,C1", "sample_id", "this value stands in an earlier row too"),
        ("3,C1", ",C1", "sample_id", "this cell is empty"),
        ("3,C1", "3,C2", "site_id", "this is not in the table of sites"),
        ("2025-05-02", "02.05.2025", "date", "this is not a date in the expected form"),
    ],
)
def test_each_fault_of_a_sample_is_named(
    survey_folder: SurveyFolder, old: str, new: str, column: str, problem: str
) -> None:
    survey_folder.change("samples.csv", old, new)
    _, faults = samples_of(survey_folder)
    assert [(fault.row, fault.column, fault.problem) for fault in faults] == [(4, column, problem)]


@pytest.mark.parametrize(
    ("old", "new", "column", "problem"),
    [
        ("3,Asellidae,30", "9,Asellidae,30", "sample_id", "this is not in the table of samples"),
        ("3,Asellidae,30", "3,,30", "taxon", "this cell is empty"),
        ("3,Asellidae,30", "3,Asellidae,", "count", "the value is missing"),
        ("3,Asellidae,30", "3,Asellidae,-3", "count", "the number is out of range"),
        ("3,Asellidae,30", "3,Asellidae,2.5", "count", "not a whole number"),
    ],
)
def test_each_fault_of_a_count_is_named(
    survey_folder: SurveyFolder, old: str, new: str, column: str, problem: str
) -> None:
    survey_folder.change("counts.csv", old, new)
    _, faults = counts_of(survey_folder)
    assert [(fault.row, fault.column, fault.problem) for fault in faults] == [(7, column, problem)]


def test_a_date_format_of_the_survey_is_followed(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[options]\ndate_format = "%d.%m.%Y"\n[tables]')
    survey_folder.write("samples.csv", "sample_id,site_id,date\n1,A1,31.12.2024\n")
    samples, faults = samples_of(survey_folder)
    assert faults == []
    assert samples["date"].dt.strftime("%Y-%m-%d").tolist() == ["2024-12-31"]


def test_a_sample_entered_twice_is_noticed(survey_folder: SurveyFolder) -> None:
    survey_folder.change("samples.csv", "3,C1,2025-05-02,D-net,1", "3,A1,2025-05-01,kick seine,1")
    _, faults = samples_of(survey_folder)
    assert [(fault.row, fault.severity) for fault in faults] == [(4, "notice")]


def test_a_taxon_given_twice_is_noticed_whatever_its_case(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "3,Asellidae", "3,chironomidae")
    counts, faults = counts_of(survey_folder)
    assert [(fault.row, fault.severity) for fault in faults] == [(7, "notice")]
    assert len(counts) == 6


def test_a_count_of_zero_is_kept(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "3,Asellidae,30", "3,Asellidae,0")
    counts, faults = counts_of(survey_folder)
    assert faults == []
    assert counts["count"].tolist()[-1] == 0


def test_scores_can_come_without_sample_ids(survey_folder: SurveyFolder) -> None:
    survey_folder.change(
        "survey.toml", 'samples = "samples.csv"\ncounts = "counts.csv"', 'scores = "scores.csv"'
    )
    survey_folder.write("scores.csv", "site_id,date,score\nA1,2025-05-01,3.5\nC1,2025-05-01,\n")
    scores, faults = read_scores(survey_folder.path, read_settings(survey_folder.path)[0], site_ids=SITES)
    assert scores["sample_id"].tolist() == ["row 2", "row 3"]
    assert scores["score"].isna().tolist() == [False, True]
    assert [(fault.row, fault.problem) for fault in faults] == [(3, "the value is missing")]


@pytest.mark.parametrize(
    ("table", "column"),
    [
        ("sites", "site_id"),
        ("sites", "longitude"),
        ("sites", "latitude"),
        ("samples", "sample_id"),
        ("samples", "site_id"),
        ("samples", "date"),
        ("counts", "sample_id"),
        ("counts", "taxon"),
        ("counts", "count"),
    ],
)
@pytest.mark.parametrize("way", ["renamed in the file", "mistyped in survey.toml"])
def test_a_required_column_that_is_missing_is_one_fault_in_its_table(
    survey_folder: SurveyFolder, table: str, column: str, way: str
) -> None:
    if way == "renamed in the file":
        survey_folder.change(f"{table}.csv", column, "other")
    else:
        survey_folder.change("survey.toml", "[tables]", f'[columns.{table}]\n{column} = "Zzz"\n[tables]')
    with pytest.raises(SurveyError) as caught:
        read_survey(survey_folder.path)
    found = [
        fault for fault in caught.value.faults if fault.file == f"{table}.csv" and fault.severity == "fault"
    ]
    assert [fault.problem for fault in found] == ["the column is missing"]


@pytest.mark.parametrize("column", ["site_id", "date", "score"])
def test_a_required_column_missing_from_scores_is_one_fault(survey_folder: SurveyFolder, column: str) -> None:
    survey_folder.change(
        "survey.toml", 'samples = "samples.csv"\ncounts = "counts.csv"', 'scores = "scores.csv"'
    )
    survey_folder.write("scores.csv", "site_id,date,score\nA1,2025-05-01,3.5\n".replace(column, "other"))
    _, faults = read_scores(survey_folder.path, read_settings(survey_folder.path)[0], site_ids=SITES)
    assert [fault.problem for fault in faults] == ["the column is missing"]


def test_replicates_taken_at_different_hours_are_one_visit(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[options]\ndate_format = "%Y-%m-%d %H:%M"\n[tables]')
    survey_folder.write(
        "samples.csv", "sample_id,site_id,date\n1,A1,2024-05-01 10:00\n2,A1,2024-05-01 10:20\n"
    )
    samples, _ = samples_of(survey_folder)
    assert len(set(samples["date"])) == 1


def test_a_count_beyond_any_sample_is_a_slip(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "3,Asellidae,30", "3,Asellidae,1e19")
    _, faults = counts_of(survey_folder)
    assert [(fault.problem, fault.fix) for fault in faults] == [
        ("the number is out of range", "expected 0 to 10,000,000")
    ]


def write_effort(folder: SurveyFolder, heading: str, *cells: str) -> tuple[pd.DataFrame, list[Fault]]:
    rows = [f"{number},A1,2024-05-0{number},{text}" for number, text in enumerate(cells, start=1)]
    folder.write("samples.csv", "\n".join([f"sample_id,site_id,date,{heading}", *rows, ""]))
    return samples_of(folder)


def test_effort_and_quality_columns_are_read_and_empty_cells_are_unknown(survey_folder: SurveyFolder) -> None:
    heading = "fraction_sorted,area_m2,minutes,sorting_efficiency,taxonomic_disagreement,count_difference"
    samples, faults = write_effort(survey_folder, heading, "0.25,2.5,30,95,0,0", ",,NA,,,")
    assert faults == []
    columns = heading.split(",")
    assert samples.loc[0, columns].tolist() == [0.25, 2.5, 30, 95, 0, 0]
    assert samples.loc[1, columns].isna().all()


def test_columns_that_the_table_does_not_have_are_not_made_up(survey_folder: SurveyFolder) -> None:
    samples, _ = samples_of(survey_folder)
    assert list(samples.columns) == ["sample_id", "site_id", "date", "year", "method", "replicate"]


@pytest.mark.parametrize(
    ("column", "cell", "problem"),
    [
        ("fraction_sorted", "0", "not above 0"),
        ("fraction_sorted", "1.01", "the number is out of range"),
        ("fraction_sorted", "-0.1", "the number is out of range"),
        ("fraction_sorted", "all", "this is not a number"),
        ("area_m2", "0", "not above 0"),
        ("minutes", "-5", "the number is out of range"),
        ("sorting_efficiency", "100.5", "the number is out of range"),
        ("taxonomic_disagreement", "-1", "the number is out of range"),
        ("count_difference", "101", "the number is out of range"),
        ("grids_picked", "2.5", "not a whole number"),
    ],
)
def test_an_impossible_effort_is_a_fault_at_its_row(
    survey_folder: SurveyFolder, column: str, cell: str, problem: str
) -> None:
    samples, faults = write_effort(survey_folder, column, cell)
    assert [(fault.row, fault.column, fault.problem) for fault in faults] == [(2, column, problem)]
    assert samples[column].isna().all()


def test_the_share_sorted_comes_from_the_grids(survey_folder: SurveyFolder) -> None:
    samples, faults = write_effort(survey_folder, "grids_picked,grids_total", "4,30", "30,30", ",30")
    assert faults == []
    assert samples["fraction_sorted"].tolist()[:2] == [4 / 30, 1.0]
    assert samples["fraction_sorted"].isna().tolist() == [False, False, True]


def test_a_share_beside_grids_may_be_rounded_but_not_differ(survey_folder: SurveyFolder) -> None:
    heading = "grids_picked,grids_total,fraction_sorted"
    samples, faults = write_effort(survey_folder, heading, "4,30,0.13", "4,30,0.15", ",,0.5")
    assert [(fault.row, fault.problem) for fault in faults] == [(3, "this does not agree with the grids")]
    assert samples["fraction_sorted"].tolist() == [4 / 30, 4 / 30, 0.5]


def test_more_grids_than_the_tray_has_are_a_fault(survey_folder: SurveyFolder) -> None:
    _, faults = write_effort(survey_folder, "grids_picked,grids_total", "31,30")
    assert [(fault.row, fault.column, fault.problem) for fault in faults] == [
        (2, "grids_picked", "more grids were picked than there are")
    ]
