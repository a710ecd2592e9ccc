"""Condition by period is the mean of the years of each period, counted back from the last."""

from __future__ import annotations

import pandas as pd
import pytest

from watershedmap.condition.periods import average_periods, average_site_periods
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX

SITES = pd.DataFrame({"site_id": ["A", "B", "C"], "reach_id": ["r1", "r1", None]})


def average(rows: list[tuple[str, int, float]], *, years: int = 3, as_of_year: int = 2025) -> pd.DataFrame:
    yearly = pd.DataFrame(rows, columns=["site_id", "year", "score"])
    return average_periods(yearly, SITES, as_of_year=as_of_year, years=years, index=FAMILY_BIOTIC_INDEX)


def test_periods_are_counted_back_from_the_last_year() -> None:
    frame = average([("A", year, 4.0) for year in range(2018, 2026)])
    assert frame[["first_year", "last_year"]].to_numpy().tolist() == [
        [2018, 2019],
        [2020, 2022],
        [2023, 2025],
    ]


def test_a_site_with_many_years_weighs_no_more_than_one_with_a_single_year() -> None:
    frame = average([("A", 2023, 2.0), ("A", 2024, 3.0), ("A", 2025, 4.0), ("B", 2025, 7.0)])
    row = frame.iloc[0]
    assert row["score"] == pytest.approx(5.0)
    assert (row["n_sites"], row["n_years"], row["class"]) == (2, 3, "Good")


def test_a_reach_without_a_scored_site_in_a_period_has_no_row() -> None:
    frame = average([("A", 2019, 4.0), ("C", 2024, 4.0), ("B", 2025, float("nan"))])
    assert frame["last_year"].tolist() == [2019]


def test_years_after_the_stated_one_are_not_used() -> None:
    assert average([("A", 2026, 4.0)]).empty
    assert average([("A", 2025, 4.0), ("A", 2026, 9.0)])["score"].tolist() == [4.0]


def test_no_score_at_all_makes_an_empty_frame() -> None:
    assert average([]).empty


def test_a_period_has_at_least_one_year() -> None:
    with pytest.raises(ValueError, match="at least one year"):
        average([("A", 2025, 4.0)], years=0)


def test_a_site_on_no_reach_has_its_mean_by_period_too() -> None:
    rows = [
        ("C", 2019, 4.0),
        ("C", 2024, 4.0),
        ("C", 2025, 7.0),
        ("A", 2025, 4.25),
        ("B", 2025, float("nan")),
    ]
    yearly = pd.DataFrame(rows, columns=["site_id", "year", "score"])
    frame = average_site_periods(yearly, as_of_year=2025, years=3, index=FAMILY_BIOTIC_INDEX)
    assert frame.to_numpy().tolist() == [
        [2019, 2019, "C", 4.0, "Very good", 1],
        [2023, 2025, "A", 4.25, "Very good", 1],
        [2023, 2025, "C", 5.5, "Fair", 2],
    ]


def test_a_reach_with_one_site_has_the_score_of_that_site_in_each_period() -> None:
    rows = [("A", year, 3.0 + 0.37 * (year - 2016)) for year in range(2016, 2026)]
    yearly = pd.DataFrame(rows, columns=["site_id", "year", "score"])
    options = {"as_of_year": 2025, "years": 4, "index": FAMILY_BIOTIC_INDEX}
    shared = ["first_year", "last_year", "score", "class", "n_years"]
    pd.testing.assert_frame_equal(
        average_site_periods(yearly, **options)[shared], average_periods(yearly, SITES, **options)[shared]
    )


def test_no_score_at_all_makes_an_empty_frame_of_sites() -> None:
    yearly = pd.DataFrame([("A", 2026, 4.0)], columns=["site_id", "year", "score"])
    assert average_site_periods(yearly, as_of_year=2025, years=3, index=FAMILY_BIOTIC_INDEX).empty
