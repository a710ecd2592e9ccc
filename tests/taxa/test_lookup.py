"""Names resolve to what they stand for; none is lost, and what is unknown says so."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.taxa import load_taxa, resolve
from watershedmap.taxa.lookup import RESOLVED_COLUMNS, build_lookup, find_taxon

REMARKS = ("", " sp.", " spp.", " Gen. sp.", " indet.", " Lv.", " (Ad.)", " larva/adult", " nymphs", " gr.")


def resolve_one(name: str) -> pd.Series:
    return resolve([name]).loc[name]


def test_one_row_for_each_written_name_sorted_with_the_columns_of_the_contract() -> None:
    found = resolve(["Perlidae", "Baetidae", "Perlidae", "baetidae"])
    assert list(found.index) == ["Baetidae", "Perlidae", "baetidae"]
    assert list(found.columns) == list(RESOLVED_COLUMNS)
    assert found["ept"].dtype == bool
    assert found["known"].dtype == bool
    assert found["tolerance"].dtype == float


def test_no_names_give_an_empty_table_with_all_columns() -> None:
    found = resolve([])
    assert found.empty
    assert list(found.columns) == list(RESOLVED_COLUMNS)


@pytest.mark.parametrize("remark", REMARKS)
@pytest.mark.parametrize("name", ["Elmidae", "elmidae", "ELMIDAE", "  Elmidae "])
def test_case_spaces_and_remarks_do_not_change_a_family(name: str, remark: str) -> None:
    row = resolve_one(f"{name}{remark}")
    assert (row["taxon"], row["rank"], row["family"], row["tolerance"]) == ("Elmidae", "family", "Elmidae", 4)


@pytest.mark.parametrize(
    "name",
    [
        "Baetis rhodani",
        "BAETIS RHODANI",
        "Baetis cf. rhodani",
        "Baetis gr. rhodani",
        "Baetis rhodani gr.",
        "Baetis (Rhodobaetis) rhodani (Pictet, 1843)",
        "Baetis rhodani Pictet, 1843",
        "Baetis_rhodani",
        "Baetis Rhodani",
    ],
)
def test_a_species_stays_a_species_and_finds_its_family_by_its_genus(name: str) -> None:
    row = resolve_one(name)
    assert (row["taxon"], row["rank"]) == ("Baetis rhodani", "species")
    assert (row["family"], row["order"], row["group"], row["ept"]) == (
        "Baetidae",
        "Ephemeroptera",
        "Insecta",
        True,
    )


def test_coded_species_stay_apart() -> None:
    found = resolve(["Baetis sp. A", "Baetis sp. B", "Baetis sp.1", "Baetis sp."])
    assert found["taxon"].to_dict() == {
        "Baetis sp.": "Baetis",
        "Baetis sp. A": "Baetis sp. A",
        "Baetis sp. B": "Baetis sp. B",
        "Baetis sp.1": "Baetis sp. 1",
    }
    assert set(found["family"]) == {"Baetidae"}


@pytest.mark.parametrize(
    ("old", "accepted"),
    [
        ("Pisidiidae", "Sphaeriidae"),
        ("Tubificidae", "Naididae"),
        ("Pteronarcidae", "Pteronarcyidae"),
        ("Ephemerella ignita", "Serratella ignita"),
        ("Dugesia tigrina", "Girardia tigrina"),
        ("Hydracarina", "Hydrachnidia"),
        ("Tendipes plumosus", "Chironomus plumosus"),
        ("Symphitopsyche bronta", "Ceratopsyche bronta"),
        ("Phasganophora capitata", "Agnetina capitata"),
        ("Mayfly nymphs", "Ephemeroptera"),
        ("Riffle beetles", "Elmidae"),
    ],
)
def test_a_changed_name_gives_the_accepted_one(old: str, accepted: str) -> None:
    changed, now = resolve_one(old), resolve_one(accepted)
    assert changed["known"]
    assert changed["taxon"] == now["taxon"] == accepted
    assert changed["family"] == now["family"]


@pytest.mark.parametrize(
    ("name", "rank", "order", "group", "ept"),
    [
        ("Ephemeroptera", "order", "Ephemeroptera", "Insecta", True),
        ("Plecoptera", "order", "Plecoptera", "Insecta", True),
        ("Trichoptera", "order", "Trichoptera", "Insecta", True),
        ("Diptera", "order", "Diptera", "Insecta", False),
        ("Zygoptera", "suborder", "Odonata", "Insecta", False),
        ("Anisoptera", "suborder", "Odonata", "Insecta", False),
        ("Oligochaeta", "subclass", "", "Oligochaeta", False),
        ("Hirudinea", "subclass", "", "Hirudinea", False),
        ("Nematoda", "phylum", "", "Nematoda", False),
        ("Acari", "subclass", "", "Arachnida", False),
        ("Hydrachnidia", "cohort", "Trombidiformes", "Arachnida", False),
        ("Tricladida", "order", "Tricladida", "Turbellaria", False),
        ("Gastropoda", "class", "", "Gastropoda", False),
        ("Bivalvia", "class", "", "Bivalvia", False),
        ("Ostracoda", "class", "", "Ostracoda", False),
        ("Copepoda", "class", "", "Copepoda", False),
        ("Cladocera", "order", "Cladocera", "Branchiopoda", False),
        ("Collembola", "class", "", "Collembola", False),
    ],
)
def test_higher_groups_are_known_without_family_or_tolerance(
    name: str, rank: str, order: str, group: str, *, ept: bool
) -> None:
    row = resolve_one(name)
    assert row["known"]
    assert (row["rank"], row["family"], row["order"], row["group"], row["ept"]) == (
        rank,
        "",
        order,
        group,
        ept,
    )
    assert math.isnan(row["tolerance"])


@pytest.mark.parametrize(
    ("name", "rank", "family"),
    [
        ("Tanypodinae", "subfamily", "Chironomidae"),
        ("Chironomini", "tribe", "Chironomidae"),
        ("Baetinae", "subfamily", "Baetidae"),
        ("Hydrophilini", "tribe", "Hydrophilidae"),
    ],
)
def test_a_subfamily_or_tribe_belongs_to_its_family_whether_listed_or_not(
    name: str, rank: str, family: str
) -> None:
    row = resolve_one(name)
    assert (row["taxon"], row["rank"], row["family"]) == (name, rank, family)


@pytest.mark.parametrize(
    "name",
    [
        "Chironomidae (blood-red)",
        "Chironomidae blood-red",
        "blood-red Chironomidae",
        "Blood red chironomidae larvae",
        "Bloodworms",
    ],
)
def test_blood_red_midges_are_a_taxon_of_their_own(name: str) -> None:
    row = resolve_one(name)
    assert (row["taxon"], row["family"], row["tolerance"]) == ("Chironomidae (blood-red)", "Chironomidae", 8)


def test_a_blood_red_genus_keeps_its_level_and_other_animals_do_not_turn_red() -> None:
    midge, worm = resolve_one("Chironomus sp. blood-red"), resolve_one("Tubificidae blood-red")
    assert (midge["taxon"], midge["rank"], midge["tolerance"]) == ("Chironomus (blood-red)", "genus", 8)
    assert not worm["known"]


def test_names_joined_by_a_slash_have_what_they_share() -> None:
    found = resolve(
        [
            "Bezzia/Palpomyia sp.",
            "Palpomyia / Bezzia",
            "Ephemeroptera/Plecoptera",
            "Nemouridae/Leuctridae",
            "Elmidae/Diptera",
            "Baetidae/Nonsensidae",
            "Baetis/baetis",
        ]
    )
    both = found.loc[["Bezzia/Palpomyia sp.", "Palpomyia / Bezzia"]]
    assert set(both["taxon"]) == {"Bezzia/Palpomyia"}
    assert set(both["family"]) == {"Ceratopogonidae"}
    orders = found.loc["Ephemeroptera/Plecoptera"]
    assert (orders["rank"], orders["order"], orders["ept"]) == ("order", "", True)
    assert math.isnan(found.loc["Nemouridae/Leuctridae", "tolerance"])
    assert found.loc["Elmidae/Diptera", "rank"] == "mixed"
    assert not found.loc["Baetidae/Nonsensidae", "known"]
    assert found.loc["Baetis/baetis", "taxon"] == "Baetis"


@pytest.mark.parametrize(
    ("name", "nearest"),
    [
        ("Batidae", "Baetidae"),
        ("Hydropsychidea", "Hydropsychidae"),
        ("Hironomidae", "Chironomidae"),
        ("Rhiacophila dorsalis", "Rhyacophila"),
    ],
)
def test_an_unknown_name_is_kept_and_the_nearest_spelling_comes_first(name: str, nearest: str) -> None:
    row = resolve_one(name)
    assert (row["taxon"], row["rank"], row["family"], row["known"]) == (name, "", "", False)
    suggestions = row["suggestions"].split(", ")
    assert suggestions[0] == nearest
    assert len(suggestions) <= 3


@pytest.mark.parametrize(
    ("name", "taxon"),
    [
        ("Trichoptera cases", "Trichoptera (empty case)"),
        ("Baetis eggs", "Baetis (eggs)"),
        ("Chironomidae exuviae", "Chironomidae (empty shell or cast skin)"),
        ("Snail shells", "Gastropoda (empty shell or cast skin)"),
    ],
)
def test_what_animals_leave_behind_is_a_taxon_apart_and_not_counted_as_the_animal(
    name: str, taxon: str
) -> None:
    row = resolve_one(name)
    assert (row["taxon"], row["known"], row["ept"]) == (taxon, True, False)
    assert row["excluded"] != ""
    assert math.isnan(row["tolerance"])


@pytest.mark.parametrize("name", ["Elmidae riparia", "Diptera and more", "Baetis a b c d", "Baetis 1x/2y z"])
def test_words_that_explain_nothing_leave_a_name_unknown(name: str) -> None:
    assert not resolve_one(name)["known"]


def test_hostile_text_is_only_an_unknown_name() -> None:
    names = ["<script>alert(1)</script>", "=1+1", "😀", "", " ", "sp.", "(((", "/", "//"]
    found = resolve(names)
    assert set(found.index) == set(names)
    assert not found["known"].any()
    assert found.loc["<script>alert(1)</script>", "taxon"] == "<script>alert(1)</script>"


def test_every_taxon_of_the_table_resolves_to_itself() -> None:
    taxa = load_taxa().set_index("taxon")
    found = resolve(taxa.index).loc[taxa.index]
    assert found["known"].all()
    assert list(found["taxon"]) == list(taxa.index)
    for column in ("rank", "parent", "family", "order", "group", "tolerance_source", "bmwp_group", "origin"):
        assert list(found[column]) == list(taxa[column])
    for column in ("tolerance", "sensitivity", "bmwp"):
        pd.testing.assert_series_equal(found[column], taxa[column], check_index_type=False, check_names=False)


WORDS = """
    Baetis Elmidae Diptera rhodani sp. A gr. ( ) larva/adult blood-red / Foo idae eggs Pictet, 1843 .
    Tendipes Physella heterostropha tigrina Dugesia
    stonefly gilled snails shell (terrestrial) empty case maker damaged snail - ,
"""
name_texts = st.one_of(
    st.text(max_size=30),
    st.lists(st.sampled_from(WORDS.split()), max_size=6).map(" ".join),
)


@given(name_texts)
def test_resolving_an_accepted_name_again_gives_the_same(name: str) -> None:
    once = resolve_one(name)
    twice = resolve_one(once["taxon"])
    columns = [
        "taxon",
        "rank",
        "family",
        "order",
        "group",
        "ept",
        "known",
        "excluded",
        "parent",
        "bmwp_group",
    ]
    assert list(twice[columns]) == list(once[columns])


@given(st.lists(name_texts, max_size=8))
def test_no_name_is_dropped_and_each_is_known_or_not_whatever_stands_beside_it(names: list[str]) -> None:
    found = resolve(names)
    assert list(found.index) == sorted(set(names))
    for name in set(names):
        assert found.loc[name, "taxon"] == resolve_one(name)["taxon"]


def test_a_later_row_of_a_table_takes_the_place_of_an_earlier_one() -> None:
    taxa = load_taxa()
    own = taxa[taxa["taxon"] == "Perlidae"].assign(hilsenhoff_1988=2.5, hilsenhoff_1988_source="our own list")
    synonyms = pd.DataFrame({"name": ["Goldies"], "accepted": ["Perlidae"]})
    lookup = build_lookup(pd.concat([taxa, own]), synonyms)
    assert find_taxon("goldies", lookup).tolerance == 2.5
    assert find_taxon("Perlidae", lookup).tolerance_source == "our own list"


def test_a_changed_genus_leads_on_to_a_species_that_has_moved() -> None:
    synonyms = pd.DataFrame(
        {"name": ["Oldbaetis", "Baetis niger"], "accepted": ["Baetis", "Nigrobaetis niger"]}
    )
    lookup = build_lookup(load_taxa(), synonyms)
    assert find_taxon("Oldbaetis niger", lookup).taxon == "Nigrobaetis niger"
    assert find_taxon("Oldbaetis vernus", lookup).taxon == "Baetis vernus"
