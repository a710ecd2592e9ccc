"""The built-in tables agree with one another, and each row says where it comes from."""

from __future__ import annotations

import pytest

from watershedmap import settings
from watershedmap.taxa import load_taxa
from watershedmap.taxa.lookup import default_lookup, find_taxon
from watershedmap.taxa.names import make_key
from watershedmap.taxa.tables import (
    TAXA_COLUMNS,
    TOLERANCES,
    _read,
    load_common_names,
    load_synonyms,
    tolerance_columns,
)


def test_the_list_of_taxa_has_its_columns_and_each_name_once() -> None:
    taxa = load_taxa()
    assert tuple(taxa.columns) == TAXA_COLUMNS
    assert taxa["taxon"].is_monotonic_increasing
    assert taxa["taxon"].map(make_key).is_unique


def test_the_caller_may_change_the_lists_without_spoiling_ours() -> None:
    taxa, synonyms = load_taxa(), load_synonyms()
    taxa["rank"] = "spoilt"
    synonyms["accepted"] = "spoilt"
    assert "spoilt" not in set(load_taxa()["rank"])
    assert "spoilt" not in set(load_synonyms()["accepted"])


TABLES = ["families", "higher", "genera", "synonyms", "common_names", "rbp_1999", "bmwp", "sensitivity"]


@pytest.mark.parametrize("table", TABLES)
def test_each_row_has_a_source_and_rows_are_sorted(table: str) -> None:
    frame = _read(table)
    assert (frame["source"] != "").all()
    assert frame.iloc[:, 0].is_monotonic_increasing


def test_families_and_genera_have_a_group_and_a_listed_family() -> None:
    taxa = load_taxa()
    families = set(taxa.loc[taxa["rank"] == "family", "taxon"])
    assert (taxa["group"] != "").all()
    assert set(taxa.loc[taxa["rank"] == "genus", "family"]) <= families
    assert (taxa.loc[taxa["rank"] == "family", "family"] != "").all()


def test_a_tolerance_value_always_has_a_source_and_lies_between_0_and_10() -> None:
    taxa = load_taxa()
    valued = taxa[taxa["tolerance"].notna()]
    assert valued["tolerance"].between(0, 10).all()
    assert valued["tolerance_source"].str.startswith("Hilsenhoff 1988").all()
    for column, low, high in [
        *((name, 0, 10) for name in TOLERANCES),
        ("bmwp", 1, 10),
        ("sensitivity", 1, 3),
    ]:
        given = taxa[taxa[column].notna()]
        assert len(given) > 0
        assert given[column].between(low, high).all()
        assert (given[f"{column}_source"] != "").all()
    without = taxa[taxa["tolerance"].isna() & (taxa["tolerance_source"] != "")]
    assert without["tolerance_source"].str.startswith("no value: ").all()


def test_synonyms_lead_to_known_taxa_and_shadow_none() -> None:
    lookup = default_lookup()
    synonyms = load_synonyms()
    assert synonyms["name"].map(make_key).is_unique
    assert not set(synonyms["name"].map(make_key)) & set(lookup.taxa)
    for name, accepted in zip(synonyms["name"], synonyms["accepted"], strict=True):
        found = find_taxon(name, lookup)
        assert found.rank, name
        assert found.taxon == accepted
        assert find_taxon(accepted, lookup) == found


@pytest.mark.parametrize("table", ["rbp_1999", "bmwp", "sensitivity"])
def test_each_value_is_for_a_listed_taxon_once(table: str) -> None:
    taxon = _read(table)["taxon"]
    assert taxon.is_unique
    assert set(taxon) <= set(load_taxa()["taxon"])


def test_every_parent_is_listed_and_the_way_up_ends() -> None:
    parents = load_taxa().set_index("taxon")["parent"].to_dict()
    assert {parent for parent in parents.values() if parent} <= set(parents)
    for name in parents:
        above = [name]
        while parents[above[-1]]:
            above.append(parents[above[-1]])
            assert len(above) < 12, above
    assert {name for name, parent in parents.items() if not parent} == {
        *("Annelida", "Arthropoda", "Bryozoa", "Cnidaria", "Mollusca", "Nematoda"),
        *("Nematomorpha", "Nemertea", "Platyhelminthes", "Porifera", "Rotifera", "Tardigrada"),
    }


def test_common_names_shadow_no_name_of_the_trade_and_stand_for_one_taxon_each() -> None:
    table, lookup = load_common_names(), default_lookup()
    names = [
        name
        for first, others in zip(table["common_name"], table["other_names"], strict=True)
        for name in (first, *others.split("; "))
        if name
    ]
    keys = [make_key(name) for name in names]
    assert len(set(keys)) == len(keys)
    assert not set(keys) & (lookup.taxa.keys() | lookup.accepted.keys())
    assert (load_taxa()["common_name"] != "").sum() == len(table) - 1  # the zebra mussel is a species


def test_the_settings_name_the_same_columns_of_tolerance_values() -> None:
    assert tuple(TOLERANCES) == settings.TOLERANCES
    assert tolerance_columns(load_taxa()) == list(TOLERANCES)
