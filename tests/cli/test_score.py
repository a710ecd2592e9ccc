"""`watershedmap score`: the scored samples as a table, or one sample explained; 0, 1 or 2, no traceback."""

from __future__ import annotations

import csv
import io
import re
import shlex
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import SurveyFolder


def score(folder: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "watershedmap", "score", str(folder), "-q", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder.parent)


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_scored_samples_go_to_stdout(survey_folder: SurveyFolder) -> None:
    result = score(survey_folder.path)
    assert result.returncode == 0, result.stderr
    rows = {row["sample_id"]: row for row in rows_of(result.stdout)}
    assert set(rows) == {"1", "2", "3"}
    assert (rows["1"]["score"], rows["1"]["class"], rows["1"]["used"]) == ("2.50", "Excellent", "true")
    assert (rows["3"]["total_individuals"], rows["3"]["score"]) == ("120", "6.50")
    assert {"taxa_richness", "percent_ept", "shannon_diversity", "flags"} <= rows["1"].keys()


def test_a_file_gets_the_same_bytes_and_replaces_what_was_there(survey_folder: SurveyFolder) -> None:
    home = survey_folder.path.parent
    (home / "scores.csv").write_text("old")
    result = score(survey_folder.path, "--output", home / "scores.csv")
    assert (result.returncode, result.stdout) == (0, "")
    assert (home / "scores.csv").read_text(encoding="utf-8") == score(survey_folder.path).stdout
    assert sorted(path.name for path in home.iterdir()) == ["scores.csv", "survey"]


def test_a_faulty_survey_leaves_with_1_and_the_file_as_it_was(survey_folder: SurveyFolder) -> None:
    home = survey_folder.path.parent
    (home / "scores.csv").write_text("old")
    survey_folder.change("counts.csv", "Asellidae,30", "Asellidae,-3")
    survey_folder.change("counts.csv", "Chironomidae,90", "Chironomidae,2.5")
    result = score(survey_folder.path, "--output", home / "scores.csv")
    assert result.returncode == 1
    lines = [re.split(r"\s{2,}", line.strip()) for line in result.stderr.splitlines()]
    assert ["counts.csv", "6", "count", "2.5", "not a whole number"] in [line[:5] for line in lines]
    assert ["counts.csv", "7", "count", "-3", "the number is out of range"] in [line[:5] for line in lines]
    assert (home / "scores.csv").read_text() == "old"


@pytest.mark.parametrize("target", ["survey", "survey/survey.toml/scores.csv"])
def test_a_place_that_cannot_be_a_file_leaves_with_2(survey_folder: SurveyFolder, target: str) -> None:
    home = survey_folder.path.parent
    result = score(survey_folder.path, "--output", home / target)
    assert result.returncode == 2
    assert result.stderr.startswith("Error: ")
    assert "Traceback" not in result.stderr


def test_one_sample_is_explained_down_to_its_class(survey_folder: SurveyFolder) -> None:
    result = score(survey_folder.path, "--explain", "3")
    assert result.returncode == 0, result.stderr
    lines = [re.split(r"\s{2,}", line.strip()) for line in result.stdout.splitlines()]
    assert lines[0] == ["Sample 3, site C1, 2025-05-02"]
    assert ["90", "Chironomidae", "Chironomidae", "6"] in [line[:4] for line in lines]
    for expected in (
        ["Asellidae: 30 x 8", "240"],
        ["Chironomidae: 90 x 6", "540"],
        ["Mean: 780 / 120", "6.5"],
        ["Class: Fairly poor (over 5.75, up to 6.50)"],
        ["Used for condition and trend: yes"],
    ):
        assert expected in lines


def test_an_unknown_sample_leaves_with_2_and_names_the_nearest(survey_folder: SurveyFolder) -> None:
    survey_folder.change("samples.csv", "3,C1", "C1-2025-a,C1")
    survey_folder.change("counts.csv", "3,Chironomidae", "C1-2025-a,Chironomidae")
    survey_folder.change("counts.csv", "3,Asellidae", "C1-2025-a,Asellidae")
    result = score(survey_folder.path, "--explain", "C1-2025-b")
    assert result.returncode == 2
    assert result.stderr.startswith("Error: there is no sample C1-2025-b; the nearest: C1-2025-a")
    assert result.stdout == ""


def test_the_hits_of_the_checks_are_listed(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[options]\nindex_period = ["05-02", "06-30"]\n[tables]')
    result = score(survey_folder.path, "--checks")
    assert result.returncode == 0, result.stderr
    hits = [
        (row["check"], row["sample_id"], row["value"], row["limit"])
        for row in rows_of(result.stdout)
        if row["check"] == "outside_index_period"
    ]
    assert hits == [
        ("outside_index_period", "1", "2024-05-01", "05-02 to 06-30"),
        ("outside_index_period", "2", "2025-05-01", "05-02 to 06-30"),
    ]


def test_two_questions_at_once_leave_with_2(survey_folder: SurveyFolder) -> None:
    result = score(survey_folder.path, "--checks", "--explain", "1")
    assert result.returncode == 2
    assert "ask one at a time" in result.stderr


def test_a_name_cannot_steer_the_terminal_nor_run_as_a_formula(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "3,Asellidae", "3,=\x1b[31mAsellidae")
    assert "\x1b" not in score(survey_folder.path, "--explain", "3").stdout
    survey_folder.change("samples.csv", "3,C1", "=3,C1")
    survey_folder.change("counts.csv", "3,Chironomidae", "=3,Chironomidae")
    survey_folder.change("counts.csv", "3,=", "=3,=")
    rows = rows_of(score(survey_folder.path).stdout)
    assert "'=3" in [row["sample_id"] for row in rows]


def test_no_survey_leaves_with_2(tmp_path: Path) -> None:
    result = score(tmp_path / "nowhere")
    assert result.returncode == 2
    assert "there is no folder" in result.stderr


def test_the_example_of_the_help_text_runs(demo_folder: Path) -> None:
    command = [sys.executable, "-m", "watershedmap"]
    shown = subprocess.run([*command, "score", "--help"], capture_output=True, text=True, check=True).stdout
    example = shlex.split(re.search(r"Example: watershedmap (.*)", shown)[1])
    result = subprocess.run(
        [*command, *example], capture_output=True, text=True, check=False, cwd=demo_folder.parent
    )
    assert result.returncode == 0, result.stderr
    assert len(rows_of(result.stdout)) == 417
