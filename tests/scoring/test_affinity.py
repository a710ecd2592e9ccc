"""Percent model affinity is the overlap of seven groups with a model that can be replaced."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.scoring.affinity import (
    DEFAULT_MODEL,
    MODEL_GROUPS,
    check_model,
    measure_affinity,
    place_in_groups,
)
from watershedmap.scoring.tally import Tally, make_tally
from watershedmap.taxa import resolve

NAMES = ["Oligochaeta", "Baetidae", "Perlidae", "Elmidae", "Hydropsychidae", "Chironomidae", "Physidae"]


def tally_of(counts: list[int]) -> Tally:
    frame = pd.DataFrame({"sample_id": "a", "taxon": NAMES, "count": counts})
    return make_tally(frame, resolve(NAMES))


@pytest.mark.parametrize(
    ("name", "group"),
    [
        ("Naididae", "Oligochaeta"),
        ("Oligochaeta", "Oligochaeta"),
        ("Baetis rhodani", "Ephemeroptera"),
        ("Plecoptera", "Plecoptera"),
        ("Psephenidae", "Coleoptera"),
        ("Trichoptera", "Trichoptera"),
        ("Tanypodinae", "Chironomidae"),
        ("Simuliidae", "Other"),
        ("Diptera", "Other"),
        ("Hirudinea", "Other"),
        ("Strange thing", "Other"),
    ],
)
def test_every_animal_belongs_to_one_group(name: str, group: str) -> None:
    taxa = resolve([name]).set_index("taxon")
    assert MODEL_GROUPS[place_in_groups(taxa)[0]] == group


def test_a_sample_made_up_like_the_model_has_exactly_100() -> None:
    counts = [int(3 * DEFAULT_MODEL[group]) for group in MODEL_GROUPS]
    assert measure_affinity(tally_of(counts)).tolist() == [100]


def test_a_sample_that_shares_no_group_with_the_model_has_0() -> None:
    model = dict.fromkeys(MODEL_GROUPS, 0.0) | {"Plecoptera": 100.0}
    assert measure_affinity(tally_of([1, 1, 0, 1, 1, 1, 1]), model=model).tolist() == [0]


def test_without_individuals_there_is_none() -> None:
    assert np.isnan(measure_affinity(tally_of([0] * 7)))[0]


@given(st.lists(st.integers(0, 500), min_size=7, max_size=7).filter(any))
def test_it_is_100_less_half_the_sum_of_differences(counts: list[int]) -> None:
    percent = 100 * np.array(counts) / sum(counts)
    model = np.array([DEFAULT_MODEL[group] for group in MODEL_GROUPS])
    expected = 100 - 0.5 * np.abs(percent - model).sum()
    found = measure_affinity(tally_of(counts))[0]
    assert found == pytest.approx(expected, abs=1e-9)
    assert 0 <= found <= 100


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"Diptera": 0.0}, "'Diptera' is no group"),
        ({"Other": 11.0}, "add up to 101 percent"),
        ({"Other": -10.0}, "-10.0 percent of Other"),
        ({"Other": 110.0}, "110.0 percent of Other"),
        ({"Other": float("nan")}, "nan percent of Other"),
    ],
)
def test_a_model_that_is_none_is_refused_by_name(change: dict[str, float], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        check_model({**DEFAULT_MODEL, **change})


def test_a_model_that_leaves_a_group_out_is_refused() -> None:
    with pytest.raises(ValueError, match="says nothing of Coleoptera"):
        check_model({group: percent for group, percent in DEFAULT_MODEL.items() if group != "Coleoptera"})
