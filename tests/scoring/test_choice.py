"""The index of a survey: built in, or defined in survey.toml; what is missing is said."""

from __future__ import annotations

import pytest

from watershedmap.scoring.choice import choose_index
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX
from watershedmap.settings import ClassSetting, IndexSettings

TWO = (ClassSetting("many", 12.0), ClassSetting("few", None))
ELEVEN = tuple(ClassSetting(str(number), None if number == 10 else float(number)) for number in range(11))


def test_the_family_biotic_index_is_the_default() -> None:
    assert choose_index(IndexSettings()) == (FAMILY_BIOTIC_INDEX, [])


def test_a_metric_takes_its_label_and_unit_from_the_register() -> None:
    index, faults = choose_index(IndexSettings(use="percent_ept", better="high", classes=TWO))
    assert faults == []
    assert index is not None
    assert (index.name, index.better, index.labels) == ("percent_ept", "high", ("many", "few"))
    assert index.unit == "%"
    assert "EPT" in index.label


def test_scores_brought_in_take_the_label_and_source_given() -> None:
    index, _ = choose_index(
        IndexSettings(use="scores", label="Ours", better="low", classes=TWO, source="Us 2020")
    )
    assert index is not None
    assert (index.label, index.source) == ("Ours", "Us 2020")


@pytest.mark.parametrize(
    ("settings", "columns"),
    [
        (IndexSettings(use="scores"), ["index.better", "index.classes"]),
        (IndexSettings(use="taxa_richness", better="high"), ["index.classes"]),
        (IndexSettings(use="taxa_richnes"), ["index.use"]),
        (IndexSettings(better="high"), ["index.use"]),
        (IndexSettings(use="scores", better="low", classes=TWO[::-1]), ["index.classes"]),
        (IndexSettings(use="scores", better="low", classes=TWO[:1]), ["index.classes"]),
        (IndexSettings(use="scores", better="low", classes=ELEVEN), ["index.classes"]),
        (
            IndexSettings(use="scores", better="low", classes=(TWO[0], ClassSetting("Unassessed", None))),
            ["index.classes"],
        ),
    ],
)
def test_what_is_missing_or_does_not_fit_is_a_fault(settings: IndexSettings, columns: list[str]) -> None:
    index, faults = choose_index(settings)
    assert index is None
    assert [fault.column for fault in faults] == columns
    assert all(fault.fix for fault in faults)


def test_a_misspelt_index_is_answered_with_the_right_one() -> None:
    assert choose_index(IndexSettings(use="taxa_richnes"))[1][0].fix == "did you mean taxa_richness?"
