"""Condition of a reach: measured, inferred along the flow, or unassessed, each told from the others."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from scipy import stats
from shapely.geometry import LineString

from watershedmap.condition.reaches import assess_reaches, combine_series
from watershedmap.condition.upstream import find_nearest_sites, find_neighbours, summarise_upstream
from watershedmap.network.topology import Network, build_network
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX
from watershedmap.settings import Options

# Two headwaters a and b meet in c, which flows on in d and e; each about 2.2 km long.
NODES = {
    "a": ((0.0, 0.06), (0.01, 0.04)),
    "b": ((0.02, 0.06), (0.01, 0.04)),
    "c": ((0.01, 0.04), (0.01, 0.02)),
}
NODES |= {"d": ((0.01, 0.02), (0.01, 0.0)), "e": ((0.01, 0.0), (0.01, -0.02))}
DOWN = {"a": "c", "b": "c", "c": "d", "d": "e", "e": None}
A, B, C, D, E = range(5)


@pytest.fixture
def network() -> Network:
    frame = gpd.GeoDataFrame(
        {"reach_id": list(NODES), "downstream_id": list(DOWN.values())},
        geometry=[LineString(ends) for ends in NODES.values()],
        crs="EPSG:4326",
    )
    built, faults = build_network(frame)
    assert faults == []
    return built


def sites(*rows: tuple[str, int, float, float], current: bool = True) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["site_id", "reach", "position_m", "score"])
    return frame.assign(
        current=current, n_samples=1, score_low=frame["score"] - 0.3, score_high=frame["score"] + 0.3
    )


def test_a_site_makes_its_reach_measured_with_its_interval(network: Network) -> None:
    result = assess_reaches(network, sites(("S", C, 100, 4.0)), options=Options(influence_km=0))
    assert result["evidence"].tolist() == ["unassessed"] * 2 + ["measured"] + ["unassessed"] * 2
    assert result.loc[C, ["score", "score_low", "score_high"]].tolist() == pytest.approx([4.0, 3.7, 4.3])
    assert result["score"].isna().tolist() == [True, True, False, True, True]


def test_several_sites_are_averaged_and_the_interval_shrinks_as_errors_are_independent(
    network: Network,
) -> None:
    result = assess_reaches(network, sites(("S", C, 100, 4.0), ("T", C, 900, 6.0)), options=Options())
    assert result.loc[C, "score"] == pytest.approx(5.0)
    assert result.loc[C, "score_high"] - 5.0 == pytest.approx(0.3 / np.sqrt(2))
    assert result.loc[C, "site_ids"] == "T; S"  # from the upper end down


def test_one_site_without_an_interval_leaves_the_interval_of_the_reach_unknown(network: Network) -> None:
    frame = sites(("S", C, 100, 4.0), ("T", C, 900, 6.0))
    frame.loc[1, ["score_low", "score_high"]] = np.nan
    result = assess_reaches(network, frame, options=Options())
    assert result.loc[C, ["score_low", "score_high"]].isna().all()


def test_an_inferred_reach_has_no_interval_and_names_its_sites(network: Network) -> None:
    result = assess_reaches(network, sites(("S", C, 100, 4.0)), options=Options())
    assert result.loc[D, ["evidence", "inferred_from"]].tolist() == ["inferred", "S"]
    assert result.loc[D, ["score_low", "score_high"]].isna().all()
    half = network.length_km[D] / 2
    assert result.loc[D, "inferred_km"] == pytest.approx(0.1 + half, rel=1e-3)


def test_weights_halve_with_distance_and_fall_with_the_ratio_of_sizes(network: Network) -> None:
    frame = sites(("S", C, 100, 4.0), ("T", E, 2000, 7.0))
    result = assess_reaches(network, frame, options=Options(half_distance_km=2.0))
    length = network.length_km
    size = {"c": length[:3].sum(), "d": length[:4].sum(), "e": length.sum()}
    above, below = 0.1 + length[D] / 2, length[D] / 2 + length[E] - 2.0
    first = 2 ** (-above / 2) * np.sqrt(size["c"] / size["d"])
    second = 2 ** (-below / 2) * np.sqrt(size["d"] / size["e"])
    assert result.loc[D, "score"] == pytest.approx((4 * first + 7 * second) / (first + second), rel=1e-9)


def test_a_sampled_reach_hides_what_lies_behind_it(network: Network) -> None:
    result = assess_reaches(network, sites(("S", A, 100, 2.0), ("T", C, 100, 6.0)), options=Options())
    assert result.loc[D, "inferred_from"] == "T"
    assert result.loc[D, "score"] == pytest.approx(6.0)


def test_nothing_is_inferred_across_a_confluence_from_branch_to_branch(network: Network) -> None:
    result = assess_reaches(network, sites(("S", A, 100, 2.0)), options=Options())
    assert result.loc[B, "evidence"] == "unassessed"
    assert result.loc[[C, D, E], "evidence"].tolist() == ["inferred"] * 3


def test_inference_stops_at_the_reach_of_influence_and_at_unlike_size(network: Network) -> None:
    near = assess_reaches(network, sites(("S", A, 100, 2.0)), options=Options(influence_km=2))
    assert near["evidence"].tolist() == ["measured", "unassessed", "inferred", "unassessed", "unassessed"]
    alike = assess_reaches(network, sites(("S", E, 2000, 2.0)), options=Options(min_size_ratio=0.5))
    assert alike["evidence"].tolist() == ["unassessed", "unassessed", "inferred", "inferred", "measured"]


def test_a_site_that_is_not_current_says_nothing_of_its_reach(network: Network) -> None:
    result = assess_reaches(network, sites(("S", C, 100, 4.0), current=False), options=Options())
    assert (result["evidence"] == "unassessed").all()
    assert result["score"].isna().all()


def test_without_sites_everything_is_unassessed(network: Network) -> None:
    result = assess_reaches(network, sites(), options=Options())
    assert (result["evidence"] == "unassessed").all()


def series_of(rows: list[tuple[str, int, float]], *reaches: int) -> pd.DataFrame:
    yearly = pd.DataFrame(rows, columns=["site_id", "year", "score"])
    ids = sorted(set(yearly["site_id"]))
    return combine_series(yearly, pd.DataFrame({"site_id": ids, "reach": reaches}))


def test_a_single_site_is_the_series_of_its_reach() -> None:
    rows = [("S", 2020, 4.0), ("S", 2022, 5.0)]
    assert series_of(rows, 7).to_dict("list") == {"reach": [7, 7], "year": [2020, 2022], "score": [4.0, 5.0]}


def test_a_site_that_joins_late_adds_no_step_and_takes_no_trend_away() -> None:
    falling = [("S", year, 8.0 - 0.5 * year) for year in range(6)]
    lower = [("T", year, 4.0 - 0.5 * year) for year in range(3, 8)]
    series = series_of([*falling, *lower], 0, 0)
    assert series["year"].tolist() == list(range(8))
    assert np.diff(series["score"]).tolist() == pytest.approx([-0.5] * 7)
    assert series["score"].iloc[0] == pytest.approx((8.0 + 4.0) / 2)


def test_sites_without_a_common_year_leave_the_longest_series() -> None:
    first = [("S", year, 5.8 - 0.2 * year) for year in range(5)]
    second = [("T", year, 9.0) for year in range(5, 8)]
    series = series_of([*first, *second], 0, 0)
    assert series["year"].tolist() == list(range(5))
    assert series["score"].tolist() == pytest.approx([5.8, 5.6, 5.4, 5.2, 5.0])


def test_the_neighbours_of_a_site_are_measured_from_the_site_itself(network: Network) -> None:
    frame = sites(("P", C, 84.0, 3.0), ("Q", C, 10.0, 3.0), ("U", A, 100.0, 3.0), ("X", -1, np.nan, 3.0))
    found = find_neighbours(network, frame)
    length = network.length_km
    assert found.loc[0, ["site_upstream", "site_downstream"]].tolist() == ["U", "Q"]
    assert found.loc[0, "site_upstream_km"] == pytest.approx(length[C] - 0.084 + 0.1)
    assert found.loc[0, "site_downstream_km"] == pytest.approx(0.074)
    assert found.loc[1, ["site_upstream", "site_upstream_km"]].tolist() == ["P", pytest.approx(0.074)]
    assert found.loc[2, "site_downstream"] == "P"
    assert found.loc[2, "site_downstream_km"] == pytest.approx(0.1 + length[C] - 0.084)
    assert found.loc[3].isna().all()
    assert pd.isna(found.loc[1, "site_downstream"])


def test_a_very_short_half_distance_leaves_the_nearest_site_in_charge(network: Network) -> None:
    frame = sites(("S", C, 100, 4.0), ("T", E, 2000, 7.0))
    result = assess_reaches(network, frame, options=Options(half_distance_km=1e-4))
    assert result.loc[D, "evidence"] == "inferred"
    assert result.loc[D, "score"] == pytest.approx(4.0)


def test_the_upstream_summary_weighs_by_length_and_counts_the_unassessed(network: Network) -> None:
    score = pd.Series([2.0, np.nan, 6.0, np.nan, np.nan])
    summary = summarise_upstream(
        network,
        score,
        class_rank=pd.Series([0, np.nan, 1, np.nan, np.nan]),
        n_classes=2,
        n_sites=np.array([1, 0, 2, 0, 0]),
    )
    length = network.length_km
    assert summary.loc[E, "upstream_km"] == pytest.approx(length.sum())
    assert summary.loc[E, "upstream_score"] == pytest.approx(np.average([2, 6], weights=length[[A, C]]))
    assert summary.loc[E, ["upstream_km_1", "upstream_km_2"]].tolist() == pytest.approx(
        length[[A, C]].tolist()
    )
    assert summary.loc[E, "upstream_km_unassessed"] == pytest.approx(length[[B, D, E]].sum())
    assert summary["upstream_sites"].tolist() == [1, 0, 3, 3, 3]
    assert np.isnan(summary.loc[B, "upstream_score"])


def test_the_nearest_sites_are_measured_from_the_ends_of_a_reach(network: Network) -> None:
    found = find_nearest_sites(network, sites(("S", A, 500, 2.0), ("T", E, 200, 4.0)))
    length = network.length_km
    assert found.loc[C, ["site_upstream", "site_downstream"]].tolist() == ["S", "T"]
    assert found.loc[C, "site_upstream_km"] == pytest.approx(0.5)
    assert found.loc[C, "site_downstream_km"] == pytest.approx(length[D] + length[E] - 0.2)
    assert pd.isna(found.loc[B, "site_upstream"])
    assert pd.isna(found.loc[E, "site_downstream"])  # its own site is not its neighbour


def test_a_measured_reach_has_the_interval_and_class_probabilities_of_its_sites(network: Network) -> None:
    frame = sites(("S", C, 100, 4.0), ("T", C, 900, 4.4), ("U", A, 100, 3.0)).assign(
        score_se=[0.3, 0.1, 0.2], score_df=[2.0, np.nan, 1.0]
    )
    result = assess_reaches(network, frame, options=Options(), index=FAMILY_BIOTIC_INDEX)
    error = np.sqrt(0.3**2 + 0.1**2) / 2
    freedom = (0.3**2 + 0.1**2) ** 2 / (0.3**4 / 2)
    assert result.loc[C, ["score_se", "score_df"]].tolist() == pytest.approx([error, freedom])
    half = stats.t.ppf(0.95, freedom) * error
    assert result.loc[C, ["score_low", "score_high"]].tolist() == pytest.approx([4.2 - half, 4.2 + half])
    assert result.loc[A, "score_high"] - 3.0 == pytest.approx(stats.t.ppf(0.95, 1) * 0.2)
    assert result.loc[[A, C]].filter(like="probability_").sum(axis=1).tolist() == pytest.approx([1, 1])
    inside = stats.t.cdf((4.255 - 4.2) / error, freedom) - stats.t.cdf((3.755 - 4.2) / error, freedom)
    assert result.loc[C, "class_certainty"] == pytest.approx(inside)


def test_an_inferred_reach_has_no_class_probabilities(network: Network) -> None:
    result = assess_reaches(network, sites(("S", C, 100, 4.0)), options=Options(), index=FAMILY_BIOTIC_INDEX)
    assert result.loc[D, "evidence"] == "inferred"
    assert result.loc[D].filter(like="probability_").isna().all()
    assert np.isnan(result.loc[D, "class_certainty"])
