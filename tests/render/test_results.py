"""All results, or the earlier ones as they were."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from watershedmap.assessment import assess
from watershedmap.errors import OutputError
from watershedmap.render import results

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import SurveyFolder


def test_the_library_writes_what_the_command_writes(survey_folder: SurveyFolder, tmp_path: Path) -> None:
    page = results.write_results(assess(survey_folder.path), tmp_path / "deep" / "out")
    assert page == tmp_path / "deep" / "out" / "map.html"
    assert page.is_file()


def test_a_failure_half_way_leaves_the_earlier_results(
    survey_folder: SurveyFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assessment = assess(survey_folder.path)
    results.write_results(assessment, tmp_path / "out")
    before = {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()}

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("half way")

    monkeypatch.setattr(results, "write_tables", fail)
    with pytest.raises(RuntimeError, match="half way"):
        results.write_results(assessment, tmp_path / "out")
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").iterdir()} == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "survey"]


def test_a_folder_that_holds_an_input_is_refused(survey_folder: SurveyFolder) -> None:
    assessment = assess(survey_folder.path)
    with pytest.raises(OutputError, match="which the survey reads"):
        results.write_results(assessment, survey_folder.path)
    assert (survey_folder.path / "counts.csv").is_file()
