"""Networks from ids, from nodes and from line ends; what is wrong with a layer is told."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from network_builders import (
    acyclic_layers,
    flow_graph,
    layer_of_ids,
    layer_of_lines,
    layer_of_nodes,
    trees,
    with_lengths,
)

from watershedmap.network.topology import Network, build_network

if TYPE_CHECKING:
    from watershedmap.errors import Fault


def edges_of(network: Network) -> set[tuple[int, int]]:
    return set(zip(network.edge_up.tolist(), network.edge_down.tolist(), strict=True))


def faults_of(found: list[Fault]) -> list[Fault]:
    return [fault for fault in found if fault.severity == "fault"]


@given(trees())
def test_ids_give_the_edges_they_name(layer: gpd.GeoDataFrame) -> None:
    network, found = build_network(layer)
    assert edges_of(network) == set(flow_graph(layer).edges)
    assert faults_of(found) == []


@given(acyclic_layers())
def test_nodes_give_an_edge_for_each_pair_that_shares_one(layer: gpd.GeoDataFrame) -> None:
    network, found = build_network(layer)
    assert edges_of(network) == set(flow_graph(layer).edges)
    assert len(network.edge_up) == len(edges_of(network))
    assert faults_of(found) == []


@given(acyclic_layers())
def test_the_shares_of_one_reach_are_equal_and_sum_to_one(layer: gpd.GeoDataFrame) -> None:
    network, _ = build_network(layer)
    degree = dict(flow_graph(layer).out_degree)
    assert network.edge_share.tolist() == [1 / degree[up] for up in network.edge_up.tolist()]


@given(acyclic_layers())
def test_the_main_branch_is_the_first_of_the_layer(layer: gpd.GeoDataFrame) -> None:
    network, _ = build_network(layer)
    graph = flow_graph(layer)
    assert network.main_down.tolist() == [min(graph.successors(up), default=-1) for up in range(len(layer))]


def test_the_source_is_picked_by_the_columns_in_order() -> None:
    lines = [shapely.LineString([(0, 0), (1, 0)]), shapely.LineString([(1, 0), (2, 0)])]
    layer = layer_of_ids({"a": None, "b": "a"}, lines)
    assert edges_of(build_network(layer)[0]) == {(1, 0)}
    layer = layer.drop(columns="downstream_id").assign(from_node=["x", "y"], to_node=["y", "z"])
    assert edges_of(build_network(layer)[0]) == {(0, 1)}
    layer = layer.drop(columns="to_node")
    assert edges_of(build_network(layer, direction="drawn")[0]) == {(0, 1)}
    assert not build_network(layer)[0].has_flow  # two lines end to end do not show which way water goes


def test_a_source_without_its_columns_is_refused() -> None:
    with pytest.raises(ValueError, match="from_node, to_node"):
        build_network(layer_of_ids({"a": None}), source="nodes")


def test_an_unknown_word_for_direction_is_refused() -> None:
    with pytest.raises(ValueError, match="sideways"):
        build_network(layer_of_ids({"a": None}), direction="sideways")


def test_an_empty_layer_gives_an_empty_network() -> None:
    empty = gpd.GeoDataFrame({"reach_id": []}, geometry=[], crs="EPSG:4326")
    network, _ = build_network(empty)
    assert len(network.ids) == len(network.edge_up) == 0


def test_a_cycle_is_a_fault_with_its_ids_along_the_flow_and_a_remedy() -> None:
    network, found = build_network(
        layer_of_ids({"c": "a", "a": "b", "b": "c", "d": "a", "e": None}), file="s.gpkg"
    )
    (fault,) = faults_of(found)
    assert (fault.file, fault.row, fault.column, fault.value) == ("s.gpkg", None, "reach_id", "c > a > b")
    assert "circle" in fault.problem
    assert fault.fix
    assert edges_of(network) == set()
    assert network.in_cycle.tolist() == [True, True, True, False, False]


def test_each_cycle_is_a_fault_of_its_own_and_long_ones_are_cut_short() -> None:
    ring = {f"k{number}": f"k{(number + 1) % 25}" for number in range(25)}
    _, found = build_network(layer_of_ids({**ring, "a": "b", "b": "a"}))
    values = [fault.value for fault in faults_of(found)]
    assert len(values) == 2
    assert values[0].endswith("k9 and 15 more")
    assert values[1] == "a > b"


def test_a_reach_that_flows_into_itself_is_a_fault() -> None:
    _, found = build_network(layer_of_ids({"a": "a", "b": "a"}))
    (fault,) = faults_of(found)
    assert fault.value == "a"
    assert "into itself" in fault.problem


def test_a_chain_of_200000_reaches_is_built_whole() -> None:
    size = 200_000
    names = np.random.default_rng(0).permutation(size).astype(str).tolist()
    network, found = build_network(layer_of_ids(dict(zip(names, [*names[1:], None], strict=True))))
    assert network.order.tolist() == list(range(size))
    assert faults_of(found) == []


def test_a_cycle_of_100000_reaches_is_one_fault() -> None:
    size = 100_000
    ring = {str(number): str((number + 1) % size) for number in range(size)}
    _, found = build_network(layer_of_ids(ring))
    (fault,) = faults_of(found)
    assert fault.value.endswith("9 and 99990 more")


def test_ids_that_are_not_in_the_layer_are_one_notice_and_mark_the_reach() -> None:
    network, found = build_network(layer_of_ids({"a": "gone", "b": "a", "c": "gone"}))
    assert network.leaves_layer.tolist() == [True, False, True]
    assert network.main_down.tolist() == [-1, 0, -1]
    (notice,) = [fault for fault in found if fault.column == "downstream_id"]
    assert (notice.severity, notice.value) == ("notice", "gone")
    assert notice.problem.startswith("2 reach(es)")


def test_separate_networks_are_counted_in_one_notice() -> None:
    _, found = build_network(layer_of_ids({"a": None, "b": "a", "c": None}))
    (notice,) = [fault for fault in found if "separate" in fault.problem]
    assert "2 separate network(s) with 2 outlet(s)" in notice.problem
    assert "2 of 3 reaches" in notice.problem


def test_networks_that_only_share_an_end_node_hang_together() -> None:
    _, found = build_network(layer_of_nodes([("a", "sea"), ("b", "sea")]))
    (notice,) = [fault for fault in found if "separate" in fault.problem]
    assert "1 separate network(s) with 2 outlet(s)" in notice.problem


def test_one_network_with_one_outlet_gives_no_notice() -> None:
    lines = [shapely.LineString([(0, 1), (0, 0)]), shapely.LineString([(0, 0), (0, -1)])]
    assert build_network(layer_of_ids({"a": "b", "b": None}, lines))[1] == []


def test_divergences_are_told_with_the_rule_of_equal_shares() -> None:
    _, found = build_network(layer_of_nodes([("a", "b"), ("b", "c"), ("b", "c"), ("c", "d")]))
    (notice,) = [fault for fault in found if "more than one" in fault.problem]
    assert (notice.severity, notice.value) == ("notice", "r0")
    assert "shared equally" in notice.problem


def test_reaches_without_a_line_are_counted_and_have_no_length() -> None:
    line = shapely.LineString([(0, 0), (1, 0)])
    network, found = build_network(layer_of_ids({"a": "b", "b": None}, [None, line]))
    (notice,) = [fault for fault in found if "no line" in fault.problem]
    assert notice.value == "a"
    assert network.length_km[0] == 0.0
    assert network.length_km[1] > 111


def test_parts_that_cannot_be_merged_are_counted() -> None:
    broken = shapely.from_wkt("MULTILINESTRING((0 0,1 0),(5 0,6 0))")
    _, found = build_network(layer_of_lines(broken), direction="drawn")
    (notice,) = [fault for fault in found if "gaps" in fault.problem]
    assert notice.value == "r0"


def test_repeated_ids_do_not_stop_the_other_checks() -> None:
    layer = layer_of_ids({"a": "b", "b": None, "c": "b"})
    layer.loc[2, "reach_id"] = "b"
    assert edges_of(build_network(layer)[0]) == {(0, 1), (2, 1)}


def test_line_ends_that_look_like_confluences_are_believed_with_a_notice() -> None:
    layer = layer_of_lines([(0, 1), (0, 0)], [(1, 1), (0, 0)], [(0, 0), (0, -1)])
    network, found = build_network(layer)
    assert network.has_flow
    assert edges_of(network) == {(0, 2), (1, 2)}
    assert "1 of 1 junctions (100%)" in found[0].problem


def test_line_ends_that_do_not_look_like_flow_leave_the_direction_unknown_and_say_what_that_costs() -> None:
    layer = layer_of_lines([(0, 0), (0, 1)], [(0, 0), (1, 1)], [(0, 0), (0, -1)])
    network, (notice,) = build_network(layer)
    assert not network.has_flow
    assert len(network.edge_up) == 0
    assert np.all(network.main_down == -1)
    assert notice.severity == "notice"
    for words in ("0 of 1 junctions (0%)", "80%", "stream order", "inference", "its score and its trend"):
        assert words in notice.problem


def test_a_survey_can_say_that_lines_are_drawn_downstream_or_that_it_is_unknown() -> None:
    layer = layer_of_lines([(0, 0), (0, 1)], [(0, 0), (1, 1)], [(2, 2), (0, 0)])
    drawn, found = build_network(layer, direction="drawn")
    assert edges_of(drawn) == {(2, 0), (2, 1)}
    assert not any("direction" in fault.problem for fault in found)
    unknown, (notice,) = build_network(layer, direction="unknown")
    assert not unknown.has_flow
    assert "as the survey says" in notice.problem


def test_a_closed_line_among_believed_line_ends_is_a_fault_that_names_the_way_out() -> None:
    layer = layer_of_lines([(0, 0), (1, 0)], [(5, 5), (6, 5), (6, 6), (5, 5)])
    _, found = build_network(layer, direction="drawn")
    (fault,) = faults_of(found)
    assert fault.value == "r1"
    assert 'direction = "unknown"' in fault.fix


def test_lines_drawn_against_the_flow_are_known_by_the_next_reach_and_at_outlets_by_the_one_above() -> None:
    downwards = [[(0, 2), (0, 1)], [(0, 1), (0, 0)], [(0, 0), (0, -1)]]
    for mask in range(8):
        against = [bool(mask >> number & 1) for number in range(3)]
        lines = [
            shapely.LineString(line[::-1] if flip else line)
            for line, flip in zip(downwards, against, strict=True)
        ]
        network, _ = build_network(layer_of_ids({"a": "b", "b": "c", "c": None}, lines))
        assert network.runs_upstream.tolist() == against


def test_a_lone_line_is_taken_as_drawn_downstream() -> None:
    network, _ = build_network(layer_of_ids({"a": None}, [shapely.LineString([(0, 0), (1, 1)])]))
    assert network.runs_upstream.tolist() == [False]


def test_parallel_branches_are_told_by_the_reach_above_them() -> None:
    lines = [
        shapely.LineString(points)
        for points in ([(0, 3), (0, 2)], [(0, 1), (-1, 1.5), (0, 2)], [(0, 2), (1, 1.5), (0, 1)])
    ]
    layer = layer_of_nodes([("a", "b"), ("b", "c"), ("b", "c")], lines)
    assert build_network(layer)[0].runs_upstream.tolist() == [False, True, False]


def test_reaches_next_to_one_without_a_line_are_taken_as_drawn_downstream() -> None:
    lines = [shapely.LineString([(0, 0), (1, 1)]), None]
    network, _ = build_network(layer_of_ids({"a": "b", "b": None}, lines))
    assert network.runs_upstream.tolist() == [False, False]


def test_arrays_that_do_not_belong_together_are_refused() -> None:
    network = with_lengths(layer_of_ids({"a": "b", "b": None}), [1, 1])
    with pytest.raises(ValueError, match="for each id"):
        replace(network, length_km=np.zeros(3))
    with pytest.raises(ValueError, match="for each edge"):
        replace(network, edge_share=np.zeros(0))
    with pytest.raises(ValueError, match="no edges"):
        replace(network, has_flow=False)
    with pytest.raises(ValueError, match="those of the levels"):
        replace(network, levels=replace(network.levels, order=network.order[::-1]))


def test_edges_out_of_order_are_refused() -> None:
    network = with_lengths(layer_of_ids({"a": "b", "b": "c", "c": None}), [1, 1, 1])
    with pytest.raises(ValueError, match="in their order"):
        replace(network, edge_up=network.edge_up[::-1], edge_down=network.edge_down[::-1])
