"""The tables of taxa against the lists they are taken from.

Barbour M.T., Gerritsen J., Snyder B.D., Stribling J.B. 1999, Rapid Bioassessment Protocols for Use in Streams
and Wadeable Rivers, EPA 841-B-99-002, Appendix B: the figures below as printed there, for its rows above the
genus and a few genera. The scores of the Biological Monitoring Working Party (1978; Armitage and others 1983,
Water Research 17:333-347) and the three groups of Volunteer Stream Monitoring, EPA 841-B-97-003, section 4.2,
are from memory. Hilsenhoff 1988 has a file of its own, `test_scoring_hilsenhoff.py`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd
import pytest

from watershedmap.taxa import load_taxa, resolve

if TYPE_CHECKING:
    from pathlib import Path

COLUMNS = ("rbp_southeast", "rbp_upper_midwest", "rbp_midwest", "rbp_northwest", "rbp_midatlantic")

# Barbour et al. 1999, Appendix B, pages B-5 to B-50: rows with a value in the column of the Northwest only.
NORTHWEST_ONLY = {
    0: "Corydalidae Uenoidae Glossosomatidae Rhyacophilidae Leuctridae Blephariceridae",
    1: "Planariidae Ephemerellidae Brachycentridae Goerinae Chloroperlidae Gomphidae",
    2: "Polymitarcidae Leptophlebiidae Nemouridae Peltoperlidae Taeniopterygidae",
    3: "Helicopsychidae Lepidostomatidae Aeshnidae Tipulidae Pelecorhynchidae",
    4: "Turbellaria Tricladida Amphipoda Ephemeridae Heptageniidae Tricorythidae Carabidae Elmidae"
    " Psephenidae Hydroptilidae Leptoceridae",
    5: "Nematoda Oligochaeta Dytiscidae Gyrinidae Hydraenidae Hydrophilidae Pyralidae Gerridae"
    " Naucoridae Orthocladiinae",
    6: "Ancylidae Viviparidae Branchiobdellidae Lepidoptera Chironomidae Chironominae Simuliidae"
    " Ephydridae Muscidae Sciomyzidae",
    7: "Gastropoda Planorbidae Hirudinidae Caenidae Siphlonuridae Haliplidae Diptera Tanypodinae"
    " Ptychopteridae",
    8: "Nemertea Unionidae Pisidiidae Physidae Lumbricina Erpobdellidae Glossiphoniidae Hygrobatidae"
    " Lebertiidae Piersigiidae Sperchonidae Crustacea Decapoda Hyalella Talitridae Isopoda Copepoda"
    " Ostracoda Cladocera Staphylinidae Culicidae Stratiomyidae Tabanidae Hymenoptera",
    9: "Lestes",
    10: "Hirudinea Collembola Saldidae Psychodidae Syrphidae",
}

# The same, rows with other columns: Southeast, Upper Midwest, Midwest, Northwest, Mid-Atlantic.
SEVERAL = {
    "Sphaeriidae": (None, None, None, 8, 8),
    "Lymnaeidae": (None, None, 6.9, 6, 6),
    "Hydrobiidae": (None, None, 7, None, None),
    "Glossoscolecidae": (None, None, None, None, 10),
    "Lumbricidae": (None, None, None, None, 10),
    "Enchytraeidae": (10, None, None, 10, 10),
    "Tubificidae": (None, None, None, 10, 10),
    "Lumbriculidae": (7.3, None, None, 8, None),
    "Astacidae": (7.2, None, None, 8, None),
    "Cambaridae": (None, None, None, None, 6),
    "Asellus": (9.4, 8, None, 8, None),
    "Caecidotea": (None, None, None, 8, 6),
    "Baetidae": (None, None, None, 4, 4),
    "Isonychia": (3.8, 2, 1.9, None, 2),
    "Sialis": (7.4, 4, 4.9, 4, 4),
    "Hydropsychidae": (None, None, None, 4, 4),
    "Limnephilidae": (None, None, None, 4, 4),
    "Philopotamidae": (None, None, None, 3, 3),
    "Corixidae": (9, None, None, 10, 5),
    "Capniidae": (None, None, None, 1, 1),
    "Pteronarcys": (1.7, None, 2.2, 0, None),
    "Perlidae": (None, None, None, 1, 1),
    "Perlodidae": (None, None, None, 2, 2),
    "Cordulegaster": (6.1, 3, None, 0, 3),
    "Corduliidae": (None, None, None, 2, 5),
    "Libellulidae": (None, None, None, 9, 9),
    "Calopterygidae": (None, None, None, None, 5),
    "Coenagrionidae": (None, None, 6.1, 9, 9),
    "Ceratopogonidae": (None, None, 5.7, 6, None),
    "Chironomus": (9.8, 10, 8.1, 10, 10),
    "Dixidae": (None, None, None, 1, 1),
    "Atherix": (None, None, None, 2, 2),
    "Dolichopodidae": (9.7, 4, None, 4, None),
    "Empididae": (8.1, 6, 3.5, 6, None),
}

# The same, families listed there without any value; Naididae is left out, since it now holds Tubificidae.
WITHOUT_VALUE = """
    Spongillidae Thiaridae Valvatidae Gammaridae Asellidae Baetiscidae Metretopodidae Isonychiidae Noteridae
    Chrysomelidae Curculionidae Dryopidae Sialidae Calamoceratidae Molannidae Odontoceridae Phryganeidae
    Polycentropodidae Psychomyiidae Sericostomatidae Belostomatidae Gelastocoridae Mesoveliidae Nepidae
    Notonectidae Pleidae Veliidae Pteronarcidae Cordulegastridae Chaoboridae Deuterophlebiidae Thaumaleidae
    Canaceidae
"""

# Biological Monitoring Working Party, from memory; names as in the list, what is scored together after "+".
BMWP = {
    10: "Siphlonuridae Heptageniidae Leptophlebiidae Ephemerellidae Potamanthidae Ephemeridae Taeniopterygidae"
    " Leuctridae Capniidae Perlodidae Perlidae Chloroperlidae Aphelocheiridae Phryganeidae Molannidae Beraeidae"
    " Odontoceridae Leptoceridae Goeridae Lepidostomatidae Brachycentridae Sericostomatidae",
    8: "Astacidae Lestidae Agriidae Gomphidae Cordulegasteridae Aeshnidae Corduliidae Libellulidae"
    " Psychomyiidae+Ecnomidae Philopotamidae",
    7: "Caenidae Nemouridae Rhyacophilidae+Glossosomatidae Polycentropodidae Limnephilidae",
    6: "Neritidae Viviparidae Ancylidae+Acroloxidae Hydroptilidae Unionidae Corophiidae"
    " Gammaridae+Crangonyctidae Platycnemididae Coenagrionidae",
    5: "Mesoveliidae Hydrometridae Gerridae Nepidae Naucoridae Notonectidae Pleidae Corixidae Haliplidae"
    " Hygrobiidae Dytiscidae+Noteridae Gyrinidae Hydrophilidae+Hydraenidae Clambidae Scirtidae Dryopidae"
    " Elmidae Hydropsychidae Tipulidae Simuliidae Planariidae+Dugesiidae Dendrocoelidae",
    4: "Baetidae Sialidae Piscicolidae",
    3: "Valvatidae Hydrobiidae+Bithyniidae Lymnaeidae Physidae Planorbidae Sphaeriidae Glossiphoniidae"
    " Hirudinidae Erpobdellidae Asellidae",
    2: "Chironomidae",
    1: "Oligochaeta+Naididae+Tubificidae+Lumbriculidae+Enchytraeidae+Haplotaxidae+Lumbricidae+Tubificida",
}
# The three groups of EPA 841-B-97-003, section 4.2, from memory.
STREAMSIDE = {
    1: "stonefly caddisfly water_penny riffle_beetle mayfly gilled_snail dobsonfly",
    2: "crayfish sowbug scud alderfly fishfly damselfly watersnipe_fly crane_fly beetle_larva dragonfly clam",
    3: "aquatic_worm midge blackfly leech pouch_snail snail",
}
# Names that have changed since the lists were printed; common knowledge of the trade, from memory.
CHANGED = {
    "Tubificidae": "Naididae",
    "Pisidiidae": "Sphaeriidae",
    "Helodidae": "Scirtidae",
    "Pteronarcidae": "Pteronarcyidae",
    "Polymitarcidae": "Polymitarcyidae",
    "Sperchonidae": "Sperchontidae",
    "Canaceidae": "Canacidae",
    "Agriidae": "Calopterygidae",
}


def printed() -> dict[str, tuple[float | None, ...]]:
    only = {
        name: (None, None, None, value, None)
        for value, names in NORTHWEST_ONLY.items()
        for name in names.split()
    }
    return {**only, **SEVERAL}


def listed(names: str) -> list[str]:
    return [name.replace("_", " ") for name in names.split()]


@pytest.mark.parametrize("column", COLUMNS)
def test_appendix_b_gives_the_values_that_are_printed_and_their_page(column: str) -> None:
    place = COLUMNS.index(column)
    values = {name: row[place] for name, row in printed().items() if row[place] is not None}
    values.pop("Pisidiidae", None)  # Sphaeriidae has a row of its own; the two agree where both have a value
    found = resolve(values, tolerance=column)
    assert found["tolerance"].to_dict() == values
    source = (
        r"Barbour et al. 1999, EPA 841-B-99-002, Appendix B, p. B-\d+(, as \w+(, which Naididae now holds)?)?"
    )
    assert found["tolerance_source"].str.fullmatch(source).all()


@pytest.mark.parametrize("column", COLUMNS)
def test_a_row_that_is_printed_without_a_value_has_none_of_its_own(column: str) -> None:
    place = COLUMNS.index(column)
    names = [name for name, row in printed().items() if row[place] is None] + WITHOUT_VALUE.split()
    names = sorted(set(names) - {"Pisidiidae"})
    found = resolve(names, tolerance=column)
    assert found["known"].all()
    # a genus, subfamily or split family may have the value of the family above it, and says so
    taken = found[found["tolerance"].notna()]
    assert taken["tolerance_source"].str.contains("; value of ").all()
    assert not (taken["rank"] == "family").any()


def test_pages_are_those_of_the_appendix() -> None:
    pages = {"Nematoda": 5, "Tubificidae": 9, "Baetidae": 14, "Elmidae": 22, "Perlidae": 35, "Tabanidae": 49}
    found = resolve(pages, tolerance="rbp_northwest")["tolerance_source"]
    assert found.str.extract(r"p\. B-(\d+)")[0].astype(int).to_dict() == pages


@pytest.mark.parametrize(
    ("family", "of_1988", "column", "of_1999"),
    [
        ("Tabanidae", 6, "rbp_northwest", 8),
        ("Lepidostomatidae", 1, "rbp_northwest", 3),
        ("Corduliidae", 5, "rbp_northwest", 2),
        ("Corduliidae", 5, "rbp_midatlantic", 5),
        ("Coenagrionidae", 9, "rbp_midwest", 6.1),
        ("Dolichopodidae", 4, "rbp_southeast", 9.7),
        ("Empididae", 6, "rbp_midwest", 3.5),
        ("Perlidae", 1, "rbp_midatlantic", 1),
        ("Baetidae", 4, "rbp_northwest", 4),
    ],
)
def test_where_the_lists_differ_each_keeps_its_own_value(
    family: str, of_1988: float, column: str, of_1999: float
) -> None:
    row = load_taxa().set_index("taxon").loc[family]
    assert (row["hilsenhoff_1988"], row[column]) == (of_1988, of_1999)


def test_worms_and_leeches_have_values_in_appendix_b_and_none_in_1988() -> None:
    names = ["Oligochaeta", "Tubificidae", "Hirudinea", "Erpobdellidae"]
    assert resolve(names)["tolerance"].isna().all()
    found = resolve(names, tolerance="rbp_northwest").loc[names, "tolerance"]
    assert found.tolist() == [5, 10, 10, 8]


@pytest.mark.parametrize("score", BMWP)
def test_a_family_has_its_score_and_counts_with_those_it_is_scored_together_with(score: int) -> None:
    for names in BMWP[score].split():
        found = resolve(names.split("+"))
        assert set(found["bmwp"]) == {score}, names
        assert len(set(found["bmwp_group"])) == 1, names


def test_no_family_outside_the_list_has_a_score() -> None:
    scored = load_taxa().query("rank == 'family' and bmwp.notna()")
    named = {name for names in BMWP.values() for group in names.split() for name in group.split("+")}
    groups = {*resolve(named)["bmwp_group"]}
    assert set(scored["bmwp_group"]) == groups
    assert len(groups) == sum(len(names.split()) for names in BMWP.values())
    none = resolve(
        ["Athericidae", "Tabanidae", "Pteronarcyidae", "Cambaridae", "Nematoda", "Branchiobdellidae"]
    )
    assert none["bmwp"].isna().all()


def test_limpets_score_as_they_did_before_they_were_put_among_the_ram_s_horn_snails() -> None:
    found = resolve(["Ancylus fluviatilis", "Ancylidae", "Ferrissia", "Acroloxidae", "Planorbis"])
    assert found["bmwp"].to_dict() == {
        "Acroloxidae": 6,
        "Ancylidae": 6,
        "Ancylus fluviatilis": 6,
        "Ferrissia": 6,
        "Planorbis": 3,
    }
    assert found.loc["Ancylus fluviatilis", "family"] == "Planorbidae"


def test_worked_sample_of_eight_groups_scores_43_constructed() -> None:
    names = [
        "Ecdyonurus",
        "Leuctra",
        "Baetis",
        "Gammarus",
        "Hydropsyche",
        "Simulium",
        "Tanypodinae",
        "Tubifex",
        "Nais",
    ]
    once = resolve(names).drop_duplicates("bmwp_group")
    assert once["bmwp"].sum() == 43
    assert once["bmwp"].mean() == 5.375


@pytest.mark.parametrize("group", STREAMSIDE)
def test_the_kinds_of_the_streamside_rating_have_their_group(group: int) -> None:
    found = resolve(listed(STREAMSIDE[group]))
    assert found["sensitivity"].tolist() == [group] * len(found)


def test_families_and_genera_have_the_streamside_group_of_their_kind() -> None:
    kinds = {
        1: "Acroneuria Hydropsychidae Baetis_rhodani Psephenus Stenelmis Elimia",
        2: "Orconectes Gammarus Caecidotea Sialis Nigronia Argia Aeshna Antocha Atherix Dytiscidae Corbicula",
        3: "Tubifex Chironomus Simulium Erpobdella Physella Lymnaea Ferrissia",
    }
    expected = {name: group for group, names in kinds.items() for name in listed(names)}
    assert resolve(expected)["sensitivity"].to_dict() == expected
    none = resolve(["Tabanidae", "Corixidae", "Tricladida", "Nematoda", "Palaemonetes"])
    assert none["sensitivity"].isna().all()


@pytest.mark.parametrize(("old", "now"), CHANGED.items())
def test_names_of_the_printed_lists_lead_to_the_names_of_today(old: str, now: str) -> None:
    assert resolve([old]).iloc[0]["taxon"] == now


@pytest.mark.parametrize(
    ("family", "former", "column", "value"),
    [
        ("Hyalellidae", "Talitridae", "rbp_northwest", 8),
        ("Leptohyphidae", "Tricorythidae", "rbp_northwest", 4),
        ("Crambidae", "Pyralidae", "rbp_northwest", 5),
        ("Goeridae", "Goerinae", "rbp_northwest", 1),
        ("Thremmatidae", "Uenoidae", "rbp_northwest", 0),
        ("Limoniidae", "Tipulidae", "rbp_northwest", 3),
        ("Hybotidae", "Empididae", "rbp_southeast", 8.1),
        ("Isonychiidae", "Oligoneuriidae", "hilsenhoff_1988", 2),
    ],
)
def test_a_family_split_off_since_keeps_the_value_of_the_one_that_held_it(
    family: str, former: str, column: str, value: float
) -> None:
    row = resolve([family], tolerance=column).iloc[0]
    assert row["tolerance"] == value
    assert f"as {former}" in row["tolerance_source"]


def test_ameletidae_have_no_value_of_1988_though_they_were_then_siphlonuridae() -> None:
    assert math.isnan(resolve(["Ameletus"]).iloc[0]["tolerance"])
    assert resolve(["Ameletidae"]).iloc[0]["bmwp_group"] == "Siphlonuridae"


@pytest.mark.opendata
@pytest.mark.parametrize(
    ("path", "column", "names"),
    [("mill_river/macros.csv", "scientificName", 238), ("uk_383/counts.csv", "taxon", 186)],
)
def test_every_name_of_the_open_data_resolves(opendata: Path, path: str, column: str, names: int) -> None:
    found = resolve(pd.read_csv(opendata / "benthic" / path)[column])
    assert len(found) == names
    assert found.index[~found["known"]].tolist() == []
    assert (found["excluded"] == "").all()
