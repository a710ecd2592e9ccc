"""The manifest: what the results were made from, the same everywhere."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from watershedmap.errors import OutputError
from watershedmap.render.manifest import (
    MANIFEST,
    _relative,
    library_versions,
    read_outputs,
    write_manifest,
)

if TYPE_CHECKING:
    from typing import Any

    from watershedmap.assessment import Assessment


def _results(folder: Path) -> list[Path]:
    (folder / "briefs").mkdir(parents=True)
    files = [folder / "map.html", folder / "briefs" / "one.html"]
    for file in files:
        file.write_text(file.name, encoding="utf-8")
    return files


def _manifest(assessment: Assessment, folder: Path) -> dict[str, Any]:
    outputs = _results(folder)
    path = write_manifest(assessment, folder / MANIFEST, outputs=[*outputs, folder / MANIFEST])
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return content


def test_inputs_are_named_from_the_survey_folder_with_size_and_sha256(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    inputs = _manifest(small_assessment, tmp_path / "out")["inputs"]
    assert [item["file"] for item in inputs] == ["../streams.gpkg", "sites.csv", "survey.toml"]
    assert inputs[0]["bytes"] == 8
    assert inputs[0]["sha256"] == hashlib.sha256(b"invented").hexdigest()


def test_outputs_are_all_but_the_manifest(small_assessment: Assessment, tmp_path: Path) -> None:
    outputs = _manifest(small_assessment, tmp_path / "out")["outputs"]
    assert [item["file"] for item in outputs] == ["briefs/one.html", "map.html"]
    assert outputs[1]["sha256"] == hashlib.sha256(b"map.html").hexdigest()


def test_an_input_that_is_a_folder_is_listed_file_by_file(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    layer = small_assessment.survey.folder / "streams.gdb"
    layer.mkdir()
    (layer / "a.table").write_bytes(b"1")
    survey = dataclasses.replace(small_assessment.survey, inputs=(layer, layer))
    content = _manifest(dataclasses.replace(small_assessment, survey=survey), tmp_path / "out")
    assert [item["file"] for item in content["inputs"]] == ["streams.gdb/a.table"]


def test_an_input_that_shares_only_the_root_is_named_without_its_path() -> None:
    assert _relative(Path("/mnt/layers/streams.gpkg"), Path("/data/survey")) == "streams.gpkg"
    assert _relative(Path("/data/layers/streams.gpkg"), Path("/data/survey")) == "../layers/streams.gpkg"


def test_options_and_versions_are_stated(small_assessment: Assessment, tmp_path: Path) -> None:
    content = _manifest(small_assessment, tmp_path / "out")
    assert content["options"] == small_assessment.survey.settings.as_dict()
    assert content["program"]["name"] == "watershedmap"
    assert content["libraries"] == library_versions()
    assert {
        "GDAL",
        "GEOS",
        "PROJ",
        "geopandas",
        "shapely",
        "pandas",
        "pyproj",
        "numpy",
        "scipy",
        "folium",
    } <= set(content["libraries"])
    assert all(version[0].isdigit() for version in content["libraries"].values())


def test_a_survey_moved_elsewhere_gives_the_same_bytes(small_assessment: Assessment, tmp_path: Path) -> None:
    _manifest(small_assessment, tmp_path / "one")
    moved = tmp_path / "elsewhere" / "deeper"
    shutil.copytree(small_assessment.survey.folder.parent, moved)
    folder = moved / "survey"
    inputs = tuple(folder / name for name in ("sites.csv", "../streams.gpkg", "survey.toml"))
    survey = dataclasses.replace(small_assessment.survey, folder=folder, inputs=inputs)
    _manifest(dataclasses.replace(small_assessment, survey=survey), tmp_path / "two")
    text = (tmp_path / "one" / MANIFEST).read_bytes()
    assert text == (tmp_path / "two" / MANIFEST).read_bytes()
    assert str(tmp_path).encode() not in text
    assert b"\r" not in text


def test_a_path_given_relative_gives_the_same_bytes(
    small_assessment: Assessment, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _manifest(small_assessment, tmp_path / "one")
    monkeypatch.chdir(tmp_path)
    folder = small_assessment.survey.folder.relative_to(tmp_path)
    inputs = tuple(file.relative_to(tmp_path) for file in small_assessment.survey.inputs)
    survey = dataclasses.replace(small_assessment.survey, folder=folder, inputs=inputs)
    _manifest(dataclasses.replace(small_assessment, survey=survey), tmp_path / "two")
    assert (tmp_path / "one" / MANIFEST).read_bytes() == (tmp_path / "two" / MANIFEST).read_bytes()


def test_keys_are_sorted(small_assessment: Assessment, tmp_path: Path) -> None:
    content = _manifest(small_assessment, tmp_path / "out")
    assert list(content) == sorted(content)
    assert list(content["options"]) == sorted(content["options"])


def test_the_listed_files_can_be_read_back(small_assessment: Assessment, tmp_path: Path) -> None:
    _manifest(small_assessment, tmp_path / "out")
    assert read_outputs(tmp_path / "out") == {"map.html", "briefs/one.html", MANIFEST}


@pytest.mark.parametrize(
    "text",
    [
        None,
        "",
        "[]",
        "3",
        "{",
        '{"program": "watershedmap", "outputs": []}',
        '{"program": {"name": "other"}, "outputs": []}',
        '{"program": {"name": "watershedmap"}}',
        '{"program": {"name": "watershedmap"}, "outputs": ["map.html"]}',
        '{"program": {"name": "watershedmap"}, "outputs": null}',
    ],
)
def test_anything_else_is_no_manifest_of_ours(text: str | None, tmp_path: Path) -> None:
    if text is not None:
        (tmp_path / MANIFEST).write_text(text, encoding="utf-8")
    assert read_outputs(tmp_path) is None


def test_an_output_that_is_gone_is_said_plainly(small_assessment: Assessment, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"manifest\.json cannot be written"):
        write_manifest(small_assessment, tmp_path / MANIFEST, outputs=[tmp_path / "gone.csv"])
