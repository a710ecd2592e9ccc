"""Values are taken from the nearest taxon above, and their source says so."""

from __future__ import annotations

import math

import pandas as pd

from watershedmap.taxa.ancestry import inherit

NAN = math.nan


def make_table(rows: list[tuple[str, str, str, float, str]]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["taxon", "parent", "family", "value", "value_source"])
    return table.assign(excluded="", wide=table["value"], wide_source=table["value_source"])


def fill(rows: list[tuple[str, str, str, float, str]]) -> pd.DataFrame:
    return inherit(make_table(rows), within_family=["value"], anywhere=["wide"]).set_index("taxon")


def test_a_value_of_an_order_reaches_genera_only_in_columns_that_are_stated_for_orders() -> None:
    found = fill(
        [
            ("Genus", "Family", "Family", NAN, ""),
            ("Family", "Order", "Family", NAN, ""),
            ("Order", "", "", 3, "book"),
        ]
    )
    assert math.isnan(found.loc["Genus", "value"])
    assert (found.loc["Genus", "wide"], found.loc["Genus", "wide_source"]) == (3, "book; value of Order")
    assert found.loc["Order", "wide_source"] == "book"


def test_a_value_of_its_own_and_a_reason_for_none_both_stop_the_way_up() -> None:
    found = fill(
        [
            ("Own", "Family", "Family", 1, "paper"),
            ("None", "Family", "Family", NAN, "no value: unlike"),
            ("Family", "", "Family", 5, "book"),
        ]
    )
    assert found["value"].tolist()[0] == 1
    assert math.isnan(found.loc["None", "value"])
    assert found["value_source"].tolist() == ["paper", "no value: unlike", "book"]


def test_the_table_that_is_given_stays_as_it_is() -> None:
    table = make_table([("Genus", "Family", "Family", NAN, ""), ("Family", "", "Family", 5, "book")])
    before = table.copy()
    inherit(table, within_family=["value"], anywhere=["wide"])
    pd.testing.assert_frame_equal(table, before)


def test_taxa_that_name_each_other_as_parents_end_without_a_value() -> None:
    found = fill([("One", "Two", "F", NAN, ""), ("Two", "One", "F", NAN, "")])
    assert found["value"].isna().all()


def test_what_is_left_out_takes_along_all_below_it() -> None:
    table = make_table([("Genus", "Family", "Family", NAN, ""), ("Family", "", "Family", NAN, "")])
    table["excluded"] = ["", "terrestrial"]
    assert inherit(table, within_family=[], anywhere=[])["excluded"].tolist() == ["terrestrial"] * 2
