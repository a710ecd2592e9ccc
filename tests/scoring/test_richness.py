"""An unresolved parent is not a new taxon where a child of it stands in the same sample."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.richness import count_below, count_intolerant, count_taxa, list_parents
from watershedmap.scoring.tally import Tally, make_tally
from watershedmap.taxa import resolve

# What stands above each name, written by hand: the oracle of the property test.
ABOVE = {
    "Baetis rhodani": {"Baetis", "Baetidae", "Ephemeroptera", "Insecta"},
    "Baetis vernus": {"Baetis", "Baetidae", "Ephemeroptera", "Insecta"},
    "Baetis": {"Baetidae", "Ephemeroptera", "Insecta"},
    "Baetidae": {"Ephemeroptera", "Insecta"},
    "Heptageniidae": {"Ephemeroptera", "Insecta"},
    "Ephemeroptera": {"Insecta"},
    "Leuctra": {"Leuctridae", "Plecoptera", "Insecta"},
    "Leuctridae": {"Plecoptera", "Insecta"},
    "Plecoptera": {"Insecta"},
    "Insecta": set(),
    "Physidae": {"Gastropoda"},
    "Gastropoda": set(),
    "Strange thing": set(),
}


def tally_of(rows: list[tuple[str, str, int]]) -> Tally:
    counts = pd.DataFrame(rows, columns=["sample_id", "taxon", "count"]).astype({"count": int})
    return make_tally(counts, resolve(counts["taxon"]))


def richness(*names: str) -> int:
    tally = tally_of([("a", name, 1) for name in names])
    return int(count_taxa(tally, count_below(tally) == 0)[0])


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["Baetidae"], 1),
        (["Baetis", "Baetidae"], 1),
        (["Baetis rhodani", "Baetis sp.", "Baetidae", "Ephemeroptera", "Insecta"], 1),
        (["Baetis rhodani", "Baetis vernus", "Baetis"], 2),
        (["Baetis sp. A", "Baetis sp. B", "Baetis sp."], 2),
        (["Baetidae", "Heptageniidae", "Ephemeroptera"], 2),
        (["Baetidae", "Heptagenia"], 2),
        (["Ephemeroptera", "Plecoptera"], 2),
        (["Physidae", "Gastropoda"], 1),
        (["Odonata", "Zygoptera"], 1),
    ],
)
def test_parents_count_only_where_nothing_below_them_stands(names: list[str], expected: int) -> None:
    assert richness(*names) == expected


def test_a_subfamily_replaces_its_family_but_stays_beside_genera_that_may_be_of_another() -> None:
    assert richness("Tanypodinae", "Chironomidae") == 1
    assert richness("Tanypodinae", "Cricotopus", "Chironomidae") == 2


def test_a_remark_in_brackets_makes_a_child_of_the_plain_name() -> None:
    assert richness("Chironomidae (blood-red)", "Chironomidae") == 1


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["Baetis/Cloeon", "Baetis"], 1),
        (["Baetis/Cloeon", "Baetis rhodani"], 1),
        (["Baetis/Cloeon", "Baetidae"], 1),
        (["Baetis/Cloeon", "Ephemerella"], 2),
        (["Caenis horaria/rivulorum", "Caenis horaria"], 1),
        (["Caenis horaria/rivulorum", "Caenis luctuosa", "Caenis"], 2),
    ],
)
def test_names_joined_by_a_slash_are_no_new_taxon_beside_one_of_them(names: list[str], expected: int) -> None:
    assert richness(*names) == expected


def test_an_unknown_name_has_neither_parents_nor_children() -> None:
    assert richness("Strange thing", "Strange", "Strange thing else") == 3


def test_a_child_that_was_looked_for_and_not_found_takes_no_parent_away() -> None:
    tally = tally_of([("a", "Baetis", 0), ("a", "Baetidae", 3)])
    assert count_taxa(tally, count_below(tally) == 0).tolist() == [1]


def test_a_child_in_another_sample_takes_no_parent_away() -> None:
    tally = tally_of([("a", "Baetis", 1), ("b", "Baetidae", 3)])
    assert count_below(tally).tolist() == [0, 0]


def test_individuals_below_a_taxon_are_those_of_all_its_descendants() -> None:
    tally = tally_of(
        [("a", "Baetis rhodani", 2), ("a", "Baetis", 3), ("a", "Baetidae", 4), ("a", "Caenidae", 5)]
    )
    below = dict(zip(tally.taxa.index[tally.taxon], count_below(tally), strict=True))
    assert below == {"Baetis rhodani": 0, "Baetis": 2, "Baetidae": 5, "Caenidae": 0}


def test_taxa_that_name_each_other_as_parents_do_not_both_vanish() -> None:
    taxa = pd.DataFrame(
        {"rank": "family", "family": ["Two", "One"], "order": "", "group": ""}, index=["One", "Two"]
    )
    assert list_parents(taxa) == []


def test_only_taxa_of_one_order_are_counted_when_asked() -> None:
    tally = tally_of(
        [("a", "Baetis", 1), ("a", "Ephemeroptera", 1), ("a", "Perlidae", 1), ("b", "Elmidae", 1)]
    )
    assert count_taxa(tally, count_below(tally) == 0, order="Ephemeroptera").tolist() == [1, 0]


def test_intolerant_taxa_are_unknown_where_no_taxon_has_a_value_and_none_where_nothing_was_found() -> None:
    # Hilsenhoff 1988, from memory: Perlidae 1, Leuctridae 0, Baetidae 4; worms have no value.
    tally = tally_of(
        [
            ("a", "Perlidae", 9),
            ("a", "Leuctridae", 9),
            ("a", "Baetidae", 9),
            ("b", "Oligochaeta", 9),
            ("c", "Baetidae", 9),
            ("d", "Baetidae", 0),
        ]
    )
    found = count_intolerant(tally, count_below(tally) == 0)
    np.testing.assert_array_equal(found, [2, np.nan, 0, 0])


@given(
    st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from(sorted(ABOVE)), st.integers(0, 3)), min_size=1)
)
def test_richness_is_the_number_of_names_that_stand_above_no_other(rows: list[tuple[str, str, int]]) -> None:
    tally = tally_of(rows)
    found = count_taxa(tally, count_below(tally) == 0)
    for sample, number in zip(tally.samples, found, strict=True):
        present = {name for one, name, count in rows if one == sample and count > 0}
        parents = set().union(*(ABOVE[name] for name in present))
        assert number == len(present - parents)
