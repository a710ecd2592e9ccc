"""A score is rounded as the limits are printed, then compared; a limit belongs to the class it ends."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.classes import class_rank, classify, move_open_limit, round_half_away
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX, Index, IndexClass

RISING = Index(
    name="taxa",
    label="Taxa",
    unit="taxa",
    better="high",
    decimals=0,
    classes=(IndexClass("rich", 20, ""), IndexClass("middling", 10, ""), IndexClass("poor", None, "")),
    source="made up for this test",
)


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [
        (1.005, 2, 1.01),
        (3.755, 2, 3.76),
        (3.7549, 2, 3.75),
        (2.5, 0, 3.0),
        (-2.5, 0, -3.0),
        (0.285, 2, 0.29),
        (5.015, 2, 5.02),
        (0.0, 2, 0.0),
        (1e15, 2, 1e15),
    ],
)
def test_halves_are_rounded_away_from_zero_whatever_the_float_behind_them(
    value: float, decimals: int, expected: float
) -> None:
    assert round_half_away(pd.Series([value]), decimals).tolist() == [expected]


@given(st.integers(-(10**7), 10**7), st.integers(1, 4))
def test_rounding_agrees_with_decimal_arithmetic(thousandths: int, places: int) -> None:
    exact = Decimal(thousandths).scaleb(-places - 1)
    expected = exact.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    assert round_half_away(pd.Series([float(exact)]), places).tolist() == [float(expected)]


@given(st.integers(1, 400), st.data())
def test_a_mean_is_rounded_as_its_exact_fraction(individuals: int, data: st.DataObject) -> None:
    total = data.draw(st.integers(0, 10 * individuals))
    doubled = 200 * total + individuals
    expected = (doubled // (2 * individuals)) / 100
    assert round_half_away(pd.Series([total / individuals]), 2).tolist() == [expected]


def test_rounding_keeps_index_name_and_missing_values() -> None:
    values = pd.Series([1.234, np.nan, -0.001], index=list("xyz"), name="score")
    rounded = round_half_away(values, 2)
    pd.testing.assert_series_equal(rounded, pd.Series([1.23, np.nan, 0.0], index=list("xyz"), name="score"))
    assert not np.signbit(rounded.to_numpy()[2])


def test_where_high_is_good_a_limit_belongs_to_the_class_above_it() -> None:
    scores = pd.Series([100, 20, 19.5, 19.4, 10, 9.4, 0, np.nan])
    labels = classify(scores, RISING)
    assert labels[:7].tolist() == ["rich", "rich", "rich", "middling", "middling", "poor", "poor"]
    assert pd.isna(labels[7])


def test_labels_stand_on_the_index_of_the_scores() -> None:
    labels = classify(pd.Series([9.0, 1.0], index=["b", "a"]), FAMILY_BIOTIC_INDEX)
    assert labels.to_dict() == {"b": "Very poor", "a": "Excellent"}
    assert labels.name == "class"
    assert classify(pd.Series([], dtype=float), FAMILY_BIOTIC_INDEX).empty


def test_a_missing_score_has_no_class_even_when_all_are_missing() -> None:
    assert classify(pd.Series([np.nan, np.nan]), FAMILY_BIOTIC_INDEX).isna().all()
    assert classify(pd.Series([pd.NA, 1.0], dtype="Float64"), FAMILY_BIOTIC_INDEX).isna().tolist() == [
        True,
        False,
    ]


@pytest.mark.parametrize("index", [FAMILY_BIOTIC_INDEX, RISING])
@given(values=st.lists(st.floats(-100, 100), min_size=2))
def test_a_better_score_is_never_in_a_worse_class(index: Index, values: list[float]) -> None:
    best_first = sorted(values, reverse=index.better == "high")
    ranks = class_rank(classify(pd.Series(best_first), index), index)
    assert ranks.is_monotonic_increasing
    assert ranks.between(0, len(index.classes) - 1).all()


def test_ranks_run_from_the_best_and_a_missing_class_has_none() -> None:
    labels = pd.Series(["rich", "poor", None, "middling"], index=list("abcd"))
    ranks = class_rank(labels, RISING)
    assert ranks.isna().tolist() == [False, False, True, False]
    assert ranks.dropna().tolist() == [0, 2, 1]
    assert class_rank(pd.Series([None, None], dtype=object), RISING).isna().all()
    assert class_rank(pd.Series([], dtype=object), RISING).empty


def test_a_label_of_another_index_is_refused() -> None:
    with pytest.raises(ValueError, match="Excellent"):
        class_rank(pd.Series(["rich", "Excellent"]), RISING)


@pytest.mark.parametrize("better", ["low", "high"])
@given(hundredths=st.integers(0, 10_000))
def test_an_open_limit_leaves_just_the_printed_value_to_the_worse_class(better: str, hundredths: int) -> None:
    printed = hundredths / 100
    limit = move_open_limit(printed, better=better, decimals=2)  # type: ignore[arg-type] # one of two
    classes = (IndexClass("good", limit, ""), IndexClass("bad", None, ""))
    index = Index("x", "X", "", better, 2, classes, "")  # type: ignore[arg-type] # as above
    step = 0.01 if better == "high" else -0.01
    assert classify(pd.Series([printed, printed + step]), index).tolist() == ["bad", "good"]
