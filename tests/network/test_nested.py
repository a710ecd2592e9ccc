"""The next reach downstream by nested codes: the rule of Verdin and Verdin 1999, J. Hydrol. 218:1-12."""

from __future__ import annotations

from random import Random  # noqa: TC003 - hypothesis reads the hint

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.network.nested import link_codes


def below(codes: list[str | None]) -> dict[str, str]:
    series = pd.Series(codes, dtype="str")
    edges, _, _ = link_codes(series)
    return {series[up]: series[down] for up, down in zip(edges.up.tolist(), edges.down.tolist(), strict=True)}


def test_tributaries_and_stem_flow_into_the_next_odd_number_below() -> None:
    expected = {"2": "1", "3": "1", "4": "3", "5": "3", "6": "5", "7": "5", "8": "7", "9": "7"}
    assert below([str(number) for number in range(1, 10)]) == expected


def test_what_enters_a_divided_stretch_of_stem_enters_it_at_its_upper_end() -> None:
    # Worked by hand: stretch 3 is divided; tributary 4 and stretch 5 begin where 3 ends, which is at 39.
    codes = ["1", "2", *(f"3{digit}" for digit in range(1, 10)), "4", "5"]
    found = below(codes)
    assert (found["31"], found["32"], found["33"]) == ("1", "31", "31")
    assert (found["4"], found["5"]) == ("39", "39")


def test_a_divided_tributary_leaves_at_its_lower_end() -> None:
    # Worked by hand: tributary 4 is divided; 41 is its lowest stretch and joins the stem at 3.
    found = below(["3", *(f"4{digit}" for digit in range(1, 10)), "5"])
    assert (found["41"], found["42"], found["49"], found["5"]) == ("3", "41", "47", "3")


def test_codes_of_three_digits_join_across_their_units() -> None:
    # Worked by hand: 98 is a headwater tributary of unit 9; 977 the top of stretch 97 as it is divided here.
    found = below(["7", "91", "95", "971", "972", "977", "98", "99", "8"])
    assert found == {
        "91": "7",
        "95": "91",
        "971": "95",
        "972": "971",
        "977": "971",
        "98": "977",
        "99": "977",
        "8": "7",
    }


def test_a_closed_basin_flows_nowhere() -> None:
    assert below(["1", "301", "302", "31"]) == {"31": "1", "302": "301"}


def test_reaches_without_a_code_of_digits_and_repeated_codes_are_told() -> None:
    edges, unusable, repeated = link_codes(pd.Series(["1", None, "x2", "3", "3", ""], dtype="str"))
    assert unusable.tolist() == [False, True, True, False, False, True]
    assert repeated.tolist() == [False, False, False, True, True, False]
    assert (edges.up.tolist(), edges.down.tolist()) == ([3], [0])


@st.composite
def coded_trees(draw: st.DrawFn) -> tuple[list[str], dict[str, str]]:
    """Divide a basin into nine again and again, and link the parts by how the division is made."""
    lower = {"": ""}  # what each unit flows into
    for _ in range(draw(st.integers(1, 4))):
        unit = draw(st.sampled_from(sorted(lower)))
        parts = {digit: f"{unit}{digit}" for digit in range(1, 10)}
        target = lower.pop(unit)
        new = {parts[1]: target}
        for digit in range(2, 10):
            new[parts[digit]] = parts[digit - 1 if digit % 2 == 0 else digit - 2]
        for other, goal in lower.items():
            if goal == unit:  # what flowed into the unit flows into the uppermost part of its stem
                lower[other] = parts[9]
        lower.update(new)
    return sorted(lower), {unit: goal for unit, goal in lower.items() if goal}


@given(coded_trees(), st.randoms(use_true_random=False))
def test_links_are_those_of_the_division_whatever_the_order_of_rows(
    drawn: tuple[list[str], dict[str, str]], random: Random
) -> None:
    codes, expected = drawn
    random.shuffle(codes)
    assert below(codes) == expected


@pytest.mark.parametrize("codes", [[], ["7"]])
def test_few_codes_have_no_links(codes: list[str]) -> None:
    assert below(codes) == {}
