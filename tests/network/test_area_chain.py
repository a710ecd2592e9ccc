"""The next sub-watershed of each, by codes and by reaches."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from network_builders import layer_of_ids

from watershedmap.network.area_chain import (
    NOWHERE,
    UNKNOWN,
    chain_areas,
    find_cycles,
    link_by_reaches,
    list_cycles,
    main_areas,
)
from watershedmap.network.areas import area_km2, share_reaches
from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    from collections.abc import Mapping

BOXES = {"W": (0, 0, 1, 1), "M": (1, 0, 2, 1), "E": (2, 0, 3, 1), "N": (1, 1, 2, 2)}


def areas_of(codes: Mapping[str, str | None] | None = None) -> gpd.GeoDataFrame:
    """Make four square degrees: three in a row from west to east, and one north of the middle."""
    columns: dict[str, object] = {"subwatershed_id": list(BOXES)}
    if codes is not None:
        columns["downstream_id"] = pd.Series([codes.get(name) for name in BOXES], dtype="str")
    shapes = [shapely.box(*corners) for corners in BOXES.values()]
    return gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326")


def streams() -> gpd.GeoDataFrame:
    """Make a stem through W, M and E that ends in E, and a tributary from N that joins in M."""
    lines = {
        "w": [(0.2, 0.5), (0.9, 0.5)],
        "m1": [(0.9, 0.5), (1.5, 0.5)],
        "m2": [(1.5, 0.5), (1.9, 0.5)],
        "e": [(1.9, 0.5), (2.8, 0.5)],
        "n": [(1.5, 1.9), (1.5, 1.1)],
        "nm": [(1.5, 1.1), (1.5, 0.5)],
    }
    next_of = {"w": "m1", "m1": "m2", "m2": "e", "e": None, "n": "nm", "nm": "m2"}
    return layer_of_ids(next_of, [shapely.LineString(line) for line in lines.values()])


def chain(areas: gpd.GeoDataFrame, layer: gpd.GeoDataFrame, *, direction: str = "drawn") -> pd.DataFrame:
    network, _ = build_network(layer, direction=direction)
    return chain_areas(areas, network, share_reaches(layer, areas)).set_index(areas["subwatershed_id"])


CODES = {"W": "M", "M": "E", "E": None, "N": "M"}


def test_without_codes_the_chain_comes_from_the_reaches() -> None:
    found = chain(areas_of(), streams())
    assert found["downstream_id"].fillna("").to_dict() == {"W": "M", "M": "E", "E": "", "N": "M"}
    assert found["source"].tolist() == ["reaches"] * 4
    assert found["agrees"].isna().all()
    assert found["order"].tolist() == [1, 2, 3, 1]
    assert found["upstream_areas"].tolist() == [0, 2, 3, 0]


def test_codes_and_reaches_that_tell_the_same_agree() -> None:
    found = chain(areas_of(CODES), streams())
    assert found["source"].tolist() == ["codes"] * 4
    assert found["agrees"].tolist() == [True] * 4
    size = area_km2(areas_of().geometry)
    expected = [size[0], size[[0, 1, 3]].sum(), size.sum(), size[3]]
    assert found["upstream_area_km2"].tolist() == pytest.approx(expected)


def test_codes_win_and_the_reaches_are_told_beside_them() -> None:
    found = chain(areas_of({**CODES, "N": "E"}), streams())
    assert found.loc["N", ["downstream_id", "by_codes", "by_reaches"]].tolist() == ["E", "E", "M"]
    assert found["agrees"].tolist() == [True, True, True, False]


def test_a_code_that_is_not_in_the_layer_leads_out() -> None:
    found = chain(areas_of({**CODES, "E": "X"}), streams())
    assert found["downstream_id"].isna().tolist() == [False, False, True, False]
    assert found["source"].tolist() == ["codes"] * 4


def test_a_circle_of_codes_is_marked_and_the_reaches_are_followed() -> None:
    found = chain(areas_of({**CODES, "E": "W"}), streams())
    assert found["in_cycle"].tolist() == [True, True, True, False]
    assert found["source"].tolist() == ["reaches", "reaches", "reaches", "codes"]
    assert found["downstream_id"].fillna("").tolist() == ["M", "E", "", "M"]
    assert found["upstream_areas"].tolist() == [0, 2, 3, 0]


def test_a_circle_that_the_reaches_do_not_untie_is_followed_nowhere() -> None:
    nowhere = streams()
    nowhere["geometry"] = None
    found = chain(areas_of({**CODES, "E": "W"}), nowhere)
    assert found["source"].tolist() == ["none", "none", "none", "codes"]
    assert found["downstream_id"].fillna("").tolist() == ["", "", "", "M"]
    assert found["upstream_areas"].tolist() == [0, 1, 0, 0]


def test_with_neither_codes_nor_a_known_direction_nothing_is_told() -> None:
    layer = streams().drop(columns="downstream_id")
    found = chain(areas_of(), layer, direction="unknown")
    assert found["source"].tolist() == ["none"] * 4
    assert found["downstream_id"].isna().all()
    assert found["agrees"].isna().all()
    assert found["order"].tolist() == [1] * 4


def test_a_reach_that_leaves_the_layer_does_not_tell_where_its_area_goes_on() -> None:
    layer = streams()
    layer.loc[layer["reach_id"] == "e", "downstream_id"] = "elsewhere"
    assert chain(areas_of(CODES), layer)["agrees"].isna().tolist() == [False, False, True, False]


def test_a_stream_to_and_fro_across_a_border_flows_where_it_leaves_last() -> None:
    xs = [0.2, 0.9, 1.4, 1.2, 0.5, 0.8, 1.5, 1.9]
    names = [f"r{number}" for number in range(len(xs) - 1)]
    lines = [shapely.LineString([(a, 0.3), (b, 0.3)]) for a, b in itertools.pairwise(xs)]
    next_of: dict[str, str | None] = dict(zip(names, [*names[1:], None], strict=True))
    found = chain(areas_of(), layer_of_ids(next_of, lines))
    assert found["downstream_id"].fillna("").to_dict() == {"W": "M", "M": "", "E": "", "N": ""}
    assert found["source"].to_dict() == {"W": "reaches", "M": "reaches", "E": "none", "N": "none"}


def test_the_main_area_of_a_reach_holds_most_of_it_the_first_of_equals() -> None:
    shares = pd.DataFrame({"reach": [0, 0, 2, 2], "area": [3, 1, 0, 1], "share": [0.5, 0.5, 0.2, 0.8]})
    assert main_areas(shares, 3).tolist() == [1, -1, 1]


def test_areas_without_reaches_are_unknown() -> None:
    network, _ = build_network(streams())
    none = pd.DataFrame({"reach": [], "area": [], "share": [], "length_km": []})
    assert link_by_reaches(network, none, 2).tolist() == [UNKNOWN, UNKNOWN]


@given(st.lists(st.integers(-1, 9), min_size=1, max_size=10))
def test_circles_are_those_of_a_graph(given_links: list[int]) -> None:
    link = np.array([value if value < len(given_links) else NOWHERE for value in given_links])
    graph = nx.DiGraph((row, int(value)) for row, value in enumerate(link) if value >= 0)
    expected = sorted(sorted(circle) for circle in nx.simple_cycles(graph))
    assert sorted(sorted(circle) for circle in list_cycles(link)) == expected
    assert np.flatnonzero(find_cycles(link)).tolist() == sorted(row for circle in expected for row in circle)
    for circle in list_cycles(link):
        assert [int(link[row]) for row in circle] == [*circle[1:], circle[0]]


@given(st.lists(st.integers(-1, 7), min_size=1, max_size=8), st.randoms(use_true_random=False))
def test_upstream_sums_are_those_of_a_graph_and_order_grows_downstream(
    given_links: list[int], random: object
) -> None:
    size = len(given_links)
    names = [f"a{number}" for number in range(size)]
    random.shuffle(names)
    lower = [names[value] if -1 < value < number else None for number, value in enumerate(given_links)]
    boxes = [shapely.box(number, 0, number + 1, 1) for number in range(size)]
    columns = {"subwatershed_id": names, "downstream_id": pd.Series(lower, dtype="str")}
    areas = gpd.GeoDataFrame(columns, geometry=boxes, crs="EPSG:4326")
    layer = layer_of_ids({"r": None})
    found = chain(areas, layer)
    graph = nx.DiGraph()
    graph.add_nodes_from(names)
    graph.add_edges_from((up, down) for up, down in zip(names, lower, strict=True) if down)
    any_code = any(name is not None for name in lower)
    assert found["source"].tolist() == ["codes" if any_code else "none"] * size
    for name in names:
        above = nx.ancestors(graph, name)
        assert found.loc[name, "upstream_areas"] == len(above)
        assert found.loc[name, "upstream_area_km2"] == pytest.approx(
            area_km2(areas.geometry[areas["subwatershed_id"].isin([name, *above])]).sum()
        )
        assert found.loc[name, "order"] == 1 + max(
            (found.loc[up, "order"] for up in graph.predecessors(name)), default=0
        )
