"""Sites whose reach is in doubt are marked, and others are not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from network_builders import layer_of_lines, points_of

from watershedmap.network.snapping import place_sites
from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

EAST_M, NORTH_M = 111_319.49, 110_574.3  # metres per degree at the equator


def metres(*places: tuple[float, float]) -> list[tuple[float, float]]:
    """Write metres east and north of 0, 0 as degrees."""
    return [(x / EAST_M, y / NORTH_M) for x, y in places]


def place_one(layer: gpd.GeoDataFrame, place: tuple[float, float], **columns: object) -> pd.Series:
    """Place one site, so many metres east and north of 0, 0."""
    network, _ = build_network(layer, direction="drawn")
    site = points_of(*metres(place), **{name: [value] for name, value in columns.items()})
    placed, found = place_sites(site, layer, network, within_m=200.0)
    assert len(found) == (placed["ambiguity"][0] != "")
    return placed.iloc[0]


def junction() -> gpd.GeoDataFrame:
    """Make a stem from north to south, joined from the east at 0, 0."""
    stem, below = metres((0, 900), (0, 0)), metres((0, 0), (0, -900))
    return layer_of_lines(stem, below, metres((900, 0), (0, 0)))


@pytest.mark.parametrize(("north", "ambiguity"), [(-24.0, "tributary mouth"), (-26.0, "")])
def test_a_place_within_25_m_of_a_tributary_is_at_its_mouth(north: float, ambiguity: str) -> None:
    placed = place_one(junction(), (-1, north))
    assert placed["reach_id"] == "r1"
    assert placed["ambiguity"] == ambiguity
    assert placed["candidates"] == ("r1; r0; r2" if ambiguity else "")


def test_a_tributary_that_joins_between_the_ends_of_a_reach_has_a_mouth_too() -> None:
    layer = layer_of_lines(metres((0, 900), (0, -900)), metres((900, 0), (0, 0)))
    assert place_one(layer, (-1, -20))["ambiguity"] == "tributary mouth"


def test_two_reaches_that_follow_each_other_are_one_stream() -> None:
    layer = layer_of_lines(metres((0, 900), (0, 0)), metres((0, 0), (0, -900)))
    assert place_one(layer, (50, -5))["ambiguity"] == ""
    assert place_one(layer, (50, 0))["ambiguity"] == "where reaches meet"


def test_a_name_that_agrees_settles_the_doubt() -> None:
    layer = junction().assign(name=["Alder", "Alder", "Birch"])
    assert place_one(layer, (1, 20), stream="Alder")["candidates"] == "r0; r1"
    placed = place_one(layer, (1, 20), stream="Birch")
    assert (placed["reach_id"], placed["placement"], placed["candidates"]) == ("r2", "by name", "")


@pytest.mark.parametrize(
    ("mine", "other", "ambiguity"),
    [
        (4.0, 13.9, "two reaches near"),  # 10 m more
        (4.0, 14.1, ""),
        (60.0, 89.9, "two reaches near"),  # half as much again
        (60.0, 90.1, ""),
    ],
)
def test_a_second_reach_is_near_within_10_m_or_half_as_much_again(
    mine: float, other: float, ambiguity: str
) -> None:
    layer = layer_of_lines(metres((-mine, 900), (-mine, -900)), metres((other, 900), (other, -900)))
    placed = place_one(layer, (0, 0))
    assert placed["reach_id"] == "r0"
    assert placed["ambiguity"] == ambiguity
    assert placed["candidates"] == ("r0; r1" if ambiguity else "")


def test_a_site_in_the_bed_of_a_wide_river_beside_a_small_stream_is_in_doubt() -> None:
    layer = layer_of_lines(metres((0, 900), (0, -900)), metres((60, 900), (60, -900)))
    for width, ambiguity in ((100.0, "wide river"), (80.0, ""), (np.nan, "")):
        placed = place_one(layer.assign(width_m=[width, 4.0]), (48, 0))
        assert placed["reach_id"] == "r1"
        assert placed["ambiguity"] == ambiguity
    assert place_one(layer.assign(width_m=[130.0, 4.0]), (20, 0))["ambiguity"] == "wide river"
    assert place_one(layer.assign(width_m=[70.0, 4.0]), (20, 0))["ambiguity"] == ""


def test_several_reasons_are_told_together() -> None:
    layer = junction().assign(width_m=[50.0, 50.0, 50.0])
    assert place_one(layer, (2, 5))["ambiguity"] == "tributary mouth; wide river"
