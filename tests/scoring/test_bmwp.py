"""BMWP and ASPT: presence only, joined families once, and no score where the record does not tell."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.bmwp import ASPT, BMWP, aspt, bmwp, list_families
from watershedmap.scoring.classes import classify
from watershedmap.scoring.tally import make_tally

TAXA = pd.DataFrame(
    [
        ("Perla", "Perlidae", 10.0, "Perlidae"),
        ("Perlidae", "Perlidae", 10.0, "Perlidae"),
        ("Rhyacophilidae", "Rhyacophilidae", 7.0, "Rhyacophilidae"),
        ("Glossosomatidae", "Glossosomatidae", 7.0, "Rhyacophilidae"),
        ("Tubifex", "Naididae", 1.0, "Oligochaeta"),
        ("Oligochaeta", "", 1.0, "Oligochaeta"),
        ("Ourfamily", "Ourfamily", 4.0, ""),
        ("Ceratopogonidae", "Ceratopogonidae", np.nan, ""),
        ("Trichoptera", "", np.nan, ""),
    ],
    columns=["taxon", "family", "bmwp", "bmwp_group"],
).assign(ept=False, known=True, tolerance=np.nan)
TAXA.index = pd.Index(TAXA["taxon"], name="name")
NAMES = list(TAXA.index)


def make_counts(*rows: tuple[str, str, int]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=["sample_id", "taxon", "count"])


def test_families_that_the_list_joins_count_once() -> None:
    counts = make_counts(("a", "Rhyacophilidae", 3), ("a", "Glossosomatidae", 5), ("a", "Perlidae", 1))
    assert bmwp(counts, TAXA).loc["a", "score"] == 17
    assert aspt(counts, TAXA).loc["a", "score"] == 8.5


def test_genera_and_species_of_one_family_count_once_under_it() -> None:
    counts = make_counts(
        ("a", "Perla", 3), ("a", "Perlidae", 1), ("a", "Tubifex", 9), ("a", "Oligochaeta", 1)
    )
    assert bmwp(counts, TAXA).loc["a", "score"] == 11


def test_a_family_of_the_survey_without_a_scoring_family_stands_for_itself() -> None:
    counts = make_counts(("a", "Ourfamily", 1), ("a", "Perlidae", 1))
    assert list_families(make_tally(counts, TAXA))["group"].tolist() == ["Ourfamily", "Perlidae"]


def test_of_different_points_in_one_scoring_family_the_highest_counts() -> None:
    taxa = TAXA.copy()
    taxa.loc["Glossosomatidae", "bmwp"] = 8.0
    counts = make_counts(("a", "Rhyacophilidae", 3), ("a", "Glossosomatidae", 5))
    assert bmwp(counts, taxa).loc["a", "score"] == 8


def test_without_a_scoring_family_aspt_is_undefined_and_not_zero() -> None:
    counts = make_counts(
        ("empty", "Perlidae", 0), ("other", "Ceratopogonidae", 4), ("order", "Trichoptera", 9)
    )
    assert aspt(counts, TAXA)["score"].isna().all()


def test_bmwp_is_zero_only_where_nothing_was_found() -> None:
    counts = make_counts(("empty", "Perlidae", 0), ("order", "Trichoptera", 9))
    found = bmwp(counts, TAXA)
    assert found.loc["empty", "score"] == 0
    assert np.isnan(found.loc["order", "score"])
    assert found.loc["order"].tolist()[1:] == [0, 9]


def test_individuals_with_and_without_points_are_all_individuals() -> None:
    found = bmwp(make_counts(("a", "Perla", 3), ("a", "Trichoptera", 4), ("a", "Ceratopogonidae", 5)), TAXA)
    assert found.loc["a", ["scored_individuals", "individuals_without_tolerance"]].tolist() == [3, 9]


@given(st.dictionaries(st.sampled_from(NAMES), st.integers(1, 1000), min_size=1), st.integers(2, 50))
def test_only_presence_matters(found: dict[str, int], times: int) -> None:
    once = make_counts(*[("a", name, 1) for name in found])
    many = make_counts(*[("a", name, count * times) for name, count in found.items()])
    for measure in (bmwp, aspt):
        pd.testing.assert_series_equal(measure(once, TAXA)["score"], measure(many, TAXA)["score"])


@pytest.mark.parametrize(
    ("value", "label"), [(84.5, "Excellent"), (84.4, "Good"), (14.0, "Seriously polluted")]
)
def test_bmwp_between_printed_limits_is_rounded_first(value: float, label: str) -> None:
    assert classify(pd.Series([value]), BMWP).tolist() == [label]


def test_aspt_between_printed_limits_is_rounded_first() -> None:
    labels = classify(pd.Series([5.95, 5.94, 4.95, 4.94, 4.15, 2.95, 2.94]), ASPT)
    assert labels.tolist() == ["Excellent", "Good", "Good", "Fair", "Fair", "Poor", "Seriously polluted"]
