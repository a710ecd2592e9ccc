"""Condition of a site: replicates, then visits, then recent years; one year has no interval."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from watershedmap.condition.sites import assess_sites, average_years
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX
from watershedmap.settings import Options


def samples(*rows: tuple[str, str, str, float]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["site_id", "date", "method", "score"])
    frame["date"] = pd.to_datetime(frame["date"])
    return frame.assign(year=frame["date"].dt.year)


def yearly(**series: dict[int, float]) -> pd.DataFrame:
    rows = [(site, year, score, 1) for site, scores in series.items() for year, score in scores.items()]
    return pd.DataFrame(rows, columns=["site_id", "year", "score", "n_samples"])


def assess(frame: pd.DataFrame, *, as_of_year: int = 2025, **options: int) -> pd.DataFrame:
    ids = pd.Series(sorted(set(frame["site_id"])))
    return assess_sites(ids, frame, options=Options(**options), as_of_year=as_of_year).set_index(ids)


def test_replicates_are_averaged_before_the_visits_of_a_year() -> None:
    result = average_years(
        samples(
            ("A", "2024-05-01", "kick seine", 2.0),
            ("A", "2024-05-01", "kick seine", 4.0),
            ("A", "2024-05-01", "kick seine", 6.0),
            ("A", "2024-09-01", "kick seine", 8.0),
        )
    )
    assert result["score"].tolist() == [6.0]  # (4 + 8) / 2, not 20 / 4
    assert result["n_samples"].tolist() == [4]


def test_a_sample_without_a_score_is_no_zero() -> None:
    result = average_years(samples(("A", "2024-05-01", "x", 4.0), ("A", "2024-09-01", "x", np.nan)))
    assert result.to_dict("records") == [{"site_id": "A", "year": 2024, "score": 4.0, "n_samples": 1}]


def test_condition_is_the_mean_of_the_recent_years_only() -> None:
    result = assess(yearly(A={2015: 9.0, 2023: 3.0, 2024: 4.0, 2025: 5.0}))
    assert result.loc["A", "score"] == pytest.approx(4.0)
    assert result.loc["A", ["n_years", "first_year", "last_year"]].tolist() == [4, 2015, 2025]


def test_recent_years_are_calendar_years_not_sampled_ones() -> None:
    assert assess(yearly(A={2019: 9.0, 2025: 5.0})).loc["A", "score"] == pytest.approx(5.0)


def test_the_interval_is_students_t_over_years() -> None:
    values = [3.0, 4.0, 5.5]
    result = assess(yearly(A=dict(zip((2023, 2024, 2025), values, strict=True))))
    low, high = stats.t.interval(0.90, 2, loc=np.mean(values), scale=stats.sem(values))
    assert result.loc["A", ["score_low", "score_high"]].tolist() == pytest.approx([low, high])


def test_one_year_has_a_score_and_no_interval() -> None:
    result = assess(yearly(A={2025: 4.0}))
    assert result.loc["A", "score"] == pytest.approx(4.0)
    assert result.loc["A", ["score_low", "score_high"]].isna().all()


def test_a_site_last_sampled_long_ago_keeps_its_score_but_is_not_current() -> None:
    result = assess(yearly(A={2019: 4.0}, B={2020: 4.0}), stale_after_years=5)
    assert result["score"].tolist() == [4.0, 4.0]
    assert result["current"].tolist() == [False, True]


def test_a_site_without_samples_is_unknown() -> None:
    result = assess_sites(pd.Series(["A"]), yearly(B={2025: 1.0}), options=Options(), as_of_year=2025)
    assert result["n_samples"].tolist() == [0]
    assert result[["score", "last_year"]].isna().all(axis=None)
    assert result["current"].tolist() == [False]


def test_the_interval_is_cut_at_the_ends_of_the_scale() -> None:
    frame = yearly(A={2024: 1.0, 2025: 4.0})
    result = assess_sites(pd.Series(["A"]), frame, options=Options(), as_of_year=2025, scale=(0.0, 10.0))
    assert result.loc[0, ["score_low", "score_high"]].tolist() == [0.0, 10.0]


def test_errors_from_counts_are_combined_as_the_scores_are() -> None:
    frame = samples(
        ("A", "2024-05-01", "kick seine", 2.0),
        ("A", "2024-05-01", "kick seine", 4.0),
        ("A", "2024-09-01", "kick seine", 8.0),
    ).assign(score_se=[0.3, 0.4, 0.6])
    visits = [np.sqrt(0.3**2 + 0.4**2) / 2, 0.6]
    result = average_years(frame)
    assert result["score_se"].tolist() == pytest.approx([np.sqrt(visits[0] ** 2 + visits[1] ** 2) / 2])
    assert result["n_samples"].tolist() == [3]


def test_a_sample_without_an_error_leaves_that_of_its_year_unknown() -> None:
    frame = samples(("A", "2024-05-01", "x", 4.0), ("A", "2024-09-01", "x", 5.0))
    assert average_years(frame.assign(score_se=[0.3, np.nan]))["score_se"].isna().all()


def test_one_year_has_the_interval_of_its_counts_and_says_so() -> None:
    frame = yearly(A={2025: 4.0}, B={2025: 4.0}).assign(score_se=[0.2, np.nan])
    result = assess(frame)
    assert result["interval_basis"].tolist() == ["counts", ""]
    assert result.loc["A", ["score_low", "score_high"]].tolist() == pytest.approx(
        [4 - stats.norm.ppf(0.95) * 0.2, 4 + stats.norm.ppf(0.95) * 0.2]
    )
    assert result.loc["B", ["score_low", "score_high", "score_se"]].isna().all()


def test_several_years_have_the_interval_between_years_whatever_the_counts_say() -> None:
    frame = yearly(A={2024: 3.0, 2025: 5.0})
    plain, counted = assess(frame), assess(frame.assign(score_se=0.01))
    assert counted["interval_basis"].tolist() == ["years"]
    assert counted.loc["A", "score_low"] == plain.loc["A", "score_low"]
    assert counted.loc["A", ["score_se", "score_df"]].tolist() == pytest.approx([1.0, 1.0])


def test_years_that_happen_to_agree_have_the_interval_of_their_counts() -> None:
    frame = yearly(A={2024: 3.0, 2025: 3.0}).assign(score_se=0.2)
    result = assess(frame).loc["A"]
    assert result["interval_basis"] == "counts"
    assert result["score_se"] == pytest.approx(0.2 / np.sqrt(2))


def test_sites_have_class_probabilities_and_the_certainty_of_their_class() -> None:
    frame = yearly(A={2024: 3.0, 2025: 5.0}, B={2025: 4.0}, C={2025: 4.0}).assign(
        score_se=[np.nan, np.nan, 0.1, np.nan]
    )
    ids = pd.Series(["A", "B", "C", "D"])
    result = assess_sites(ids, frame, options=Options(), as_of_year=2025, index=FAMILY_BIOTIC_INDEX)
    chances = result.filter(like="probability_")
    assert list(chances.columns) == [f"probability_{number}" for number in range(1, 8)]
    assert chances.loc[[0, 1]].sum(axis=1).tolist() == pytest.approx([1, 1])
    assert result.loc[[2, 3], "class_certainty"].isna().all()
    very_good = stats.t.cdf((4.255 - 4.0) / 1.0, 1) - stats.t.cdf((3.755 - 4.0) / 1.0, 1)
    assert result.loc[0, "class_certainty"] == pytest.approx(very_good)
    assert result.loc[1, "class_certainty"] > 0.95
