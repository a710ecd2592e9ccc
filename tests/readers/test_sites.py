"""Sites: positions in any system, each fault named."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from watershedmap.readers.settings import read_settings
from watershedmap.readers.sites import read_sites

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd
    from conftest import SurveyFolder

    from watershedmap.errors import Fault


def read(folder: Path) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    settings, _ = read_settings(folder)
    return read_sites(folder, settings, reach_ids={"a", "b", "c", "d"})


def test_sites_come_in_as_points_in_wgs84(survey_folder: SurveyFolder) -> None:
    sites, faults = read(survey_folder.path)
    assert faults == []
    assert sites["site_id"].tolist() == ["A1", "C1"]
    assert sites.geometry.x.tolist() == [10.0051, 10.0101]
    assert sites["reach_id"].isna().all()


def test_a_site_without_a_name_is_called_by_its_id(survey_folder: SurveyFolder) -> None:
    survey_folder.change("sites.csv", "Upper a", "")
    assert read(survey_folder.path)[0]["name"].tolist() == ["A1", "Middle c"]


def test_rows_may_be_in_different_coordinate_systems(survey_folder: SurveyFolder) -> None:
    # 500000 m east in UTM zone 32 north is 9 degrees east by the definition of the projection.
    survey_folder.write(
        "sites.csv",
        "site_id,longitude,latitude,crs\nU,500000,5538630.70,EPSG:32632\nW,9,50,\n",
    )
    sites, faults = read(survey_folder.path)
    assert faults == []
    assert sites["longitude"].tolist() == pytest.approx([9, 9], abs=1e-9)
    assert sites["latitude"].iloc[0] == pytest.approx(50, abs=1e-4)


@pytest.mark.parametrize(
    ("old", "new", "column", "problem"),
    [
        ("A1,", ",", "site_id", "this cell is empty"),
        ("C1,", "A1,", "site_id", "this value stands in an earlier row too"),
        ("50.03", "", "latitude", "the value is missing"),
        ("50.03", "150.03", "latitude", "outside -90 to 90 degrees"),
        ("10.0051", "10E", "longitude", "this is not a number"),
    ],
)
def test_each_fault_of_a_site_is_named(
    survey_folder: SurveyFolder, old: str, new: str, column: str, problem: str
) -> None:
    survey_folder.change("sites.csv", old, new)
    _, faults = read(survey_folder.path)
    assert [(fault.column, fault.problem) for fault in faults] == [(column, problem)]


def test_an_unknown_coordinate_system_is_a_fault(survey_folder: SurveyFolder) -> None:
    survey_folder.write("sites.csv", "site_id,longitude,latitude,crs\nU,10,50,EPSG:0\n")
    _, faults = read(survey_folder.path)
    assert [fault.problem for fault in faults] == ["not a known coordinate system"]


def test_a_reach_id_must_be_one_of_the_layer(survey_folder: SurveyFolder) -> None:
    survey_folder.write("sites.csv", "site_id,longitude,latitude,reach_id\nU,10,50,a\nV,10,50,x\nW,10,50,\n")
    sites, faults = read(survey_folder.path)
    assert [(fault.row, fault.value) for fault in faults] == [(3, "x")]
    assert sites["reach_id"].isna().tolist() == [False, False, True]


def test_stream_and_drainage_area_are_read_and_may_be_empty(survey_folder: SurveyFolder) -> None:
    survey_folder.write(
        "sites.csv",
        "site_id,longitude,latitude,stream,upstream_area_km2\nU,10,50,Alder Brook,12.5\nV,10,50,,\n",
    )
    sites, faults = read(survey_folder.path)
    assert faults == []
    assert sites["stream"].tolist() == ["Alder Brook", ""]
    assert sites["upstream_area_km2"].iloc[0] == 12.5
    assert sites["upstream_area_km2"].isna().tolist() == [False, True]


def test_sites_without_these_columns_have_no_stream_and_no_drainage_area(survey_folder: SurveyFolder) -> None:
    sites, _ = read(survey_folder.path)
    assert sites["stream"].tolist() == ["", ""]
    assert sites["upstream_area_km2"].isna().all()
    assert sites["upstream_area_km2"].dtype == float


@pytest.mark.parametrize(
    ("cell", "problem"),
    [
        ("0", "a drainage area is more than 0"),
        ("-3", "a drainage area is more than 0"),
        ("large", "this is not a number"),
        ("inf", "this is not a number"),
        ('"1,5"', "a decimal comma"),
    ],
)
def test_a_drainage_area_that_is_no_number_above_zero_is_a_fault(
    survey_folder: SurveyFolder, cell: str, problem: str
) -> None:
    survey_folder.write("sites.csv", f"site_id,longitude,latitude,upstream_area_km2\nU,10,50,{cell}\n")
    sites, faults = read(survey_folder.path)
    assert [(fault.row, fault.column, fault.problem) for fault in faults] == [
        (2, "upstream_area_km2", problem)
    ]
    assert sites["upstream_area_km2"].isna().all()
