"""Common names of field keys resolve to the right rank, in the singular and the plural."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.taxa import resolve
from watershedmap.taxa.common import find_common, form_plurals, index_common_names
from watershedmap.taxa.lookup import _list_common

FIELD_KEY = [
    ("stonefly", "stoneflies", "Plecoptera", "order"),
    ("mayfly", "mayflies", "Ephemeroptera", "order"),
    ("caddisfly", "caddisflies", "Trichoptera", "order"),
    ("water penny", "water pennies", "Psephenidae", "family"),
    ("riffle beetle", "riffle beetles", "Elmidae", "family"),
    ("scud", "scuds", "Amphipoda", "order"),
    ("sowbug", "sow bugs", "Isopoda", "order"),
    ("crayfish", "crayfishes", "Decapoda", "order"),
    ("crane fly", "craneflies", "Tipulidae", "family"),
    ("black fly", "blackflies", "Simuliidae", "family"),
    ("midge", "midges", "Chironomidae", "family"),
    ("dobsonfly", "dobsonflies", "Corydalinae", "subfamily"),
    ("hellgrammite", "hellgrammites", "Corydalinae", "subfamily"),
    ("fishfly", "fishflies", "Chauliodinae", "subfamily"),
    ("alderfly", "alderflies", "Sialidae", "family"),
    ("dragonfly", "dragonflies", "Anisoptera", "suborder"),
    ("damselfly", "damselflies", "Zygoptera", "suborder"),
    ("net-spinning caddisfly", "net spinning caddisflies", "Hydropsychidae", "family"),
    ("case-making caddisfly", "case making caddisflies", "Trichoptera", "order"),
    ("gilled snail", "gilled snails", "Prosobranchia", "subclass"),
    ("pouch snail", "pouch snails", "Physidae", "family"),
    ("leech", "leeches", "Hirudinea", "subclass"),
    ("aquatic worm", "aquatic worms", "Oligochaeta", "subclass"),
    ("planarian", "planarians", "Tricladida", "order"),
    ("flatworm", "flatworms", "Turbellaria", "class"),
    ("water strider", "water striders", "Gerridae", "family"),
    ("water boatman", "water boatmen", "Corixidae", "family"),
    ("water louse", "water lice", "Asellidae", "family"),
    ("watersnipe fly", "water snipe flies", "Athericidae", "family"),
    ("mosquito", "mosquitoes", "Culicidae", "family"),
    ("clam", "clams", "Bivalvia", "class"),
    ("water mite", "water mites", "Hydrachnidia", "cohort"),
    ("zebra mussel", "zebra mussels", "Dreissena polymorpha", "species"),
]


@pytest.mark.parametrize(("singular", "plural", "taxon", "rank"), FIELD_KEY)
def test_a_common_name_stands_for_the_taxon_of_its_rank(
    singular: str, plural: str, taxon: str, rank: str
) -> None:
    names = [
        singular,
        plural,
        singular.title(),
        plural.upper(),
        f"{singular} larva",
        singular.replace(" ", "-"),
    ]
    found = resolve(names)
    assert set(found["taxon"]) == {taxon}
    assert set(found["rank"]) == {rank}


@pytest.mark.parametrize(
    ("written", "taxon"),
    [
        ("Snail (gilled)", "Prosobranchia"),
        ("Snails, pouch", "Physidae"),
        ("Beetle, riffle", "Elmidae"),
        ("Caddisfly (net-spinning)", "Hydropsychidae"),
    ],
)
def test_the_kind_may_stand_before_what_tells_it_apart(written: str, taxon: str) -> None:
    assert resolve([written]).loc[written, "taxon"] == taxon


def test_a_misspelt_common_name_is_unknown_with_the_nearest_one() -> None:
    row = resolve(["Stonfly"]).iloc[0]
    assert not row["known"]
    assert row["suggestions"].startswith("Stonefly")


@pytest.mark.parametrize(
    ("name", "plurals"),
    [
        ("mayfly", ("mayflies",)),
        ("leech", ("leeches",)),
        ("water louse", ("water lice",)),
        ("water boatman", ("water boatmen",)),
        ("mosquito", ("mosquitoes",)),
        ("crayfish", ("crayfish", "crayfishes")),
        ("water measurer", ("water measurers",)),
    ],
)
def test_plurals_follow_english_spelling(name: str, plurals: tuple[str, ...]) -> None:
    assert form_plurals(name) == plurals


def test_of_equal_names_the_later_counts_and_strangers_are_not_found() -> None:
    names = index_common_names([("red bug", "Acari"), ("Red-bug", "Trombidiformes")])
    assert find_common("redbugs", names) == "Trombidiformes"
    assert find_common("bug red", names) == "Trombidiformes"
    assert find_common("bug", names) is None


@given(
    st.sampled_from(_list_common()),
    st.sampled_from(["singular", "plural"]),
    st.sampled_from(["", " larvae", " (adult)"]),
)
def test_every_common_name_is_known_as_it_stands_and_in_the_plural(
    pair: tuple[str, str],
    number: str,
    remark: str,
) -> None:
    name = form_plurals(pair[0])[0] if number == "plural" else pair[0]
    row = resolve([f"{name}{remark}"]).iloc[0]
    assert (row["taxon"], row["excluded"]) == (pair[1], "")
