"""The layers of a survey: read, checked against each other, and looked through."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import pytest
import shapely
from typer.testing import CliRunner

from watershedmap.assessment import assess
from watershedmap.cli import app
from watershedmap.errors import SurveyError
from watershedmap.readers.settings import read_settings
from watershedmap.streams import Streams, read_streams
from watershedmap.survey import read_survey

if TYPE_CHECKING:
    from pathlib import Path

SETTINGS = """
[tables]
sites = "sites.csv"
scores = "scores.csv"
[index]
use = "scores"
label = "Made-up score"
source = "made up"
better = "high"
[[index.classes]]
label = "good"
limit = 5
[[index.classes]]
label = "poor"
[layers]
reaches = "streams.gpkg"
subwatersheds = "areas.gpkg"
[options]
"""
LINES = {"a": [(0, 3), (0, 2)], "b": [(1, 3), (0, 2)], "c": [(0, 2), (0, 1)], "d": [(0, 1), (0, 0)]}


def write_survey(folder: Path, *, down: dict[str, str], codes: dict[str, str], options: str = "") -> None:
    lines = [shapely.LineString([(x / 100, y / 100) for x, y in line]) for line in LINES.values()]
    reaches = {"reach_id": list(LINES), "downstream_id": [down[name] for name in LINES]}
    gpd.GeoDataFrame(reaches, geometry=lines, crs="EPSG:4326").to_file(folder / "streams.gpkg")
    boxes = [shapely.box(-0.01, 0.015, 0.02, 0.04), shapely.box(-0.01, -0.01, 0.02, 0.015)]
    areas = {"subwatershed_id": ["up", "low"], "downstream_id": [codes["up"], codes["low"]]}
    gpd.GeoDataFrame(areas, geometry=boxes, crs="EPSG:4326").to_file(folder / "areas.gpkg")
    (folder / "survey.toml").write_text(SETTINGS + options, encoding="utf-8")
    (folder / "sites.csv").write_text(
        "site_id,longitude,latitude\nS1,0,0.025\nS2,0,0.005\n", encoding="utf-8"
    )
    (folder / "scores.csv").write_text(
        "site_id,date,score\nS1,2020-05-01,6\nS2,2020-05-01,4\n", encoding="utf-8"
    )


def read(folder: Path) -> Streams:
    settings, faults = read_settings(folder)
    assert not faults
    return read_streams(folder, settings)


TREE = {"a": "c", "b": "c", "c": "d", "d": ""}
CIRCLE = {"a": "c", "b": "c", "c": "d", "d": "c"}
CHAIN = {"up": "low", "low": ""}


def test_layers_of_one_mind_leave_only_what_is_as_it_should_be(tmp_path: Path) -> None:
    write_survey(tmp_path, down=TREE, codes=CHAIN)
    found = read(tmp_path)
    assert set(found.findings["finding"]) <= {"outlet", "crosses a border"}
    assert not [fault for fault in found.faults if fault.severity == "fault"]
    assert found.network is not None
    assert found.shares.groupby("reach")["share"].sum().tolist() == pytest.approx([1, 1, 1, 1])


def test_a_circle_of_reaches_stops_a_survey_and_is_still_shown(tmp_path: Path) -> None:
    write_survey(tmp_path, down=CIRCLE, codes=CHAIN)
    found = read(tmp_path)
    assert "cycle" in set(found.findings["finding"])
    with pytest.raises(SurveyError, match="circle"):
        read_survey(tmp_path)


def test_a_circle_may_be_left_out_of_tracing(tmp_path: Path) -> None:
    write_survey(tmp_path, down=CIRCLE, codes=CHAIN, options='cycles = "leave_out"\n')
    survey = read_survey(tmp_path)
    assert survey.network.in_cycle.tolist() == [False, False, True, True]
    assert "cycle" in set(survey.findings["finding"])


def test_a_circle_of_codes_is_a_fault_with_a_remedy(tmp_path: Path) -> None:
    write_survey(tmp_path, down=TREE, codes={"up": "low", "low": "up"})
    faults = [fault for fault in read(tmp_path).faults if fault.severity == "fault"]
    assert [(fault.file, fault.column) for fault in faults] == [("areas.gpkg", "downstream_id")]
    assert faults[0].fix


def test_codes_that_disagree_with_the_reaches_are_found(tmp_path: Path) -> None:
    write_survey(tmp_path, down=TREE, codes={"up": "", "low": "up"})
    assert "chain disagrees" in set(read(tmp_path).findings["finding"])


def test_the_page_and_the_points_are_written_even_where_a_fault_stops_the_survey(tmp_path: Path) -> None:
    write_survey(tmp_path, down=CIRCLE, codes=CHAIN)
    page, points = tmp_path / "out" / "layers.html", tmp_path / "points.gpkg"
    result = CliRunner().invoke(
        app, ["check", str(tmp_path), "-q", "--page", str(page), "--points", str(points)]
    )
    assert result.exit_code == 1
    assert "circle" in result.stdout
    assert "cycle" in page.read_text(encoding="utf-8")
    layer = gpd.read_file(points)
    assert "cycle" in set(layer["finding"])
    assert layer.geom_type.dropna().unique().tolist() == ["Point"]


def test_barriers_are_put_on_their_reach(tmp_path: Path) -> None:
    write_survey(tmp_path, down=TREE, codes=CHAIN)
    text = (tmp_path / "survey.toml").read_text(encoding="utf-8")
    (tmp_path / "survey.toml").write_text(
        text.replace('scores = "scores.csv"', 'scores = "scores.csv"\nbarriers = "barriers.csv"'),
        encoding="utf-8",
    )
    (tmp_path / "barriers.csv").write_text(
        "barrier_id,kind,longitude,latitude\nB1,dam,0,0.0125\nB2,dam,1,1\n", encoding="utf-8"
    )
    survey = read_survey(tmp_path)
    assert survey.barriers["reach_id"].fillna("none").tolist() == ["c", "none"]
    assert survey.barriers["position_m"].iloc[0] == pytest.approx(276, abs=2)
    lost = [notice for notice in survey.notices if notice.file == "barriers.csv"]
    assert [(notice.column, notice.value) for notice in lost] == [("barrier_id", "B2")]


def test_a_code_that_names_its_own_area_is_an_outlet(tmp_path: Path) -> None:
    write_survey(tmp_path, down=TREE, codes={"up": "low", "low": "low"})
    found = read(tmp_path)
    assert not [fault for fault in found.faults if fault.severity == "fault"]


INTO = {"a": "c", "b": "", "c": "d", "d": "c"}


def test_what_flows_into_a_circle_has_no_distance_to_an_outlet(tmp_path: Path) -> None:
    write_survey(tmp_path, down=INTO, codes=CHAIN, options='cycles = "leave_out"\n')
    reaches = assess(tmp_path).reaches.set_index("reach_id")
    assert reaches["outlet_km"].isna().to_dict() == {"a": True, "b": False, "c": True, "d": True}
    outlets = read(tmp_path).findings.query("finding == 'outlet'")["ids"].tolist()
    assert "a" not in outlets


def test_a_trace_says_where_it_ends_at_a_circle(tmp_path: Path) -> None:
    write_survey(tmp_path, down=INTO, codes=CHAIN, options='cycles = "leave_out"\n')
    result = CliRunner().invoke(app, ["trace", str(tmp_path), "-q", "--reach", "a"])
    assert "Down to a circle of reaches, which is not traced" in result.stdout
    refused = CliRunner().invoke(app, ["trace", str(tmp_path), "-q", "--reach", "c"])
    assert refused.exit_code == 2
    assert "circle" in refused.stderr


@pytest.mark.parametrize(
    ("option", "file"), [("--page", "sites.csv"), ("--points", "streams.gpkg"), ("--page", "survey.toml")]
)
def test_a_file_of_the_survey_is_never_written_over(tmp_path: Path, option: str, file: str) -> None:
    write_survey(tmp_path, down=TREE, codes=CHAIN)
    before = (tmp_path / file).read_bytes()
    result = CliRunner().invoke(app, ["check", str(tmp_path), "-q", option, str(tmp_path / file)])
    assert result.exit_code == 2
    assert (tmp_path / file).read_bytes() == before


@pytest.mark.parametrize("name", ["points.txt", "other.gpkg", "nowhere/points.gpkg"])
def test_points_go_only_into_a_geopackage_of_their_own(tmp_path: Path, name: str) -> None:
    write_survey(tmp_path, down=TREE, codes=CHAIN)
    (tmp_path / "other.gpkg").write_bytes((tmp_path / "areas.gpkg").read_bytes())
    result = CliRunner().invoke(app, ["check", str(tmp_path), "-q", "--points", str(tmp_path / name)])
    assert result.exit_code == 2
    assert result.stderr.startswith("Error:")


def test_a_trace_is_not_written_over_a_table(tmp_path: Path) -> None:
    write_survey(tmp_path, down=TREE, codes=CHAIN)
    table = tmp_path / "sites.csv"
    before = table.read_bytes()
    result = CliRunner().invoke(app, ["trace", str(tmp_path), "-q", "--reach", "a", "-o", str(table)])
    assert result.exit_code == 2
    assert table.read_bytes() == before


TABLE = "reach_id,downstream_id,length_km\nA,B,1\nB,C,\nC,D,2\nD,,9\n"


def test_a_site_on_a_reach_without_a_line_is_taken_at_its_middle_and_that_is_said(tmp_path: Path) -> None:
    write_survey(tmp_path, down=TREE, codes=CHAIN)
    (tmp_path / "reaches.csv").write_text(TABLE, encoding="utf-8")
    (tmp_path / "survey.toml").write_text(
        SETTINGS.replace('reaches = "streams.gpkg"', 'reaches = "reaches.csv"').replace(
            'subwatersheds = "areas.gpkg"\n', ""
        ),
        encoding="utf-8",
    )
    (tmp_path / "sites.csv").write_text(
        "site_id,longitude,latitude,reach_id\nS1,0,0,A\nS2,0,0,D\n", encoding="utf-8"
    )
    assessment = assess(tmp_path)
    reaches = assessment.reaches.set_index("reach_id")
    assert reaches["length_km"].isna().tolist() == [False, True, False, False]  # a missing one is no zero
    assert reaches.loc["C", "site_downstream_km"] == pytest.approx(4.5)
    assert assessment.steps["distance_km"].tolist() == pytest.approx([0.5 + 0.0 + 2.0 + 4.5])
    assert any("middle of the reach" in notice.problem for notice in assessment.notices)
    traced = CliRunner().invoke(app, ["trace", str(tmp_path), "-q", "--site", "S1"]).stdout
    assert "taken at its middle" in traced
    assert "nan" not in traced


def test_no_step_passes_a_reach_whose_sites_are_in_no_known_order(tmp_path: Path) -> None:
    write_survey(tmp_path, down=TREE, codes=CHAIN)
    (tmp_path / "reaches.csv").write_text(TABLE, encoding="utf-8")
    (tmp_path / "survey.toml").write_text(
        SETTINGS.replace('reaches = "streams.gpkg"', 'reaches = "reaches.csv"').replace(
            'subwatersheds = "areas.gpkg"\n', ""
        ),
        encoding="utf-8",
    )
    rows = [f"S{number},0,0,{reach}\n" for number, reach in enumerate("ACCD")]
    (tmp_path / "sites.csv").write_text(
        "site_id,longitude,latitude,reach_id\n" + "".join(rows), encoding="utf-8"
    )
    scores = [f"S{number},2020-05-01,{number}\n" for number in range(4)]
    (tmp_path / "scores.csv").write_text("site_id,date,score\n" + "".join(scores), encoding="utf-8")
    assessment = assess(tmp_path)
    assert assessment.steps.empty
    said = [notice for notice in assessment.notices if "which is above the other" in notice.problem]
    assert [(notice.value, notice.column) for notice in said] == [("S1, S2", "reach_id")]
    traced = CliRunner().invoke(app, ["trace", str(tmp_path), "-q", "--site", "S1"]).stdout
    assert "In no known order on this reach: S1, S2" in traced
