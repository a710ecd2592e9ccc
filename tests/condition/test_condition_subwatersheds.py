"""Condition of a sub-watershed: weighted by length, with the share that is assessed beside it."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from scipy import stats
from shapely.geometry import box

from watershedmap.condition.subwatersheds import assess_subwatersheds, main_area
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX

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


def test_the_interval_covers_measured_stream_only() -> None:
    reaches = REACHES.assign(score_se=[0.2, np.nan, np.nan], score_df=np.nan)
    result = assess_subwatersheds(AREAS, SHARES, reaches, site_area=np.array([0]), index=FAMILY_BIOTIC_INDEX)
    half = stats.norm.ppf(0.95) * 0.2
    assert result.loc[0, ["measured_score", "measured_score_low", "measured_score_high"]].tolist() == (
        pytest.approx([2.0, 2.0 - half, 2.0 + half])
    )
    # An inferred reach is part of the score: its own error is not known.
    assert result.loc[0, ["score_low", "score_se", "class_certainty"]].isna().all()
    assert result.loc[1, ["measured_score", "score_low"]].isna().all()


def test_where_all_that_is_assessed_is_measured_errors_are_independent_and_weighted_by_length() -> None:
    reaches = pd.DataFrame(
        {
            "evidence": "measured",
            "score": [4.0, 5.0, np.nan],
            "score_se": [0.2, 0.4, np.nan],
            "score_df": np.nan,
        }
    )
    reaches.loc[2, "evidence"] = "unassessed"
    result = assess_subwatersheds(AREAS, SHARES, reaches, site_area=np.array([0]), index=FAMILY_BIOTIC_INDEX)
    error = np.hypot(0.75 * 0.2, 0.25 * 0.4)
    assert result.loc[0, ["score", "score_se"]].tolist() == pytest.approx([4.25, error])
    assert result.loc[0, "score_high"] - 4.25 == pytest.approx(stats.norm.ppf(0.95) * error)
    assert result.loc[[0, 1]].filter(regex="^probability_").sum(axis=1).tolist() == pytest.approx([1, 1])
    inside = stats.norm.cdf((4.255 - 4.25) / error) - stats.norm.cdf((3.755 - 4.25) / error)
    assert result.loc[0, "class_certainty"] == pytest.approx(inside)
    assert result.loc[2, ["measured_score", "score_se", "class_certainty"]].isna().all()


def test_one_measured_reach_without_an_interval_leaves_that_of_the_area_unknown() -> None:
    reaches = pd.DataFrame(
        {"evidence": "measured", "score": [4.0, 5.0, 6.0], "score_se": [0.2, np.nan, 0.1], "score_df": 2.0}
    )
    result = assess_subwatersheds(AREAS, SHARES, reaches, site_area=np.array([0]), index=FAMILY_BIOTIC_INDEX)
    assert result.loc[[0, 1], ["measured_score_low", "score_low", "probability_1"]].isna().all(axis=None)
    assert result.loc[0, "measured_score"] == pytest.approx(4.25)
