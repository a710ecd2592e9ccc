"""Next season's visits: on the demo and on the small survey."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

from watershedmap.assessment import assess
from watershedmap.errors import SurveyError
from watershedmap.planning.candidates import NEW, REVISIT, find_gaps, list_candidates
from watershedmap.planning.reasons import CAUTION, describe_plan
from watershedmap.planning.visits import DRAWN, FIXED, GAP, TREND, plan_visits
from watershedmap.settings_plan import PARTS, PlanSettings

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import SurveyFolder

    from watershedmap.assessment import Assessment

BRACKEN = {f"R{number}" for number in range(100, 115)}
"""Upper Bracken Creek: the branch of the demo without a site (demo_data/README.md)."""
PLAN = PlanSettings()


@pytest.fixture(scope="module")
def demo(demo_folder: Path) -> Assessment:
    return assess(demo_folder)


@pytest.mark.parametrize("visits", [6, 12, 20])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_demo_plan_closes_the_unsampled_branch_and_keeps_the_trend_sites(
    demo: Assessment, visits: int, seed: int
) -> None:
    plan = plan_visits(demo, replace(PLAN, seed=seed), visits=visits).visits
    assert len(plan) == visits
    assert {"S16", "S26"} <= set(plan.loc[plan["chosen"] == TREND, "site_id"])
    branch = plan[plan["reach_id"].isin(BRACKEN) & (plan["chosen"] == GAP)]
    assert branch["kind"].tolist() == [NEW]


def test_the_same_seed_gives_the_same_plan_and_another_seed_another(demo: Assessment) -> None:
    first, again = (plan_visits(demo, PLAN, visits=12).visits for _ in range(2))
    pd.testing.assert_frame_equal(first, again)
    other = plan_visits(demo, replace(PLAN, seed=5), visits=12).visits
    assert set(other["place_id"]) != set(first["place_id"])


def test_the_plan_of_the_demo_is_better_spread_than_a_random_draw(demo: Assessment) -> None:
    plans = [plan_visits(demo, replace(PLAN, seed=seed), visits=16) for seed in range(1, 7)]
    assert np.mean([plan.balance for plan in plans]) < np.mean([plan.random_balance for plan in plans])


def test_what_is_fixed_is_in_and_what_is_excluded_is_out(demo: Assessment) -> None:
    plan = replace(
        PLAN,
        fixed_sites=("S01", "S28"),
        excluded_sites=("S16",),
        excluded_reaches=("R124", *sorted(BRACKEN)),
    )
    visits = plan_visits(demo, plan, visits=12).visits
    assert set(visits.loc[visits["chosen"] == FIXED, "site_id"]) == {"S01", "S28"}
    assert not visits["site_id"].isin(["S16", "S26"]).any()  # S26 lies on R124
    assert not visits["reach_id"].isin(BRACKEN).any()


def test_no_place_is_visited_twice_and_every_visit_says_why(demo: Assessment) -> None:
    visits = plan_visits(demo, PLAN, visits=40).visits
    assert visits["place_id"].is_unique
    assert visits["reason"].str.len().gt(20).all()
    assert (visits["caution"] == CAUTION).all()
    assert (visits["visit"] == np.arange(1, 41)).all()
    assert visits["day"].is_monotonic_increasing
    assert visits["day"].value_counts().max() <= PLAN.sites_per_day


def test_more_visits_than_candidates_takes_each_once(demo: Assessment) -> None:
    plan = plan_visits(demo, PLAN, visits=1000)
    assert len(plan.visits) == plan.candidates
    assert plan.asked == 1000


def test_a_new_place_lies_on_its_reach(demo: Assessment) -> None:
    visits = plan_visits(demo, replace(PLAN, new_share=1.0), visits=20).visits
    new = visits[visits["kind"] == NEW]
    assert len(new) > 10
    lines = demo.reaches.set_index("reach_id").geometry
    from shapely import Point  # noqa: PLC0415 - only here

    for row in new.itertuples():
        assert lines[row.reach_id].distance(Point(row.longitude, row.latitude)) < 2e-6


def test_an_unknown_part_is_missing_and_its_weight_is_shared(demo: Assessment) -> None:
    candidates = list_candidates(demo, PLAN)
    assert candidates["part_reference"].isna().all()
    site = candidates.set_index("place_id").loc["S06"]
    known = [site[f"part_{name}"] for name in PARTS if name != "reference"]
    assert site["need"] == pytest.approx(np.mean(known))
    place = candidates[candidates["kind"] == NEW].iloc[0]
    assert np.isnan(place["part_trend"])
    assert "weight shared among the others: reference" in "\n".join(
        describe_plan(plan_visits(demo, PLAN, visits=8))
    )


def test_weights_decide_what_is_needed(demo: Assessment) -> None:
    only = replace(PLAN, trend=0, border=0, unsampled=0, step=0, reference=0)
    candidates = list_candidates(demo, only)
    sites = candidates[candidates["kind"] == REVISIT].set_index("site_id")
    assert sites["need"].idxmax() == "S28"  # not sampled since 2018
    assert sites.loc["S24", "need"] == pytest.approx(1 / 5)
    reference = list_candidates(demo, replace(PLAN, reference_sites=("S01",))).set_index("place_id")
    assert reference.loc["S01", "part_reference"] == 1
    assert reference.loc["S02", "part_reference"] == 0


def test_a_clear_step_gives_weight_to_its_sites_and_the_reaches_between(demo: Assessment) -> None:
    candidates = list_candidates(demo, PLAN).set_index("place_id")
    assert candidates.loc["S23", "part_step"] == 1  # the largest: S23 to S09
    assert candidates.loc["S09", "part_step"] == 1
    assert candidates.loc["new-R008", "part_step"] == 1
    assert candidates.loc["S18", "part_step"] == 0  # tested, and not clear
    assert np.isnan(candidates.loc["S28", "part_step"])  # too few pairs to test
    assert np.isnan(candidates.loc["new-R110", "part_step"])  # above all sites


def test_the_unsampled_branch_is_one_length(demo: Assessment) -> None:
    gaps, lengths = find_gaps(demo.reaches, demo.survey.network)
    ids = demo.reaches["reach_id"].to_numpy()
    within = set(gaps[np.isin(ids, list(BRACKEN))].tolist())
    assert len(within) == 1
    gap = within.pop()
    assert lengths[gap] == pytest.approx(demo.reaches["length_km"].to_numpy()[gaps == gap].sum())
    assert lengths[gap] == lengths.max()
    sampled = np.isin(ids, demo.sites.loc[demo.sites["current"], "reach_id"])
    assert (gaps[sampled] == -1).all()


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        ({"fixed_sites": ("S99",)}, "no such id"),
        ({"excluded_reaches": ("R999",)}, "no such id"),
        ({"fixed_sites": ("S01", "S02", "S03")}, "3 sites are fixed"),
        ({"fixed_sites": ("S26",), "excluded_reaches": ("R124",)}, "excluded reach"),
    ],
)
def test_settings_that_cannot_be_meant_are_faults(
    demo: Assessment, change: dict[str, tuple[str, ...]], problem: str
) -> None:
    with pytest.raises(SurveyError) as caught:
        plan_visits(demo, replace(PLAN, **change), visits=2)
    assert any(problem in fault.problem for fault in caught.value.faults)


def test_chances_say_how_often_a_place_is_drawn(demo: Assessment) -> None:
    plans = [
        plan_visits(demo, replace(PLAN, seed=seed, random_draws=1), visits=12).visits for seed in range(60)
    ]
    drawn = pd.concat(plans)
    chance = drawn.groupby("place_id")["chance"].first()
    often = drawn["place_id"].value_counts() / len(plans)
    for place in ("S06", "S09", "S07"):
        error = np.sqrt(chance[place] * (1 - chance[place]) / len(plans))
        assert abs(often[place] - chance[place]) < 4 * error
    assert (drawn.loc[drawn["chosen"] == DRAWN, "chance"] < 1).all()


def test_a_survey_without_flow_or_trends_gets_a_plan(survey_folder: SurveyFolder) -> None:
    text = (survey_folder.path / "survey.toml").read_text(encoding="utf-8")
    survey_folder.write("survey.toml", text + '[options]\ndirection = "unknown"\n')
    plan = plan_visits(assess(survey_folder.path), PLAN, visits=3)
    assert len(plan.visits) == 3
    assert plan.visits["more_years"].isna().all()
    assert plan.visits["part_step"].isna().all()
