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
from hypothesis import given
from hypothesis import strategies as st
from network_builders import GEOD, layer_of_ids, layer_of_lines, points_of
from pyproj import Transformer

from watershedmap.network.snapping import PLACEMENTS, place_sites
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


def test_at_a_shared_node_the_reach_with_the_most_stream_above_it_is_taken_whatever_the_order_of_rows() -> (
    None
):
    meet = (0.1 + 0.2, 50.7)  # coordinates that are no round binary numbers
    lines = [[(0.2, 50.7), meet], [meet, (0.3, 50.6)], [(0.2, 50.8), meet]]
    site = points_of((0.3002, 50.7))
    for turn in range(3):
        placed, _ = place(site, layer_of_lines(*lines[turn:], *lines[:turn]))
        assert placed["reach"].tolist() == [(1 - turn) % 3]
        assert placed["snapped_longitude"].tolist() == [meet[0]]
        assert placed["position_m"][0] == pytest.approx(
            GEODESIC.Inverse(50.7, 0.3, 50.6, 0.3)["s12"], abs=0.01
        )


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
    assert placed["reach"].tolist() == [2, 0]
    assert [fault.value for fault in found] == ["s0"]
    assert "where reaches r0, r1, r2 meet; the site is put on r2" in found[0].problem
    assert placed["candidates"].tolist() == ["r2; r0; r1", ""]
    assert placed["ambiguity"].tolist() == ["where reaches meet", ""]


def test_a_site_with_longitude_and_latitude_swapped_is_told_so() -> None:
    layer = layer_of_lines([(10, 50), (10.1, 50.1)])
    _, found = place(points_of((50.05, 10.05), (20, 50)), layer)
    assert ["swapped" in fault.fix for fault in found] == [True, False]


def test_the_word_for_the_placement_says_what_decided() -> None:
    layer = layer_of_lines([(0, 0), (0, 0.01)], [(0.0005, 0), (0.0005, 0.01)], [(0.001, 0), (0.001, 0.01)])
    layer = layer.assign(name=["Alder", "Birch", "Cedar"], upstream_area_km2=[5.0, 6.0, 90.0])
    sites = points_of(
        *[(0.0001, 0.005)] * 4,
        (1, 1),
        reach_id=["r2", None, None, None, None],
        stream=["", "", "Birch", "", ""],
        upstream_area_km2=[np.nan, np.nan, np.nan, 90.0, np.nan],
    )
    placed, _ = place(sites, layer)
    assert placed["placement"].tolist() == list(PLACEMENTS)
    assert placed["reach"].tolist() == [2, 0, 1, 2, -1]


def test_several_sites_on_one_reach_stand_in_the_order_of_their_positions() -> None:
    layer = layer_of_lines([(0, 0.03), (0, 0)])
    heights = [0.011, 0.029, 0.002, 0.02]
    placed, _ = place(points_of(*((0.0001, height) for height in heights)), layer)
    assert placed["reach"].tolist() == [0] * 4
    assert placed["position_m"].argsort().tolist() == np.argsort(heights).tolist()


def test_a_named_reach_of_another_name_or_drainage_area_is_noticed() -> None:
    layer = layer_of_lines([(0, 0), (0, 0.01)], [(0.0005, 0), (0.0005, 0.01)])
    layer = layer.assign(name=["Alder Brook", ""], upstream_area_km2=[10.0, 10.0])
    sites = points_of(
        *[(0.0001, 0.005)] * 4,
        reach_id=["r0", "r0", "r1", "r0"],
        stream=["Birch Brook", "ALDER  brook", "Birch Brook", "Birch Brook"],
        upstream_area_km2=[np.nan, 19.0, np.nan, 4.9],
    )
    placed, found = place(sites, layer)
    assert placed["ambiguity"].tolist() == ["another name", "", "", "another name; another drainage area"]
    assert placed["candidates"].tolist() == [""] * 4
    assert placed["reach_id"].tolist() == ["r0", "r0", "r1", "r0"]
    assert [fault.value for fault in found] == ["s0", "s3"]
    assert "the layer calls it Alder Brook, the site is said to be on Birch Brook" in found[0].problem
    assert "10 km2 drain to it, 4.9 km2 to the site" in found[1].problem


@pytest.mark.parametrize("site", [179.9995, -179.9995])
@pytest.mark.parametrize("side", [179.9999, -179.9999])
def test_lines_are_found_from_the_other_side_of_the_meridian_of_180_degrees(site: float, side: float) -> None:
    layer = layer_of_lines([(side, 0.0), (side, 0.01)])
    placed, _ = place(points_of((site, 0.005)), layer)
    assert placed["reach"].tolist() == [0]
    assert placed["snapped_longitude"].tolist() == [side]
    assert placed["offset_m"][0] == pytest.approx(GEODESIC.Inverse(0.005, site, 0.005, side)["s12"], abs=0.01)


@pytest.mark.parametrize("site", [179.995, -179.995, -179.2])
def test_a_line_across_the_meridian_of_180_degrees_is_not_drawn_round_the_world(site: float) -> None:
    layer = layer_of_lines([(179.5, 0.0), (-179.0, 0.0)], [(0, 0), (0.1, 0)])
    placed, _ = place(points_of((site, 0.001), (0.05, 0.001)), layer)
    assert placed["reach"].tolist() == [0, 1]
    assert placed["snapped_longitude"].tolist() == pytest.approx([site, 0.05], abs=1e-9)
    assert placed["position_m"][0] == pytest.approx(GEODESIC.Inverse(0, site, 0, -179)["s12"], abs=0.1)


COORDINATES = st.tuples(st.integers(0, 8), st.integers(0, 8)).map(
    lambda xy: (10 + xy[0] / 2e3, 50 + xy[1] / 2e3)
)
NAMES = st.sampled_from(["", "Alder Brook", "Birch Brook", "Little Alder Brook"])
AREAS = st.sampled_from([np.nan, 1.0, 3.0, 40.0])


@st.composite
def layers(draw: st.DrawFn) -> gpd.GeoDataFrame:
    pair = st.tuples(COORDINATES, COORDINATES).filter(lambda two: two[0] != two[1])
    pairs = draw(st.lists(pair, min_size=2, max_size=7, unique_by=frozenset))
    size = len(pairs)
    layer = layer_of_lines(*(list(two) for two in pairs))
    return layer.assign(
        name=draw(st.lists(NAMES, min_size=size, max_size=size)),
        upstream_area_km2=draw(st.lists(AREAS, min_size=size, max_size=size)),
        width_m=draw(st.lists(st.sampled_from([np.nan, 5.0, 60.0]), min_size=size, max_size=size)),
    )


@st.composite
def surveys(draw: st.DrawFn) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    layer = draw(layers())
    rows = draw(st.lists(st.tuples(COORDINATES, NAMES, NAMES, AREAS, st.booleans()), min_size=1, max_size=6))
    places, names, streams, areas, named = zip(*rows, strict=True)
    reach = draw(st.sampled_from(layer["reach_id"].tolist()))
    ids = [reach if asked else None for asked in named]
    return layer, points_of(*places, name=names, stream=streams, upstream_area_km2=areas, reach_id=ids)


def place_any(sites: gpd.GeoDataFrame, layer: gpd.GeoDataFrame) -> pd.DataFrame:
    network, _ = build_network(layer, direction="unknown")
    return place_sites(sites, layer, network, within_m=150.0)[0]


@given(surveys(), st.randoms(use_true_random=False))
def test_the_order_of_sites_changes_nothing(
    survey: tuple[gpd.GeoDataFrame, gpd.GeoDataFrame], random: object
) -> None:
    layer, sites = survey
    order = list(range(len(sites)))
    random.shuffle(order)
    pd.testing.assert_frame_equal(
        place_any(sites, layer).iloc[order], place_any(sites.iloc[order], layer), check_exact=True
    )


@given(surveys(), st.randoms(use_true_random=False))
def test_the_order_of_reaches_changes_no_placement(
    survey: tuple[gpd.GeoDataFrame, gpd.GeoDataFrame], random: object
) -> None:
    layer, sites = survey
    order = list(range(len(layer)))
    random.shuffle(order)
    columns = ["reach_id", "offset_m", "position_m", "placement", "ambiguity"]
    pd.testing.assert_frame_equal(
        place_any(sites, layer)[columns],
        place_any(sites, layer.iloc[order].reset_index(drop=True))[columns],
        check_exact=True,
    )


@given(surveys())
def test_other_ids_change_only_the_ids(survey: tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]) -> None:
    layer, sites = survey
    other = {name: f"{100 - number}x" for number, name in enumerate(layer["reach_id"])}
    renamed = place_any(
        sites.assign(reach_id=sites["reach_id"].map(other), site_id=sites["site_id"].to_numpy()[::-1]),
        layer.assign(reach_id=layer["reach_id"].map(other)),
    )
    expected = place_any(sites, layer)
    expected["reach_id"] = expected["reach_id"].map(other).astype("str")
    told = expected["candidates"].str.split("; ")
    expected["candidates"] = told.map(lambda ids: "; ".join(other.get(name, "") for name in ids)).astype(
        "str"
    )
    pd.testing.assert_frame_equal(renamed, expected, check_exact=True)


@pytest.mark.parametrize("latitude", [-71.0, 3.0, 48.0])
def test_the_nearest_reach_is_that_of_a_projection_about_each_site(latitude: float) -> None:
    rng = np.random.default_rng(8)
    starts = rng.uniform([7, latitude], [7.2, latitude + 0.1], (60, 1, 2))
    walks = starts + np.cumsum(rng.normal(0, 0.002, (60, 6, 2)), axis=1)
    sites = rng.uniform([7, latitude], [7.2, latitude + 0.1], (40, 2))
    placed, _ = place(
        points_of(*map(tuple, sites)), layer_of_lines(*map(shapely.LineString, walks)), within_m=800
    )
    for row, (x, y) in enumerate(sites):
        system = f"+proj=aeqd +lon_0={x} +lat_0={y} +ellps=WGS84"
        flat = Transformer.from_crs("EPSG:4326", system, always_xy=True)
        dense = shapely.segmentize(shapely.linestrings(walks), 1e-4)
        projected = shapely.transform(dense, lambda xy, flat=flat: np.column_stack(flat.transform(*xy.T)))
        distance = shapely.distance(projected, shapely.Point(0, 0))
        nearest = int(distance.argmin()) if distance.min() <= 800 else -1
        assert placed["reach"][row] == nearest
        if nearest >= 0:
            assert placed["offset_m"][row] == pytest.approx(distance.min(), abs=0.05)
