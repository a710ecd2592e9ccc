"""`watershedmap plan`: what is printed and what is written."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import geopandas as gpd
import pytest
from shapely import LineString
from typer.testing import CliRunner

from watershedmap.cli import app
from watershedmap.planning.reasons import CAUTION

if TYPE_CHECKING:
    from conftest import SurveyFolder

DEMO = Path(__file__).parents[2] / "demo_data"


def run(*words: str, folder: Path = DEMO) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["plan", str(folder), "--quiet", *words])
    return result.exit_code, result.stdout, result.stderr


def test_the_plan_is_told_with_its_weights_its_balance_and_the_caution() -> None:
    code, text, _ = run("--visits", "12")
    assert code == 0
    assert "12 visit(s) of 12 asked for" in text
    assert "Weights: trend 1, stale 1, border 1, unsampled 1, step 1, reference 1" in text
    assert "Voronoi balance, 0 is perfect" in text
    assert "random draws with the same chances" in text
    assert text.rstrip().endswith(CAUTION)
    assert "Day 3" in text
    assert "Day 4" not in text


def test_every_file_holds_the_same_visits_and_the_caution(tmp_path: Path) -> None:
    names = {"--output": "v.csv", "--layer": "v.gpkg", "--gpx": "v.gpx", "--geojson": "v.geojson"}
    words = [word for option, name in names.items() for word in (option, str(tmp_path / name))]
    calendar = tmp_path / "v.ics"
    code, _, _ = run("--visits", "9", *words, "--calendar", str(calendar), "--start", "2026-05-04")
    assert code == 0
    rows = list(csv.DictReader((tmp_path / "v.csv").read_text(encoding="utf-8").splitlines()))
    ids = [row["place_id"] for row in rows]
    assert len(ids) == 9
    assert all(row["caution"] == CAUTION for row in rows)
    layer = gpd.read_file(tmp_path / "v.gpkg", layer="visits")
    assert layer["place_id"].tolist() == ids
    assert (layer["caution"] == CAUTION).all()
    assert layer.crs.to_epsg() == 4326
    whole = json.loads((tmp_path / "v.geojson").read_text(encoding="utf-8"))
    assert whole["caution"] == CAUTION
    assert any("Voronoi balance" in line for line in whole["about"])
    assert [feature["properties"]["place_id"] for feature in whole["features"]] == ids
    root = ET.fromstring((tmp_path / "v.gpx").read_text(encoding="utf-8"))  # noqa: S314 - our own text
    points = root.findall("{http://www.topografix.com/GPX/1/1}wpt")
    assert [float(point.attrib["lat"]) for point in points] == [float(row["latitude"]) for row in rows]
    assert calendar.read_bytes().count(b"BEGIN:VEVENT") == 3


def test_the_same_command_writes_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        files = [str(tmp_path / f"{name}.{end}") for end in ("csv", "gpkg", "gpx", "geojson")]
        options = zip(("--output", "--layer", "--gpx", "--geojson"), files, strict=True)
        assert run("--visits", "5", *[word for pair in options for word in pair])[0] == 0
    for end in ("csv", "gpkg", "gpx", "geojson"):
        assert (tmp_path / f"a.{end}").read_bytes() == (tmp_path / f"b.{end}").read_bytes()


def test_a_budget_of_days_limits_the_visits() -> None:
    code, text, _ = run("--visits", "30", "--days", "2", "--sites-per-day", "3")
    assert code == 0
    assert "6 visit(s) of 6 asked for" in text
    assert "2 day(s) of at most 3" in text


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--visits", "3", "--calendar", "x.ics"),
        ("--visits", "3", "--start", "2026-05-04"),
        ("--visits", "3", "--calendar", "x.ics", "--start", "soon"),
        ("--visits", "3", "--gpx", "x", "--geojson", "x"),
        ("--visits", "0"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    code, _, complaint = run(*words)
    assert code == 2
    assert complaint
    assert list(tmp_path.iterdir()) == []


def test_a_file_of_the_survey_is_never_written_over(survey_folder: SurveyFolder) -> None:
    before = (survey_folder.path / "sites.csv").read_bytes()
    code, _, complaint = run(
        "--visits", "2", "--output", str(survey_folder.path / "sites.csv"), folder=survey_folder.path
    )
    assert code == 2
    assert "the survey reads" in complaint
    assert (survey_folder.path / "sites.csv").read_bytes() == before


def test_a_layer_under_a_wrong_name_writes_nothing(tmp_path: Path) -> None:
    code, _, _ = run("--visits", "2", "--layer", str(tmp_path / "v.shp"), "--gpx", str(tmp_path / "v.gpx"))
    assert code == 2
    assert list(tmp_path.iterdir()) == []


def test_settings_are_read_and_checked(survey_folder: SurveyFolder) -> None:
    text = (survey_folder.path / "survey.toml").read_text(encoding="utf-8")
    survey_folder.write(
        "survey.toml", text + '[plan]\nfixed_sites = ["A1"]\nstale = 2.5\nsites_per_day = 1\n'
    )
    code, said, _ = run("--visits", "2", folder=survey_folder.path)
    assert code == 0
    assert "fixed 1" in said
    assert "stale 2.5" in said
    assert "2 day(s) of at most 1" in said


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("weight = 1", "unknown key"),
        ("stale = -1", "not from 0"),
        ('stale = "much"', "not a number"),
        ("new_share = 1.5", "not from 0 to 1"),
        ('fixed_sites = ["A1"]\nexcluded_sites = ["A1"]', "fixed too"),
        ('fixed_sites = ["nowhere"]', "no such id"),
        ("trend=0\nstale=0\nborder=0\nunsampled=0\nstep=0\nreference=0", "every weight is 0"),
    ],
)
def test_a_wrong_setting_is_a_fault(survey_folder: SurveyFolder, line: str, problem: str) -> None:
    text = (survey_folder.path / "survey.toml").read_text(encoding="utf-8")
    survey_folder.write("survey.toml", f"{text}[plan]\n{line}\n")
    code, _, complaint = run("--visits", "2", folder=survey_folder.path)
    assert code == 1
    assert problem in " ".join(complaint.split())


def test_a_hostile_name_is_only_a_name(survey_folder: SurveyFolder, tmp_path: Path) -> None:
    survey_folder.change("sites.csv", "Upper a", "=1+1<b>&")
    files = [str(tmp_path / name) for name in ("v.csv", "v.gpx")]
    code, _, _ = run("--visits", "5", "-o", files[0], "--gpx", files[1], folder=survey_folder.path)
    assert code == 0
    assert "'=1+1<b>&" in Path(files[0]).read_text(encoding="utf-8")
    ET.fromstring(Path(files[1]).read_text(encoding="utf-8"))  # noqa: S314 - our own text


def write_roads(path: Path, *, crs: str | None) -> None:
    lines = [LineString([(-80.7, 40.95), (-80.3, 40.95)]), LineString([(-80.45, 40.8), (-80.45, 41.2)])]
    gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=lines, crs=crs).to_file(path)


def test_the_nearest_road_of_each_visit_is_found(tmp_path: Path) -> None:
    roads, table = tmp_path / "roads.geojson", tmp_path / "v.csv"
    write_roads(roads, crs="EPSG:4326")
    code, text, _ = run("--visits", "6", "--access", str(roads), "-o", str(table))
    assert code == 0
    assert text.count("Nearest road or access point") == 6
    for row in csv.DictReader(table.read_text(encoding="utf-8").splitlines()):
        longitude, latitude = float(row["longitude"]), float(row["latitude"])
        # Metres to a degree at 41 degrees north: 111,050 along a meridian, 84,140 across it.
        metres = min(abs(latitude - 40.95) * 111_050, abs(longitude + 80.45) * 84_140)
        assert float(row["access_m"]) == pytest.approx(metres, rel=0.003, abs=1)


def test_without_a_layer_the_way_from_the_road_is_unknown(tmp_path: Path) -> None:
    table = tmp_path / "v.csv"
    assert run("--visits", "3", "-o", str(table))[0] == 0
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert [row["access_m"] for row in rows] == ["", "", ""]


def test_a_layer_of_access_that_cannot_be_used_is_a_fault(tmp_path: Path) -> None:
    assert run("--visits", "3", "--access", str(tmp_path / "none.gpkg"))[0] == 1
    roads = tmp_path / "roads.shp"
    write_roads(roads, crs="EPSG:4326")
    roads.with_suffix(".prj").unlink()
    code, _, complaint = run("--visits", "3", "--access", str(roads))
    assert code == 1
    assert "coordinate system" in " ".join(complaint.split())
