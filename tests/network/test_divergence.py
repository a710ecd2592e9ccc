"""Outflow is shared as the layer says, down the main path, or equally; always to a sum of 1."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from network_builders import acyclic_layers, layer_of_nodes

from watershedmap.network.order import shreve_magnitude, strahler_order
from watershedmap.network.topology import build_network
from watershedmap.network.tracing import accumulate

if TYPE_CHECKING:
    import geopandas as gpd

    from watershedmap.network.topology import Network

PAIRS = [("a", "b"), ("b", "c"), ("b", "c"), ("c", "d")]
"""One reach that divides into two, which meet again."""


def shares_of(network: Network) -> dict[tuple[int, int], float]:
    edges = zip(network.edge_up.tolist(), network.edge_down.tolist(), strict=True)
    return dict(zip(edges, network.edge_share.tolist(), strict=True))


def notices_of(layer: gpd.GeoDataFrame, **options: str) -> dict[str, str]:
    found = build_network(layer, **options)[1]
    assert {fault.severity for fault in found} == {"notice"}
    return {fault.problem: fault.value for fault in found if "no line" not in fault.problem}


def test_given_shares_count_and_the_largest_is_the_main_branch() -> None:
    layer = layer_of_nodes(PAIRS).assign(share=[np.nan, 0.25, 0.75, 1.0])
    network, _ = build_network(layer)
    assert shares_of(network) == {(0, 1): 0.25, (0, 2): 0.75, (1, 3): 1.0, (2, 3): 1.0}
    assert network.main_down.tolist() == [2, 3, 3, -1]
    assert accumulate(network, np.array([8.0, 1, 0, 0])).tolist() == [8, 3, 6, 9]
    (problem,) = notices_of(layer)
    assert "by the shares that the layer gives" in problem


def test_given_shares_that_miss_the_sum_of_1_are_brought_to_it_and_told() -> None:
    layer = layer_of_nodes(PAIRS).assign(share=[np.nan, 0.2, 0.6, np.nan])
    assert shares_of(build_network(layer)[0])[0, 1] == pytest.approx(0.25)
    assert any("do not sum to 1" in problem for problem in notices_of(layer))


def test_shares_rounded_to_two_decimals_are_not_told() -> None:
    pairs = [("a", "b"), ("b", "c"), ("b", "d"), ("b", "e")]
    layer = layer_of_nodes(pairs).assign(share=[np.nan, 0.33, 0.33, 0.33])
    network, _ = build_network(layer)
    assert network.edge_share.sum() == pytest.approx(1.0)
    assert not any("do not sum to 1" in problem for problem in notices_of(layer))


@pytest.mark.parametrize("given", [(0.5, np.nan), (1.5, -0.5), (0.0, 0.0)])
def test_shares_that_cannot_be_used_give_way_to_the_rule_and_are_told(given: tuple[float, float]) -> None:
    layer = layer_of_nodes(PAIRS).assign(share=[np.nan, *given, np.nan])
    assert shares_of(build_network(layer)[0])[0, 1] == 0.5
    assert any("none of their shares is used" in problem for problem in notices_of(layer))


@pytest.mark.parametrize(
    ("rule", "column"), [("area", "upstream_area_km2"), ("area", "area_km2"), ("order", "stream_order")]
)
def test_the_main_path_takes_all(rule: str, column: str) -> None:
    layer = layer_of_nodes(PAIRS).assign(**{column: [5.0, 2.0, 4.0, 6.0]})
    network, _ = build_network(layer, divergence=rule)
    assert shares_of(network) == {(0, 1): 0.0, (0, 2): 1.0, (1, 3): 1.0, (2, 3): 1.0}
    assert network.main_down[0] == 2
    assert accumulate(network, np.ones(4)).tolist() == [1, 1, 2, 4]
    (problem,) = notices_of(layer, divergence=rule)
    assert {"area": "largest upstream area", "order": "highest order"}[rule] in problem


def test_of_branches_with_equal_figures_the_first_of_the_layer_is_the_main_path() -> None:
    layer = layer_of_nodes(PAIRS).assign(stream_order=[2, 1, 1, 2])
    assert build_network(layer, divergence="order")[0].main_down[0] == 1


def test_a_branch_without_a_figure_is_not_the_main_path() -> None:
    layer = layer_of_nodes(PAIRS).assign(stream_order=[2, np.nan, 1, 2])
    assert build_network(layer, divergence="order")[0].main_down[0] == 2


def test_without_any_figure_shares_are_equal_and_that_is_told() -> None:
    layer = layer_of_nodes(PAIRS)
    network, _ = build_network(layer, divergence="area")
    assert shares_of(network)[0, 1] == 0.5
    assert {"r0"} == {
        value for problem, value in notices_of(layer, divergence="area").items() if "no figure" in problem
    }


def test_an_unknown_rule_is_refused() -> None:
    with pytest.raises(ValueError, match="divergence must be one of equal, area, order"):
        build_network(layer_of_nodes(PAIRS), divergence="width")


NUMBERS = st.one_of(st.just(float("nan")), st.integers(-1, 4).map(float))


@given(acyclic_layers(), st.sampled_from(["equal", "area", "order"]), st.data())
def test_shares_sum_to_1_the_main_branch_has_the_most_and_nothing_is_lost(
    layer: gpd.GeoDataFrame, rule: str, data: st.DataObject
) -> None:
    size = len(layer)
    columns = {
        name: data.draw(st.lists(NUMBERS, min_size=size, max_size=size))
        for name in ("share", "upstream_area_km2", "stream_order")
    }
    network, _ = build_network(layer.assign(**columns), divergence=rule)
    shares = shares_of(network)
    total = np.bincount(network.edge_up, weights=network.edge_share, minlength=size)
    assert total[network.main_down >= 0] == pytest.approx(1.0)
    assert all(share <= shares[up, network.main_down[up]] for (up, _), share in shares.items())
    assert accumulate(network, np.ones(size))[network.main_down < 0].sum() == pytest.approx(size)
    sources = ~np.isin(np.arange(size), network.edge_down)
    assert shreve_magnitude(network)[network.main_down < 0].sum() == sources.sum()
    assert strahler_order(network).min() >= 1
