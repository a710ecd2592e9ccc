"""`watershedmap rank`: table, words, map layer, settings, and what is refused."""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import pyogrio
import pytest
from typer.testing import CliRunner

from watershedmap.cli import app

if TYPE_CHECKING:
    from conftest import SurveyFolder

REPOSITORY = Path(__file__).parents[2]
DEMO = REPOSITORY / "demo_data"


def run(*words: str, folder: Path = DEMO) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, ["rank", str(folder), "--quiet", *words])
    return result.exit_code, result.stdout, result.stderr


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture
def own_demo(tmp_path: Path) -> Path:
    for name in ("demo_data", "layers"):
        shutil.copytree(REPOSITORY / name, tmp_path / name)
    return tmp_path / "demo_data"


def add_settings(folder: Path, text: str) -> None:
    path = folder / "survey.toml"
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{text}", encoding="utf-8")


def test_the_table_lists_all_reaches_with_the_town_first() -> None:
    code, text, _ = run()
    rows = read(text)
    assert code == 0
    assert len(rows) == 145
    assert {row["reach_id"] for row in rows[:3]} == {"R009", "R010", "R077"}
    assert rows[0]["rank"] == "1"
    assert rows[-1]["rank"] == ""
    assert rows[-1]["status"].startswith("not ranked")


def test_the_same_survey_gives_the_same_text(tmp_path: Path) -> None:
    assert run("-o", str(tmp_path / "one.csv"))[0] == 0
    assert run("-o", str(tmp_path / "two.csv"))[0] == 0
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "two.csv").read_bytes()


def test_areas_ranks_sub_watersheds() -> None:
    code, text, _ = run("--areas")
    assert code == 0
    assert read(text)[0]["subwatershed_id"] == "SW03"


def test_words_are_paragraphs_under_what_was_done() -> None:
    code, text, _ = run("--words", "--most", "2")
    assert code == 0
    head, *paragraphs = text.strip().split("\n\n")
    assert "Weights: condition 0.30" in head
    assert [part.split(": rank ")[1][0] for part in paragraphs] == ["1", "2"]


def test_the_log_states_weights_and_limits_beside_a_table() -> None:
    result = CliRunner().invoke(app, ["rank", str(DEMO)])
    assert "Weights: condition 0.30" in result.stderr
    assert "Weights" not in result.stdout


@pytest.mark.parametrize(("option", "shape"), [([], "LineString"), (["--areas"], "Polygon")])
def test_the_map_layer_holds_the_same_items(tmp_path: Path, option: list[str], shape: str) -> None:
    path = tmp_path / "new" / "rank.gpkg"
    code, text, _ = run(*option, "--layer", str(path))
    assert code == 0
    layer = gpd.read_file(path, layer="ranking")
    rows = read(text)
    key = "subwatershed_id" if option else "reach_id"
    assert layer[key].tolist() == [row[key] for row in rows]
    assert set(layer.geom_type) == {shape}
    assert layer.crs == "EPSG:4326"
    assert pyogrio.read_info(path, layer="ranking")["features"] == len(rows)
    ranks = layer["rank"].astype("Int64").astype("string").fillna("")
    assert [row["rank"] for row in rows] == ranks.tolist()
    before = path.read_bytes()
    assert run(*option, "--layer", str(path))[0] == 0
    assert path.read_bytes() == before


def test_settings_change_weights_and_limits(own_demo: Path) -> None:
    add_settings(own_demo, '[rank]\nworse_than = "Fairly poor"\n[rank.weights]\ncondition = 0\nlength = 3\n')
    code, text, _ = run("--words", folder=own_demo)
    assert code == 0
    assert "worse than Fairly poor" in text
    assert "condition 0.00" in text
    assert "length 0.33" in text


def test_a_column_of_the_layer_enters_as_a_part(own_demo: Path) -> None:
    path = own_demo.parent / "layers" / "streams.gpkg"
    streams = gpd.read_file(path)
    streams["outfalls"] = (streams["reach_id"] == "R008").astype(float) * 7
    streams.to_file(path, driver="GPKG")
    add_settings(own_demo, '[rank.columns.outfalls]\nneed = "high"\nweight = 50\n')
    code, text, error = run(folder=own_demo)
    assert code == 0, error
    first = read(text)[0]
    assert (first["reach_id"], first["need_outfalls"]) == ("R008", "1")


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ("[rank.columns.outfall]\nneed = 'high'\n", ["outfall", "no such column"]),
        ("[rank.columns.name]\nneed = 'high'\n", ["text where a number"]),
        ("[rank.columns.name]\nweight = 1\n", ["at which end"]),
        ("[rank]\nworse_than = 'Awful'\n", ["Awful", "choose from"]),
        ("[rank.columns.Trend]\nneed = 'high'\n", ["Trend", "this name already"]),
        ("[rank.columns]\noutfalls = 3\n", ["not a section"]),
        ("[rank]\ndraws = 3\n", ["too few or too many draws"]),
        ("[rank]\nfull_km = 0\n", ["full_km", "less than"]),
        ("[rank]\nseeds = 3\n", ["did you mean", "seed"]),
        ("[rank.weights]\ncondition = -1\n", ["rank.weights.condition"]),
        ("[rank.weights]\nlenght = 1\n", ["did you mean", "length"]),
        ("[rank.columns.name]\nneed = 'high'\nleast = 3\nmost = 2\n", ["not below most"]),
    ],
)
def test_settings_at_fault_are_told_and_nothing_is_written(
    own_demo: Path, settings: str, words: list[str]
) -> None:
    add_settings(own_demo, settings)
    target = own_demo.parent / "out.csv"
    code, _, error = run("-o", str(target), folder=own_demo)
    assert code == 1
    told = " ".join(error.split())
    assert all(word in told for word in words), told
    assert not target.exists()


def test_without_flow_what_is_traced_is_missing_and_the_rest_ranks(survey_folder: SurveyFolder) -> None:
    lines = {"a": [(10.00, 50.04), (10.01, 50.02)], "c": [(10.01, 50.02), (10.01, 50.00)]}
    survey_folder.write_reaches(lines, {name: {"name": name} for name in lines})
    settings = survey_folder.path / "survey.toml"
    settings.write_text(f'{settings.read_text()}\n[options]\ndirection = "unknown"\n', encoding="utf-8")
    code, text, error = run(folder=survey_folder.path)
    assert code == 0, error
    first = read(text)[0]
    assert (first["rank"], first["reach_id"]) == ("1", "c")
    for part in ("length", "downstream", "connection", "step", "trend"):
        assert first[f"need_{part}"] == ""
    assert float(first["weight_missing"]) == pytest.approx(0.5)
    code, words, _ = run("--words", folder=survey_folder.path)
    assert code == 0
    assert "Not known: the degraded length" in words


def test_a_table_without_a_map_can_be_ranked_and_written_as_a_layer_without_shapes(
    survey_folder: SurveyFolder, tmp_path: Path
) -> None:
    survey_folder.write("reaches.csv", "reach_id,downstream_id,length_km\na,c,2\nb,c,2\nc,d,1\nd,,3\n")
    survey_folder.change("survey.toml", "reaches.geojson", "reaches.csv")
    survey_folder.change("survey.toml", 'subwatersheds = "areas.geojson"\n', "")
    survey_folder.write("sites.csv", "site_id,name,longitude,latitude,reach_id\nA1,,10,50,a\nC1,,10,50,c\n")
    code, text, error = run("--layer", str(tmp_path / "rank.gpkg"), folder=survey_folder.path)
    assert code == 0, error
    assert read(text)[0]["reach_id"] == "c"
    assert len(pyogrio.read_dataframe(tmp_path / "rank.gpkg")) == 4


def test_areas_without_a_layer_of_them_is_told(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", 'subwatersheds = "areas.geojson"\n', "")
    code, _, error = run("--areas", folder=survey_folder.path)
    assert code == 1
    assert "no sub-watersheds" in " ".join(error.split())


def test_names_that_would_run_in_a_spreadsheet_are_guarded(own_demo: Path) -> None:
    path = own_demo.parent / "layers" / "streams.gpkg"
    streams = gpd.read_file(path)
    streams.loc[streams["reach_id"] == "R077", "name"] = "=1+1"
    streams.to_file(path, driver="GPKG")
    code, text, _ = run(folder=own_demo)
    assert code == 0
    assert next(row for row in read(text) if row["reach_id"] == "R077")["name"] == "'=1+1"


@pytest.mark.parametrize(
    "words",
    [
        ["--most", "3"],
        ["--layer", "rank.geojson"],
        ["--layer", "rank.gpkg", "-o", "rank.gpkg"],
    ],
)
def test_options_that_do_not_go_together_are_refused(words: list[str]) -> None:
    code, text, error = run(*words)
    assert (code, text) == (2, "")
    assert error.startswith("Error: ")


def test_a_file_of_the_survey_is_never_written_over(own_demo: Path) -> None:
    streams = own_demo.parent / "layers" / "streams.gpkg"
    before = streams.read_bytes()
    code, _, error = run("--layer", str(streams), folder=own_demo)
    assert code == 2
    assert "the survey reads" in error
    assert streams.read_bytes() == before


def test_the_example_of_the_help_runs() -> None:
    text = CliRunner().invoke(app, ["rank", "--help"]).stdout
    assert "watershedmap rank demo_data --words --most 3 --quiet" in " ".join(text.split())
    assert run("--words", "--most", "3")[0] == 0
