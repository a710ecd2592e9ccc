"""Condition of a sub-watershed: weighted by length, with the share that is assessed beside it."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from watershedmap.condition.subwatersheds import assess_subwatersheds, main_area

AREAS = gpd.GeoDataFrame(
    {"subwatershed_id": ["n", "s", "e"]},
    geometry=[box(0, 1, 1, 2), box(0, 0, 1, 1), box(1, 0, 2, 1)],
    crs="EPSG:4326",
)
SHARES = pd.DataFrame(
    {
        "reach": [0, 1, 1, 2],
        "area": [0, 0, 1, 1],
        "length_km": [3.0, 1.0, 2.0, 5.0],
        "share": [1, 1 / 3, 2 / 3, 1],
    }
)
REACHES = pd.DataFrame({"evidence": ["measured", "inferred", "unassessed"], "score": [2.0, 6.0, np.nan]})


def test_scores_are_weighted_by_the_length_that_lies_inside() -> None:
    result = assess_subwatersheds(AREAS, SHARES, REACHES, site_area=np.array([0, 0, -1]))
    assert result["score"].tolist()[:2] == pytest.approx([(3 * 2 + 1 * 6) / 4, 6.0])
    assert result["stream_km"].tolist() == [4, 7, 0]
    assert result["assessed_km"].tolist() == [4, 2, 0]
    assert result["measured_km"].tolist() == [3, 0, 0]
    assert result["n_sites"].tolist() == [2, 0, 0]


def test_without_assessed_stream_there_is_no_score_and_without_stream_no_share() -> None:
    unassessed = REACHES.assign(score=np.nan, evidence="unassessed")
    result = assess_subwatersheds(AREAS, SHARES, unassessed, site_area=np.array([], dtype=int))
    assert result["score"].isna().all()
    assert result["assessed_share"].tolist()[:2] == [0, 0]
    assert np.isnan(result["assessed_share"].iloc[2])


def test_a_reach_belongs_to_the_area_that_holds_most_of_it() -> None:
    result = main_area(SHARES, AREAS["subwatershed_id"], 4)
    assert result.tolist()[:3] == ["n", "s", "s"]
    assert pd.isna(result.iloc[3])
