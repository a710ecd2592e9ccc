"""The error of a mean: squares add up, degrees of freedom are pooled, and an unknown part is not ignored."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from watershedmap.condition.probability import bound_mean, pool_errors, rate_classes
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX


def pool(weights: list[float], errors: list[float], freedom: list[float]) -> pd.Series:
    group = pd.Series(0, index=range(len(weights)))
    return pool_errors(pd.Series(weights), pd.Series(errors), pd.Series(freedom), group).loc[0]


def test_the_interval_is_students_or_normal_and_cut_at_the_scale() -> None:
    found = bound_mean(
        pd.Series([5.0, 5.0, 9.9, 5.0]),
        pd.Series([0.5, 0.5, 0.5, np.nan]),
        pd.Series([3.0, np.nan, 3.0, 3.0]),
        scale=(0.0, 10.0),
    )
    assert found.loc[0, "score_high"] == pytest.approx(5 + 0.5 * stats.t.ppf(0.95, 3))
    assert found.loc[1, "score_high"] == pytest.approx(5 + 0.5 * stats.norm.ppf(0.95))
    assert found.loc[2, "score_high"] == 10.0
    assert found.loc[3].isna().all()


def test_a_single_part_keeps_its_error_and_its_degrees_of_freedom() -> None:
    assert pool([1.0], [0.4], [2.0]).tolist() == pytest.approx([0.4, 2.0])


def test_equal_parts_add_their_degrees_of_freedom() -> None:
    found = pool([0.5, 0.5], [0.4, 0.4], [3.0, 3.0])
    assert found.tolist() == pytest.approx([0.4 / np.sqrt(2), 6.0])


def test_a_part_with_an_unknown_error_makes_the_whole_unknown() -> None:
    assert np.isnan(pool([0.5, 0.5], [0.4, np.nan], [3.0, 3.0])["score_se"])


def test_parts_with_normal_errors_have_a_normal_mean() -> None:
    found = pool([0.5, 0.5], [0.4, 0.3], [np.nan, np.nan])
    assert found["score_se"] == pytest.approx(0.25)
    assert np.isnan(found["score_df"])


@given(st.lists(st.tuples(st.floats(0.01, 3), st.integers(1, 20)), min_size=1, max_size=6))
def test_pooled_degrees_of_freedom_lie_between_the_fewest_and_their_sum(
    parts: list[tuple[float, int]],
) -> None:
    errors, freedom = zip(*parts, strict=True)
    found = pool([1 / len(parts)] * len(parts), list(errors), [float(one) for one in freedom])
    assert min(freedom) - 1e-6 <= found["score_df"] <= sum(freedom) + 1e-6
    assert found["score_se"] <= max(errors) + 1e-12


def test_a_score_without_an_error_has_no_certainty() -> None:
    frame = pd.DataFrame({"score": [4.0, 4.0], "score_se": [np.nan, 0.1], "score_df": [2.0, 2.0]})
    found = rate_classes(frame, FAMILY_BIOTIC_INDEX)
    assert found.loc[0].isna().all()
    assert found.loc[1, "class_certainty"] == found.loc[1, "probability_2"]
