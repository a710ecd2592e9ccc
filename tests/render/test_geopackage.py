"""The GeoPackage: a valid one, the same bytes each time, and types that a GIS opens."""

from __future__ import annotations

import dataclasses
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

import geopandas as gpd
import pyogrio
import pytest
from shapely.geometry import MultiLineString

from watershedmap.errors import OutputError
from watershedmap.render.geopackage import FIXED_DATE, write_findings, write_geopackage
from watershedmap.render.tables import COLUMNS

if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from watershedmap.assessment import Assessment


def _query(path: Path, sql: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(sql).fetchall()


def test_layers_are_in_order_and_no_other_tables_are_listed(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    path = write_geopackage(small_assessment, tmp_path / "condition.gpkg")
    layers = pyogrio.list_layers(path).tolist()
    assert layers == [
        ["reaches", "LineString"],
        ["sites", "Point"],
        ["subwatersheds", "Polygon"],
        ["steps", "LineString"],
        ["layer_findings", "Point"],
    ]
    assert [file.name for file in tmp_path.iterdir() if file.is_file()] == ["condition.gpkg"]


def test_header_and_tables_are_those_of_the_standard(small_assessment: Assessment, tmp_path: Path) -> None:
    # OGC 12-128r14 (GeoPackage 1.2), from memory: requirement 2 (application_id, user_version), 6
    # and 7 (integrity, foreign keys), 10 and 13 (gpkg_spatial_ref_sys, gpkg_contents)
    path = write_geopackage(small_assessment, tmp_path / "condition.gpkg")
    assert _query(path, "pragma application_id") == [(int.from_bytes(b"GPKG", "big"),)]
    assert 10200 <= _query(path, "pragma user_version")[0][0] <= 10499
    assert _query(path, "pragma integrity_check") == [("ok",)]
    assert _query(path, "pragma foreign_key_check") == []
    tables = {name for (name,) in _query(path, "select name from sqlite_master where type = 'table'")}
    assert {"gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns", "gpkg_extensions"} <= tables
    contents = _query(path, "select table_name, data_type, srs_id, last_change from gpkg_contents")
    names = ("reaches", "sites", "subwatersheds", "steps", "layer_findings")
    assert contents == [(name, "features", 4326, FIXED_DATE) for name in names]


def test_same_assessment_same_bytes_whatever_the_name(small_assessment: Assessment, tmp_path: Path) -> None:
    first = write_geopackage(small_assessment, tmp_path / "one.gpkg").read_bytes()
    second = write_geopackage(small_assessment, tmp_path / "two.gpkg").read_bytes()
    again = write_geopackage(small_assessment, tmp_path / "one.gpkg").read_bytes()
    assert first == second == again


def test_the_clock_of_the_library_is_as_before(small_assessment: Assessment, tmp_path: Path) -> None:
    write_geopackage(small_assessment, tmp_path / "one.gpkg")
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2011-01-01T00:00:00.000Z"})
    try:
        write_geopackage(small_assessment, tmp_path / "two.gpkg")
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == "2011-01-01T00:00:00.000Z"
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def test_columns_stand_in_their_fixed_order(small_assessment: Assessment, tmp_path: Path) -> None:
    path = write_geopackage(small_assessment, tmp_path / "condition.gpkg")
    assert pyogrio.read_info(path, layer="sites")["fields"].tolist() == list(COLUMNS["sites"])


def test_types_are_the_same_whether_or_not_values_are_missing(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    path = write_geopackage(small_assessment, tmp_path / "condition.gpkg")
    types = {name: kind for _, name, kind, *_ in _query(path, "pragma table_info(sites)")}
    assert types["current"] == "BOOLEAN"
    assert types["class_low"].startswith("TEXT")  # all of it is missing
    assert types["first_year"] in {"INTEGER", "MEDIUMINT"}  # some of it is missing
    assert types["score_low"] == "REAL"  # all of it is missing
    types = {name: kind for _, name, kind, *_ in _query(path, "pragma table_info(reaches)")}
    assert types["strahler_order"] in {"INTEGER", "MEDIUMINT"}
    assert types["site_downstream"].startswith("TEXT")


def test_a_column_of_text_that_came_as_numbers_is_text(small_assessment: Assessment, tmp_path: Path) -> None:
    sites = small_assessment.sites.assign(subwatershed_id=float("nan"), first_year=float("nan"))
    path = write_geopackage(dataclasses.replace(small_assessment, sites=sites), tmp_path / "condition.gpkg")
    types = {name: kind for _, name, kind, *_ in _query(path, "pragma table_info(sites)")}
    assert types["subwatershed_id"].startswith("TEXT")
    assert types["first_year"] in {"INTEGER", "MEDIUMINT"}


def test_missing_is_null_and_text_is_unchanged(small_assessment: Assessment, tmp_path: Path) -> None:
    path = write_geopackage(small_assessment, tmp_path / "condition.gpkg")
    sql = "select name, score, class, first_year, current, reach_id, trend from sites order by fid"
    first, second = _query(path, sql)
    assert first == ("<img src=x onerror=alert(1)>", 4.25, "Good", 2021, 1, "R1", "too few years")
    assert second == ("=cmd|' /C calc'!A0", None, None, None, 0, None, None)


def test_places_are_wgs84_and_flat(small_assessment: Assessment, tmp_path: Path) -> None:
    path = write_geopackage(small_assessment, tmp_path / "condition.gpkg")
    reaches = gpd.read_file(path, layer="reaches")
    assert reaches.crs.to_epsg() == 4326
    assert not reaches.geometry.has_z.any()
    first, before = reaches.geometry.iloc[0], small_assessment.reaches.geometry.iloc[0]
    assert first.equals_exact(before, tolerance=0)


def test_a_layer_with_any_multi_part_is_multi_part(small_assessment: Assessment, tmp_path: Path) -> None:
    reaches = small_assessment.reaches.copy()
    reaches.geometry = [MultiLineString([reaches.geometry.iloc[0]]), *reaches.geometry.iloc[1:]]
    path = write_geopackage(
        dataclasses.replace(small_assessment, reaches=reaches), tmp_path / "condition.gpkg"
    )
    assert pyogrio.list_layers(path).tolist()[0] == ["reaches", "MultiLineString"]
    assert len(gpd.read_file(path, layer="reaches")) == 3


def test_a_survey_without_sites_or_areas_still_has_its_layers(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    bare = dataclasses.replace(small_assessment, sites=small_assessment.sites.head(0), subwatersheds=None)
    path = write_geopackage(bare, tmp_path / "condition.gpkg")
    layers = pyogrio.list_layers(path)[:, 0].tolist()
    assert layers == ["reaches", "sites", "steps", "layer_findings"]
    assert len(gpd.read_file(path, layer="sites")) == 0


def test_the_assessment_is_not_changed(small_assessment: Assessment, tmp_path: Path) -> None:
    before = small_assessment.reaches.copy()
    write_geopackage(small_assessment, tmp_path / "condition.gpkg")
    assert before.equals(small_assessment.reaches)
    assert small_assessment.reaches.geometry.iloc[2].has_z


def test_a_place_that_cannot_be_written_is_said_plainly(small_assessment: Assessment, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"condition\.gpkg cannot be written"):
        write_geopackage(small_assessment, tmp_path / "absent" / "condition.gpkg")


def test_a_failure_leaves_the_earlier_file(
    small_assessment: Assessment, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_geopackage(small_assessment, tmp_path / "condition.gpkg")
    before = path.read_bytes()

    def fail(*_: object, **__: object) -> None:
        raise OSError("no space")

    monkeypatch.setattr(pyogrio, "write_dataframe", fail)
    with pytest.raises(OutputError, match="no space"):
        write_geopackage(small_assessment, path)
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir() if file.is_file()] == ["condition.gpkg"]


def test_findings_alone_make_a_file_with_and_without_places(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    findings = small_assessment.survey.findings
    one = write_findings(findings, tmp_path / "one.gpkg")
    assert pyogrio.list_layers(one).tolist() == [["layer_findings", "Point"]]
    read = pyogrio.read_dataframe(one)
    assert read["ids"].tolist() == findings["ids"].tolist()
    assert read.geometry.isna().tolist() == [False, True]
    assert one.read_bytes() == write_findings(findings, tmp_path / "two.gpkg").read_bytes()
    empty = write_findings(findings.head(0), tmp_path / "empty.gpkg")
    assert len(pyogrio.read_dataframe(empty)) == 0
