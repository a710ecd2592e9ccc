"""The error between replicates is pooled over groups and set beside the one from the counts."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from watershedmap.scoring.replicates import ReplicateComparison, compare_replicates


def samples_of(*groups: list[float], se: float | None = 0.5) -> pd.DataFrame:
    rows = [
        (f"site {place}", "2024-05-01", "kick seine", score)
        for place, group in enumerate(groups)
        for score in group
    ]
    frame = pd.DataFrame(rows, columns=["site_id", "date", "method", "score"])
    return frame if se is None else frame.assign(score_se=se)


def test_the_observed_error_is_pooled_by_degrees_of_freedom() -> None:
    found = compare_replicates(samples_of([1.0, 3.0], [5.0, 6.0, 7.0], [9.0]))
    assert (found.groups, found.samples, found.degrees_of_freedom) == (2, 5, 3)
    assert found.observed_sd == pytest.approx(math.sqrt((2 + 2) / 3))
    assert found.predicted_sd == pytest.approx(0.5)
    assert found.ratio == pytest.approx(found.observed_sd / 0.5)


def test_the_interval_of_the_ratio_is_that_of_a_standard_deviation() -> None:
    found = compare_replicates(samples_of([1.0, 3.0], [5.0, 6.0, 7.0]))
    low, high = (found.ratio * math.sqrt(3 / stats.chi2.ppf(side, 3)) for side in (0.95, 0.05))
    assert (found.ratio_low, found.ratio_high) == pytest.approx((low, high))


def test_the_predicted_error_is_weighted_as_the_observed_one() -> None:
    frame = samples_of([1.0, 3.0], [5.0, 6.0, 7.0]).assign(score_se=[0.1, 0.3, 0.5, 0.5, 0.5])
    expected = math.sqrt((1 * (0.01 + 0.09) / 2 + 2 * 0.25) / 3)
    assert compare_replicates(frame).predicted_sd == pytest.approx(expected)


def test_scores_without_an_error_leave_the_prediction_unknown() -> None:
    for frame in (samples_of([1.0, 3.0], se=None), samples_of([1.0, 3.0], se=np.nan)):
        found = compare_replicates(frame)
        assert found.observed_sd == pytest.approx(math.sqrt(2))
        assert math.isnan(found.predicted_sd)
        assert math.isnan(found.ratio_low)


def test_both_figures_rest_on_the_same_samples() -> None:
    frame = samples_of([1.0, 3.0, 90.0], [4.0, np.nan], [1.0, 50.0])
    frame.loc[[2, 6], "score_se"] = np.nan
    found = compare_replicates(frame)
    assert (found.groups, found.samples) == (1, 2)
    assert found.observed_sd == pytest.approx(math.sqrt(2))


def test_another_method_on_the_same_day_is_no_replicate() -> None:
    frame = samples_of([1.0, 3.0])
    frame.loc[1, "method"] = "D-net"
    found = compare_replicates(frame)
    assert found.groups == 0
    assert math.isnan(found.observed_sd)
    assert math.isnan(found.ratio)


def test_replicates_that_differ_by_counting_alone_have_a_ratio_about_one() -> None:
    random = np.random.default_rng(4)
    held = []
    for _ in range(300):
        groups = random.normal(5, 0.5, size=(10, 3))
        found = compare_replicates(samples_of(*groups.tolist()))
        held.append(found.ratio_low <= 1 <= found.ratio_high)
    assert 0.85 <= np.mean(held) <= 0.95


def test_a_comparison_that_contradicts_itself_is_refused() -> None:
    figures = {"observed_sd": 1.0, "predicted_sd": 1.0, "ratio": 1.0, "ratio_low": 0.5, "ratio_high": 2.0}
    with pytest.raises(ValueError, match="degrees of freedom"):
        ReplicateComparison(groups=1, samples=2, degrees_of_freedom=2, **figures)
    with pytest.raises(ValueError, match="does not hold it"):
        ReplicateComparison(groups=1, samples=2, degrees_of_freedom=1, **{**figures, "ratio_low": 1.5})
