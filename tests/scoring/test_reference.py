"""Class limits from reference sites, and the file they are written to."""

from __future__ import annotations

import tomllib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.choice import choose_index
from watershedmap.scoring.classes import Index, classify
from watershedmap.scoring.multimetric import read_definition
from watershedmap.scoring.reference import find_classes, find_percentile, write_classes
from watershedmap.settings import ClassSetting, IndexSettings

SCORES = pd.Series([40, 45, 50, 55, 60, 65, 70, 75, 80, 85, 90], dtype=float)


def test_missing_scores_are_left_out() -> None:
    more = pd.concat([SCORES, pd.Series([np.nan, np.nan])])
    assert find_classes(more, better="high", decimals=1) == find_classes(SCORES, better="high", decimals=1)


def test_where_low_is_good_the_limits_are_the_mirror_image() -> None:
    high = find_classes(SCORES, better="high", decimals=1)
    low = find_classes(-SCORES, better="low", decimals=1)
    assert [one.limit for one in low] == [None if one.limit is None else -one.limit for one in high]


def test_a_type_of_percentile_that_is_not_offered_is_refused() -> None:
    with pytest.raises(ValueError, match="6 or 7"):
        find_percentile(SCORES, 25, kind=5)


@pytest.mark.parametrize("scores", [[], [np.nan], [7.0, 7.0, 7.0]])
def test_scores_that_draw_no_classes_are_refused(scores: list[float]) -> None:
    with pytest.raises(ValueError, match="reference"):
        find_classes(pd.Series(scores, dtype=float), better="high", decimals=0)


def test_the_section_of_a_survey_is_read_back_to_the_same_classes() -> None:
    text = write_classes(SCORES, better="high", decimals=1, use="taxa_richness")
    section = tomllib.loads(text)["index"]
    classes = tuple(ClassSetting(one["label"], one.get("limit")) for one in section.pop("classes"))
    index, faults = choose_index(IndexSettings(**section, classes=classes))
    assert faults == []
    assert index is not None
    assert index.labels == ("Good", "Fair", "Poor")
    assert index.limits == (52.5, 42.5)
    assert "type 7) of 11 reference sites" in index.source


def test_the_classes_of_a_definition_are_read_back_to_the_same_classes() -> None:
    head = """
[index]
name = "ours"
combination = "mean"
decimals = 1
[[metrics]]
metric = "taxa_richness"
scale = "0-100"
floor = 0
ceiling = 30
"""
    index, faults = read_definition(head + write_classes(SCORES, better="high", decimals=1))
    assert faults == []
    assert index is not None
    assert index.classes == find_classes(SCORES, better="high", decimals=1)


def test_few_sites_are_said_in_the_file() -> None:
    assert "fewer than 20" in write_classes(SCORES, better="high", decimals=1)
    many = pd.Series(np.arange(40.0))
    assert "fewer than 20" not in write_classes(many, better="high", decimals=1)


@given(
    st.lists(st.integers(0, 1000), min_size=5, max_size=60, unique=True),
    st.sampled_from(["low", "high"]),
    st.sampled_from([6, 7]),
)
def test_at_least_three_quarters_of_the_reference_sites_are_good_and_few_are_poor(
    values: list[int], better: str, kind: int
) -> None:
    scores = pd.Series(values, dtype=float)
    classes = find_classes(scores, better=better, decimals=3, kind=kind)  # type: ignore[arg-type] # one of two
    index = Index("x", "X", "", better, 3, classes, "")  # type: ignore[arg-type] # as above
    shares = classify(scores, index).value_counts(normalize=True)
    assert shares["Good"] >= 0.75 - 1 / len(values)
    assert shares.get("Poor", 0) <= 0.05 + 1 / len(values)
