"""The built-in tables agree with one another, and each row says where it comes from."""

from __future__ import annotations

import pytest

from watershedmap.taxa import load_taxa
from watershedmap.taxa.lookup import default_lookup, find_taxon
from watershedmap.taxa.names import make_key
from watershedmap.taxa.tables import TAXA_COLUMNS, _read, load_synonyms


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


@pytest.mark.parametrize("table", ["families", "higher", "genera", "synonyms"])
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
