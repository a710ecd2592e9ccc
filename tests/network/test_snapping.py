"""Sites are put on the right reach, at the right place, at any latitude."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from network_builders import GEOD, layer_of_ids, layer_of_lines, points_of

from watershedmap.network.snapping import place_sites
from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    from watershedmap.errors import Fault

GEODESIC = Geodesic.WGS84


def place(
    sites: gpd.GeoDataFrame, layer: gpd.GeoDataFrame, *, within_m: float = 200.0
) -> tuple[pd.DataFrame, list[Fault]]:
    network, _ = build_network(layer, direction="drawn")
    return place_sites(sites, layer, network, within_m=within_m)


def test_at_60_degrees_north_the_nearest_place_is_that_of_dense_sampling() -> None:
    rng = np.random.default_rng(60)
    steps = rng.normal(0, [0.004, 0.002], (6, 12, 2))
    walks = np.cumsum(steps, axis=1) + np.array([24.9, 60.2])
    layer = layer_of_lines(*(shapely.LineString(walk) for walk in walks))
    places = rng.uniform([24.88, 60.19], [24.92, 60.21], (5, 2))
    placed, _ = place(points_of(*map(tuple, places)), layer, within_m=5_000)
    part = np.linspace(0, 1, 101)[:, None]
    for site, (longitude, latitude) in enumerate(places):
        nearest = []
        for walk in walks:
            dense = np.concatenate([a + (b - a) * part for a, b in itertools.pairwise(walk)])
            metres = [GEODESIC.Inverse(latitude, longitude, y, x)["s12"] for x, y in dense]
            nearest.append(min(metres))
        assert placed["reach"][site] == int(np.argmin(nearest))
        # Samples stand a few metres apart, so that the nearest is a little farther than the place itself.
        assert placed["offset_m"][site] <= min(nearest) + 1e-6
        assert placed["offset_m"][site] == pytest.approx(min(nearest), abs=0.5)


def test_at_60_degrees_north_a_degree_of_longitude_is_half_as_far_as_one_of_latitude() -> None:
    east = [(10.0015, 59.99), (10.0015, 60.01)]  # 84 m away; 0.0015 degrees
    north = [(9.99, 60.001), (10.01, 60.001)]  # 111 m away; 0.0010 degrees
    placed, _ = place(points_of((10.0, 60.0)), layer_of_lines(north, east))
    assert placed["reach_id"].tolist() == ["r1"]
    assert placed["offset_m"][0] == pytest.approx(GEODESIC.Inverse(60, 10, 60, 10.0015)["s12"], abs=0.01)


@pytest.mark.parametrize("latitude", [0.0, 45.0, 75.0, -60.0])
@pytest.mark.parametrize(("metres", "is_placed"), [(199.0, True), (201.0, False)])
@pytest.mark.parametrize("azimuth", [0.0, 90.0, 200.0, 330.0])
def test_the_limit_is_the_same_in_every_direction(
    latitude: float, metres: float, azimuth: float, *, is_placed: bool
) -> None:
    end = GEOD.fwd(5.0, latitude, azimuth, metres)[:2]
    beyond = GEOD.fwd(5.0, latitude, azimuth, 3_000)[:2]
    placed, found = place(points_of((5.0, latitude)), layer_of_lines([beyond, end]), within_m=200)
    assert placed["reach"].tolist() == [0 if is_placed else -1]
    assert len(found) == (not is_placed)


def test_the_position_counts_up_from_the_lower_end() -> None:
    down = shapely.LineString([(0, 0.02), (0, 0.01), (0, 0)])
    outlet = shapely.LineString([(0, 0), (0, -0.01)])
    site = points_of((0.0005, 0.0025))
    expected = GEODESIC.Inverse(0, 0, 0.0025, 0)["s12"]
    for line in (down, down.reverse()):
        placed, _ = place(site, layer_of_ids({"a": "b", "b": None}, [line, outlet]))
        assert placed["position_m"][0] == pytest.approx(expected, abs=0.01)
        assert placed["snapped_longitude"][0] == 0
        assert placed["snapped_latitude"][0] == pytest.approx(0.0025, abs=1e-8)


def test_positions_run_over_the_gap_between_parts_as_if_it_were_none() -> None:
    broken = shapely.from_wkt("MULTILINESTRING((0 0.03,0 0.02),(0 0.01,0 0))")
    placed, _ = place(points_of((0.0, 0.025), (0.0, 0.005)), layer_of_lines(broken))
    degree = GEODESIC.Inverse(0, 0, 0.01, 0)["s12"]
    assert placed["position_m"].tolist() == pytest.approx([1.5 * degree, 0.5 * degree], abs=0.01)


def test_beyond_the_ends_a_site_is_put_on_the_end() -> None:
    layer = layer_of_lines([(0, 0.01), (0, 0)])
    placed, _ = place(points_of((0, 0.0105), (0, -0.0005)), layer)
    assert placed["position_m"].tolist() == pytest.approx(
        [GEODESIC.Inverse(0, 0, 0.01, 0)["s12"], 0], abs=1e-6
    )


def test_at_a_shared_node_the_first_reach_of_the_layer_is_taken() -> None:
    meet = (0.1 + 0.2, 50.7)  # coordinates that are no round binary numbers
    lines = [[(0.2, 50.7), meet], [meet, (0.2, 50.6)], [(0.2, 50.8), meet]]
    site = points_of((0.3002, 50.7))
    for turn in range(3):
        placed, _ = place(site, layer_of_lines(*lines[turn:], *lines[:turn]))
        assert placed["reach"].tolist() == [0]
        assert placed["snapped_longitude"].tolist() == [meet[0]]


def test_a_reach_nearer_by_a_millimetre_wins_over_an_earlier_one() -> None:
    near, far = (GEOD.fwd(0, 0, 90, metres)[0] for metres in (10.0, 10.001))
    layer = layer_of_lines([(far, -0.01), (far, 0.01)], [(near, -0.01), (near, 0.01)])
    assert place(points_of((0, 0)), layer)[0]["reach_id"].tolist() == ["r1"]


def test_a_reach_named_by_the_site_wins_however_far_with_a_notice() -> None:
    layer = layer_of_lines([(0, 0), (0, 0.01)], [(0.1, 0), (0.1, 0.01)])
    sites = points_of((0.0001, 0.005), (0.0001, 0.005), reach_id=pd.Series(["r1", None], dtype="str"))
    placed, (notice,) = place(sites, layer)
    assert placed["reach"].tolist() == [1, 0]
    assert placed["offset_m"][0] == pytest.approx(
        GEODESIC.Inverse(0.005, 0.0001, 0.005, 0.1)["s12"], rel=1e-6
    )
    assert (notice.severity, notice.column, notice.value) == ("notice", "reach_id", "r1")
    assert "s0" in notice.problem


def test_a_reach_named_nearby_is_no_notice() -> None:
    layer = layer_of_lines([(0, 0), (0, 0.01)], [(0.0002, 0), (0.0002, 0.01)])
    placed, found = place(points_of((0, 0.005), reach_id=["r1"]), layer)
    assert placed["reach"].tolist() == [1]
    assert found == []


def test_a_reach_that_does_not_exist_is_a_notice_and_the_site_is_placed_nowhere() -> None:
    placed, (notice,) = place(points_of((0, 0), reach_id=["nowhere"]), layer_of_lines([(0, 0), (1, 0)]))
    assert placed["reach"].tolist() == [-1]
    assert placed["reach_id"].isna().all()
    assert "not in the layer" in notice.problem


def test_a_named_reach_without_a_line_takes_the_site_but_not_a_distance() -> None:
    placed, found = place(points_of((0, 0), reach_id=["a"]), layer_of_ids({"a": None}))
    assert placed["reach"].tolist() == [0]
    assert placed["position_m"].tolist() == [0.0]
    assert np.isnan(placed["offset_m"][0])
    assert "cannot be told" in found[0].problem


def test_a_site_near_nothing_is_placed_nowhere_and_the_nearest_distance_told() -> None:
    layer = layer_of_lines([(0, 0), (0, 0.01)])
    placed, found = place(points_of((0.01, 0.005), (5, 5), (0, 0.005)), layer)
    assert placed["reach"].tolist() == [-1, -1, 0]
    assert placed.loc[:1, ["offset_m", "position_m", "snapped_longitude"]].isna().all(axis=None)
    assert [fault.value for fault in found] == ["s0", "s1"]
    assert all(fault.severity == "notice" for fault in found)
    assert "r0, is 1113 m away" in found[0].problem


def test_results_stand_on_the_index_of_the_sites_which_are_left_as_they_were() -> None:
    sites = points_of((0, 0.005), (0, 0.002)).set_axis([7, 3])
    before = sites.copy()
    placed, _ = place(sites, layer_of_lines([(0, 0), (0, 0.01)]))
    assert placed.index.tolist() == [7, 3]
    assert sites.equals(before)


def test_sites_without_a_place_and_layers_without_lines_do_not_stop_it() -> None:
    sites = points_of((0, 0), (0, 0))
    sites.loc[0, "geometry"] = None
    placed, found = place(sites, layer_of_lines([(0, 0), (0, 0.01)]))
    assert placed["reach"].tolist() == [-1, 0]
    assert len(found) == 1
    empty = gpd.GeoDataFrame({"reach_id": []}, geometry=[], crs="EPSG:4326")
    assert place(sites, empty)[0]["reach"].tolist() == [-1, -1]


def test_a_site_whose_place_is_where_reaches_meet_is_noticed() -> None:
    layer = layer_of_lines([(0, 0.01), (0, 0)], [(0.01, 0.01), (0, 0)], [(0, 0), (0, -0.01)])
    placed, found = place(points_of((-0.0002, 0.0), (0.0001, 0.005)), layer)
    assert placed["reach"].tolist() == [0, 0]
    assert [fault.value for fault in found] == ["s0"]
    assert "where reaches r0, r1, r2 meet; the site is put on r0" in found[0].problem


def test_a_site_with_longitude_and_latitude_swapped_is_told_so() -> None:
    layer = layer_of_lines([(10, 50), (10.1, 50.1)])
    _, found = place(points_of((50.05, 10.05), (20, 50)), layer)
    assert ["swapped" in fault.fix for fault in found] == [True, False]
