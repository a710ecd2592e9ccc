"""Which candidate a site is put on: offset, names and drainage areas weighed against each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from network_builders import layer_of_ids, layer_of_lines, points_of

from watershedmap.network.preference import area_factor, drainage_area_km2, normalise_name
from watershedmap.network.snapping import place_sites
from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

DEGREE_M = 111_319.49  # of longitude at the equator


def parallel_streams(*offsets_m: float) -> gpd.GeoDataFrame:
    """Make streams that run north, so many metres east of the meridian of 0."""
    return layer_of_lines(*([(x / DEGREE_M, 0.0), (x / DEGREE_M, 0.05)] for x in offsets_m))


def place_one(layer: gpd.GeoDataFrame, *, within_m: float = 200.0, **columns: object) -> pd.Series:
    """Place one site at 0 degrees."""
    network, _ = build_network(layer, direction="drawn")
    site = points_of((0.0, 0.025), **{name: [value] for name, value in columns.items()})
    return place_sites(site, layer, network, within_m=within_m)[0].iloc[0]


@pytest.mark.parametrize(("farther_m", "reach"), [(109.0, 1), (111.0, 0)])
def test_the_name_of_the_stream_outweighs_half_of_the_distance_allowed(farther_m: float, reach: int) -> None:
    layer = parallel_streams(10, farther_m).assign(name=["Alder Brook", "Birch Brook"])
    placed = place_one(layer, stream="Birch Brook")
    assert placed["reach"] == reach
    assert placed["placement"] == ("by name" if reach else "nearest")


def test_the_name_of_the_stream_never_draws_a_site_beyond_the_distance_allowed() -> None:
    layer = parallel_streams(130, 201).assign(name=["Alder Brook", "Birch Brook"])
    placed = place_one(layer, stream="Birch Brook")
    assert placed["reach"] == 0
    assert placed["ambiguity"] == "another name"


@pytest.mark.parametrize(("farther_m", "reach"), [(29.0, 1), (31.0, 0)])
def test_a_stream_in_the_name_of_the_site_outweighs_a_tenth_of_the_distance_allowed(
    farther_m: float, reach: int
) -> None:
    layer = parallel_streams(10, farther_m).assign(name=["Alder Brook", "Birch Brook"])
    assert place_one(layer, name="Birch Brook at the mill")["reach"] == reach


@pytest.mark.parametrize(
    "name",
    [
        "Birchbrook farm",  # no whole words
        "Birch",
        "Birch Brook above Alder Brook",  # two streams
        "",
    ],
)
def test_a_name_that_tells_no_one_stream_decides_nothing(name: str) -> None:
    layer = parallel_streams(10, 20).assign(name=["Alder Brook", "Birch Brook"])
    assert place_one(layer, name=name)["reach"] == 0


def test_of_names_within_each_other_the_longest_counts() -> None:
    layer = parallel_streams(10, 20).assign(name=["Alder Brook", "Little Alder Brook"])
    assert place_one(layer, name="Little Alder Brook, ford")["reach"] == 1
    assert place_one(layer, name="Alder Brook, ford")["reach"] == 0


def test_the_stream_that_a_site_gives_wins_over_its_own_name() -> None:
    layer = parallel_streams(10, 20).assign(name=["Alder Brook", "Birch Brook"])
    assert place_one(layer, name="Birch Brook mouth", stream="Alder Brook")["reach"] == 0


def test_names_are_compared_without_case_accents_and_punctuation() -> None:
    assert normalise_name("  Río  de la PEÑA-Alta ") == normalise_name("rio de la pena alta")
    assert normalise_name("Miller's Run") == normalise_name("Millers run")
    assert normalise_name(None) == normalise_name(np.nan) == ""
    assert normalise_name("Alder Brook") != normalise_name("Alder Bk")


@pytest.mark.parametrize(
    ("of_site", "reach"),
    [
        (2.0, 0),
        (100.0, 1),  # the nearer is wrong by a factor of four or more: 100 m
        (10.0, 0),  # wrong by five and by ten: both are charged alike
        (2.0 * np.sqrt(50), 0),
    ],
)
def test_a_wrong_drainage_area_costs_up_to_half_of_the_distance_allowed(of_site: float, reach: int) -> None:
    layer = parallel_streams(10, 100).assign(upstream_area_km2=[2.0, 100.0])
    placed = place_one(layer, upstream_area_km2=of_site)
    assert placed["reach"] == reach
    assert placed["placement"] == ("by area" if reach else "nearest")


@pytest.mark.parametrize(("farther_m", "reach"), [(59.0, 1), (61.0, 0)])
def test_a_drainage_area_twice_too_small_costs_a_quarter_of_the_distance_allowed(
    farther_m: float, reach: int
) -> None:
    layer = parallel_streams(10, farther_m).assign(upstream_area_km2=[5.0, 10.0])
    assert place_one(layer, upstream_area_km2=10.0)["reach"] == reach


def test_areas_decide_nothing_while_one_candidate_has_none() -> None:
    layer = parallel_streams(10, 20).assign(upstream_area_km2=[np.nan, 10.0])
    assert place_one(layer, upstream_area_km2=10.0)["reach"] == 0


def test_own_areas_of_reaches_are_totalled_along_the_flow() -> None:
    lines = [shapely.LineString([(x, 1), (x, 0)]) for x in range(3)]
    layer = layer_of_ids({"a": "c", "b": "c", "c": None}, lines).assign(area_km2=[1.0, 2.0, 4.0])
    network, _ = build_network(layer)
    assert drainage_area_km2(layer, network).tolist() == [1.0, 2.0, 7.0]
    published = layer.assign(upstream_area_km2=[1.0, 2.0, 7.5])
    assert drainage_area_km2(published, network).tolist() == [1.0, 2.0, 7.5]
    assert np.isnan(drainage_area_km2(layer.drop(columns="area_km2"), network)).all()


def test_a_factor_is_the_same_both_ways_and_unknown_without_an_area() -> None:
    one, other = np.array([2.0, 8.0, 0.0, np.nan]), np.array([8.0, 2.0, 2.0, 2.0])
    assert area_factor(one, other)[:2].tolist() == [4.0, 4.0]
    assert np.isnan(area_factor(one, other)[2:]).all()
