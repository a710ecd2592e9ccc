"""The demo survey: made again byte for byte, of the stated size, with its story and its oddities in it."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pymannkendall
import pyogrio
import pytest
import shapely

ROOT = Path(__file__).resolve().parent.parent
DEMO, LAYERS = ROOT / "demo_data", ROOT / "layers"
TABLES = ("sites.csv", "samples.csv", "counts.csv")
LAYER_FILES = ("streams.gpkg", "subwatersheds.gpkg")
GDAL_OF_LAYERS = (3, 12, 4)
"""The release of GDAL that wrote the committed layers; another lays out the same content differently."""
PLANE = "+proj=aeqd +lat_0=41.0 +lon_0=-80.5 +ellps=WGS84 +units=m"
CLASS_LIMITS = [3.75, 4.25, 5.00, 5.75, 6.50, 7.25]
"""Upper limits of the classes of Hilsenhoff (1988), J. N. Am. Benthol. Soc. 7:65-68, from memory."""


@pytest.fixture(scope="module")
def remade(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    command = [sys.executable, "-W", "error", str(DEMO / "make_demo.py"), str(folder)]
    subprocess.run(command, check=True, capture_output=True, cwd=folder)
    return folder


@pytest.fixture(scope="module")
def sites() -> pd.DataFrame:
    return pd.read_csv(DEMO / "sites.csv")


@pytest.fixture(scope="module")
def samples() -> pd.DataFrame:
    table = pd.read_csv(DEMO / "samples.csv", parse_dates=["date"])
    return table.assign(year=table["date"].dt.year)


@pytest.fixture(scope="module")
def counts() -> pd.DataFrame:
    return pd.read_csv(DEMO / "counts.csv")


@pytest.fixture(scope="module")
def streams() -> gpd.GeoDataFrame:
    return gpd.read_file(LAYERS / "streams.gpkg")


@pytest.fixture(scope="module")
def areas() -> gpd.GeoDataFrame:
    return gpd.read_file(LAYERS / "subwatersheds.gpkg")


@pytest.fixture(scope="module")
def yearly(samples: pd.DataFrame, counts: pd.DataFrame) -> pd.DataFrame:
    """Return the mean score of each site (row) in each year (column), worked out here by hand."""
    spec = importlib.util.spec_from_file_location("demo_animals", DEMO / "animals.py")
    assert spec is not None
    assert spec.loader is not None
    animals = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(animals)
    tolerance = counts["taxon"].map(dict(zip(animals.TAXA, animals.TOLERANCE, strict=True)))
    valued = counts.assign(weighted=counts["count"] * tolerance)[tolerance.notna()]
    sums = valued.groupby("sample_id")[["weighted", "count"]].sum()
    score = samples["sample_id"].map(sums["weighted"] / sums["count"].where(sums["count"] > 0))
    return samples.assign(score=score).pivot_table(index="site_id", columns="year", values="score")


@pytest.mark.parametrize("name", TABLES)
def test_tables_are_made_again_byte_for_byte(remade: Path, name: str) -> None:
    assert (remade / "demo_data" / name).read_bytes() == (DEMO / name).read_bytes()


@pytest.mark.parametrize("name", LAYER_FILES)
def test_layers_are_made_again_with_the_same_content(remade: Path, name: str) -> None:
    new, old = gpd.read_file(remade / "layers" / name), gpd.read_file(LAYERS / name)
    pd.testing.assert_frame_equal(pd.DataFrame(new.drop(columns="geometry")), old.drop(columns="geometry"))
    assert new.crs == old.crs == "EPSG:4326"
    assert list(new.geometry.normalize().to_wkb()) == list(old.geometry.normalize().to_wkb())


@pytest.mark.parametrize("name", LAYER_FILES)
@pytest.mark.skipif(
    pyogrio.__gdal_version__ != GDAL_OF_LAYERS, reason="another release of GDAL lays out otherwise"
)
def test_layers_are_made_again_byte_for_byte(remade: Path, name: str) -> None:
    assert (remade / "layers" / name).read_bytes() == (LAYERS / name).read_bytes()


def test_writing_over_old_layers_leaves_the_same_bytes(remade: Path) -> None:
    before = {name: (remade / "layers" / name).read_bytes() for name in LAYER_FILES}
    command = [sys.executable, "-W", "error", str(DEMO / "make_demo.py"), str(remade)]
    subprocess.run(command, check=True, capture_output=True, cwd=remade)
    assert {name: (remade / "layers" / name).read_bytes() for name in LAYER_FILES} == before


@pytest.mark.parametrize("name", TABLES)
def test_tables_have_plain_line_ends_and_a_header(name: str) -> None:
    raw = (DEMO / name).read_bytes()
    assert b"\r" not in raw
    assert raw.endswith(b"\n")
    assert raw.decode("utf-8").splitlines()[0].split(",")[0] in {"site_id", "sample_id"}


def test_readme_says_invented() -> None:
    assert "invented" in (DEMO / "README.md").read_text(encoding="utf-8").splitlines()[0]
    assert "**invented**" in (DEMO / "README.md").read_text(encoding="utf-8")


def test_sizes_are_as_stated(
    sites: pd.DataFrame, samples: pd.DataFrame, streams: gpd.GeoDataFrame, areas: gpd.GeoDataFrame
) -> None:
    assert 140 <= len(streams) <= 165
    assert list(areas["subwatershed_id"]) == [f"SW{number:02d}" for number in range(1, 13)]
    assert list(sites["site_id"]) == [f"S{number:02d}" for number in range(1, 29)]
    assert 380 <= len(samples) <= 420
    assert sorted(samples["year"].unique()) == list(range(2016, 2026))
    assert set(samples["method"]) == {"kick seine", "D-net"}
    assert (samples["method"] == "kick seine").mean() > 0.8
    assert set(samples["date"].dt.month) == {4, 5, 9, 10}


def test_keys_are_unique_and_known(
    sites: pd.DataFrame, samples: pd.DataFrame, counts: pd.DataFrame, streams: gpd.GeoDataFrame
) -> None:
    assert samples["sample_id"].is_unique
    assert streams["reach_id"].is_unique
    assert set(samples["site_id"]) == set(sites["site_id"])
    assert set(counts["sample_id"]) < set(samples["sample_id"])
    assert (counts["count"] >= 0).all()


def test_streams_form_one_tree_with_one_outlet(streams: gpd.GeoDataFrame) -> None:
    below = streams.set_index("reach_id")["downstream_id"]
    assert list(below.index[below.isna()]) == ["R001"]
    assert set(below.dropna()) <= set(below.index)
    for reach in below.index:
        seen = [reach]
        while not pd.isna(below[seen[-1]]):
            seen.append(below[seen[-1]])
            assert len(seen) <= len(below)
        assert seen[-1] == "R001"


def test_each_reach_ends_exactly_where_the_reach_below_begins(streams: gpd.GeoDataFrame) -> None:
    lines = streams.set_index("reach_id").geometry
    for reach, below in streams.dropna(subset="downstream_id")[["reach_id", "downstream_id"]].to_numpy():
        assert lines[reach].coords[-1] == lines[below].coords[0]


def test_reaches_meet_only_at_junctions_and_never_cross_themselves(streams: gpd.GeoDataFrame) -> None:
    lines = streams.geometry.to_numpy()
    assert shapely.is_simple(lines).all()
    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    pairs = first < second
    meeting = shapely.intersection(lines[first[pairs]], lines[second[pairs]])
    starts = {line.coords[0] for line in lines}
    assert {shape.geom_type for shape in meeting} == {"Point"}
    assert all(shape.coords[0] in starts for shape in meeting)


def test_lines_carry_a_drawable_number_of_vertices_with_six_decimals(streams: gpd.GeoDataFrame) -> None:
    assert shapely.get_num_coordinates(streams.geometry.to_numpy()).min() >= 9
    assert shapely.get_num_coordinates(streams.geometry.to_numpy()).max() <= 40
    spots = shapely.get_coordinates(streams.geometry.to_numpy())
    assert np.array_equal(spots, np.round(spots, 6))


def test_subwatersheds_tile_the_watershed_without_gap_or_overlap(areas: gpd.GeoDataFrame) -> None:
    shapes = areas.geometry.to_numpy()
    assert set(areas.geometry.geom_type) == {"Polygon"}
    assert areas.is_valid.all()
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    others = first != second
    assert shapely.area(shapely.intersection(shapes[first[others]], shapes[second[others]])).max() == 0
    whole = shapely.union_all(shapes)
    assert whole.geom_type == "Polygon"
    assert len(whole.interiors) == 0
    assert whole.area == pytest.approx(shapely.area(shapes).sum(), rel=1e-12)


def test_streams_lie_in_the_watershed(streams: gpd.GeoDataFrame, areas: gpd.GeoDataFrame) -> None:
    lines = streams.geometry.to_numpy()
    inside = shapely.intersection(lines, shapely.union_all(areas.geometry.to_numpy()))
    assert shapely.length(inside).sum() > 0.999 * shapely.length(lines).sum()


def test_one_site_lies_far_off_its_stream_and_the_rest_near(
    sites: pd.DataFrame, streams: gpd.GeoDataFrame
) -> None:
    points = gpd.GeoSeries.from_xy(sites["longitude"], sites["latitude"], crs="EPSG:4326").to_crs(PLANE)
    network = streams.to_crs(PLANE).union_all()
    offset = points.distance(network).set_axis(sites["site_id"])
    far = offset[offset > 60]
    assert list(far.index) == ["S14"]
    assert 150 <= far["S14"] <= 180
    assert offset.min() >= 5


def test_one_subwatershed_has_no_site(sites: pd.DataFrame, areas: gpd.GeoDataFrame) -> None:
    points = gpd.GeoSeries.from_xy(sites["longitude"], sites["latitude"])
    held = areas.geometry.apply(lambda area: points.within(area).sum()).set_axis(areas["subwatershed_id"])
    assert held.sum() == 28
    assert list(held.index[held == 0]) == ["SW12"]


def test_some_sites_have_few_years_and_one_is_stale(samples: pd.DataFrame) -> None:
    years = samples.groupby("site_id")["year"].agg(["nunique", "max"])
    assert years["nunique"][["S19", "S27"]].tolist() == [4, 3]
    assert list(years.index[years["max"] < 2024]) == ["S28"]
    assert years["max"]["S28"] == 2018
    assert (years["nunique"].drop(["S19", "S27", "S28"]) >= 8).all()


def test_about_twelve_visits_carry_replicates(samples: pd.DataFrame) -> None:
    taken = samples.groupby(["site_id", "date", "method"])["replicate"].agg(["size", "max"])
    assert 10 <= (taken["size"] > 1).sum() <= 14
    assert set(taken["size"]) == {1, 2, 3}
    assert (taken["size"] == taken["max"]).all()


def test_only_the_two_stories_show_a_trend(yearly: pd.DataFrame) -> None:
    p_values = {
        site: pymannkendall.original_test(row.dropna().to_numpy()).p
        for site, row in yearly.iterrows()
        if row.notna().sum() >= 5
    }
    clear = {site for site, p_value in p_values.items() if p_value < 0.05}
    assert clear == {"S16", "S26"}
    assert max(p_values["S16"], p_values["S26"]) < 0.01
    assert yearly.loc["S16", 2016] < 4.25
    assert yearly.loc["S16", 2025] > 5.50
    assert yearly.loc["S26", 2016] > 6.00
    assert yearly.loc["S26", 2025] < 5.00


def test_the_river_falls_at_the_town_and_recovers_below_it(yearly: pd.DataFrame) -> None:
    recent = yearly.loc[:, 2023:].mean(axis=1)
    assert recent["S01"] < recent["S02"] < recent["S04"] < recent["S05"] < recent["S06"]
    assert recent["S06"] + 1 < recent["S07"] < recent["S08"]
    assert recent["S08"] > recent["S09"] + 1 > recent["S10"] + 1 > recent["S11"] + 1
    assert max(recent["S22"], recent["S23"]) < 3.75


def test_all_seven_classes_appear_in_the_latest_three_years(yearly: pd.DataFrame) -> None:
    recent = yearly.loc[:, 2023:].mean(axis=1).dropna()
    assert set(np.searchsorted(CLASS_LIMITS, recent.round(2))) == set(range(7))


def test_few_samples_are_small_one_is_blank_and_one_has_no_counts(
    samples: pd.DataFrame, counts: pd.DataFrame
) -> None:
    totals = counts.groupby("sample_id")["count"].sum()
    assert 5 <= ((totals > 0) & (totals < 100)).sum() <= 8
    assert totals.max() <= 263
    assert list(totals.index[totals == 0].str[:8]) == ["S17-2019"]
    assert counts["sample_id"].tolist().count(totals.idxmin()) == 1
    assert [name[:8] for name in set(samples["sample_id"]) - set(totals.index)] == ["S22-2020"]


def test_zero_counts_other_than_the_blank_are_a_few(counts: pd.DataFrame) -> None:
    assert (counts["count"] == 0).sum() - 1 == 5


def test_one_taxon_is_given_twice_in_one_sample(counts: pd.DataFrame) -> None:
    twice = counts[counts.duplicated(["sample_id", "taxon"], keep=False)]
    assert len(twice) == 2
    assert set(twice["taxon"]) == {"Hydropsychidae"}
    assert (twice["count"] > 0).all()


@pytest.mark.parametrize(
    ("written", "rows"),
    [
        ("Hydropsycidae", 2),
        ("Tubificidae", 5),
        ("Pteronarcidae", 3),
        (" Baetidae", 1),
        ("Elmidae ", 1),
        ("heptageniidae", 1),
        ("simuliidae", 1),
        ("Blue wriggler", 1),
    ],
)
def test_oddly_written_names_are_there(counts: pd.DataFrame, written: str, rows: int) -> None:
    assert (counts["taxon"] == written).sum() == rows


@pytest.mark.parametrize(
    "taxon",
    [
        "Chironomidae",
        "Chironomidae (blood-red)",
        "Oligochaeta",
        "Physidae",
        "Planorbidae",
        "Sphaeriidae",
        "Erpobdellidae",
        "Planariidae",
    ],
)
def test_midges_are_told_apart_and_other_animals_than_arthropods_are_found(
    counts: pd.DataFrame, taxon: str
) -> None:
    assert (counts["taxon"] == taxon).sum() >= 10
