"""Classes have the probability of the values that round into them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from watershedmap.scoring.bands import class_certainty, class_edges, class_probabilities
from watershedmap.scoring.classes import Index, IndexClass, class_rank, classify
from watershedmap.scoring.indices import BMWP, FAMILY_BIOTIC_INDEX

SMALL = Index(
    name="x",
    label="X",
    unit="",
    better="low",
    decimals=1,
    classes=(IndexClass("good", 2.0, ""), IndexClass("fair", 4.0, ""), IndexClass("poor", None, "")),
    source="invented",
)


def test_an_edge_lies_half_a_unit_beyond_its_limit_towards_the_worse_end() -> None:
    assert class_edges(SMALL) == pytest.approx([2.05, 4.05])
    assert class_edges(BMWP) == pytest.approx([14.5, 49.5, 69.5, 84.5])


def test_the_rounding_rule_is_in_the_probabilities() -> None:
    found = class_probabilities(pd.Series([2.05, 3.0]), pd.Series([0.5, 0.5]), SMALL)
    assert found.loc[0, "probability_1"] == pytest.approx(0.5)
    between = stats.norm.cdf((4.05 - 3) / 0.5) - stats.norm.cdf((2.05 - 3) / 0.5)
    assert found.loc[1, "probability_2"] == pytest.approx(between)


def test_few_degrees_of_freedom_make_the_class_less_sure() -> None:
    score, error = pd.Series([3.0, 3.0, 3.0]), pd.Series([0.5, 0.5, 0.5])
    found = class_probabilities(score, error, SMALL, freedom=pd.Series([1.0, 30.0, np.nan]))
    assert found["probability_2"].is_monotonic_increasing
    expected = stats.t.cdf((4.05 - 3) / 0.5, 1) - stats.t.cdf((2.05 - 3) / 0.5, 1)
    assert found.loc[0, "probability_2"] == pytest.approx(expected)


def test_without_an_error_nothing_is_known_and_with_none_at_all_the_class_is_sure() -> None:
    scores = pd.Series([3.0, 3.0, np.nan])
    found = class_probabilities(scores, pd.Series([np.nan, 0.0, 0.5]), SMALL)
    assert found.loc[[0, 2]].isna().all(axis=None)
    assert found.loc[1].tolist() == [0.0, 1.0, 0.0]
    certainty = class_certainty(scores, found, SMALL)
    assert certainty.isna().tolist() == [True, False, True]
    assert certainty[1] == 1.0


@given(st.floats(-20, 20), st.floats(0, 5), st.sampled_from(["low", "high"]))
def test_probabilities_sum_to_one_and_mirror_with_the_direction(
    score: float, error: float, better: str
) -> None:
    classes = tuple(
        IndexClass(one.label, None if one.limit is None else -one.limit, "") for one in SMALL.classes
    )
    index = SMALL if better == "low" else replace(SMALL, better="high", classes=classes)
    found = class_probabilities(pd.Series([score]), pd.Series([error]), index)
    assert found.sum(axis=1)[0] == pytest.approx(1)
    assert (found >= 0).all(axis=None)
    sign = 1 if better == "low" else -1
    mirrored = class_probabilities(pd.Series([sign * score]), pd.Series([error]), SMALL)
    if error > 0:
        assert found.loc[0].tolist() == pytest.approx(mirrored.loc[0].tolist(), abs=1e-6)


@given(st.floats(0, 10))
def test_an_error_of_nothing_gives_the_class_of_the_score(score: float) -> None:
    scores = pd.Series([round(score, 3)])
    found = class_probabilities(scores, pd.Series([0.0]), FAMILY_BIOTIC_INDEX)
    rank = class_rank(classify(scores, FAMILY_BIOTIC_INDEX), FAMILY_BIOTIC_INDEX)[0]
    assert found.iloc[0, rank] == 1.0
