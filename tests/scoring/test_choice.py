"""The index of a survey: built in, or defined in survey.toml; what is missing is said."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from watershedmap.scoring.choice import choose_index
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX, INDICES
from watershedmap.scoring.multimetric import MultimetricIndex, list_examples
from watershedmap.settings import ClassSetting, IndexSettings

if TYPE_CHECKING:
    from pathlib import Path

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
        (IndexSettings(better="high"), ["index.better"]),
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


@pytest.mark.parametrize("name", INDICES)
def test_each_built_in_index_is_chosen_by_its_name(name: str) -> None:
    assert choose_index(IndexSettings(use=name)) == (INDICES[name], [])


def copy_example(folder: Path) -> str:
    (folder / "ours.toml").write_bytes(list_examples()[0].read_bytes())
    return "ours.toml"


def test_a_definition_file_in_the_survey_folder_is_the_index(tmp_path: Path) -> None:
    index, faults = choose_index(IndexSettings(definition=copy_example(tmp_path)), tmp_path)
    assert faults == []
    assert isinstance(index, MultimetricIndex)
    assert (index.name, index.file) == ("example_0_100", "ours.toml")
    assert choose_index(IndexSettings(use=index.name, definition="ours.toml"), tmp_path) == (index, [])


@pytest.mark.parametrize(
    ("settings", "columns"),
    [
        (IndexSettings(definition="ours.toml", use="bmwp"), ["index.use"]),
        (IndexSettings(definition="ours.toml", better="high"), ["index.better"]),
        (IndexSettings(definition="ours.toml", classes=TWO), ["index.classes"]),
        (IndexSettings(definition="ours.toml", label="x", source="y"), ["index.label", "index.source"]),
        (IndexSettings(definition="none.toml"), [""]),
    ],
)
def test_what_does_not_fit_beside_a_definition_file_is_a_fault(
    tmp_path: Path, settings: IndexSettings, columns: list[str]
) -> None:
    copy_example(tmp_path)
    index, faults = choose_index(settings, tmp_path)
    assert index is None
    assert [fault.column for fault in faults] == columns
    assert all(fault.fix for fault in faults)


def test_a_built_in_index_may_have_the_surveys_own_classes_and_says_so() -> None:
    given = IndexSettings(classes=(ClassSetting("Good", 4.0), ClassSetting("Poor", None)), source="our sites")
    index, faults = choose_index(given)
    assert faults == []
    assert index is not None
    assert (index.name, index.labels, index.better) == ("family_biotic_index", ("Good", "Poor"), "low")
    assert index.source.endswith("classes: our sites")
