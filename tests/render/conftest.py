"""A small invented assessment, with text that tries to run and values that are missing."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, Point, Polygon

from watershedmap.errors import Fault

if TYPE_CHECKING:
    from pathlib import Path

SCRIPT = "<img src=x onerror=alert(1)>"
FORMULA = "=cmd|' /C calc'!A0"
NAN = np.nan


@dataclass(frozen=True, slots=True)
class FakeSettings:
    """Stands in for the settings of a survey."""

    title: str = f"Invented survey {SCRIPT}"
    about: str = "Invented data."

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON types, not sorted."""
        return {"title": self.title, "about": self.about, "options": {"recent_years": 3, "methods": ["kick"]}}


@dataclass(frozen=True, slots=True)
class FakeIndex:
    """Stands in for an index."""

    name: str = "family_biotic_index"
    better: str = "low"
    decimals: int = 2


@dataclass(frozen=True, slots=True)
class FakeSurvey:
    """Stands in for a survey; its folder holds real files."""

    folder: Path
    inputs: tuple[Path, ...]
    findings: gpd.GeoDataFrame
    settings: FakeSettings = field(default_factory=FakeSettings)


@dataclass(frozen=True, slots=True)
class FakeInference:
    """Stands in for what hiding sites has shown."""

    table: pd.DataFrame


@dataclass(frozen=True, slots=True)
class FakeAssessment:
    """Stands in for an assessment, with the frames that renderers read."""

    survey: FakeSurvey
    index: FakeIndex
    as_of_year: int
    samples: pd.DataFrame
    checks: pd.DataFrame
    yearly: pd.DataFrame
    sites: gpd.GeoDataFrame
    reaches: gpd.GeoDataFrame
    subwatersheds: gpd.GeoDataFrame | None
    steps: gpd.GeoDataFrame
    combined_trends: pd.DataFrame
    inference: FakeInference
    taxa: pd.DataFrame | None
    notices: tuple[Fault, ...]


def _samples() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "sample_id": ["A1", "A2"],
            "site_id": ["S1", "S1"],
            "date": pd.to_datetime(["2021-05-03", "2023-05-09"]),
            "year": [2021, 2023],
            "method": ["kick", FORMULA],
            "replicate": ["", "1"],
            "total_individuals": [120, 0],
            "taxa_richness": [14, 0],
            "ept_richness": [7, 0],
            "percent_ept": [51.666666, NAN],
            "percent_dominant": [20.0, NAN],
            "dominant_taxon": ["Baetidae", None],
            "shannon_diversity": [2.12345, NAN],
            "scored_individuals": [118, 0],
            "individuals_without_tolerance": [2, 0],
            "unknown_individuals": [0, 0],
            "score": [4.255, NAN],  # stored as 4.25499999...; the half goes up all the same
            "class": ["Good", None],
            "flags": ["", "no individuals"],
            "used": [True, False],
        }
    )


def _sites() -> gpd.GeoDataFrame:
    frame = pd.DataFrame(
        {
            # not in the order of the tables, on purpose
            "notes": ["+1 riffle", None],
            "site_id": ["S1", "S2"],
            "name": [SCRIPT, FORMULA],
            "longitude": [10.0000004, 10.02],
            "latitude": [50.0, 50.01],
            "reach_id": ["R1", None],
            "offset_m": [3.26, NAN],
            "position_m": [512.04, NAN],
            "snapped_longitude": [10.00001, NAN],
            "snapped_latitude": [50.0, NAN],
            "placement": ["nearest", "none"],
            "ambiguity": ["tributary mouth", ""],
            "candidates": [FORMULA, ""],
            "subwatershed_id": ["W1", None],
            "n_samples": pd.array([2, 0], dtype="Int64"),
            "n_years": pd.array([2, 0], dtype="Int64"),
            "first_year": pd.array([2021, None], dtype="Int64"),
            "last_year": pd.array([2023, None], dtype="Int64"),
            "current": [True, False],
            "score": [4.2549, NAN],
            "score_low": [NAN, NAN],
            "score_high": [NAN, NAN],
            "class": ["Good", None],
            "class_low": [None, None],
            "class_high": [None, None],
            "trend": ["too few years", None],
            "slope_per_year": [NAN, NAN],
            "slope_low": [NAN, NAN],
            "slope_high": [NAN, NAN],
            "intercept": [NAN, NAN],
            "p_value": [NAN, NAN],
            "trend_years": [2, 0],
            "trend_method": ["none", None],
        }
    )
    return gpd.GeoDataFrame(frame, geometry=[Point(10.0, 50.0), Point(10.02, 50.01)], crs="EPSG:4326")


def _reaches() -> gpd.GeoDataFrame:
    frame = pd.DataFrame(
        {
            "reach_id": ["R1", "R2", "R3"],
            "name": [SCRIPT, "", "Größe"],
            "downstream_id": ["R2", None, "R2"],
            "length_km": [1.23456, 2.0, 0.5],
            "strahler_order": pd.array([1, 2, None], dtype="Int64"),
            "subwatershed_id": ["W1", "W1", None],
            "evidence": ["measured", "inferred", "unassessed"],
            "score": [4.25, 4.5, NAN],
            "score_low": [NAN, 4.1, NAN],
            "score_high": [NAN, 4.9, NAN],
            "class": ["Good", "Good", None],
            "n_sites": [1, 0, 0],
            "site_ids": ["S1", "", ""],
            "inferred_from": ["", "S1", ""],
            "inferred_km": [NAN, 0.7, NAN],
            "trend": ["too few years", None, None],
            "slope_per_year": [NAN, NAN, NAN],
            "p_value": [NAN, NAN, NAN],
            "trend_years": [2, 0, 0],
            "site_upstream": [None, "S1", None],
            "site_upstream_km": [NAN, 0.7, NAN],
            "site_downstream": [None, None, None],
            "site_downstream_km": [NAN, NAN, NAN],
            "upstream_km": [1.23456, 3.73456, 0.5],
            "upstream_assessed_km": [1.23456, 3.23456, 0.0],
            "upstream_score": [4.25, 4.4, NAN],
            "upstream_sites": [1.0, 1.5, 0.0],
            "upstream_km_1": [1.23456, 3.23456, 0.0],
            "upstream_km_unassessed": [0.0, 0.5, 0.5],
        }
    )
    lines = [
        LineString([(10, 50), (10.01, 50)]),
        LineString([(10.01, 50), (10.03, 50)]),
        LineString([(10.01, 50.01, 7.5), (10.01, 50, 7.0)]),
    ]
    return gpd.GeoDataFrame(frame, geometry=lines, crs="EPSG:4326")


def _subwatersheds() -> gpd.GeoDataFrame:
    frame = pd.DataFrame(
        {
            "subwatershed_id": ["W1", "W2"],
            "name": ["Upper", "@Lower"],
            "area_km2": [5.0, 7.12345],
            "stream_km": [3.23456, 0.0],
            "assessed_km": [3.23456, 0.0],
            "measured_km": [1.23456, 0.0],
            "assessed_share": [1.0, NAN],
            "score": [4.4, NAN],
            "class": ["Good", None],
            "n_sites": [1, 0],
        }
    )
    shapes = [
        Polygon([(9.9, 49.9), (10.02, 49.9), (10.02, 50.1), (9.9, 50.1)]),
        Polygon([(10.02, 49.9), (10.1, 49.9), (10.1, 50.1), (10.02, 50.1)]),
    ]
    return gpd.GeoDataFrame(frame, geometry=shapes, crs="EPSG:4326")


def _taxa() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "taxon": ["Baetidae", ""],
            "rank": ["family", ""],
            "family": ["Baetidae", ""],
            "order": ["Ephemeroptera", ""],
            "group": ["Insecta", ""],
            "ept": [True, False],
            "tolerance": [4.0, NAN],
            "tolerance_source": ["invented", ""],
            "known": [True, False],
            "suggestions": ["", "Baetidae"],
        },
        index=pd.Index(["Baetidae", "-Baetidea"]),
    )


def _steps() -> gpd.GeoDataFrame:
    """Give two steps, one of them without a line."""
    columns = {
        "site_upstream": ["S1", FORMULA],
        "site_downstream": ["S2", "S1"],
        "step_estimate": [1.005, NAN],
        "p_adjusted": [0.03125, NAN],
        "step": ["worse downstream", "too few pairs"],
        "tributaries": [FORMULA, ""],
        "larger_joins": [False, True],
    }
    return gpd.GeoDataFrame(columns, geometry=[LineString([(0, 0), (0, 1)]), None], crs="EPSG:4326")


def _findings() -> gpd.GeoDataFrame:
    """Give two findings, one of them without a place."""
    columns = {
        "finding": ["near miss", "outlet"],
        "severity": "notice",
        "ids": [FORMULA, "R1"],
        "note": [SCRIPT, "n"],
        "fix": "f",
    }
    return gpd.GeoDataFrame(columns, geometry=[Point(0, 1), None], crs="EPSG:4326")


@pytest.fixture
def small_assessment(tmp_path: Path) -> FakeAssessment:
    """Two sites, three reaches, two sub-watersheds, in a survey folder with two inputs and one beside it."""
    folder = tmp_path / "place" / "survey"
    folder.mkdir(parents=True)
    (folder / "survey.toml").write_text("title = 'invented'\n", encoding="utf-8")
    (folder / "sites.csv").write_text("site_id\nS1\n", encoding="utf-8")
    (folder.parent / "streams.gpkg").write_bytes(b"invented")
    inputs = (folder / "survey.toml", folder / "sites.csv", folder / ".." / "streams.gpkg")
    return FakeAssessment(
        survey=FakeSurvey(folder=folder, inputs=inputs, findings=_findings()),
        index=FakeIndex(),
        as_of_year=2023,
        samples=_samples(),
        checks=pd.DataFrame({"check": ["no_score"], "sample_id": ["A2"], "flag": [FORMULA]}),
        yearly=pd.DataFrame({"site_id": ["S1"], "year": [2021], "score": [4.255], "n_samples": [1]}),
        sites=_sites(),
        reaches=_reaches(),
        subwatersheds=_subwatersheds(),
        steps=_steps(),
        combined_trends=pd.DataFrame({"kind": ["sub-watershed"], "group": [SCRIPT], "p_value": [NAN]}),
        inference=FakeInference(pd.DataFrame({"method": ["plain mean"], "n_sites": [0], "bias": [NAN]})),
        taxa=_taxa(),
        notices=(
            Fault("counts.csv", 3, "taxon", "-Baetidea", "no table knows this name", "Baetidae?", "notice"),
            Fault("sites.csv", None, "", FORMULA, f"odd name {SCRIPT}", "", "notice"),
        ),
    )
