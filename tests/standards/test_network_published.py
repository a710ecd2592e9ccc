"""The stream network against published figures, and against a network worked out by hand.

Sources: Strahler 1957, Trans. Am. Geophys. Union 38:913-920 (order); Shreve 1966, J. Geol. 74:17-37
(magnitude); Peterson and Ver Hoef 2010, Ecology 91:644-651, appendix A (distances). The worked network is
constructed: it is not published, and its figures were worked out by hand from the definitions.
"""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from watershedmap.network.order import strahler_order
from watershedmap.network.topology import Network, build_network
from watershedmap.network.tracing import accumulate, downstream_path, flow_distance_km, upstream_of

# Constructed and checked by hand: link, next link, length km, own area km2; then order, magnitude, area
# accumulated, and distance of the lower end from the outlet, km.
WORKED = pd.DataFrame(
    [
        ("a", "f", 2, 10, 1, 1, 10, 12),
        ("b", "f", 3, 5, 1, 1, 5, 12),
        ("f", "h", 4, 4, 2, 2, 19, 8),
        ("c", "g", 1, 6, 1, 1, 6, 13),
        ("d", "g", 2, 8, 1, 1, 8, 13),
        ("g", "h", 5, 3, 2, 2, 17, 8),
        ("h", "i", 6, 7, 3, 4, 43, 2),
        ("e", "i", 7, 12, 1, 1, 12, 2),
        ("i", None, 2, 2, 3, 5, 57, 0),
    ],
    columns=["reach_id", "downstream_id", "km", "area", "order", "magnitude", "total", "to_outlet"],
)


def network_of(table: pd.DataFrame) -> Network:
    """Build a network without lines and give it the lengths of the table."""
    layer = gpd.GeoDataFrame(
        table[["reach_id", "downstream_id"]], geometry=[None] * len(table), crs="EPSG:4326"
    )
    network, _ = build_network(layer)
    return replace(network, length_km=table["km"].to_numpy(dtype=float))


@pytest.fixture
def worked() -> Network:
    return network_of(WORKED)


def test_order_of_the_worked_network_is_strahlers(worked: Network) -> None:
    assert strahler_order(worked).tolist() == WORKED["order"].tolist()


def test_sources_counted_over_the_worked_network_are_shreves_magnitude(worked: Network) -> None:
    is_source = ~np.isin(np.arange(len(worked.ids)), worked.edge_down)
    magnitude = accumulate(worked, is_source.astype(float))
    assert magnitude.tolist() == WORKED["magnitude"].tolist()
    assert len(worked.ids) == 2 * magnitude[-1] - 1  # Shreve 1966: M sources make 2M - 1 links


def test_areas_of_the_worked_network_add_up(worked: Network) -> None:
    assert accumulate(worked, WORKED["area"].to_numpy(dtype=float)).tolist() == WORKED["total"].tolist()


def test_distances_to_the_outlet_of_the_worked_network(worked: Network) -> None:
    outlet = len(WORKED) - 1
    distances = [flow_distance_km(worked, reach, 0, outlet, 0) for reach in range(outlet)]
    assert distances == [(float(km), True) for km in WORKED["to_outlet"][:-1]]


def test_sources_a_and_c_of_the_worked_network_are_unconnected_and_12_km_apart(worked: Network) -> None:
    a, c = (int(np.flatnonzero(worked.ids == name)[0]) for name in "ac")
    assert flow_distance_km(worked, a, 2000, c, 1000) == (12.0, False)


def test_paths_of_the_worked_network(worked: Network) -> None:
    assert downstream_path(worked, 1).tolist() == ["b", "f", "h", "i"]
    assert upstream_of(worked, 6).tolist() == ["a", "b", "f", "c", "d", "g", "h"]


def test_mean_above_the_confluence_of_the_worked_network_is_weighted_by_area(worked: Network) -> None:
    value = np.array([4, 4, 4, 6, 6, 6, 0, 0, 0], dtype=float)  # 4 on the branch of f, 6 on that of g
    area = np.where(value > 0, WORKED["area"], 0.0)
    above = accumulate(worked, np.stack([area * value, area], axis=1))[6]
    assert above[0] / above[1] == pytest.approx((76 + 102) / 36)


@pytest.fixture
def appendix() -> tuple[Network, dict[str, tuple[int, float]]]:
    """Peterson and Ver Hoef 2010, figure A1: s1 lies 7 and s2 3 above the confluence, s3 5 below it."""
    table = pd.DataFrame(
        {"reach_id": ["one", "two", "stem"], "downstream_id": ["stem", "stem", None], "km": [9.0, 4.0, 6.0]}
    )
    return network_of(table), {"s1": (0, 7000.0), "s2": (1, 3000.0), "s3": (2, 1000.0)}


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [("s2", "s3", (8.0, True)), ("s1", "s2", (10.0, False)), ("s1", "s3", (12.0, True))],
)
def test_distances_of_peterson_and_ver_hoef_2010_figure_a1(
    appendix: tuple[Network, dict[str, tuple[int, float]]], one: str, other: str, expected: tuple[float, bool]
) -> None:
    network, place = appendix
    assert flow_distance_km(network, *place[one], *place[other]) == expected
    assert flow_distance_km(network, *place[other], *place[one]) == expected


def test_places_on_different_networks_have_no_distance_after_peterson_and_ver_hoef_2010() -> None:
    network = network_of(pd.DataFrame({"reach_id": ["a", "b"], "downstream_id": [None, None], "km": [1, 1]}))
    distance, connected = flow_distance_km(network, 0, 0, 1, 0)
    assert np.isnan(distance)
    assert not connected
