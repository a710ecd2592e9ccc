"""survey.toml: every fault found in one reading, nothing quietly ignored."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import TYPE_CHECKING

import pytest

from watershedmap.errors import SurveyNotFoundError
from watershedmap.readers.settings import read_settings
from watershedmap.settings import CheckSetting, Options, Quality

if TYPE_CHECKING:
    from pathlib import Path

GOOD = """\
[tables]
sites = "sites.csv"
samples = "samples.csv"
counts = "counts.csv"
[layers]
reaches = { path = "streams.gpkg", layer = "main" }
"""
SCORES = GOOD.replace('samples = "samples.csv"\ncounts = "counts.csv"', 'scores = "scores.csv"')


def read(folder: Path, text: str) -> tuple[object, list[tuple[str, str]]]:
    (folder / "survey.toml").write_text(text, encoding="utf-8")
    settings, faults = read_settings(folder)
    return settings, [(fault.column, fault.problem) for fault in faults]


def test_what_is_not_said_has_its_default(tmp_path: Path) -> None:
    settings, faults = read(tmp_path, GOOD)
    assert faults == []
    assert settings.options == Options()
    assert settings.title == tmp_path.name
    assert settings.layers["reaches"].layer == "main"


def test_column_names_are_looked_up_and_fall_back_to_ours(tmp_path: Path) -> None:
    settings, faults = read(tmp_path, GOOD + '[columns.sites]\nsite_id = "Code"\n')
    assert faults == []
    assert settings.column("sites", "site_id") == "Code"
    assert settings.column("sites", "name") == "name"


def test_settings_turn_into_plain_json(tmp_path: Path) -> None:
    settings, _ = read(tmp_path, GOOD)
    options = json.loads(json.dumps(settings.as_dict()))["options"]
    assert set(options) == {item.name for item in fields(Options)}


@pytest.mark.parametrize(
    ("extra", "column", "problem"),
    [
        ("[option]\nsnap_m = 1\n", "option", "unknown key"),
        ("[options]\nsnap = 1\n", "options.snap", "unknown key"),
        ("[options]\nsnap_m = '1'\n", "options.snap_m", "not a number"),
        ("[options]\nsnap_m = -1\n", "options.snap_m", "less than 0"),
        ("[options]\nrecent_years = 2.5\n", "options.recent_years", "not a whole number"),
        ("[options]\nrecent_years = true\n", "options.recent_years", "not a whole number"),
        ("[options]\nuse_small_samples = 1\n", "options.use_small_samples", "not true or false"),
        ("[options]\nmethods = 'kick'\n", "options.methods", "not a list of texts"),
        ("[options]\nhalf_distance_km = 0\n", "options.half_distance_km", "not above 0"),
        ("[options]\nmin_size_ratio = 1.5\n", "options.min_size_ratio", "more than 1"),
        ("[options]\nmin_trend_years = 3\n", "options.min_trend_years", "less than 4"),
        ("[options]\ntrend_alpha = 0.9\n", "options.trend_alpha", "not between 0 and 0.5"),
        ("[options]\ndirection = 'up'\n", "options.direction", "not one of the choices"),
        ("[options]\nsnap_m = nan\n", "options.snap_m", "not a number"),
        ("[options]\nsnap_m = inf\n", "options.snap_m", "not a number"),
        (
            "[options]\nstale_after_years = 99999999999999999999\n",
            "options.stale_after_years",
            "not a whole number",
        ),
        ("[options]\ndate_format = '%Q'\n", "options.date_format", "not a form of dates that can be read"),
        (
            "[options]\ndate_format = '%d.%m.'\n",
            "options.date_format",
            "not a form of dates that can be read",
        ),
        (
            "[options]\ndate_format = '%Y-%m-%d %z'\n",
            "options.date_format",
            "not a form of dates that can be read",
        ),
        ("[index]\nbetter = 'big'\n", "index.better", "not one of the choices"),
        ("[index]\nclasses = 3\n", "index.classes", "not a list of classes"),
        ("[[index.classes]]\nlabel = 'x'\nlimit = 'y'\n", "index.classes 1.limit", "not a number"),
        ("[columns.site]\nname = 'x'\n", "columns.site", "unknown key"),
        ("columns = 3\n", "layers.columns", "unknown key"),
        ("[survey]\ntitle = 3\n", "survey.title", "this is not text"),
        ("[options]\nrarefy_to = 1\n", "options.rarefy_to", "less than 2"),
        ("[options]\ntolerance = 1988\n", "options.tolerance", "not text"),
        ("[options]\ntolerance = 'mine'\n", "options.tolerance", "there are no such tolerance values"),
        ("[options]\nindex_period = '04-15'\n", "options.index_period", "not a list of texts"),
        ("[options]\nindex_period = ['04-15']\n", "options.index_period", "not two days of the year"),
        (
            "[options]\nindex_period = ['04-31', '06-01']\n",
            "options.index_period",
            "not two days of the year",
        ),
        ("[options]\nindex_period = ['4-1', '06-01']\n", "options.index_period", "not two days of the year"),
        ("[options]\nlast_date = '31.12.2025'\n", "options.last_date", "this is not a date"),
        ("[options]\nlast_date = 2025-12-31\n", "options.last_date", "not text"),
        ("[quality]\nsorting = { limit = 80 }\n", "quality.sorting", "unknown key"),
        ("[quality]\nsorting_efficiency = 80\n", "quality.sorting_efficiency", "this is not a section"),
        (
            "[quality]\nsorting_efficiency = { limit = 101 }\n",
            "quality.sorting_efficiency.limit",
            "not a number from 0 to 100",
        ),
        ("[quality]\nlate_date = { limit = -1 }\n", "quality.late_date.limit", "not a number, 0 or more"),
        ("[quality]\nlate_date = { limit = true }\n", "quality.late_date.limit", "not a number, 0 or more"),
        ("[quality]\nmethod_change = { limit = 1 }\n", "quality.method_change.limit", "unknown key"),
        (
            "[quality]\nmethod_change = { action = 'drop' }\n",
            "quality.method_change.action",
            "not one of the choices",
        ),
        (
            "[quality]\nfew_individuals = { limit = 99.5 }\n",
            "quality.few_individuals.limit",
            "not a whole number",
        ),
        ("[index]\ndefinition = '/x.toml'\n", "index.definition", "an absolute path"),
        (
            "[index]\ndefinition = 'x.toml'\nuse = 'bmwp'\n",
            "index.use",
            "this stands beside a definition",
        ),
        (
            "[index]\ndefinition = 'x.toml'\n[[index.classes]]\nlabel = 'x'\n",
            "index.classes",
            "this stands beside a definition",
        ),
    ],
)
def test_a_wrong_key_or_value_is_a_fault(tmp_path: Path, extra: str, column: str, problem: str) -> None:
    _, faults = read(tmp_path, GOOD + extra)
    assert (column, problem) in faults


def test_all_faults_are_found_in_one_reading(tmp_path: Path) -> None:
    _, faults = read(tmp_path, "[tables]\nsite = 'x'\n[options]\nsnap_m = 'far'\n")
    assert {column for column, _ in faults} >= {
        "tables.site",
        "options.snap_m",
        "tables.sites",
        "layers.reaches",
    }


def test_a_misspelt_key_is_answered_with_the_right_one(tmp_path: Path) -> None:
    (tmp_path / "survey.toml").write_text(GOOD + "[options]\nrecent_year = 4\n", encoding="utf-8")
    _, faults = read_settings(tmp_path)
    assert "did you mean `recent_years`?" in [fault.fix for fault in faults]


@pytest.mark.parametrize(
    "path", ["/data/sites.csv", "C:\\\\data\\\\sites.csv", "\\\\\\\\server\\\\sites.csv"]
)
def test_a_path_of_one_machine_is_a_fault(tmp_path: Path, path: str) -> None:
    _, faults = read(tmp_path, GOOD.replace("sites.csv", path))
    assert ("tables.sites", "an absolute path") in faults


def test_counts_and_scores_exclude_each_other(tmp_path: Path) -> None:
    _, faults = read(tmp_path, GOOD.replace("[layers]", 'scores = "scores.csv"\n[layers]'))
    assert ("tables", "both counts and scores are named") in faults


def test_samples_without_counts_are_a_fault(tmp_path: Path) -> None:
    _, faults = read(tmp_path, GOOD.replace('counts = "counts.csv"\n', ""))
    assert ("tables", "no samples with counts, and no scores, are named") in faults


def test_scores_need_an_index_of_their_own(tmp_path: Path) -> None:
    _, faults = read(tmp_path, SCORES)
    assert ("index.use", "the index does not fit the tables that are named") in faults
    _, faults = read(tmp_path, SCORES + '[index]\nuse = "scores"\nbetter = "high"\n')
    assert faults == []


def test_a_file_that_is_not_toml_is_one_fault(tmp_path: Path) -> None:
    _, faults = read(tmp_path, "title = \n")
    assert len(faults) == 1
    assert faults[0][1].startswith("this is not valid TOML")


def test_a_file_in_another_encoding_is_one_fault(tmp_path: Path) -> None:
    (tmp_path / "survey.toml").write_bytes('[survey]\ntitle = "Bäche"\n'.encode("latin-1"))
    _, faults = read_settings(tmp_path)
    assert faults[0].problem.startswith("this is not valid TOML")


def test_no_folder_and_no_settings_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(SurveyNotFoundError, match=r"holds no survey\.toml"):
        read_settings(tmp_path)
    with pytest.raises(SurveyNotFoundError, match="there is no folder"):
        read_settings(tmp_path / "nowhere")


def test_each_check_takes_a_limit_and_an_action_and_keeps_the_default_of_the_other(tmp_path: Path) -> None:
    text = "[quality]\nsorting_efficiency = { limit = 85 }\nduplicate_sample = { action = 'leave out' }\n"
    settings, faults = read(tmp_path, GOOD + text)
    assert faults == []
    assert settings.quality.sorting_efficiency == CheckSetting(85.0, "note")
    assert settings.quality.duplicate_sample == CheckSetting(None, "leave out")
    assert settings.quality.count_difference == Quality().count_difference
    assert json.loads(json.dumps(settings.as_dict()))["quality"]["sorting_efficiency"]["limit"] == 85.0


def test_small_samples_may_be_set_as_a_check_and_are_then_options(tmp_path: Path) -> None:
    settings, faults = read(
        tmp_path, GOOD + "[quality]\nfew_individuals = { limit = 200, action = 'leave out' }\n"
    )
    assert faults == []
    assert settings.options.min_individuals == 200
    assert settings.options.use_small_samples is False


def test_small_samples_set_in_two_places_are_a_fault(tmp_path: Path) -> None:
    text = "[options]\nmin_individuals = 50\n[quality]\nfew_individuals = { limit = 200 }\n"
    _, faults = read(tmp_path, GOOD + text)
    assert faults == [("quality.few_individuals", "this is set under [options] too")]


def test_values_of_a_table_of_taxa_may_have_any_name(tmp_path: Path) -> None:
    text = GOOD.replace("[layers]", 'taxa = "taxa.csv"\n[layers]') + "[options]\ntolerance = 'mine'\n"
    settings, faults = read(tmp_path, text)
    assert faults == []
    assert settings.tables["taxa"] == "taxa.csv"
    assert settings.options.tolerance == "mine"


def test_an_index_period_may_run_over_the_turn_of_the_year(tmp_path: Path) -> None:
    settings, faults = read(tmp_path, GOOD + "[options]\nindex_period = ['11-01', '02-29']\n")
    assert faults == []
    assert settings.options.index_period == ("11-01", "02-29")


def test_a_definition_needs_counts(tmp_path: Path) -> None:
    _, faults = read(tmp_path, SCORES + '[index]\ndefinition = "index.toml"\n')
    assert faults == [("index.definition", "this does not fit scores")]
