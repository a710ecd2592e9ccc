"""The whole tool on open data: other people's layers and counts, as published.

The sites and scores placed on these networks are made up for the purpose; the layers and counts are real.
"""

from __future__ import annotations

import os
import re
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from watershedmap.assessment import Assessment, assess
from watershedmap.scoring.metrics import compute_metrics
from watershedmap.taxa.lookup import resolve
from watershedmap.trends.direction import trends_by

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.opendata

SCORED = """\
[survey]
about = "Real streams; sites and scores are made up."
[tables]
sites = "sites.csv"
scores = "scores.csv"
[index]
use = "scores"
better = "high"
[[index.classes]]
label = "good"
limit = 60
[[index.classes]]
label = "fair"
limit = 40
[[index.classes]]
label = "poor"
[layers]
"""


def make_up_sites(folder: Path, reaches: gpd.GeoDataFrame, *, size: int, years: int = 6) -> list[str]:
    """Write made-up sites in the middle of chosen reaches, about 20 m off, and scores for some years."""
    random = np.random.default_rng(20261125)
    chosen = np.sort(random.choice(len(reaches), size=size, replace=False))
    middle = reaches.geometry.iloc[chosen].interpolate(0.5, normalized=True).to_crs("EPSG:4326")
    ids = [f"P{number:03d}" for number in range(size)]
    sites = pd.DataFrame(
        {"site_id": ids, "longitude": middle.x.to_numpy() + 2e-4, "latitude": middle.y.to_numpy()}
    )
    sites.to_csv(folder / "sites.csv", index=False)
    scores = pd.DataFrame(
        [
            (site, f"{2020 + year}-05-01", round(float(random.uniform(20, 80)), 1))
            for site in ids
            for year in range(years)
        ],
        columns=["site_id", "date", "score"],
    )
    scores.to_csv(folder / "scores.csv", index=False)
    return ids


def layer(folder: Path, name: str, path: Path) -> str:
    # The survey names files relative to itself, so that a survey never holds a path of one machine.
    return f'{name} = "{os.path.relpath(path, folder)}"\n'


@pytest.fixture(scope="module")
def ceara(opendata: Path, tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    """HydroRIVERS and HydroBASINS (HydroSHEDS), 7,034 reaches, with 300 made-up sites."""
    folder = tmp_path_factory.mktemp("ceara")
    rivers = opendata / "networks" / "hydrorivers_ceara.gpkg"
    basins = opendata / "subwatersheds" / "hydrobasins_l12_ceara.gpkg"
    make_up_sites(folder, gpd.read_file(rivers), size=300)
    (folder / "survey.toml").write_text(
        SCORED
        + layer(folder, "reaches", rivers)
        + layer(folder, "subwatersheds", basins)
        + '[columns.reaches]\nreach_id = "HYRIV_ID"\ndownstream_id = "NEXT_DOWN"\n'
        + '[columns.subwatersheds]\nsubwatershed_id = "HYBAS_ID"\n'
    )
    return assess(folder)


def test_a_large_network_with_downstream_ids_is_assessed_whole(ceara: Assessment) -> None:
    assert len(ceara.reaches) == 7034
    assert ceara.sites["reach_id"].notna().all()
    measured = ceara.reaches[ceara.reaches["evidence"] == "measured"]
    assert len(measured) == 300
    assert ceara.reaches["strahler_order"].notna().all()
    inferred = ceara.reaches[ceara.reaches["evidence"] == "inferred"]
    assert len(inferred) > 300
    assert (inferred["inferred_km"] <= ceara.survey.settings.options.influence_km).all()


def test_reaches_that_flow_out_of_the_layer_are_reported(ceara: Assessment) -> None:
    # 28 reaches name a next reach outside the cut (counted in the layer itself).
    leaving = [notice for notice in ceara.notices if notice.column == "NEXT_DOWN"]
    assert any("28" in notice.problem for notice in leaving)


def test_joining_reaches_to_areas_by_length_agrees_with_the_layers_own_key(
    ceara: Assessment, opendata: Path
) -> None:
    key = gpd.read_file(opendata / "networks" / "hydrorivers_ceara.gpkg", ignore_geometry=True)
    own = key["HYBAS_L12"].astype("int64").astype(str).to_numpy()
    joined = ceara.reaches["subwatershed_id"]
    agree = (joined == own)[joined.notna()]
    assert joined.notna().mean() > 0.99
    assert agree.mean() > 0.95


def test_length_in_sub_watersheds_adds_up_to_the_length_of_the_reaches(ceara: Assessment) -> None:
    assert ceara.subwatersheds is not None
    total = ceara.reaches["length_km"].sum()
    assert ceara.subwatersheds["stream_km"].sum() == pytest.approx(total, rel=0.02)


def test_a_layer_with_nodes_in_several_pieces_is_assessed(opendata: Path, tmp_path: Path) -> None:
    """OS OpenRivers (Ordnance Survey, OGL v3), the Great Ouse: 256 lines, text ids."""
    rivers = opendata / "networks" / "os_openrivers_great_ouse.geojson"
    make_up_sites(tmp_path, gpd.read_file(rivers), size=25)
    (tmp_path / "survey.toml").write_text(
        SCORED
        + layer(tmp_path, "reaches", rivers)
        + '[columns.reaches]\nreach_id = "id"\nname = "watercourse_name"\n'
        + 'from_node = "start_node"\nto_node = "end_node"\n'
    )
    assessment = assess(tmp_path)
    assert (assessment.reaches["evidence"] == "measured").sum() == 25
    assert assessment.reaches["strahler_order"].max() >= 3
    assert any("separate" in notice.problem or "outlet" in notice.problem for notice in assessment.notices)


def test_lines_whose_direction_cannot_be_believed_give_only_what_was_measured(
    opendata: Path, tmp_path: Path
) -> None:
    """OS VectorMap District water lines (Ordnance Survey, OGL v3): no topology, direction not promised."""
    lines = opendata / "networks" / "os_vectormap_water_lines_TL.geojson"
    make_up_sites(tmp_path, gpd.read_file(lines), size=40)
    (tmp_path / "survey.toml").write_text(
        SCORED + layer(tmp_path, "reaches", lines) + '[columns.reaches]\nreach_id = "ID"\n'
    )
    assessment = assess(tmp_path)
    evidence = assessment.reaches["evidence"].value_counts()
    assert evidence.get("inferred", 0) == 0
    assert evidence["measured"] >= 35
    assert assessment.reaches["upstream_km"].isna().all()
    said = [notice for notice in assessment.notices if "direction of flow is unknown" in notice.problem]
    assert len(said) == 1


MILL_RIVER = """\
[survey]
about = "Counts: M. Pratt, Smith College. The line layer is drawn by hand for this test."
[tables]
sites = "sites.csv"
samples = "samples.csv"
counts = "counts.csv"
[layers]
reaches = "line.geojson"
"""


def degrees(text: str) -> tuple[float, float]:
    """Read a position written as degrees, minutes, seconds north and west."""
    numbers = [int(number) for number in re.findall(r"\d+", text)]
    north, west = numbers[:3], numbers[3:6]
    return -(west[0] + west[1] / 60 + west[2] / 3600), north[0] + north[1] / 60 + north[2] / 3600


@pytest.fixture(scope="module")
def mill_river(opendata: Path, tmp_path_factory: pytest.TempPathFactory) -> Assessment:
    """Place counts above and below a pond (M. Pratt, Smith College, 2024) on two hand-drawn reaches."""
    folder = tmp_path_factory.mktemp("mill")
    source = opendata / "benthic" / "mill_river"
    upper = degrees("42degrees19'09\"N  72degrees39'17\"W")
    lower = degrees("42degrees18'53\"N  72degrees38'27\"W")
    pd.DataFrame(
        {
            "site_id": ["Upstream", "Downstream"],
            "longitude": [upper[0], lower[0]],
            "latitude": [upper[1], lower[1]],
        }
    ).to_csv(folder / "sites.csv", index=False)
    middle = ((upper[0] + lower[0]) / 2, (upper[1] + lower[1]) / 2)
    parts = {
        "1": ["2", (upper[0] - 0.01, upper[1] + 0.01), upper, middle],
        "2": ["", middle, lower, (lower[0] + 0.01, lower[1])],
    }
    features = [
        {
            "type": "Feature",
            "properties": {"reach_id": name, "downstream_id": down},
            "geometry": {"type": "LineString", "coordinates": [list(point) for point in points]},
        }
        for name, (down, *points) in parts.items()
    ]
    gpd.GeoDataFrame.from_features(features, crs="EPSG:4326").to_file(folder / "line.geojson")
    macros = pd.read_csv(source / "macros.csv")
    samples = macros.drop_duplicates("sampleID").rename(
        columns={"sampleID": "sample_id", "location": "site_id"}
    )
    samples[["sample_id", "site_id", "date"]].to_csv(folder / "samples.csv", index=False)
    counts = macros.rename(columns={"sampleID": "sample_id", "scientificName": "taxon", "number": "count"})
    counts[["sample_id", "taxon", "count"]].to_csv(folder / "counts.csv", index=False)
    (folder / "survey.toml").write_text(MILL_RIVER)
    return assess(folder)


def test_real_counts_with_zeros_and_repeats_are_scored(mill_river: Assessment, opendata: Path) -> None:
    macros = pd.read_csv(opendata / "benthic" / "mill_river" / "macros.csv")
    assert len(mill_river.samples) == 325
    assert mill_river.samples["total_individuals"].sum() == macros["number"].sum()
    richness = macros[macros["number"] > 0].groupby("sampleID")["scientificName"].nunique()
    samples = mill_river.samples.set_index("sample_id")
    ours = samples["taxa_recorded"]
    # Synonyms merge and stages share a name, so ours may be lower, never higher.
    assert (ours.reindex(richness.index) <= richness).all()
    assert (ours.reindex(richness.index) == richness).mean() > 0.9
    # An unresolved parent beside its child is no taxon of its own.
    assert (samples["taxa_richness"] <= samples["taxa_recorded"]).all()
    assert samples["taxa_richness"].mean() < samples["taxa_recorded"].mean()


def test_repeats_of_a_taxon_in_a_sample_are_noticed(mill_river: Assessment) -> None:
    repeats = [notice for notice in mill_river.notices if "stands in the same sample" in notice.problem]
    assert len(repeats) >= 100


def test_both_sites_are_placed_and_have_a_trend_or_say_why_not(mill_river: Assessment) -> None:
    assert mill_river.sites["reach_id"].tolist() == ["1", "2"]
    assert mill_river.sites["trend"].notna().all()
    assert mill_river.sites["n_years"].tolist() == [6, 6]


def test_richness_slopes_have_the_signs_of_the_published_ones(opendata: Path) -> None:
    """Haase et al. 2023, Nature, doi 10.1038/s41586-023-06400-1: slopes of taxon richness, study UK_2."""
    source = opendata / "benthic" / "uk_383"
    counts = pd.read_csv(source / "counts.csv").rename(columns={"abundance": "count"})
    published = pd.read_csv(source / "trends_published.csv").set_index("site_id")["spp_richness"]
    metrics = compute_metrics(counts[["sample_id", "taxon", "count"]], resolve(counts["taxon"]))
    samples = counts.drop_duplicates("sample_id").set_index("sample_id")
    yearly = (
        samples[["site_id", "year"]].join(metrics["taxa_richness"]).rename(columns={"taxa_richness": "score"})
    )
    trends = trends_by(yearly.reset_index(drop=True), "site_id", better="high")
    both = trends.join(published, how="inner").query("slope_per_year != 0")
    assert len(both) >= 19  # of 25 sites; the others have a median slope of exactly zero
    agree = np.sign(both["slope_per_year"]) == np.sign(both["spp_richness"])
    # They adjust for the day of sampling and autocorrelation, so flat series may differ in sign.
    assert agree.mean() >= 0.8
    clear = both[both["p_value"] < 0.1]
    assert (np.sign(clear["slope_per_year"]) == np.sign(clear["spp_richness"])).all()
