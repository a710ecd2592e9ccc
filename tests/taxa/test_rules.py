"""The stated rules of `watershedmap.taxa`, each with a check; common practice unless a source is named."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from watershedmap.scoring.metrics import compute_metrics
from watershedmap.taxa import resolve


def resolve_one(name: str) -> pd.Series:
    return resolve([name]).loc[name]


def measure(rows: list[tuple[str, int]]) -> pd.Series:
    counts = pd.DataFrame(rows, columns=["taxon", "count"]).assign(sample_id="one")
    return compute_metrics(counts, resolve(counts["taxon"])).loc["one"]


@pytest.mark.parametrize(
    "stage", ["larva", "larvae", "(L)", "Ad.", "adults", "- adult", "pupa", "(adult)", "L/A"]
)
def test_larva_and_adult_of_one_family_are_one_taxon(stage: str) -> None:
    row = resolve_one(f"Elmidae {stage}")
    assert (row["taxon"], row["rank"], row["tolerance"], row["excluded"]) == ("Elmidae", "family", 4, "")
    assert measure([("Elmidae", 3), (f"Elmidae {stage}", 4)])["taxa_richness"] == 1


def test_an_order_without_a_family_stays_an_order_and_counts_without_a_value() -> None:
    row = resolve_one("Ephemeroptera")
    assert (row["rank"], row["family"], row["order"], row["ept"]) == ("order", "", "Ephemeroptera", True)
    assert math.isnan(row["tolerance"])
    found = measure([("Ephemeroptera", 10), ("Chironomidae", 30)])
    assert (found["total_individuals"], found["percent_ept"]) == (40, 25)


def test_every_taxon_names_the_next_one_above_so_that_an_unresolved_parent_can_be_told() -> None:
    found = resolve(["Baetis rhodani", "Baetis", "Baetidae", "Ephemeroptera", "Coenagrionidae", "Procladius"])
    assert found["parent"].to_dict() == {
        "Baetis rhodani": "Baetis",
        "Baetis": "Baetidae",
        "Baetidae": "Ephemeroptera",
        "Ephemeroptera": "Insecta",
        "Coenagrionidae": "Zygoptera",
        "Procladius": "Tanypodinae",
    }
    assert resolve_one("Baetis sp. A")["parent"] == "Baetis"
    assert resolve_one("Hydrophilini")["parent"] == "Hydrophilidae"
    assert resolve_one("Halesus digitatus typicus")["parent"] == "Halesus digitatus"


@pytest.mark.parametrize(
    ("name", "taxon", "rank"),
    [
        ("Perlidae (damaged)", "Perlidae", "family"),
        ("damaged Perlidae", "Perlidae", "family"),
        ("Diptera indet.", "Diptera", "order"),
        ("Plecoptera indeterminate", "Plecoptera", "order"),
        ("Unknown Diptera", "Diptera", "order"),
        ("Baetis sp. (damaged, early instar)", "Baetis", "genus"),
    ],
)
def test_a_damaged_or_indeterminate_animal_counts_at_the_rank_that_is_known(
    name: str, taxon: str, rank: str
) -> None:
    row = resolve_one(name)
    assert (row["taxon"], row["rank"], row["known"], row["excluded"]) == (taxon, rank, True, "")


@pytest.mark.parametrize(
    ("name", "taxon", "reason"),
    [
        ("Formicidae (terrestrial)", "Formicidae (terrestrial)", "terrestrial"),
        ("Terrestrial beetle", "Coleoptera (terrestrial)", "terrestrial"),
        ("terrestrial", "Terrestrial", "terrestrial"),
        ("Trichoptera (empty case)", "Trichoptera (empty case)", "empty case"),
        ("Physidae, empty shells", "Physidae (empty shell or cast skin)", "empty shell or cast skin"),
        ("Ephemeroptera exuviae", "Ephemeroptera (empty shell or cast skin)", "empty shell or cast skin"),
        ("Chironomidae pupal skins", "Chironomidae (empty shell or cast skin)", "empty shell or cast skin"),
        ("Elmidae eggs", "Elmidae (eggs)", "eggs"),
        ("Oligochaeta fragments", "Oligochaeta (fragment)", "fragment"),
    ],
)
def test_strays_and_what_animals_leave_behind_are_left_out_with_a_reason_and_have_no_values(
    name: str, taxon: str, reason: str
) -> None:
    row = resolve_one(name)
    assert (row["taxon"], row["excluded"], row["known"], row["ept"]) == (taxon, reason, True, False)
    assert row[["tolerance", "sensitivity", "bmwp"]].isna().all()
    assert row["bmwp_group"] == ""
    assert row["suggestions"] == ""


def test_a_terrestrial_family_counts_unless_the_sheet_says_that_it_is_a_stray() -> None:
    assert resolve_one("Formicidae")["excluded"] == ""


@pytest.mark.parametrize("name", ["Snail-case maker", "saddle case maker larvae", "Case-making caddisflies"])
def test_an_animal_whose_name_speaks_of_a_case_is_an_animal(name: str) -> None:
    row = resolve_one(name)
    assert row["known"]
    assert (row["excluded"], row["order"]) == ("", "Trichoptera")


def test_a_count_of_zero_makes_no_taxon_and_adds_nothing() -> None:
    with_zero, without = (
        measure([("Perlidae", 5), ("Elmidae", 0), ("Chironomidae", 15)]),
        measure([("Perlidae", 5), ("Chironomidae", 15)]),
    )
    assert with_zero["total_individuals"] == 20
    pd.testing.assert_series_equal(with_zero, without)


def test_what_a_species_or_genus_lacks_comes_from_the_nearest_taxon_above_up_to_the_family() -> None:
    found = resolve(
        ["Hyalella azteca", "Chironomus plumosus", "Procladius", "Diamesa"], tolerance="rbp_northwest"
    )
    # Barbour et al. 1999, Appendix B: Hyalella 8, Chironomus 10, Tanypodinae 7, Chironomidae 6
    assert found["tolerance"].to_dict() == {
        "Hyalella azteca": 8,
        "Chironomus plumosus": 10,
        "Procladius": 7,
        "Diamesa": 6,
    }
    assert found.loc["Procladius", "tolerance_source"].endswith("p. B-40; value of Tanypodinae")
    # Amphipoda has a value there, its family Gammaridae has none: an order's value is not a family's
    orders = resolve(["Amphipoda", "Gammaridae", "Crangonyctidae"], tolerance="rbp_northwest")["tolerance"]
    assert orders["Amphipoda"] == 4
    assert orders[["Gammaridae", "Crangonyctidae"]].isna().all()


def test_a_source_that_says_no_value_stops_the_way_up() -> None:
    ameletus, corydalus, corydalidae = (
        resolve_one(name) for name in ("Ameletus", "Corydalus", "Corydalidae")
    )
    assert math.isnan(ameletus["tolerance"])
    assert ameletus["tolerance_source"].startswith("no value: in 1988 inside Siphlonuridae")
    assert (corydalus["sensitivity"], resolve_one("Nigronia")["sensitivity"]) == (1, 2)
    assert math.isnan(corydalidae["sensitivity"])


def test_an_unknown_column_of_values_is_an_error_that_names_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r"no column of tolerance values is named rbp_west.*rbp_northwest"):
        resolve(["Perlidae"], tolerance="rbp_west")
