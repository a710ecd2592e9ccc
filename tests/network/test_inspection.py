"""What is odd about a layer of reaches is listed with its ids and a place; what is not odd is not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from hypothesis import given
from network_builders import layer_of_ids, layer_of_lines, layer_of_nodes, trees
from shapely.geometry import LineString, Point

from watershedmap.network.findings import COLUMNS, frame_findings
from watershedmap.network.inspection import inspect_reaches
from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    import geopandas as gpd


def inspect(layer: gpd.GeoDataFrame, **options: object) -> gpd.GeoDataFrame:
    cycles = str(options.get("cycles", "stop"))
    direction = str(options.get("direction", "check"))
    network, _ = build_network(layer, cycles=cycles, direction=direction)
    return inspect_reaches(layer, network, **options)  # type: ignore[arg-type]


def listed(found: gpd.GeoDataFrame, kind: str) -> list[str]:
    return found.loc[found["finding"] == kind, "ids"].tolist()


def going_down(count: int) -> list[LineString]:
    """Draw lines one after the other from north to south."""
    return [LineString([(10, 50 - row / 100), (10, 50 - (row + 1) / 100)]) for row in range(count)]


def test_one_clean_stream_has_nothing_odd_about_it() -> None:
    found = inspect(layer_of_ids({"a": "b", "b": "c", "c": None}, going_down(3)))
    assert found.empty
    assert list(found.columns) == [*COLUMNS, "geometry"]
    assert found.crs is not None
    assert found.crs.to_epsg() == 4326


def test_a_cycle_is_a_fault_with_all_its_reaches_along_the_flow() -> None:
    layer = layer_of_ids({"c": "a", "a": "b", "b": "c", "x": "a", "y": "y"}, going_down(5))
    found = inspect(layer)
    cycles = found[found["finding"] == "cycle"]
    assert cycles["ids"].tolist() == ["y", "c; a; b"]
    assert (cycles["severity"] == "fault").all()
    assert cycles["fix"].str.contains('cycles = "leave_out"').all()
    assert cycles.geometry.iloc[1].distance(Point(10, 49.995)) < 1e-9  # the middle of the first, c


def test_a_cycle_that_is_left_out_is_a_notice_that_says_what_it_costs() -> None:
    layer = layer_of_ids({"a": "b", "b": "a", "x": "a"}, going_down(3))
    cycle = inspect(layer, cycles="leave_out").query("finding == 'cycle'").iloc[0]
    assert cycle["severity"] == "notice"
    assert "left out of all tracing" in cycle["note"]
    assert "leave_out" not in cycle["fix"]


def test_a_reach_that_names_one_outside_of_the_layer_is_listed_with_that_name() -> None:
    layer = layer_of_ids({"a": "b", "b": "far"}, going_down(2))
    found = inspect(layer)
    row = found[found["finding"] == "leaves the layer"].iloc[0]
    assert row["ids"] == "b"
    assert "far" in row["note"]
    assert row["geometry"].equals(Point(10, 49.98))
    assert listed(found, "outlet") == []  # what leaves the layer is no outlet


def test_outlets_are_listed_where_there_are_several() -> None:
    assert listed(inspect(layer_of_ids({"a": "b", "b": None, "c": None})), "outlet") == ["b", "c"]
    assert listed(inspect(layer_of_ids({"a": "b", "b": None})), "outlet") == []


def test_all_but_the_largest_piece_are_listed_with_their_size() -> None:
    layer = layer_of_ids({"x": "y", "y": None, "a": "b", "b": "c", "c": None}, going_down(5))
    found = inspect(layer)
    assert listed(found, "isolated piece") == ["x; y"]
    row = found[found["finding"] == "isolated piece"].iloc[0]
    assert row["note"].startswith("2 reach(es), 2.2 km")
    assert row["geometry"].equals(Point(10, 49.98))  # where y ends


def test_a_piece_that_a_cycle_holds_together_is_not_torn() -> None:
    layer = layer_of_ids({"a": "b", "b": "a", "x": "a", "y": "b"})
    assert listed(inspect(layer), "isolated piece") == []


def test_a_place_where_water_divides_is_one_row_with_its_shares() -> None:
    pairs = [("1", "3"), ("2", "3"), ("3", "4"), ("3", "5")]
    found = inspect(layer_of_nodes(pairs))
    assert listed(found, "divergence") == ["r0; r1"]
    note = found.loc[found["finding"] == "divergence", "note"].iloc[0]
    assert note == "flows into 2 reaches: r2 (50%), r3 (50%)"


def test_given_shares_are_named_at_the_divergence() -> None:
    layer = layer_of_nodes([("1", "3"), ("3", "4"), ("3", "5")]).assign(share=[np.nan, 0.9, 0.1])
    note = inspect(layer).query("finding == 'divergence'")["note"].iloc[0]
    assert note == "flows into 2 reaches: r1 (90%), r2 (10%)"


def test_lines_that_contradict_each_other_are_listed_at_their_junction() -> None:
    layer = layer_of_lines([(0, 1), (0, 0)], [(1, 1), (0, 0)], [(0, 0), (0, -1)], [(1, -2), (0, -1)])
    found = inspect(layer, direction="drawn")
    row = found[found["finding"] == "direction unclear"].iloc[0]
    assert row["ids"] == "r2; r3"
    assert "arrive, and none leaves" in row["note"]
    assert row["geometry"].equals(Point(0, -1))


def test_lines_whose_elevations_do_not_tell_are_listed_and_turned_ones_are_reversed() -> None:
    lines = [[(0, 0), (0, -1)], [(0, -2), (0, -1)], [(0, -2), (0, -3)], [(0, -3), (0, -4)]]
    layer = layer_of_lines(*lines, [(0, -4), (0, -5)], [(0, -5), (0, -6)]).assign(
        start_elevation_m=[9.0, 7, 7, 6, 5, 4], end_elevation_m=[8.0, 8, 6, 6, 4, 3]
    )
    found = inspect(layer)
    assert listed(found, "direction unclear") == ["r3"]  # level, and no junction contradicts the others
    assert listed(found, "reversed line") == ["r1"]  # drawn uphill
    assert listed(inspect(layer, direction="drawn"), "reversed line") == []  # elevations are not asked
    unclear = inspect(layer, direction="drawn").query("finding == 'direction unclear'")["ids"]
    assert unclear.tolist() == ["r1; r2", "r0; r1"]  # as drawn, they contradict each other
    layer.loc[3, "end_elevation_m"] = 5.5
    assert listed(inspect(layer), "direction unclear") == []


def test_a_layer_without_any_line_is_inspected_by_its_ids() -> None:
    found = inspect(layer_of_ids({"a": "b", "b": None, "c": "gone"}))
    assert set(found["finding"]) == {"leaves the layer", "isolated piece"}
    assert found.geometry.isna().all()


@given(trees())
def test_pieces_and_outlets_add_up_on_any_tree(layer: gpd.GeoDataFrame) -> None:
    found = inspect(layer)
    outlets = int(layer["downstream_id"].isna().sum())
    assert len(listed(found, "outlet")) == (outlets if outlets > 1 else 0)
    assert len(listed(found, "isolated piece")) == outlets - 1
    assert listed(found, "cycle") == []


def test_no_findings_are_a_frame_with_all_columns() -> None:
    empty = frame_findings([])
    assert list(empty.columns) == [*COLUMNS, "geometry"]
    assert pd.concat([empty, empty]).empty
