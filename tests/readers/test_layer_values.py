"""Ids are text whatever they were; numbers are numbers or missing, and text among them is a fault."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from watershedmap.readers.layer_values import as_ids, as_numbers, mask_ends


def numbers(
    values: list[object], column: str = "area_km2", factor: float = 1.0
) -> tuple[list[float], list[tuple[str, str]]]:
    ids = pd.Series([f"r{row}" for row in range(len(values))], dtype=str)
    read, faults = as_numbers(pd.Series(values), column, ids=ids, factor=factor, file="f", named="N")
    return read.tolist(), [(fault.severity, fault.value) for fault in faults]


def test_large_ids_keep_every_digit() -> None:
    assert as_ids(pd.Series([9_007_199_254_740_993, 2])).tolist() == ["9007199254740993", "2"]
    assert as_ids(pd.Series([-1, 0])).tolist() == ["-1", "0"]


def test_ids_keep_their_index() -> None:
    assert as_ids(pd.Series(["a", None], index=[5, 3])).to_dict() == {5: "a", 3: ""}


def test_words_for_nothing_downstream_are_missing_but_ids_of_the_layer_never() -> None:
    downstream = pd.Series(["0", "None", "NaN", "-9999", "b", "null", ""], dtype=str)
    ids = pd.Series(["null", "b"], dtype=str)
    assert mask_ends(downstream, ids).isna().tolist() == [True, True, True, True, False, False, True]


def test_text_that_is_a_number_is_one_and_empty_cells_are_missing() -> None:
    read, found = numbers(["1.5", " 2 ", "", None, "NA"], factor=0.001)
    assert read[:2] == [0.0015, 0.002]
    assert np.isnan(read[2:]).all()
    assert found == []


def test_all_text_of_a_column_is_one_fault_that_names_the_cells() -> None:
    read, found = numbers(["1", "wide", "3,5"])
    assert read[0] == 1
    assert np.isnan(read[1:]).all()
    assert found == [("fault", "r1: wide; r2: 3,5")]


def test_many_faulty_cells_are_counted_beyond_ten() -> None:
    _, found = numbers(["x"] * 12)
    assert found[0][1].endswith("r9: x and 2 more")


def test_a_number_without_end_is_a_fault() -> None:
    assert numbers([1.0, np.inf])[1] == [("fault", "r1: inf")]


@pytest.mark.parametrize(("column", "unknown"), [("area_km2", 1), ("start_elevation_m", 0), ("share", 0)])
def test_negative_figures_are_not_known_where_none_can_be(column: str, unknown: int) -> None:
    read, found = numbers([-5.0, 5.0], column)
    assert np.isnan(read).sum() == unknown
    assert [severity for severity, _ in found] == ["notice"] * unknown


def test_an_elevation_below_all_land_is_not_known() -> None:
    assert np.isnan(numbers([-9999.0, 3.0], "end_elevation_m")[0][0])
