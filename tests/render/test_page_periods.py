"""Rules of the periods that the map page offers: what was scored in each, and nothing else."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from page_reading import collect
from test_page import PLAIN, build_assessment

NAN = float("nan")


def build_periods(*, years: int = 3, **options: bool) -> SimpleNamespace:
    """Build a survey in which S01 was worse in 2016 and 2018, when S02 had no score; S03 was seen in 2012 only."""
    assessment = build_assessment(names=PLAIN, **options)
    assessment.survey.settings.options = SimpleNamespace(recent_years=years)
    yearly = assessment.yearly.copy()
    middle = yearly["year"].isin([2016, 2018])
    yearly.loc[middle & (yearly["site_id"] == "S01"), "score"] = [6.5, 7.0]
    yearly.loc[middle & (yearly["site_id"] == "S02"), "score"] = NAN
    assessment.yearly = yearly
    return assessment


def test_periods_stand_in_order_with_the_years_that_have_scores() -> None:
    periods = collect(build_periods())["periods"]
    assert [period["label"] for period in periods] == ["2012", "2013 to 2015", "2016 to 2018", "2019 to 2021"]
    assert [(period["first"], period["last"]) for period in periods] == [
        (2012, 2012),
        (2013, 2015),
        (2016, 2018),
        (2019, 2021),
    ]


def test_a_period_holds_the_means_and_classes_of_its_own_years() -> None:
    period = collect(build_periods())["periods"][2]
    assert period["sites"] == {"place": [0], "score": [6.75], "rank": [3], "nYears": [2]}
    assert period["reaches"] == {"place": [0], "score": [6.75], "rank": [3], "nYears": [2], "nSites": [1]}


def test_a_site_too_old_for_today_counts_in_its_own_period() -> None:
    period = collect(build_periods())["periods"][0]
    assert period["sites"]["place"] == [2]
    assert period["reaches"]["place"] == [3]
    assert period["reaches"]["rank"] == [4]


def test_a_score_and_its_class_never_contradict_each_other() -> None:
    assessment = build_periods()
    at = (assessment.yearly["year"] == 2016) & (assessment.yearly["site_id"] == "S01")
    assessment.yearly.loc[at, "score"] = (
        5.009  # with 7.0 a mean of 6.0045: shown as 6, the last value of its class
    )
    period = collect(assessment)["periods"][2]
    assert (period["sites"]["score"], period["sites"]["rank"]) == ([6], [2])


def test_sites_on_no_reach_have_periods_and_reaches_have_none() -> None:
    periods = collect(build_periods(placed=False))["periods"]
    assert [len(period["sites"]["place"]) for period in periods] == [1, 2, 1, 2]
    assert all(period["reaches"]["place"] == [] for period in periods)


@pytest.mark.parametrize("years", [10, 99])
def test_one_period_is_no_choice(years: int) -> None:
    assert collect(build_periods(years=years))["periods"] is None


def test_a_survey_without_scores_has_no_periods() -> None:
    assessment = build_periods()
    assessment.yearly = assessment.yearly.iloc[:0]
    assert collect(assessment)["periods"] is None
