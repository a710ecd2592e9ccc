"""`watershedmap check`: 0, 1 or 2, one table of everything, nothing written, no traceback."""

from __future__ import annotations

import re
import subprocess
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import SurveyFolder


def check(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "watershedmap", "check", str(folder)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder.parent)


def test_a_good_survey_leaves_with_0(survey_folder: SurveyFolder) -> None:
    result = check(survey_folder.path)
    assert result.returncode == 0
    assert "No faults. 2 sites, 3 samples, 4 reaches, 0 notice(s)." in result.stdout


def test_the_demo_has_notices_and_no_faults(demo_folder: Path) -> None:
    result = check(demo_folder)
    assert result.returncode == 0
    assert "Notices: these do not stop a run" in result.stdout
    assert "did you mean Hydropsychidae" in result.stdout


def test_faults_leave_with_1_and_name_file_row_column_value_and_remedy(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "Asellidae,30", "Asellidae,3O")
    survey_folder.change("samples.csv", "3,C1", "3,C7")
    before = sorted(path.name for path in survey_folder.path.parent.rglob("*"))
    result = check(survey_folder.path)
    assert result.returncode == 1
    line = next(line for line in result.stdout.splitlines() if line.strip().startswith("counts.csv"))
    assert re.split(r"\s{2,}", line.strip()) == [
        "counts.csv",
        "7",
        "count",
        "3O",
        "this is not a number",
        "write a plain number",
    ]
    assert "C7" in result.stdout
    assert sorted(path.name for path in survey_folder.path.parent.rglob("*")) == before


def test_no_survey_leaves_with_2_and_a_plain_message(tmp_path: Path) -> None:
    result = check(tmp_path)
    assert result.returncode == 2
    assert result.stderr.strip().endswith("is not a survey folder: it holds no survey.toml")
    assert "Traceback" not in result.stderr


def test_text_in_a_table_cannot_steer_the_terminal(survey_folder: SurveyFolder) -> None:
    survey_folder.change("counts.csv", "Asellidae,30", "\x1b[31mRed\x1b[0m [bold]x[/bold],many")
    result = check(survey_folder.path)
    assert result.returncode == 1
    assert "\x1b" not in result.stdout
    assert "many" in result.stdout


def test_one_fault_in_many_rows_is_one_line_with_its_rows(survey_folder: SurveyFolder) -> None:
    survey_folder.write("counts.csv", "sample_id,taxon,count\n" + "1,Baetidae,x\n" * 200)
    result = check(survey_folder.path)
    assert "Faults: nothing was written (200)" in result.stdout
    lines = [line for line in result.stdout.splitlines() if "this is not a number" in line]
    assert len(lines) == 1
    assert "2-201" in lines[0]


def test_many_values_of_one_kind_are_counted_not_drowned_in(survey_folder: SurveyFolder) -> None:
    rows = "".join(f"1,Baetidae,x{number}\n" for number in range(200))
    survey_folder.write("counts.csv", "sample_id,taxon,count\n" + rows)
    assert (
        "... and 175 other values in counts.csv, count: this is not a number"
        in check(survey_folder.path).stdout
    )
