"""`watershedmap run`: whole results or none, the same bytes each time, a summary on stdout."""

from __future__ import annotations

import hashlib
import json
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from watershedmap.cli.shared import plain_errors

if TYPE_CHECKING:
    from conftest import SurveyFolder

Run = tuple[Path, subprocess.CompletedProcess[str]]

README = Path(__file__).parents[2] / "README.md"
RESULTS = {
    "map.html",
    "methods.html",
    "condition.gpkg",
    "manifest.json",
    "samples.csv",
    "sites.csv",
    "reaches.csv",
    "subwatersheds.csv",
    "yearly.csv",
    "taxa.csv",
    "checks.csv",
    "notices.csv",
    "steps.csv",
    "combined_trends.csv",
    "inference.csv",
    "layer_findings.csv",
    "layers.html",
}


def watershedmap(*words: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "watershedmap", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd)


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}


@pytest.fixture(scope="module")
def demo_run(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Run:
    """Run the demo once, as the README says."""
    home = tmp_path_factory.mktemp("home")
    return home, watershedmap("run", demo_folder, cwd=home)


def test_the_demo_writes_every_result_where_the_readme_says(demo_run: Run) -> None:
    home, result = demo_run
    assert result.returncode == 0, result.stderr
    assert {path.name for path in (home / "output" / "demo_data").iterdir()} == RESULTS
    for name in RESULTS:
        assert f"`{name}`" in README.read_text(encoding="utf-8")


def test_the_summary_names_the_map_and_the_three_worst_reaches(demo_run: Run) -> None:
    _, result = demo_run
    lines = result.stdout.splitlines()
    assert lines[0] == f"Map: {Path('output') / 'demo_data' / 'map.html'}"
    start = lines.index("Worst measured reaches:")
    scores = [float(re.search(r": (\d+\.\d+),", line)[1]) for line in lines[start + 1 : start + 4]]
    assert scores == sorted(scores, reverse=True)
    assert "R077" in lines[start + 1]


def test_progress_goes_to_stderr_and_quiet_silences_it(demo_run: Run, survey_folder: SurveyFolder) -> None:
    _, result = demo_run
    assert "Read 28 sites" in result.stderr
    assert "Read 28 sites" not in result.stdout
    assert watershedmap("run", "-q", survey_folder.path, cwd=survey_folder.path.parent).stderr == ""


def test_two_runs_give_the_same_bytes(demo_run: Run, demo_folder: Path, tmp_path: Path) -> None:
    home, _ = demo_run
    watershedmap("run", demo_folder, "--output", tmp_path / "again", cwd=tmp_path)
    assert digests(tmp_path / "again") == digests(home / "output" / "demo_data")


def test_no_result_holds_a_path_of_the_machine(demo_run: Run, demo_folder: Path) -> None:
    home, _ = demo_run
    for path in (home / "output" / "demo_data").iterdir():
        data = path.read_bytes()
        assert str(home).encode() not in data
        assert str(demo_folder.parent).encode() not in data


def test_a_faulty_survey_leaves_with_1_and_earlier_results_as_they_were(survey_folder: SurveyFolder) -> None:
    home = survey_folder.path.parent
    assert watershedmap("run", survey_folder.path, "-o", home / "out", cwd=home).returncode == 0
    before = digests(home / "out")
    survey_folder.change("counts.csv", "Asellidae,30", "Asellidae,thirty")
    result = watershedmap("run", survey_folder.path, "-o", home / "out", cwd=home)
    assert result.returncode == 1
    assert result.stdout == ""
    assert "thirty" in result.stderr
    assert digests(home / "out") == before
    assert sorted(path.name for path in home.iterdir()) == ["out", "survey"]


def test_a_folder_of_other_things_is_never_replaced(survey_folder: SurveyFolder) -> None:
    home = survey_folder.path.parent
    (home / "mine").mkdir()
    (home / "mine" / "thesis.txt").write_text("years of work")
    result = watershedmap("run", survey_folder.path, "-o", home / "mine", cwd=home)
    assert result.returncode == 2
    assert "Traceback" not in result.stderr
    assert [path.name for path in (home / "mine").iterdir()] == ["thesis.txt"]


def test_no_survey_leaves_with_2(tmp_path: Path) -> None:
    result = watershedmap("run", tmp_path / "nowhere", cwd=tmp_path)
    assert result.returncode == 2
    assert "there is no folder" in result.stderr


def test_an_error_of_ours_is_one_line_and_no_traceback(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(BaseException, match="2") as caught, plain_errors():
        raise ZeroDivisionError("a slip")
    assert type(caught.value).__name__ == "Exit"
    message = capsys.readouterr().err
    assert "ZeroDivisionError" in message
    assert len(message.splitlines()) == 1


@pytest.mark.parametrize("command", ["check", "run", "score", "limits", "trace", "rank", "plan"])
def test_the_example_of_each_help_text_runs(command: str, demo_folder: Path, tmp_path: Path) -> None:
    help_text = watershedmap(command, "--help", cwd=tmp_path).stdout
    example = shlex.split(re.search(r"Example: watershedmap (.*)", help_text)[1])
    elsewhere = ["--output", str(tmp_path / "out")] if command == "run" else []
    result = watershedmap(*example, *elsewhere, cwd=demo_folder.parent)
    assert result.returncode == 0, result.stderr


def test_the_version_is_said(tmp_path: Path) -> None:
    assert re.fullmatch(r"watershedmap \d+\.\d+\.\d+\n", watershedmap("--version", cwd=tmp_path).stdout)


def test_figures_are_drawn_when_asked_for_and_are_part_of_the_results(
    demo_folder: Path, tmp_path: Path
) -> None:
    result = watershedmap("run", demo_folder, "-q", "-o", tmp_path / "out", "--figures", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    drawn = {path.name for path in (tmp_path / "out" / "figures").iterdir()}
    kinds = {f"{name}.{kind}" for name in ("map", "periods") for kind in ("png", "svg", "pdf")}
    assert drawn == kinds | {"series"}
    listed = {
        output["file"] for output in json.loads((tmp_path / "out" / "manifest.json").read_text())["outputs"]
    }
    assert "figures/map.svg" in listed
    again = watershedmap("run", demo_folder, "-q", "-o", tmp_path / "out", cwd=tmp_path)  # ours to replace
    assert again.returncode == 0, again.stderr
    assert not (tmp_path / "out" / "figures").exists()
