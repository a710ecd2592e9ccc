"""An index is one unbroken scale; the family biotic index is a mean over those that have a value."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.indices import (
    BIOTIC_INDEX,
    FAMILY_BIOTIC_INDEX,
    INDICES,
    Index,
    IndexClass,
    biotic_index,
    family_biotic_index,
    score_index,
)
from watershedmap.scoring.metrics import compute_metrics
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


def test_the_register_holds_each_built_in_index_by_its_name() -> None:
    assert list(INDICES) == ["family_biotic_index", "biotic_index", "bmwp", "aspt", "streamside_rating"]
    assert INDICES["family_biotic_index"] is FAMILY_BIOTIC_INDEX
    assert all(index.name == name and index.source for name, index in INDICES.items())


@pytest.mark.parametrize("index", INDICES.values(), ids=lambda index: index.name)
def test_every_limit_of_a_built_in_index_lies_within_its_scale(index: Index) -> None:
    low, high = index.scale
    assert all(low < limit < high for limit in index.limits)


def make_taxa() -> pd.DataFrame:
    taxa = pd.DataFrame({"taxon": ["Baetis rhodani", "Baetis", "Tubifex"], "tolerance": [5.0, 6.0, np.nan]})
    taxa = taxa.assign(rank="genus", family=["Baetidae", "Baetidae", "Naididae"], order="", group="")
    taxa = taxa.assign(ept=[True, True, False], known=True, bmwp=[4.0, 4.0, 1.0], sensitivity=[1.0, 1.0, 3.0])
    taxa = taxa.assign(bmwp_group=["Baetidae", "Baetidae", "Oligochaeta"], excluded="")
    return taxa.set_index(pd.Index(taxa["taxon"], name="name"))


def make_counts() -> pd.DataFrame:
    rows = [("b", "Baetis rhodani", 3), ("b", "Baetis", 1), ("b", "Tubifex", 9), ("a", "Baetis", 0)]
    return pd.DataFrame(rows, columns=["sample_id", "taxon", "count"])


def test_the_biotic_index_takes_the_value_of_each_genus_and_species() -> None:
    found = biotic_index(make_counts(), make_taxa())
    assert found.loc["b"].tolist() == [5.25, 4, 9]
    assert np.isnan(found.loc["a", "score"])


def test_the_biotic_index_has_its_own_limits_under_the_same_words() -> None:
    assert BIOTIC_INDEX.limits == (3.50, 4.50, 5.50, 6.50, 7.50, 8.50)
    assert BIOTIC_INDEX.labels == FAMILY_BIOTIC_INDEX.labels


@pytest.mark.parametrize(
    ("name", "score"),
    [
        ("family_biotic_index", 5.25),
        ("biotic_index", 5.25),
        ("bmwp", 5),
        ("aspt", 2.5),
        ("streamside_rating", 6.2),
    ],
)
def test_an_index_is_scored_by_its_name(name: str, score: float) -> None:
    found = score_index(name, make_counts(), make_taxa())
    assert found.columns.tolist() == ["score", "scored_individuals", "individuals_without_tolerance"]
    assert found.index.tolist() == ["a", "b"]
    assert found.loc["b", "score"] == score
    assert (found.loc["b"].drop("score").sum(), found.loc["a"].drop("score").sum()) == (13, 0)


def test_a_metric_is_scored_by_its_name_from_the_table_given_or_its_own() -> None:
    counts, taxa = make_counts(), make_taxa()
    found = score_index("total_individuals", counts, taxa)
    assert found["score"].tolist() == [0, 13]
    table = compute_metrics(counts, taxa).assign(total_individuals=7)
    given_table = score_index("total_individuals", counts, taxa, metrics=table)
    assert given_table["score"].tolist() == [7, 7]
    assert found["individuals_without_tolerance"].tolist() == [0, 9]


@pytest.mark.parametrize("name", ["scores", "dominant_taxon", "fbi"])
def test_a_name_that_is_no_index_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match=name):
        score_index(name, make_counts(), make_taxa())


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
