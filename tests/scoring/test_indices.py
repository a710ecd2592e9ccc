"""An index is one unbroken scale; the family biotic index is a mean over those that have a value."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX, INDICES, Index, IndexClass, family_biotic_index
from watershedmap.taxa import resolve

NAMES = [
    "Leuctridae",
    "Perlidae",
    "Baetis",
    "Chironomidae",
    "Chironomidae (blood-red)",
    "Psychoda",
    "Tubifex",
]


def score(*rows: tuple[str, str, int]) -> pd.DataFrame:
    counts = pd.DataFrame(list(rows), columns=["sample_id", "taxon", "count"])
    return family_biotic_index(counts, resolve(counts["taxon"]))


def make_index(*limits: float | None, **changes: object) -> Index:
    classes = tuple(IndexClass(f"class {n}", limit, "") for n, limit in enumerate(limits))
    base = {
        "name": "x",
        "label": "X",
        "unit": "",
        "better": "low",
        "decimals": 2,
        "classes": classes,
        "source": "",
    }
    return Index(**{**base, **changes})  # type: ignore[arg-type] # wrong values are the point


@pytest.mark.parametrize(
    ("limits", "changes", "problem"),
    [
        ((2.0, 1.0, None), {}, "strictly"),
        ((1.0, 1.0, None), {}, "strictly"),
        ((1.0, 2.0, None), {"better": "high"}, "strictly"),
        ((1.0, None, None), {}, "only the last"),
        ((1.0, 2.0), {}, "only the last"),
        ((None,), {}, "fewer than two"),
        ((), {}, "fewer than two"),
        ((float("nan"), None), {}, "finite"),
        ((float("inf"), None), {}, "finite"),
        ((1.234, None), {}, "more decimals"),
        ((1.0, None), {"decimals": -1}, "below zero"),
        ((1.0, None), {"better": "up"}, "neither"),
    ],
)
def test_classes_that_make_no_unbroken_scale_are_refused(
    limits: tuple[float | None, ...], changes: dict[str, object], problem: str
) -> None:
    with pytest.raises(ValueError, match=problem):
        make_index(*limits, **changes)


def test_labels_must_be_there_and_differ() -> None:
    good = make_index(1.0, None)
    with pytest.raises(ValueError, match="share a label"):
        replace(good, classes=(IndexClass("a", 1.0, ""), IndexClass("a", None, "")))
    with pytest.raises(ValueError, match="no label"):
        replace(good, classes=(IndexClass("", 1.0, ""), IndexClass("a", None, "")))


def test_an_index_on_which_high_is_good_runs_downwards() -> None:
    assert make_index(20.0, 10.0, None, better="high").limits == (20.0, 10.0)


def test_the_register_holds_the_built_in_index_by_its_name() -> None:
    assert INDICES == {"family_biotic_index": FAMILY_BIOTIC_INDEX}


def test_genera_and_species_have_the_value_of_their_family() -> None:
    assert score(("a", "Baetis rhodani", 1), ("a", "Baetis", 1)).loc["a", "score"] == 4


def test_without_any_value_there_is_no_score_and_the_count_says_why() -> None:
    found = score(
        ("a", "Oligochaeta", 5), ("a", "Strange thing", 2), ("b", "Perlidae", 0), ("c", "Perlidae", 3)
    )
    assert found["score"].isna().tolist() == [True, True, False]
    assert found["scored_individuals"].tolist() == [0, 0, 3]
    assert found["individuals_without_tolerance"].tolist() == [7, 0, 0]


@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from(NAMES), st.integers(0, 1000)), min_size=1))
def test_the_index_lies_between_the_least_and_the_most_tolerant_found(
    rows: list[tuple[str, str, int]],
) -> None:
    found = score(*rows)
    values = resolve(NAMES)["tolerance"]
    for sample, row in found.iterrows():
        present = [values[name] for one, name, count in rows if one == sample and count and values[name] >= 0]
        if not present:
            assert np.isnan(row["score"])
        else:
            assert min(present) - 1e-9 <= row["score"] <= max(present) + 1e-9


@given(st.lists(st.tuples(st.sampled_from(NAMES), st.integers(0, 1000)), min_size=1), st.integers(2, 9))
def test_the_index_does_not_change_when_all_counts_are_multiplied(
    rows: list[tuple[str, int]], times: int
) -> None:
    once = score(*[("a", name, count) for name, count in rows])
    more = score(*[("a", name, count * times) for name, count in rows])
    np.testing.assert_allclose(once["score"], more["score"])
