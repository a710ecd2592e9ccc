"""The family biotic index against its source.

Hilsenhoff W.L. 1988, Rapid field assessment of organic pollution with a family-level biotic index, Journal of
the North American Benthological Society 7(1):65-68. Its tolerance values, class limits and wording are from
memory; only its abstract was at hand. The worked samples are constructed for this test; their arithmetic is
exact.
"""

from __future__ import annotations

import math

import pandas as pd
import pytest

from watershedmap.scoring.classes import classify
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX, family_biotic_index
from watershedmap.taxa import load_taxa, make_lookup, resolve

# Hilsenhoff 1988, table of tolerance values of families of stream arthropods, from memory. 69 values.
VALUES_1988 = {
    0: "Leuctridae Pteronarcyidae Glossosomatidae Odontoceridae Rhyacophilidae Corydalidae Blephariceridae",
    1: "Capniidae Chloroperlidae Perlidae Ephemerellidae Gomphidae Brachycentridae Lepidostomatidae",
    2: "Nemouridae Perlodidae Taeniopterygidae Leptophlebiidae Metretopodidae Oligoneuriidae Polymitarcyidae"
    " Psychomyiidae Athericidae",
    3: "Baetiscidae Aeshnidae Cordulegastridae Macromiidae Helicopsychidae Philopotamidae Sericostomatidae"
    " Tipulidae",
    4: "Baetidae Ephemeridae Heptageniidae Potamanthidae Tricorythidae Hydropsychidae Hydroptilidae"
    " Leptoceridae Limnephilidae Phryganeidae Sialidae Elmidae Psephenidae Dolichopodidae Gammaridae",
    5: "Calopterygidae Corduliidae Pyralidae Dryopidae",
    6: "Molannidae Polycentropodidae Ceratopogonidae Chironomidae Empididae Ephydridae Muscidae Simuliidae"
    " Tabanidae",
    7: "Caenidae Siphlonuridae",
    8: "Chironomidae_(blood-red) Talitridae Asellidae",
    9: "Coenagrionidae Lestidae Libellulidae",
    10: "Psychodidae Syrphidae",
}
# Families named otherwise in 1988: the value of the family that then held them (rule of this package).
SPLIT_SINCE = {
    "Isonychiidae": "Oligoneuriidae",
    "Leptohyphidae": "Tricorythidae",
    "Arthropleidae": "Heptageniidae",
    "Pseudironidae": "Heptageniidae",
    "Hyalellidae": "Talitridae",
    "Crambidae": "Pyralidae",
    "Limoniidae": "Tipulidae",
    "Pediciidae": "Tipulidae",
    "Cylindrotomidae": "Tipulidae",
    "Hybotidae": "Empididae",
    "Brachystomatidae": "Empididae",
    "Apataniidae": "Limnephilidae",
    "Goeridae": "Limnephilidae",
    "Rossianidae": "Limnephilidae",
    "Thremmatidae": "Limnephilidae",
    "Uenoidae": "Limnephilidae",
    "Dipseudopsidae": "Polycentropodidae",
}
MIXED = [
    ("Perlidae", 10),
    ("Heptageniidae", 20),
    ("Hydropsychidae", 30),
    ("Elmidae", 10),
    ("Chironomidae", 20),
    ("Asellidae", 10),
]


def values_1988() -> dict[str, float]:
    return {name.replace("_", " "): value for value, names in VALUES_1988.items() for name in names.split()}


def score(rows: list[tuple[str, int]]) -> pd.Series:
    counts = pd.DataFrame(rows, columns=["taxon", "count"]).assign(sample_id="one")
    return family_biotic_index(counts, resolve(counts["taxon"])).loc["one"]


def class_of(value: float) -> str:
    return str(classify(pd.Series([value]), FAMILY_BIOTIC_INDEX).iloc[0])


def test_the_69_values_of_1988_are_held_and_no_others() -> None:
    expected = values_1988()
    assert len(expected) == 69
    taxa = load_taxa()
    families = taxa[(taxa["rank"] == "family") & taxa["tolerance"].notna()].set_index("taxon")
    assert families["tolerance"].to_dict() == expected | {
        new: expected[old] for new, old in SPLIT_SINCE.items()
    }


@pytest.mark.parametrize(("family", "former"), SPLIT_SINCE.items())
def test_a_family_split_since_1988_names_the_one_that_held_it(family: str, former: str) -> None:
    row = resolve([family]).iloc[0]
    assert row["tolerance"] == values_1988()[former]
    assert f"as {former}" in row["tolerance_source"]


@pytest.mark.parametrize(
    "name",
    ["Tubificidae", "Oligochaeta", "Erpobdellidae", "Physidae", "Sphaeriidae", "Planariidae", "Nematoda"],
)
def test_animals_that_are_no_arthropods_have_no_value_of_1988(name: str) -> None:
    row = resolve([name]).iloc[0]
    assert row["known"]
    assert math.isnan(row["tolerance"])


@pytest.mark.parametrize(
    "name", ["Dytiscidae", "Gyrinidae", "Haliplidae", "Corixidae", "Ameletidae", "Peltoperlidae"]
)
def test_arthropods_that_the_table_of_1988_leaves_out_are_known_without_a_value(name: str) -> None:
    row = resolve([name]).iloc[0]
    assert row["known"]
    assert math.isnan(row["tolerance"])


def test_worked_sample_of_100_animals_constructed() -> None:
    found = score(MIXED)
    assert found["score"] == 4.5
    assert found["scored_individuals"] == 100
    assert class_of(found["score"]) == "Good"


def test_fifty_more_tubificidae_leave_the_index_of_1988_unchanged_constructed() -> None:
    found = score([*MIXED, ("Tubificidae", 50)])
    assert found["score"] == 4.5
    assert found["individuals_without_tolerance"] == 50


def test_a_list_that_gives_tubificidae_ten_makes_the_same_sample_two_classes_worse_constructed() -> None:
    counts = pd.DataFrame([*MIXED, ("Tubificidae", 50)], columns=["taxon", "count"]).assign(sample_id="one")
    own = pd.DataFrame({"taxon": ["Tubificidae"], "tolerance": [10.0]})
    found = family_biotic_index(counts, resolve(counts["taxon"], lookup=make_lookup(own))).loc["one"]
    assert found["score"] == pytest.approx(950 / 150)
    assert class_of(found["score"]) == "Fairly poor"


def test_a_score_on_the_limit_belongs_to_the_better_class_constructed() -> None:
    found = score([("Baetidae", 75), ("Helicopsychidae", 25)])
    assert found["score"] == 3.75
    assert class_of(found["score"]) == "Excellent"


def test_blood_red_midges_weigh_more_than_others_constructed() -> None:
    assert score([("Chironomidae", 50), ("Chironomidae (blood-red)", 50)])["score"] == 7.0


@pytest.mark.parametrize(
    ("value", "label"),
    [
        (0.00, "Excellent"),
        (3.75, "Excellent"),
        (3.754, "Excellent"),
        (3.755, "Very good"),
        (3.76, "Very good"),
        (4.25, "Very good"),
        (4.26, "Good"),
        (5.00, "Good"),
        (5.01, "Fair"),
        (5.75, "Fair"),
        (5.76, "Fairly poor"),
        (6.50, "Fairly poor"),
        (6.51, "Poor"),
        (7.25, "Poor"),
        (7.26, "Very poor"),
        (10.00, "Very poor"),
    ],
)
def test_the_printed_ends_of_the_classes_of_1988(value: float, label: str) -> None:
    assert class_of(value) == label


def test_an_index_of_4_40_is_good_by_the_family_limits_of_1988_not_very_good_by_those_of_1987() -> None:
    # Hilsenhoff 1987 (genus and species index, Great Lakes Entomologist 20:31-39): 3.51 to 4.50 is very good.
    assert class_of(4.40) == "Good"


def test_the_wording_grows_with_the_pollution() -> None:
    meanings = [one.meaning for one in FAMILY_BIOTIC_INDEX.classes]
    for meaning, words in zip(
        meanings,
        ("unlikely", "slight", "some", "fairly substantial", "substantial", "very substantial", "severe"),
        strict=True,
    ):
        assert words in meaning
        assert "organic pollution" in meaning
