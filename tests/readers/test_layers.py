"""Layers: any format and coordinate system come in alike; what cannot be a layer is a fault."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
import pytest
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from watershedmap.readers.layers import as_ids, read_reaches, read_subwatersheds
from watershedmap.settings import Layer, Settings

if TYPE_CHECKING:
    from pathlib import Path

LINE = LineString([(10.0, 50.0), (10.0, 50.01)])


def settings(
    path: str = "reaches.gpkg", *, columns: dict[str, str] | None = None, layer: str | None = None
) -> Settings:
    layers = {"reaches": Layer(path, layer), "subwatersheds": Layer(path, layer)}
    names = {"reaches": columns or {}, "subwatersheds": columns or {}}
    return Settings(title="", about="", tables={}, layers=layers, columns=names)


def reaches(**columns: list[object]) -> gpd.GeoDataFrame:
    size = len(next(iter(columns.values())))
    return gpd.GeoDataFrame(columns, geometry=[LINE] * size, crs="EPSG:4326")


@pytest.mark.parametrize("name", ["r.gpkg", "r.geojson", "r.shp", "r.fgb", "r.parquet"])
def test_every_format_gives_the_same_reaches(tmp_path: Path, name: str) -> None:
    frame = reaches(reach_id=["a", "b"], name=["Brook", "Run"])
    if name.endswith("parquet"):
        frame.to_parquet(tmp_path / name)
    else:
        frame.to_file(tmp_path / name)
    read, faults = read_reaches(tmp_path, settings(name))
    assert faults == []
    assert read["reach_id"].tolist() == ["a", "b"]
    assert read["name"].tolist() == ["Brook", "Run"]
    assert read.geometry.iloc[0].equals_exact(LINE, 1e-9)


def test_any_coordinate_system_is_brought_to_wgs84_and_heights_are_dropped(tmp_path: Path) -> None:
    line = LineString([(10.0, 50.0, 3.0), (10.0, 50.01, 2.0)])
    frame = gpd.GeoDataFrame({"reach_id": ["a"]}, geometry=[line], crs="EPSG:4326").to_crs("EPSG:32632")
    frame.to_file(tmp_path / "reaches.gpkg")
    read, _ = read_reaches(tmp_path, settings())
    assert read.crs.to_epsg() == 4326
    assert not read.geometry.has_z.any()
    assert read.geometry.iloc[0].coords[0] == pytest.approx((10.0, 50.0), abs=1e-8)


def test_the_layers_own_column_names_can_be_given(tmp_path: Path) -> None:
    reaches(LINK=[7, 8], TO=[8, 0]).to_file(tmp_path / "reaches.gpkg")
    read, faults = read_reaches(tmp_path, settings(columns={"reach_id": "LINK", "downstream_id": "TO"}))
    assert faults == []
    assert read["reach_id"].tolist() == ["7", "8"]
    assert read["downstream_id"].isna().tolist() == [False, True]


def test_a_named_column_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    reaches(LINK=[7]).to_file(tmp_path / "reaches.gpkg")
    _, faults = read_reaches(tmp_path, settings(columns={"reach_id": "LINC"}))
    assert faults[0].problem == "the layer has no such column"
    assert faults[0].fix == "did you mean LINK?"


def test_a_layer_without_ids_gets_row_numbers_and_says_so(tmp_path: Path) -> None:
    reaches(other=["x", "y"]).to_file(tmp_path / "reaches.gpkg")
    read, faults = read_reaches(tmp_path, settings())
    assert read["reach_id"].tolist() == ["row 1", "row 2"]
    assert [fault.severity for fault in faults] == ["notice"]


def test_ids_are_the_same_as_integers_floats_or_text() -> None:
    wanted = ["60586620", "7", ""]
    assert as_ids(pd.Series([60586620.0, 7.0, None])).tolist() == wanted
    assert as_ids(pd.Series([60586620, 7, pd.NA], dtype="Int64")).tolist() == wanted
    assert as_ids(pd.Series(["60586620", " 7", None])).tolist() == wanted
    assert as_ids(pd.Series([1.5])).tolist() == ["1.5"]


def test_a_zero_is_an_outlet_only_where_no_reach_is_called_zero(tmp_path: Path) -> None:
    reaches(reach_id=[0, 1, 2], downstream_id=[1, 2, -1]).to_file(tmp_path / "reaches.gpkg")
    read, _ = read_reaches(tmp_path, settings())
    assert read["downstream_id"].isna().tolist() == [False, False, True]
    reaches(reach_id=[3, 1], downstream_id=[0, 0]).to_file(tmp_path / "reaches.gpkg")
    read, _ = read_reaches(tmp_path, settings())
    assert read["downstream_id"].isna().all()


def test_repeated_and_missing_ids_are_faults(tmp_path: Path) -> None:
    reaches(reach_id=["a", "a", None]).to_file(tmp_path / "reaches.gpkg")
    _, faults = read_reaches(tmp_path, settings())
    assert {fault.problem for fault in faults} == {
        "1 feature(s) have no id",
        "2 features share an id with another",
    }


def test_reaches_without_nodes_are_a_fault(tmp_path: Path) -> None:
    reaches(reach_id=["a", "b"], from_node=["1", None], to_node=["2", "3"]).to_file(tmp_path / "reaches.gpkg")
    _, faults = read_reaches(tmp_path, settings())
    assert [(fault.column, fault.value) for fault in faults] == [("from_node", "b")]


def test_what_cannot_be_read_as_a_layer_is_a_fault(tmp_path: Path) -> None:
    assert read_reaches(tmp_path, settings("none.gpkg"))[1][0].problem == "there is no such file"
    (tmp_path / "text.gpkg").write_text("not a layer")
    assert "cannot be read as a map layer" in read_reaches(tmp_path, settings("text.gpkg"))[1][0].problem
    reaches(reach_id=["a"]).to_file(tmp_path / "reaches.gpkg", layer="real")
    assert "cannot be read" in read_reaches(tmp_path, settings(layer="other"))[1][0].problem
    with pytest.warns(UserWarning, match="crs"):
        reaches(reach_id=["a"]).set_crs(None, allow_override=True).to_file(tmp_path / "bare.gpkg")
    assert "coordinate system" in read_reaches(tmp_path, settings("bare.gpkg"))[1][0].problem
    reaches(reach_id=["a"]).iloc[:0].to_file(tmp_path / "empty.gpkg")
    assert read_reaches(tmp_path, settings("empty.gpkg"))[1][0].problem == "the layer is empty"


def test_points_are_no_reaches_and_lines_no_areas(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame({"reach_id": ["a"]}, geometry=[Point(10, 50)], crs="EPSG:4326")
    frame.to_file(tmp_path / "points.gpkg")
    assert "not lines but Point" in read_reaches(tmp_path, settings("points.gpkg"))[1][0].problem
    frame = gpd.GeoDataFrame({"subwatershed_id": ["a"]}, geometry=[LINE], crs="EPSG:4326")
    frame.to_file(tmp_path / "lines.gpkg")
    assert "not polygons but LineString" in read_subwatersheds(tmp_path, settings("lines.gpkg"))[1][0].problem


def test_a_polygon_that_crosses_itself_is_mended_and_reported(tmp_path: Path) -> None:
    bow = Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    frame = gpd.GeoDataFrame({"subwatershed_id": ["w"]}, geometry=[bow], crs="EPSG:4326")
    frame.to_file(tmp_path / "areas.gpkg")
    read, faults = read_subwatersheds(tmp_path, settings("areas.gpkg"))
    assert read is not None
    assert read.geometry.is_valid.all()
    assert [(fault.severity, fault.value) for fault in faults] == [("notice", "w")]
    assert read["name"].tolist() == ["w"]


def test_no_layer_of_areas_is_nothing_to_complain_of(tmp_path: Path) -> None:
    plain = Settings(title="", about="", tables={}, layers={"reaches": Layer("reaches.gpkg")})
    assert read_subwatersheds(tmp_path, plain) == (None, [])


def test_a_plain_table_that_does_not_tell_the_flow_is_no_layer(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("reach_id,x\na,1\n")
    assert read_reaches(tmp_path, settings("t.csv"))[1][0].problem == "this is a table without a map"
    assert read_reaches(tmp_path, settings("."))[1][0].problem == "this is a table without a map"
    assert read_reaches(tmp_path, settings("x" * 300 + ".gpkg"))[1][0].severity == "fault"


@pytest.mark.parametrize("name", ["t.csv", "t.parquet"])
def test_a_table_with_ids_and_topology_is_a_layer_without_lines(tmp_path: Path, name: str) -> None:
    table = pd.DataFrame({"link": [1, 2, 3], "to": [2, 3, 0], "Length": [1500.0, 20.0, 7.0]})
    if name.endswith("csv"):
        table.to_csv(tmp_path / name, index=False)
    else:
        table.to_parquet(tmp_path / name)
    read, found = read_reaches(tmp_path, settings(name))
    assert {fault.severity for fault in found} == {"notice"}
    assert any("a table without a map" in fault.problem for fault in found)
    assert read.geometry.isna().all()
    assert read["downstream_id"].fillna("-").tolist() == ["2", "3", "-"]
    assert read["length_km"].tolist() == [1.5, 0.02, 0.007]


def test_a_table_is_no_layer_of_areas(tmp_path: Path) -> None:
    (tmp_path / "t.csv").write_text("HYBAS_ID,NEXT_DOWN\n1,0\n")
    assert read_subwatersheds(tmp_path, settings("t.csv"))[1][0].problem == "this is a table without a map"


def test_what_was_recognised_is_noticed_with_the_way_to_choose_otherwise(tmp_path: Path) -> None:
    reaches(HYRIV_ID=[7, 8], NEXT_DOWN=[8, 0], UPLAND_SKM=[1.5, -9999.0]).to_file(tmp_path / "reaches.gpkg")
    read, (taken, unknown) = read_reaches(tmp_path, settings())
    assert read["downstream_id"].fillna("-").tolist() == ["8", "-"]
    assert read["upstream_area_km2"].isna().tolist() == [False, True]
    assert taken.problem == (
        "the columns HYRIV_ID, NEXT_DOWN, UPLAND_SKM were taken for reach_id, downstream_id, "
        "upstream_area_km2, as in HydroRIVERS"
    )
    assert "[columns.reaches]" in taken.fix
    assert (unknown.severity, unknown.column, unknown.value) == ("notice", "UPLAND_SKM", "8: -9999")


def test_a_line_that_flows_against_its_nodes_has_them_swapped(tmp_path: Path) -> None:
    frame = reaches(
        id=["a", "b", "c"],
        start_node=["1", "2", "3"],
        end_node=["2", "3", "4"],
        flow_direction=["in direction", "in opposite direction", "inOppositeDirection"],
    )
    frame.to_file(tmp_path / "reaches.gpkg")
    read, _ = read_reaches(tmp_path, settings())
    assert read["from_node"].tolist() == ["1", "3", "4"]
    assert read["to_node"].tolist() == ["2", "2", "3"]


def test_a_column_called_id_is_taken_while_its_values_are_ids(tmp_path: Path) -> None:
    reaches(ID=["x", "y"]).to_file(tmp_path / "reaches.gpkg")
    read, (notice,) = read_reaches(tmp_path, settings())
    assert read["reach_id"].tolist() == ["x", "y"]
    assert notice.problem == "the column ID was taken for reach_id"
    reaches(ID=["x", "x"]).to_file(tmp_path / "reaches.gpkg")
    read, found = read_reaches(tmp_path, settings())
    assert read["reach_id"].tolist() == ["row 1", "row 2"]
    assert {fault.severity for fault in found} == {"notice"}


def test_only_the_columns_that_are_needed_come_in_with_their_types(tmp_path: Path) -> None:
    frame = reaches(
        reach_id=["a", "b"],
        extra=[1, 2],
        stream_order=[2.0, None],
        share=["0.25", ""],
        barrier=["dam", None],
        group=[4, 5],
        nested_code=[863.0, 861.0],
        width_m=[12, 3],
    )
    frame.to_file(tmp_path / "reaches.gpkg")
    read, faults = read_reaches(tmp_path, settings())
    assert faults == []
    assert "extra" not in read
    assert read["stream_order"].dtype == "Int64"
    assert read["stream_order"].isna().tolist() == [False, True]
    assert read["share"].tolist()[0] == 0.25
    assert read["barrier"].tolist() == ["dam", ""]
    assert read["group"].tolist() == ["4", "5"]
    assert read["nested_code"].tolist() == ["863", "861"]
    assert read["width_m"].tolist() == [12.0, 3.0]


def test_text_among_numbers_is_one_fault_for_the_column(tmp_path: Path) -> None:
    reaches(reach_id=["a", "b"], width_m=["3", "broad"]).to_file(tmp_path / "reaches.gpkg")
    (fault,) = read_reaches(tmp_path, settings())[1]
    assert (fault.severity, fault.column, fault.value) == ("fault", "width_m", "b: broad")


def test_the_same_is_read_without_the_faster_way(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    line = LineString([(10.0, 50.0, 3.0), (10.0, 50.01, 2.0)])
    frame = gpd.GeoDataFrame(
        {"HYRIV_ID": [5, 6], "NEXT_DOWN": [6, 0], "ORD_STRA": [None, 2]},
        geometry=[line, None],
        crs="EPSG:4326",
    )
    frame.to_file(tmp_path / "reaches.gpkg")
    fast, _ = read_reaches(tmp_path, settings())
    monkeypatch.setattr("watershedmap.readers.layer_files.find_spec", lambda _: None)
    slow, _ = read_reaches(tmp_path, settings())
    pd.testing.assert_frame_equal(pd.DataFrame(fast), pd.DataFrame(slow))
    assert fast.geometry.isna().tolist() == [False, True]


def test_several_parts_and_missing_lines_come_in_as_they_are(tmp_path: Path) -> None:
    parts = MultiLineString([[(10, 50), (10, 51)], [(11, 50), (11, 51)]])
    frame = gpd.GeoDataFrame({"reach_id": ["a", "b"]}, geometry=[parts, None], crs="EPSG:4326")
    frame.to_file(tmp_path / "reaches.gpkg")
    read, faults = read_reaches(tmp_path, settings())
    assert faults == []
    assert read.geometry.iloc[0].equals(parts)
    assert read.geometry.isna().tolist() == [False, True]


def test_codes_downstream_of_sub_watersheds_are_read_and_ends_are_missing(tmp_path: Path) -> None:
    square = Polygon([(0, 0), (1, 0), (1, 1)])
    columns = {"HYBAS_ID": [1, 2], "NEXT_DOWN": [2, 0]}
    gpd.GeoDataFrame(columns, geometry=[square, square], crs="EPSG:4326").to_file(tmp_path / "areas.gpkg")
    read, _ = read_subwatersheds(tmp_path, settings("areas.gpkg"))
    assert read is not None
    assert read["downstream_id"].fillna("-").tolist() == ["2", "-"]


def test_coordinates_off_the_globe_are_a_fault(tmp_path: Path) -> None:
    line = LineString([(500000, 5538630), (500100, 5538630)])
    gpd.GeoDataFrame({"reach_id": ["a"]}, geometry=[line], crs="EPSG:4326").to_file(tmp_path / "reaches.gpkg")
    (fault,) = read_reaches(tmp_path, settings())[1]
    assert fault.value == "a"
    assert "outside -180 to 180" in fault.problem


def test_one_node_column_without_the_other_is_a_fault(tmp_path: Path) -> None:
    reaches(reach_id=["a"], F=["1"]).to_file(tmp_path / "reaches.gpkg")
    (fault,) = read_reaches(tmp_path, settings(columns={"from_node": "F"}))[1]
    assert (fault.column, fault.problem) == ("F", "one node column without the other")


def test_one_heading_may_serve_as_id_and_name(tmp_path: Path) -> None:
    reaches(reach_id=["a"]).to_file(tmp_path / "reaches.gpkg")
    read, faults = read_reaches(tmp_path, settings(columns={"name": "reach_id"}))
    assert faults == []
    assert read["name"].tolist() == ["a"]


def test_a_file_of_several_layers_with_none_named_is_noticed(tmp_path: Path) -> None:
    reaches(reach_id=["a"]).to_file(tmp_path / "reaches.gpkg", layer="one")
    reaches(reach_id=["b"]).to_file(tmp_path / "reaches.gpkg", layer="two", mode="a")
    read, (notice,) = read_reaches(tmp_path, settings())
    assert (notice.severity, notice.value) == ("notice", "one, two")
    assert read["reach_id"].tolist() == ["a"]
    assert read_reaches(tmp_path, settings(layer="two"))[1] == []


def test_a_mended_polygon_keeps_only_its_area(tmp_path: Path) -> None:
    spiked = Polygon([(0, 0), (1, 0), (1, 1), (2, 1), (1, 1), (0, 1)])
    frame = gpd.GeoDataFrame({"subwatershed_id": ["w"]}, geometry=[spiked], crs="EPSG:4326")
    frame.to_file(tmp_path / "areas.gpkg")
    read, _ = read_subwatersheds(tmp_path, settings("areas.gpkg"))
    assert read is not None
    assert read.geometry.iloc[0].equals(Polygon([(0, 0), (1, 0), (1, 1), (0, 1)]))


def test_a_missing_polygon_is_said_to_be_nothing(tmp_path: Path) -> None:
    square = Polygon([(0, 0), (1, 0), (1, 1)])
    frame = gpd.GeoDataFrame({"subwatershed_id": ["w", "v"]}, geometry=[square, None], crs="EPSG:4326")
    frame.to_file(tmp_path / "areas.gpkg")
    assert (
        "are not polygons but nothing" in read_subwatersheds(tmp_path, settings("areas.gpkg"))[1][0].problem
    )
