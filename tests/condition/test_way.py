"""The way down from a place, and what lies upstream."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from watershedmap.condition.way import find_upstream, follow_down
from watershedmap.network.topology import Network, build_network


@pytest.fixture(name="place")
def make_place() -> tuple[Network, pd.DataFrame, pd.DataFrame]:
    """Two headwaters a and b meet in c, which flows into d; b carries two sites."""
    lines = {"a": [(0, 2), (1, 1)], "b": [(2, 2), (1, 1)], "c": [(1, 1), (1, 0)], "d": [(1, 0), (1, -1)]}
    frame = gpd.GeoDataFrame(
        {"reach_id": list(lines), "downstream_id": ["c", "c", "d", None]},
        geometry=[shapely.LineString([(x / 100, y / 100) for x, y in line]) for line in lines.values()],
        crs="EPSG:4326",
    )
    network, _ = build_network(frame)
    reaches = pd.DataFrame(
        {"reach_id": list(lines), "name": "", "evidence": "unassessed", "score": None, "class": None}
    )
    sites = pd.DataFrame(
        {
            "site_id": ["low", "high", "out", "lost"],
            "reach_id": ["b", "b", "d", None],
            "position_m": [100.0, 900.0, 10.0, None],
        }
    )
    return network, reaches, sites


def test_distances_run_from_the_place_to_the_lower_end_of_each_reach(
    place: tuple[Network, pd.DataFrame, pd.DataFrame],
) -> None:
    network, reaches, sites = place
    way = follow_down(network, reaches, sites, reach=1, position_m=100.0)
    assert way["reach_id"].tolist() == ["b", "c", "d"]
    lengths = network.length_km
    expected = [0.1, 0.1 + lengths[2], 0.1 + lengths[2] + lengths[3]]
    assert way["distance_km"].tolist() == pytest.approx(expected)
    assert way["site_ids"].tolist() == ["low; high", "", "out"]


def test_upstream_holds_the_own_reach_and_only_the_sites_above_the_place(
    place: tuple[Network, pd.DataFrame, pd.DataFrame],
) -> None:
    network, reaches, sites = place
    above, found = find_upstream(network, reaches, sites, reach=1, position_m=100.0)
    assert above["reach_id"].tolist() == ["b"]
    assert found["site_id"].tolist() == ["high"]
    above, found = find_upstream(network, reaches, sites, reach=2, position_m=0.0)
    assert above["reach_id"].tolist() == ["a", "b", "c"]
    assert found["site_id"].tolist() == ["low", "high"]
