"""Printed class tables that a survey may bring: each limit lands where its source puts it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import pytest

from watershedmap.scoring.choice import choose_index
from watershedmap.scoring.classes import classify
from watershedmap.settings import ClassSetting, IndexSettings

if TYPE_CHECKING:
    from watershedmap.scoring.indices import Index


def classes_of(*pairs: tuple[str, float | None], better: str = "high") -> Index:
    classes = tuple(ClassSetting(label, limit) for label, limit in pairs)
    index, faults = choose_index(IndexSettings(use="scores", better=better, classes=classes))
    assert faults == []
    assert index is not None
    return index


@pytest.mark.parametrize(
    ("score", "label"),
    [
        (101, "Very good"),
        (100, "Good"),
        (71, "Good"),
        (70, "Moderate"),
        (41, "Moderate"),
        (40, "Poor"),
        (11, "Poor"),
        (10, "Very poor"),
        (0, "Very poor"),
    ],
)
def test_the_second_printed_table_of_bmwp_classes(score: float, label: str) -> None:
    # Over 100 very good, 71-100 good, 41-70 moderate, 11-40 poor, 0-10 very poor: seen second-hand, often
    # attributed to Mason. It disagrees with the table built in, so a survey has to state which it uses.
    index = classes_of(("Very good", 101), ("Good", 71), ("Moderate", 41), ("Poor", 11), ("Very poor", None))
    assert classify(pd.Series([score]), index).tolist() == [label]


@pytest.mark.parametrize(
    ("ratio", "label"),
    [
        (0.97, "High"),
        (0.969, "High"),  # reads 0.97 at two decimals, and the class follows from the figure shown
        (0.964, "Good"),
        (0.86, "Good"),
        (0.85, "Moderate"),
        (0.72, "Moderate"),
        (0.59, "Poor"),
        (0.58, "Bad"),
    ],
)
def test_the_five_statuses_of_the_water_framework_directive(ratio: float, label: str) -> None:
    # Directive 2000/60/EC Annex V 1.4.2 names the five; the ratios for ASPT are those of the United Kingdom's
    # Directions of 2015, from memory.
    index = classes_of(("High", 0.97), ("Good", 0.86), ("Moderate", 0.72), ("Poor", 0.59), ("Bad", None))
    assert classify(pd.Series([ratio]), index).tolist() == [label]


@pytest.mark.parametrize(
    ("affinity", "label"),
    [
        (65, "non-impacted"),
        (64, "slight"),
        (50, "slight"),
        (49, "moderate"),
        (35, "moderate"),
        (34, "severe"),
    ],
)
def test_the_printed_classes_of_percent_model_affinity(affinity: float, label: str) -> None:
    # Over 64, 50-64, 35-49, under 35: state practice in New York, from memory. Printed in whole percents, so a
    # survey states the lower end of each class.
    index = classes_of(("non-impacted", 65), ("slight", 50), ("moderate", 35), ("severe", None))
    assert classify(pd.Series([affinity]), index).tolist() == [label]
