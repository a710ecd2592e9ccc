"""`watershedmap trace`: the way down and what lies upstream."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from watershedmap.assessment import assess
from watershedmap.cli import app

DEMO = Path(__file__).parents[2] / "demo_data"


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["trace", str(DEMO), "--quiet", *words])
    return result.exit_code, result.stdout, result.stderr


def test_the_way_down_names_every_reach_to_the_outlet_with_its_distance() -> None:
    code, text, _ = run("--site", "S05")
    assessment = assess(DEMO)
    down = dict(zip(assessment.reaches["reach_id"], assessment.reaches["downstream_id"], strict=True))
    way = [assessment.sites.set_index("site_id").loc["S05", "reach_id"]]
    while isinstance(down[way[-1]], str):
        way.append(down[way[-1]])
    rows = [line for line in text.splitlines() if " km  " in line]
    assert code == 0
    assert [line.split()[2] for line in rows] == way
    distances = [float(line.split()[0]) for line in rows]
    assert distances == sorted(distances)


def test_the_summary_upstream_is_that_of_the_reach() -> None:
    _, text, _ = run("--site", "S05")
    own = assess(DEMO).reaches.set_index("reach_id").loc["R016"]
    assert f"{own['upstream_km']:.1f} km of stream" in text
    assert f"unassessed {own['upstream_km_unassessed']:.1f}" in text
    assert f"Mean score by length: {own['upstream_score']:.2f}" in text


def test_sites_above_leave_out_the_place_itself_and_what_lies_below() -> None:
    _, text, _ = run("--site", "S05")
    above = text.split("Sites above")[1]
    assert "S04" in above
    assert "S05" not in above
    assert "S06" not in above


def test_a_reach_can_be_the_start() -> None:
    code, text, _ = run("--reach", "R001")
    assert code == 0
    assert "Down to the outlet: 0.0 km, 1 reach(es)" in text


@pytest.mark.parametrize("words", [(), ("--site", "S05", "--reach", "R001")])
def test_exactly_one_start_is_asked_for(words: tuple[str, ...]) -> None:
    code, _, complaint = run(*words)
    assert code == 2
    assert "one of the two" in complaint


@pytest.mark.parametrize(("option", "near"), [("--site", "S05"), ("--reach", "R001")])
def test_an_unknown_start_is_answered_with_the_nearest_ids(option: str, near: str) -> None:
    code, _, complaint = run(option, near + "x")
    assert code == 2
    assert near in complaint


def test_it_can_be_written_to_a_file(tmp_path: Path) -> None:
    code, text, _ = run("--site", "S05", "-o", str(tmp_path / "trace.txt"))
    assert code == 0
    assert text == ""
    assert "Down to the outlet" in (tmp_path / "trace.txt").read_text(encoding="utf-8")
