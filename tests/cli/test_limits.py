"""`watershedmap limits`: class limits from reference sites, each counted once."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from typing import TYPE_CHECKING

import numpy as np
import pytest

from watershedmap.assessment import assess

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import SurveyFolder

REFERENCE = "S01,S02,S12,S13,S22,S23"


def limits(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "watershedmap", "limits", "-q", str(folder), *words]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder.parent)


def test_limits_are_percentiles_of_the_condition_of_the_reference_sites(demo_folder: Path) -> None:
    result = limits(demo_folder, "--sites", REFERENCE)
    assert result.returncode == 0, result.stderr
    index = tomllib.loads(result.stdout)["index"]
    assert index["use"] == "family_biotic_index"
    classes = index["classes"]
    scores = assess(demo_folder).sites.set_index("site_id").loc[REFERENCE.split(","), "score"]
    # Low is good, so the limits lie at the 75th and 95th percentile; numpy's default is type 7.
    wanted = np.percentile(scores, [75, 95])
    assert [item["label"] for item in classes] == ["Good", "Fair", "Poor"]
    assert [item["limit"] for item in classes[:2]] == pytest.approx(wanted.tolist(), abs=0.005)


def test_the_type_of_percentile_can_be_chosen_and_is_said(demo_folder: Path) -> None:
    text = limits(demo_folder, "--sites", REFERENCE, "--percentile-type", "6").stdout
    assert "type 6" in text
    assert text != limits(demo_folder, "--sites", REFERENCE).stdout


def test_a_file_is_written_whole(demo_folder: Path, tmp_path: Path) -> None:
    assert limits(demo_folder, "--sites", REFERENCE, "-o", str(tmp_path / "classes.toml")).returncode == 0
    assert "limit" in (tmp_path / "classes.toml").read_text()


@pytest.mark.parametrize(
    ("sites", "reason"),
    [("S01,S99", "there is no site S99"), ("S01", "Good and Fair"), ("", "no reference site")],
)
def test_what_cannot_be_drawn_is_said_plainly(demo_folder: Path, sites: str, reason: str) -> None:
    result = limits(demo_folder, "--sites", sites)
    assert result.returncode == 2
    assert reason in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_a_site_named_twice_counts_once(demo_folder: Path) -> None:
    once = limits(demo_folder, "--sites", REFERENCE).stdout
    assert limits(demo_folder, "--sites", f"S01,{REFERENCE}").stdout == once


def test_what_is_printed_can_be_put_into_the_survey(survey_folder: SurveyFolder) -> None:
    text = limits(survey_folder.path, "--sites", "A1,C1").stdout
    settings = (survey_folder.path / "survey.toml").read_text()
    survey_folder.write("survey.toml", f"{text}\n{settings}")
    assert assess(survey_folder.path).index.labels == ("Good", "Fair", "Poor")
