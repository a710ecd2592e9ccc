"""The stream network against published figures, and against a network worked out by hand.

Sources: Strahler 1957, Trans. Am. Geophys. Union 38:913-920 (order); Shreve 1966, J. Geol. 74:17-37
(magnitude); Peterson and Ver Hoef 2010, Ecology 91:644-651, appendix A (distances); Ver Hoef and Peterson 2010,
J. Am. Stat. Assoc. 105:6-18 (tail-up covariance, formulas from memory); Verdin and Verdin 1999, J. Hydrol.
218:1-12 (nested codes). The worked network is
constructed: it is not published, and its figures were worked out by hand from the definitions.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from watershedmap.network.order import shreve_magnitude, strahler_order
from watershedmap.network.topology import Network, build_network
from watershedmap.network.tracing import (
    accumulate,
    distance_to_outlet_km,
    downstream_path,
    main_stem,
    upstream_of,
)
from watershedmap.network.ways import flow_distance_km, path_between

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


def test_magnitude_of_the_worked_network_is_shreves(worked: Network) -> None:
    assert shreve_magnitude(worked).tolist() == WORKED["magnitude"].tolist()


def test_distances_of_all_lower_ends_of_the_worked_network_are_found_in_one_pass(worked: Network) -> None:
    assert distance_to_outlet_km(worked).tolist() == WORKED["to_outlet"].tolist()


def test_the_way_from_a_to_c_in_the_worked_network_turns_above_h(worked: Network) -> None:
    assert worked.ids[path_between(worked, 0, 3)].tolist() == ["a", "f", "g", "c"]
    assert worked.ids[path_between(worked, 0, 7)].tolist() == ["a", "f", "h", "e"]
    assert worked.ids[path_between(worked, 8, 1)].tolist() == ["i", "h", "f", "b"]


def test_the_main_stem_of_the_worked_network_goes_by_area(worked: Network) -> None:
    # By hand: h (43) before e (12), f (19) before g (17), a (10) before b (5).
    by_area = replace(worked, area_km2=WORKED["area"].to_numpy(dtype=float))
    assert main_stem(by_area, 8).tolist() == ["i", "h", "f", "a"]
    # By length g (8 km) comes second to f (9 km), and b (3 km) before a (2 km).
    assert main_stem(worked, 8).tolist() == ["i", "h", "f", "b"]


def tail_up(
    network: Network, places: list[tuple[int, float]], *, variance: float, theta_km: float
) -> np.ndarray:
    """Compute the tail-up exponential covariance of Ver Hoef and Peterson 2010, J. Am. Stat. Assoc. 105:6-18.

    From memory: variance * sqrt(share of the water at the lower place that comes from the upper one) *
    exp(-h / theta) when flow-connected at distance h, else 0. Some authors write exp(-3 h / range) instead.
    The additive value of a reach is the product, down to the outlet, of its share of the area that meets at
    each junction.
    """
    total = accumulate(network, network.area_km2)
    additive = np.ones(len(network.ids))
    for row in network.order[::-1]:
        lower = network.main_down[row]
        if lower >= 0:
            meeting = network.above.of(lower)
            additive[row] = additive[lower] * total[row] / total[meeting].sum()
    covariance = np.full((len(places), len(places)), variance)
    for (i, one), (j, other) in itertools.permutations(enumerate(places), 2):
        distance, connected = flow_distance_km(network, *one, *other)
        low, high = sorted((additive[one[0]], additive[other[0]]))
        covariance[i, j] = variance * np.sqrt(low / high) * np.exp(-distance / theta_km) if connected else 0.0
    return covariance


def test_tail_up_covariance_of_the_figures_of_peterson_and_ver_hoef_2010(
    appendix: tuple[Network, dict[str, tuple[int, float]]],
) -> None:
    # Distances from figure A1; areas constructed so that the weights are 0.7 and 0.3; theta 10 km, variance 1.
    network, place = appendix
    network = replace(network, area_km2=np.array([7.0, 3.0, 1.0]))
    covariance = tail_up(network, [place["s1"], place["s2"], place["s3"]], variance=1.0, theta_km=10.0)
    assert covariance[0, 2] == pytest.approx(0.2519971573, abs=1e-10)
    assert covariance[1, 2] == pytest.approx(0.2461076094, abs=1e-10)
    assert covariance[0, 1] == 0.0
    assert np.array_equal(covariance, covariance.T)
    assert np.linalg.eigvalsh(covariance) == pytest.approx([0.647762, 1.0, 1.352238], abs=1e-6)
    # Stationary: the squared weights of the branches that meet sum to 1 (distances taken out again).
    weights = covariance[:2, 2] / np.exp([-1.2, -0.8])
    assert (weights**2).sum() == pytest.approx(1.0)


def test_tail_up_covariance_of_the_worked_network_is_a_covariance(worked: Network) -> None:
    network = replace(worked, area_km2=WORKED["area"].to_numpy(dtype=float))
    covariance = tail_up(network, [(row, 500.0) for row in range(len(WORKED))], variance=2.0, theta_km=10.0)
    assert np.linalg.eigvalsh(covariance).min() > 0
    # By hand: a to f is 4 km; of the water of f, a has 10 of the 15 km2 that meet.
    assert covariance[0, 2] == pytest.approx(2.0 * np.sqrt(10 / 15) * np.exp(-0.4))


def test_nested_codes_of_verdin_and_verdin_1999_build_the_network_that_they_number() -> None:
    # Verdin and Verdin 1999, J. Hydrol. 218:1-12 (rule from memory; codes made up): even digits are the
    # tributaries 2, 4, 6, 8 going up, odd ones the stem; 9 is its headwater.
    codes = [str(digit) for digit in range(1, 10)]
    layer = gpd.GeoDataFrame(
        {"reach_id": codes, "nested_code": codes}, geometry=[None] * len(codes), crs="EPSG:4326"
    )
    network, _ = build_network(layer)
    assert downstream_path(network, 8).tolist() == ["9", "7", "5", "3", "1"]
    assert shreve_magnitude(network)[0] == 5
    assert strahler_order(network).tolist() == [2, 1, 2, 1, 2, 1, 2, 1, 1]
