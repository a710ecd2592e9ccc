"""Barriers: a table of its own, checked like the sites; none is nothing to complain of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from watershedmap.readers.barriers import read_barriers
from watershedmap.settings import Settings

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd

    from watershedmap.errors import Fault


def read(folder: Path, text: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    (folder / "barriers.csv").write_text(text, encoding="utf-8")
    settings = Settings(title="", about="", tables={"barriers": "barriers.csv"}, layers={})
    return read_barriers(folder, settings, reach_ids={"a"})


def test_barriers_come_in_as_points_with_their_kind(tmp_path: Path) -> None:
    barriers, faults = read(
        tmp_path,
        "barrier_id,name,kind,longitude,latitude,reach_id\nd1,Mill weir,weir,10,50,a\nd2,,,10.1,50,\n",
    )
    assert faults == []
    assert barriers["barrier_id"].tolist() == ["d1", "d2"]
    assert barriers["name"].tolist() == ["Mill weir", "d2"]
    assert barriers["kind"].tolist() == ["weir", ""]
    assert barriers["reach_id"].isna().tolist() == [False, True]
    assert barriers.geometry.x.tolist() == [10.0, 10.1]
    assert barriers.crs is not None
    assert barriers.crs.to_epsg() == 4326


def test_a_position_may_be_in_another_system(tmp_path: Path) -> None:
    # 500000 m east in UTM zone 32 north is 9 degrees east by the definition of the projection.
    barriers, faults = read(tmp_path, "barrier_id,longitude,latitude,crs\nd1,500000,5538630.7,EPSG:32632\n")
    assert faults == []
    assert abs(barriers.geometry.x.iloc[0] - 9) < 1e-9


def test_every_fault_is_found_in_one_pass(tmp_path: Path) -> None:
    text = "barrier_id,longitude,latitude,reach_id\nd1,x,50,\nd1,10,95,\n,10,50,zz\n"
    _, faults = read(tmp_path, text)
    assert {(fault.row, fault.column) for fault in faults} == {
        (2, "longitude"),
        (3, "barrier_id"),
        (3, "latitude"),
        (4, "barrier_id"),
        (4, "reach_id"),
    }


def test_a_survey_without_the_table_has_no_barriers(tmp_path: Path) -> None:
    barriers, faults = read_barriers(tmp_path, Settings(title="", about="", tables={}, layers={}))
    assert barriers.empty
    assert faults == []
    assert list(barriers.columns) == ["barrier_id", "name", "kind", "reach_id", "geometry"]
