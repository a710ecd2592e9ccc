"""A user's own table is laid over ours, cell by cell, and says where it did."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
import pytest

from watershedmap.taxa import load_taxa, make_lookup, resolve
from watershedmap.taxa.lookup import default_lookup

TEXT = ("rank", "family", "order", "group", "common_name", "excluded", "source")


def make_own(*rows: dict[str, Any]) -> pd.DataFrame:
    own = pd.DataFrame(list(rows))
    for name in TEXT:
        own[name] = own[name].fillna("") if name in own else ""
    return own


def resolve_own(names: list[str], *rows: dict[str, Any], tolerance: str = "hilsenhoff_1988") -> pd.DataFrame:
    return resolve(names, lookup=make_lookup(make_own(*rows)), tolerance=tolerance).loc[names]


def test_a_given_cell_takes_the_place_of_ours_and_a_blank_one_leaves_it() -> None:
    row = resolve_own(["Perlidae"], {"taxon": "perlidae", "tolerance": 2.5, "bmwp": math.nan}).iloc[0]
    assert (row["taxon"], row["tolerance"], row["bmwp"], row["sensitivity"]) == ("Perlidae", 2.5, 10, 1)
    assert (row["order"], row["origin"]) == ("Plecoptera", "survey")
    assert row["tolerance_source"] == "the survey's own table of taxa"


def test_only_the_rows_of_the_table_are_marked_and_our_own_table_stays_as_it_was() -> None:
    before = load_taxa()
    found = resolve_own(["Perlidae", "Acroneuria", "Baetidae"], {"taxon": "Perlidae", "tolerance": 2.5})
    assert found["origin"].tolist() == ["survey", "built in", "built in"]
    pd.testing.assert_frame_equal(load_taxa(), before)
    assert resolve(["Perlidae"]).loc["Perlidae", "tolerance"] == 1


def test_a_value_for_a_family_passes_on_to_its_genera_and_says_where_it_is_from() -> None:
    own = {"taxon": "Perlidae", "tolerance": 2.5, "source": "taxa.csv, row 2"}
    row = resolve_own(["Acroneuria lycorias"], own).iloc[0]
    assert (row["tolerance"], row["tolerance_source"]) == (2.5, "taxa.csv, row 2; value of Perlidae")


def test_tolerance_stands_for_every_column_of_ours_and_a_named_column_for_itself() -> None:
    own = {"taxon": "Perlidae", "tolerance": 2.0, "rbp_northwest": 3.0}
    columns = ("hilsenhoff_1988", "rbp_northwest", "rbp_southeast")
    values = [resolve_own(["Perlidae"], own, tolerance=name).iloc[0]["tolerance"] for name in columns]
    assert values == [2.0, 3.0, 2.0]


def test_a_column_of_a_free_name_has_the_users_values_only() -> None:
    rows = (
        {"taxon": "Perlidae", "tolerance": 9.0, "valley": 4.0},
        {"taxon": "Baetis rhodani", "valley": 6.5},
    )
    names = ["Perlidae", "Acroneuria", "Baetis rhodani", "Baetis", "Elmidae"]
    found = resolve_own(names, *rows, tolerance="valley")
    assert found["tolerance"].fillna(-1).tolist() == [4.0, 4.0, 6.5, -1, -1]
    with pytest.raises(ValueError, match="valley"):
        resolve(["Perlidae"], tolerance="valley")
    lookup = make_lookup(make_own(*rows), tolerance="valley")
    assert resolve(["Perlidae"], lookup=lookup).iloc[0]["tolerance"] == 9.0


@pytest.mark.parametrize(
    ("own", "expected"),
    [
        ({"taxon": "Baetis novus"}, ("Baetis novus", "species", "Baetis", "Baetidae", "Ephemeroptera")),
        (
            {"taxon": "Novidae", "order": "Plecoptera"},
            ("Novidae", "family", "Plecoptera", "Novidae", "Plecoptera"),
        ),
        (
            {"taxon": "Novabaetis", "rank": "genus", "family": "Baetidae"},
            ("Novabaetis", "genus", "Baetidae", "Baetidae", "Ephemeroptera"),
        ),
        ({"taxon": "Mystery blob"}, ("Mystery blob", "species", "", "", "")),
        ({"taxon": "Blob"}, ("Blob", "unranked", "", "", "")),
    ],
)
def test_a_taxon_of_the_users_is_placed_by_its_row_and_its_name(
    own: dict[str, str], expected: tuple[str, ...]
) -> None:
    row = resolve_own([own["taxon"]], own).iloc[0]
    assert row["known"]
    assert tuple(row[["taxon", "rank", "parent", "family", "order"]]) == expected
    assert row["ept"] == (expected[-1] in {"Ephemeroptera", "Plecoptera"})
    if expected[-1]:
        assert row["group"] == "Insecta"


def test_a_species_of_the_users_own_genus_is_placed_by_it() -> None:
    rows = ({"taxon": "Novabaetis alpha"}, {"taxon": "Novabaetis", "rank": "genus", "family": "Baetidae"})
    found = resolve_own(["Novabaetis alpha", "Novabaetis beta"], *rows)
    assert found["family"].tolist() == ["Baetidae"] * 2
    assert found["parent"].tolist() == ["Novabaetis"] * 2
    assert found["tolerance"].tolist() == [4, 4]


def test_a_family_moved_by_the_user_brings_its_order_along() -> None:
    row = resolve_own(["Acroneuria"], {"taxon": "Acroneuria", "family": "Baetidae"}).iloc[0]
    assert (row["family"], row["order"], row["parent"], row["tolerance"]) == (
        "Baetidae",
        "Ephemeroptera",
        "Baetidae",
        4,
    )


def test_a_changed_name_that_the_table_lists_stays_a_taxon_with_values_of_the_accepted_one() -> None:
    found = resolve_own(["Tubificidae", "Tubifex"], {"taxon": "Tubificidae", "tolerance": 10.0})
    assert found["taxon"].tolist() == ["Tubificidae", "Tubifex"]
    row = found.loc["Tubificidae"]
    assert (row["tolerance"], row["bmwp"], row["bmwp_group"], row["order"]) == (
        10,
        1,
        "Oligochaeta",
        "Tubificida",
    )


def test_a_score_of_the_users_counts_under_its_family_or_under_the_group_of_ours() -> None:
    found = resolve_own(
        ["Dugesiidae", "Peltoperlidae"],
        {"taxon": "Dugesiidae", "bmwp": 6.0},
        {"taxon": "Peltoperlidae", "bmwp": 10.0},
    )
    assert found["bmwp"].tolist() == [6, 10]
    assert found["bmwp_group"].tolist() == ["Planariidae", "Peltoperlidae"]


def test_a_common_name_of_the_users_stands_before_ours() -> None:
    found = resolve_own(
        ["goldie", "Goldies", "scuds"],
        {"taxon": "Perlidae", "common_name": "goldie"},
        {"taxon": "Gammaridae", "common_name": "scud"},
    )
    assert found["taxon"].tolist() == ["Perlidae", "Perlidae", "Gammaridae"]


def test_a_taxon_that_the_user_leaves_out_says_why_and_takes_its_genera_along() -> None:
    found = resolve_own(
        ["Formicidae", "Hydra", "Hydra viridis"],
        {"taxon": "Formicidae", "excluded": "terrestrial"},
        {"taxon": "Hydridae", "excluded": "not sampled"},
    )
    assert found["taxon"].tolist() == ["Formicidae", "Hydra", "Hydra viridis"]
    assert found["excluded"].tolist() == ["terrestrial", "not sampled", "not sampled"]


def test_without_a_table_the_built_in_lookup_serves() -> None:
    assert make_lookup() is default_lookup()
    assert make_lookup(make_own({"taxon": "Perlidae"}).iloc[:0]) is default_lookup()
    assert make_lookup(tolerance="rbp_northwest") is default_lookup("rbp_northwest")


def test_a_table_written_from_ours_and_read_back_changes_nothing_but_the_mark() -> None:
    ours = load_taxa()[
        ["taxon", "rank", "family", "order", "group", "common_name", "excluded", "sensitivity", "bmwp"]
    ]
    own = ours[ours["rank"].isin(["family", "order"])].assign(source="copy")
    names = list(own["taxon"])
    changed = resolve(names, lookup=make_lookup(own))
    plain = resolve(names)
    columns = [
        "taxon",
        "rank",
        "family",
        "order",
        "group",
        "ept",
        "tolerance",
        "sensitivity",
        "bmwp",
        "bmwp_group",
    ]
    pd.testing.assert_frame_equal(changed[columns], plain[columns])
    assert set(changed["origin"]) == {"survey"}


@pytest.mark.parametrize("written", ["Baetis sp.", "Baetis spp. (larvae)", "Baetis Leach, 1815"])
def test_remarks_in_the_users_table_are_no_part_of_the_name(written: str) -> None:
    found = resolve_own(["Baetis", "Baetis rhodani"], {"taxon": written, "tolerance": 6.0})
    assert found["taxon"].tolist() == ["Baetis", "Baetis rhodani"]
    assert found["tolerance"].tolist() == [6, 6]


def test_a_coded_species_of_the_users_stays_apart_from_its_genus() -> None:
    found = resolve_own(["Baetis", "Baetis sp. A"], {"taxon": "Baetis sp. A", "tolerance": 6.0})
    assert found["tolerance"].tolist() == [4, 6]
    assert found["parent"].tolist() == ["Baetidae", "Baetis"]


def test_a_species_under_a_name_that_has_changed_still_finds_its_family() -> None:
    row = resolve_own(["Helmis maugei"], {"taxon": "Helmis maugei", "sensitivity": 2.0}).iloc[0]
    assert (row["taxon"], row["family"], row["parent"]) == ("Helmis maugei", "Elmidae", "Elmidae")
    assert (row["tolerance"], row["sensitivity"]) == (4, 2)


def test_sources_of_score_and_group_tell_the_users_values_from_ours() -> None:
    own = {"taxon": "Perlidae", "bmwp": 9.0, "sensitivity": 2.0, "source": "taxa.csv, row 2"}
    found = resolve_own(["Perlidae", "Acroneuria", "Baetidae"], own)
    assert found["bmwp_source"].tolist()[:2] == ["taxa.csv, row 2", "taxa.csv, row 2; value of Perlidae"]
    assert found["sensitivity_source"].iloc[0] == "taxa.csv, row 2"
    assert found.loc["Baetidae", "bmwp_source"] == resolve(["Baetidae"]).loc["Baetidae", "bmwp_source"]
    assert "Biological Monitoring Working Party" in found.loc["Baetidae", "bmwp_source"]
    assert "EPA 841-B-97-003" in found.loc["Baetidae", "sensitivity_source"]


def test_a_row_that_gives_only_a_tolerance_leaves_the_sources_of_the_other_values() -> None:
    row = resolve_own(["Perlidae"], {"taxon": "Perlidae", "tolerance": 2.0}).iloc[0]
    assert (row["bmwp_source"], row["sensitivity_source"]) == tuple(
        resolve(["Perlidae"]).loc["Perlidae", ["bmwp_source", "sensitivity_source"]]
    )


def test_names_joined_by_a_slash_have_the_sources_of_the_values_that_they_share() -> None:
    own = {"taxon": "Perlidae", "bmwp": 9.0, "source": "taxa.csv, row 2"}
    row = resolve_own(["Acroneuria/Paragnetina"], own).iloc[0]
    assert (row["bmwp"], row["bmwp_source"]) == (9, "taxa.csv, row 2; value of Perlidae")
    assert "EPA 841-B-97-003" in row["sensitivity_source"]


def test_what_is_left_out_has_no_sources_of_values() -> None:
    row = resolve_own(["Perlidae"], {"taxon": "Perlidae", "bmwp": 9.0, "excluded": "terrestrial"}).iloc[0]
    assert (row["bmwp_source"], row["sensitivity_source"]) == ("", "")
