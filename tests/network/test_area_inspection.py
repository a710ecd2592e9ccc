"""What is odd about sub-watersheds is found, with its place, and nothing else is."""

from __future__ import annotations

import itertools

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from network_builders import layer_of_ids, points_of

from watershedmap.network.area_chain import chain_areas
from watershedmap.network.area_inspection import inspect_areas
from watershedmap.network.areas import area_km2, share_reaches
from watershedmap.network.topology import build_network

COLUMNS = ["finding", "severity", "ids", "note", "fix", "geometry"]
TILES = [shapely.box(x, 0, x + 1, 1) for x in range(3)]


def areas_of(*shapes: object, codes: list[str | None] | None = None) -> gpd.GeoDataFrame:
    columns: dict[str, object] = {"subwatershed_id": [f"a{row}" for row in range(len(shapes))]}
    if codes:
        columns["downstream_id"] = pd.Series(codes, dtype="str")
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs="EPSG:4326")


def stem(*xs: float) -> gpd.GeoDataFrame:
    """Make a stem from west to east in reaches r0, r1, ..."""
    names = [f"r{row}" for row in range(len(xs) - 1)]
    lines = [shapely.LineString([(a, 0.5), (b, 0.5)]) for a, b in itertools.pairwise(xs)]
    return layer_of_ids(dict(zip(names, [*names[1:], None], strict=True)), lines)


def inspect(
    areas: gpd.GeoDataFrame, reaches: gpd.GeoDataFrame, sites: gpd.GeoDataFrame | None = None
) -> gpd.GeoDataFrame:
    network, _ = build_network(reaches)
    shares = share_reaches(reaches, areas)
    found = inspect_areas(reaches, areas, network, shares, sites=sites)
    given = inspect_areas(
        reaches, areas, network, shares, sites=sites, chain=chain_areas(areas, network, shares)
    )
    assert found.equals(given)
    assert found.columns.tolist() == COLUMNS
    return found


def test_a_sound_layer_has_no_findings_but_the_same_columns() -> None:
    found = inspect(areas_of(*TILES, codes=["a1", "a2", None]), stem(0.1, 1, 2, 2.9), points_of((0.5, 0.5)))
    assert found.empty
    assert found.crs == "EPSG:4326"


def test_a_code_that_is_not_in_the_layer_is_listed() -> None:
    found = inspect(areas_of(*TILES, codes=["a1", "a2", "elsewhere"]), stem(0.1, 1, 2, 2.9))
    assert found[["finding", "severity", "ids"]].to_numpy().tolist() == [
        ["code not in the layer", "notice", "a2"]
    ]
    assert "elsewhere" in found["note"][0]
    assert found.geometry[0].within(TILES[2])


def test_a_circle_of_codes_is_a_fault_with_its_areas_along_the_flow() -> None:
    found = inspect(areas_of(*TILES, codes=["a2", "a0", "a1"]), stem(0.1, 1, 2, 2.9))
    circle = found[found["finding"] == "cycle of codes"]
    assert circle["severity"].tolist() == ["fault"]
    assert circle["ids"].tolist() == ["a0; a2; a1"]


def test_a_chain_that_is_not_that_of_the_reaches_is_listed_with_both() -> None:
    found = inspect(areas_of(*TILES, codes=["a2", "a2", None]), stem(0.1, 1, 2, 2.9))
    assert found["finding"].tolist() == ["chain disagrees"]
    assert found["ids"].tolist() == ["a0; a2; a1"]
    assert "by its code the next sub-watershed is a2, by the reaches that leave it a1" in found["note"][0]


@pytest.mark.parametrize(("end", "crosses"), [(1.11, True), (1.09, False)])
def test_a_reach_crosses_a_border_from_a_tenth_of_its_length(end: float, *, crosses: bool) -> None:
    found = inspect(areas_of(*TILES), stem(end - 1, end, 2.9))
    first = found[found["ids"] == "r0"]
    assert len(first) == crosses
    if crosses:
        assert "a0 89%, a1 11%" in first["note"].iloc[0]
        assert first.geometry.iloc[0].equals_exact(shapely.Point(1, 0.5), 1e-9)


def test_a_crossing_of_less_than_100_m_is_none() -> None:
    assert inspect(areas_of(*TILES), stem(0.9996, 1.0004, 1.9)).empty  # 45 m on either side
    assert inspect(areas_of(*TILES), stem(0.998, 1.002, 1.9))["ids"].tolist() == ["r0"]  # 223 m


def test_overlaps_of_a_hectare_are_listed_with_their_size() -> None:
    wide = shapely.box(0.99, 0, 2, 1)
    found = inspect(areas_of(TILES[0], wide, shapely.box(2 - 1e-9, 0, 3, 1)), stem(0.1, 0.9))
    assert found[["finding", "ids"]].to_numpy().tolist() == [["overlap", "a0; a1"]]
    common = shapely.box(0.99, 0, 1, 1)
    size = area_km2(gpd.GeoSeries([common]))[0]
    assert f"{size:.3g} km2" in found["note"][0]
    assert found.geometry[0].within(common)


def test_an_area_within_another_overlaps_it() -> None:
    found = inspect(areas_of(TILES[0], shapely.box(0.2, 0.2, 0.4, 0.4)), stem(0.6, 0.9))
    assert found["finding"].tolist() == ["overlap"]


def test_a_hole_between_areas_is_a_gap_and_the_outside_is_none() -> None:
    hole = shapely.box(0.9, 0.4, 1.2, 0.6)
    west, east = TILES[0].difference(hole), TILES[1].difference(hole)
    found = inspect(areas_of(west, east, TILES[2]), stem(0.1, 0.8))
    assert found[["finding", "ids"]].to_numpy().tolist() == [["gap", "a0; a1"]]
    assert found.geometry[0].within(hole)
    assert f"{area_km2(gpd.GeoSeries([hole]))[0]:.3g} km2" in found["note"][0]


def test_a_gap_does_not_count_the_island_within_it() -> None:
    hole, island = shapely.box(0.2, 0.2, 0.8, 0.8), shapely.box(0.4, 0.4, 0.6, 0.6)
    found = inspect(areas_of(TILES[0].difference(hole), island), stem(0.05, 0.15))
    assert found[["finding", "ids"]].to_numpy().tolist() == [["gap", "a0; a1"]]
    expected = area_km2(gpd.GeoSeries([hole.difference(island)]))[0]
    assert f"{expected:.3g} km2" in found["note"][0]
    assert not found.geometry[0].intersects(island)


def test_slivers_below_a_hectare_are_drawing() -> None:
    sliver = shapely.box(0.9995, 0.4999, 1, 0.5)  # 56 m by 11 m
    assert inspect(areas_of(TILES[0].difference(sliver), TILES[1]), stem(0.1, 0.8)).empty
    assert inspect(areas_of(TILES[0], TILES[1].union(sliver)), stem(0.1, 0.8)).empty


def test_reaches_and_sites_in_no_area_are_listed() -> None:
    sites = points_of((0.5, 0.5), (9, 9), (5, 0.5))
    sites.loc[1, "geometry"] = None
    found = inspect(areas_of(*TILES), stem(0.1, 0.9, 1.9, 4.0, 5.0, 6.0), sites)
    outside = found[found["finding"] == "outside of all areas"]
    assert outside["ids"].tolist() == ["r3; r4"]
    assert found.loc[found["finding"] == "site in no area", "ids"].tolist() == ["s2"]


def test_missing_polygons_and_missing_lines_do_not_stop_it() -> None:
    reaches = stem(0.1, 1, 2)
    reaches.loc[0, "geometry"] = None
    found = inspect(areas_of(TILES[0], None, codes=[None, "x"]), reaches)
    assert found["finding"].tolist() == ["code not in the layer", "outside of all areas"]
    assert found.geometry[0] is None
