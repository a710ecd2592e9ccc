"""The streamside rating: kinds by group and letter."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from watershedmap.scoring.classes import classify
from watershedmap.scoring.streamside import STREAMSIDE_RATING, count_kinds, name_kinds, streamside_rating
from watershedmap.scoring.tally import make_tally

ROWS = [
    ("Perlidae", "Perlidae", "Plecoptera", "Insecta", 1, "stonefly"),
    ("Nemouridae", "Nemouridae", "Plecoptera", "Insecta", 1, "stonefly"),
    ("Hydropsyche", "Hydropsychidae", "Trichoptera", "Insecta", 1, "caddisfly"),
    ("Baetidae", "Baetidae", "Ephemeroptera", "Insecta", 1, "mayfly"),
    ("Psephenidae", "Psephenidae", "Coleoptera", "Insecta", 1, "water penny"),
    ("Elmidae", "Elmidae", "Coleoptera", "Insecta", 1, "riffle beetle"),
    ("Valvatidae", "Valvatidae", "", "Gastropoda", 1, "gilled snail"),
    ("Corydalinae", "Corydalidae", "Megaloptera", "Insecta", 1, "dobsonfly"),
    ("Chauliodinae", "Corydalidae", "Megaloptera", "Insecta", 2, "fishfly"),
    ("Sialidae", "Sialidae", "Megaloptera", "Insecta", 2, "alderfly"),
    ("Cambaridae", "Cambaridae", "Decapoda", "Malacostraca", 2, "crayfish"),
    ("Decapoda", "", "Decapoda", "Malacostraca", 2, "crayfish"),
    ("Asellidae", "Asellidae", "Isopoda", "Malacostraca", 2, "sowbug"),
    ("Gammaridae", "Gammaridae", "Amphipoda", "Malacostraca", 2, "scud"),
    ("Lestidae", "Lestidae", "Odonata", "Insecta", 2, "damselfly"),
    ("Zygoptera", "", "Odonata", "Insecta", 2, "damselfly"),
    ("Gomphidae", "Gomphidae", "Odonata", "Insecta", 2, "dragonfly"),
    ("Odonata", "", "Odonata", "Insecta", 2, "dragonfly"),
    ("Athericidae", "Athericidae", "Diptera", "Insecta", 2, "watersnipe fly"),
    ("Limoniidae", "Limoniidae", "Diptera", "Insecta", 2, "crane fly"),
    ("Dytiscidae", "Dytiscidae", "Coleoptera", "Insecta", 2, "beetle"),
    ("Sphaeriidae", "Sphaeriidae", "Sphaeriida", "Bivalvia", 2, "clam"),
    ("Tubifex", "Naididae", "Tubificida", "Oligochaeta", 3, "aquatic worm"),
    ("Chironomidae", "Chironomidae", "Diptera", "Insecta", 3, "midge"),
    ("Simuliidae", "Simuliidae", "Diptera", "Insecta", 3, "blackfly"),
    ("Erpobdellidae", "Erpobdellidae", "Arhynchobdellida", "Hirudinea", 3, "leech"),
    ("Physidae", "Physidae", "Hygrophila", "Gastropoda", 3, "pouch snail"),
    ("Lymnaeidae", "Lymnaeidae", "Hygrophila", "Gastropoda", 3, "other snail"),
    ("Tricladida", "", "Tricladida", "Turbellaria", 3, "Tricladida"),
    ("Acari", "", "", "Arachnida", np.nan, ""),
]
TAXA = pd.DataFrame(ROWS, columns=["taxon", "family", "order", "group", "sensitivity", "expected"])
TAXA = TAXA.assign(ept=False, known=True, tolerance=np.nan)
TAXA.index = pd.Index(TAXA["taxon"], name="name")


def rate(**found: int) -> pd.Series:
    counts = pd.DataFrame({"sample_id": "a", "taxon": list(found), "count": list(found.values())})
    return streamside_rating(counts, TAXA).loc["a"]


def test_each_taxon_is_a_kind_as_the_list_names_them() -> None:
    assert name_kinds(TAXA).to_dict() == TAXA["expected"].to_dict()


def test_families_of_one_kind_are_counted_together() -> None:
    assert rate(Perlidae=5, Nemouridae=5)["score"] == 5.6


@pytest.mark.parametrize(
    ("individuals", "score"), [(1, 5.0), (9, 5.0), (10, 5.6), (99, 5.6), (100, 5.3), (10_000, 5.3)]
)
def test_letters_change_at_10_and_at_100(individuals: int, score: float) -> None:
    assert rate(Perlidae=individuals)["score"] == score


def test_a_kind_lists_its_letter_and_weight() -> None:
    counts = pd.DataFrame({"sample_id": "a", "taxon": ["Perlidae", "Gammaridae"], "count": [3, 200]})
    kinds = count_kinds(make_tally(counts, TAXA))
    assert kinds[["kind", "letter", "weight"]].to_numpy().tolist() == [
        ["stonefly", "R", 5.0],
        ["scud", "D", 3.0],
    ]


def test_a_survey_may_move_a_taxon_to_another_group() -> None:
    taxa = TAXA.copy()
    taxa.loc["Hydropsyche", "sensitivity"] = 2
    counts = pd.DataFrame({"sample_id": "a", "taxon": ["Hydropsyche"], "count": [3]})
    assert streamside_rating(counts, taxa).loc["a", "score"] == 3.2


def test_a_group_that_there_is_not_is_refused() -> None:
    counts = pd.DataFrame({"sample_id": "a", "taxon": ["Perlidae"], "count": [3]})
    with pytest.raises(ValueError, match="1, 2, 3"):
        streamside_rating(counts, TAXA.assign(sensitivity=4))


def test_zero_stands_only_where_nothing_was_found() -> None:
    assert rate(Perlidae=0)["score"] == 0
    assert np.isnan(rate(Acari=3)["score"])
    assert rate(Acari=3, Perlidae=4).tolist() == [5.0, 4, 3]


def test_a_sum_of_tenths_is_exact() -> None:
    assert rate(Chironomidae=1, Simuliidae=1, Physidae=1)["score"] == 3.6


def test_exactly_40_is_fair_and_one_tenth_more_is_good() -> None:
    labels = classify(pd.Series([40.1, 40.05, 40.04, 40.0, 20.0, 19.9]), STREAMSIDE_RATING)
    assert labels.tolist() == ["Good", "Good", "Fair", "Fair", "Fair", "Poor"]
