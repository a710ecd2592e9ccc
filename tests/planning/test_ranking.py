"""The order of restoration need: arithmetic, ties, ranges, and the story of the demo."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from watershedmap.assessment import Assessment, assess
from watershedmap.errors import SurveyError
from watershedmap.planning.ranking import (
    RANKED,
    UNASSESSED,
    Ranking,
    _draw_scores,
    rank_areas,
    rank_high_first,
    rank_reaches,
    share_weights,
)
from watershedmap.planning.ranking_parts import PARTS
from watershedmap.settings_rank import RankColumn, RankSettings, RankWeights

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="module")
def demo() -> Assessment:
    return assess(DEMO)


@pytest.fixture(scope="module")
def ranking(demo: Assessment) -> Ranking:
    return rank_reaches(demo)


def with_rank(assessment: Assessment, rank: RankSettings) -> Assessment:
    settings = replace(assessment.survey.settings, rank=rank)
    return replace(assessment, survey=replace(assessment.survey, settings=settings))


def only_ranked(ranking: Ranking) -> pd.DataFrame:
    return ranking.items[ranking.items["status"] == RANKED]


def test_the_town_comes_first_and_the_restored_creek_is_not_ranked(ranking: Ranking) -> None:
    ranked = only_ranked(ranking)
    assert ranked["reach_id"].iloc[0] in {"R077", "R009", "R010"}
    assert {"R077", "R009", "R010"} == set(ranked["reach_id"].iloc[:3])
    assert "Willow Creek" not in set(ranked["name"])


def test_the_sub_watershed_of_the_town_comes_first(demo: Assessment) -> None:
    assert only_ranked(rank_areas(demo))["subwatershed_id"].iloc[0] == "SW03"


def test_only_degraded_reaches_are_ranked_and_all_others_are_listed(
    demo: Assessment, ranking: Ranking
) -> None:
    items = ranking.items.sort_index()
    assert items["reach_id"].tolist() == demo.reaches["reach_id"].tolist()
    degraded = demo.reaches["class"].isin(["Fairly poor", "Poor", "Very poor"])
    assert (items["status"] == RANKED).tolist() == degraded.tolist()
    unassessed = items["status"] == UNASSESSED
    assert unassessed.tolist() == (demo.reaches["evidence"] == "unassessed").tolist()
    assert items.loc[items["status"] != RANKED, ["rank", "rank_low", "need"]].isna().all(axis=None)


def test_the_limit_is_a_class_that_settings_name(demo: Assessment) -> None:
    poor = rank_reaches(with_rank(demo, RankSettings(worse_than="Fairly poor")))
    assert set(only_ranked(poor)["class"]) == {"Poor", "Very poor"}


def test_a_class_that_the_index_does_not_have_is_a_fault(demo: Assessment) -> None:
    with pytest.raises(SurveyError, match="Awful"):
        rank_reaches(with_rank(demo, RankSettings(worse_than="Awful")))


def test_need_is_the_sum_of_what_is_shown(ranking: Ranking) -> None:
    for _, row in only_ranked(ranking).iterrows():
        known = [name for name in PARTS if not np.isnan(row[f"need_{name}"])]
        need = sum(row[f"need_{name}"] * row[f"weight_{name}"] for name in known)
        assert need == pytest.approx(row["need"], abs=0.00051)
        assert sum(row[f"weight_{name}"] for name in known) == pytest.approx(1.0)


def test_the_weight_of_a_missing_part_is_shared_in_the_ratio_of_the_others(ranking: Ranking) -> None:
    row = ranking.items.set_index("reach_id").loc["R077"]
    assert np.isnan(row["weight_step"])
    assert row["weight_missing"] == pytest.approx(ranking.weights["step"])
    assert row["weight_condition"] / row["weight_trend"] == pytest.approx(3.0)


def test_the_same_need_shares_a_rank_and_the_next_rank_is_left_out(ranking: Ranking) -> None:
    ranked = only_ranked(ranking)
    for _, row in ranked.iterrows():
        assert row["rank"] == 1 + (ranked["need"] > row["need"]).sum()
    tied = ranked[ranked["need"].duplicated(keep=False)]
    assert set(tied["reach_id"]) >= {"R072", "R073"}  # inferred from one site, with equal stream below


def test_ranks_of_equal_values_are_the_best_of_theirs() -> None:
    assert rank_high_first(np.array([0.2, 0.5, 0.5, np.nan, 0.9])).tolist() == [4, 2, 2, 5, 1]
    assert rank_high_first(np.zeros(0)).tolist() == []


def test_the_same_seed_gives_the_same_ranges_and_another_gives_others(
    demo: Assessment, ranking: Ranking
) -> None:
    pd.testing.assert_frame_equal(rank_reaches(demo).items, ranking.items)
    other = rank_reaches(with_rank(demo, RankSettings(seed=2)))
    assert not only_ranked(other)["share_top_ten"].equals(only_ranked(ranking)["share_top_ten"])


def test_ranges_lie_within_the_ranks_there_are(ranking: Ranking) -> None:
    ranked = only_ranked(ranking)
    assert (ranked["rank_low"] >= 1).all()
    assert (ranked["rank_low"] <= ranked["rank_high"]).all()
    assert (ranked["rank_high"] <= len(ranked)).all()
    assert ranked["share_top_ten"].between(0, 1).all()
    # Each draw gives the first ten ranks to ten items, or to a few more where some are tied.
    assert 10 <= ranked["share_top_ten"].sum() < 10.5


def test_ranges_close_where_weights_and_scores_hardly_vary(demo: Assessment, ranking: Ranking) -> None:
    exact = replace(demo, reaches=demo.reaches.assign(score_se=1e-9))
    firm = only_ranked(rank_reaches(with_rank(exact, RankSettings(concentration=1e9))))
    apart = ~firm["need"].round(2).duplicated(keep=False)
    assert (firm.loc[apart, "rank_low"] == firm.loc[apart, "rank_high"]).all()
    loose = only_ranked(ranking)
    assert ((loose["rank_high"] - loose["rank_low"]).mean()) > (firm["rank_high"] - firm["rank_low"]).mean()


def test_two_items_alike_but_for_their_own_errors_look_like_a_tie(ranking: Ranking) -> None:
    two = ranking.items.set_index("reach_id").loc[["R072", "R073"]]
    assert len(set(two["rank"])) == 1
    assert (two["rank_low"].diff().abs().iloc[1]) <= 1
    assert (two["rank_high"].diff().abs().iloc[1]) <= 1


def test_an_item_without_an_error_varies_by_weights_alone_and_says_so(demo: Assessment) -> None:
    reaches = demo.reaches.assign(
        score_se=demo.reaches["score_se"].mask(demo.reaches["reach_id"] == "R077"),
    )
    weights = RankWeights(**{name: 1.0 if name == "condition" else 0.0 for name in PARTS})
    settings = RankSettings(weights=weights)
    items = rank_reaches(with_rank(replace(demo, reaches=reaches), settings)).items.set_index("reach_id")
    assert not items.loc["R077", "score_varies"]
    assert items.loc["R010", "score_varies"]
    assert items.loc["R077", "rank"] == 1


def test_weights_vary_about_the_given_ones_as_the_dirichlet_distribution_does(
    demo: Assessment,
) -> None:
    """Mean s, variance s (1 - s) / (a + 1) for concentration a: a property of the distribution (from memory)."""
    share = np.array(list(share_weights(RankSettings()).values()))
    drawn = np.random.default_rng(1).dirichlet(20.0 * share, size=20_000)
    assert drawn.mean(axis=0) == pytest.approx(share, abs=0.003)
    assert drawn.std(axis=0) == pytest.approx(np.sqrt(share * (1 - share) / 21), rel=0.03)
    assert share.sum() == pytest.approx(1.0)
    assert rank_reaches(demo).draws == 1000


def test_drawn_scores_vary_as_students_t_does() -> None:
    """Variance d / (d - 2) for d degrees of freedom, 1 for a normal error: textbook values (from memory)."""
    items = pd.DataFrame(
        {"score": [5.0, 5.0, 5.0], "score_se": [1.0, 1.0, np.nan], "score_df": [10.0, np.nan, 3]}
    )
    drawn = _draw_scores(items, 200_000, np.random.default_rng(1))
    assert drawn.mean(axis=0) == pytest.approx([5.0, 5.0, 5.0], abs=0.01)
    assert drawn.var(axis=0) == pytest.approx([10 / 8, 1.0, 0.0], rel=0.02)


def test_a_part_of_no_weight_is_shown_and_changes_nothing(demo: Assessment, ranking: Ranking) -> None:
    column = RankColumn(name="cost", weight=0.0)
    values = pd.DataFrame({"cost": np.arange(float(len(demo.reaches)))})
    with_cost = rank_reaches(with_rank(demo, RankSettings(columns=(column,))), columns=values)
    assert with_cost.items["need"].equals(ranking.items["need"])
    assert only_ranked(with_cost)["need_cost"].notna().all()


def test_a_column_of_ones_own_can_turn_the_order(demo: Assessment) -> None:
    column = RankColumn(name="wanted", weight=1000.0)
    values = pd.DataFrame({"wanted": (demo.reaches["reach_id"] == "R008").astype(float)})
    turned = rank_reaches(with_rank(demo, RankSettings(columns=(column,))), columns=values)
    assert only_ranked(turned)["reach_id"].iloc[0] == "R008"
    areas = rank_areas(with_rank(demo, RankSettings(columns=(column,))), columns=values)
    assert "need_wanted" in areas.items


def test_sub_watersheds_cannot_be_ranked_without_a_layer_of_them(demo: Assessment) -> None:
    with pytest.raises(SurveyError, match="no sub-watersheds"):
        rank_areas(replace(demo, subwatersheds=None))


def test_nothing_degraded_gives_a_ranking_without_ranks(demo: Assessment) -> None:
    reaches = demo.reaches.assign(
        **{"class": demo.reaches["class"].where(demo.reaches["class"].isna(), "Good")}
    )
    none = rank_reaches(replace(demo, reaches=reaches))
    assert none.items["rank"].isna().all()
    assert len(none.items) == len(reaches)
