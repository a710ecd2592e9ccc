"""Tables: every cell at fault is named by file, row, column and value, with what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from watershedmap.readers.tables import Table, read_table

if TYPE_CHECKING:
    from pathlib import Path

NAMES = {"id": "Code", "value": "Value", "day": "day", "extra": "extra"}


def read(folder: Path, text: str | bytes) -> Table:
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    (folder / "t.csv").write_bytes(data)
    return read_table(folder, "t.csv", NAMES, required=("id", "value"))


def problems(table: Table) -> list[tuple[int | None, str, str, str]]:
    return [(fault.row, fault.column, fault.value, fault.problem) for fault in table.faults]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_separators_line_ends_and_a_byte_order_mark_make_no_difference(
    tmp_path: Path, separator: str, end: str
) -> None:
    rows = [["Code", "Value"], [" a ", "1"], ["b", "2"]]
    table = read(tmp_path, "\ufeff" + end.join(separator.join(row) for row in rows) + end)
    assert table.faults == []
    assert table.frame["id"].tolist() == ["a", "b"]


def test_rows_are_counted_as_a_spreadsheet_does(tmp_path: Path) -> None:
    table = read(tmp_path, 'Code,Value\n"two\nlines",1\n\nb,x\n')
    table.number("value")
    assert problems(table) == [(4, "Value", "x", "this is not a number")]


def test_a_row_with_too_many_cells_is_a_fault_and_the_rest_is_read(tmp_path: Path) -> None:
    table = read(tmp_path, "Code,Value\na,1,2\nb,3\nc\n")
    assert [row for row, *_ in problems(table)] == [2, 4]
    assert table.frame["id"].tolist() == ["b"]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "the table has no rows"),
        ("Code,Value\n", "the table has no rows"),
        ("Cod,Value\na,1\n", "the column is missing"),
        ("Code,Value,Value\na,1,2\n", "two columns have this heading"),
        ("Code,Value\nä,1\n".encode("latin-1"), "the file is not text in UTF-8"),
    ],
)
def test_a_file_that_cannot_be_a_table_is_a_fault(tmp_path: Path, text: str | bytes, problem: str) -> None:
    assert problem in [found for *_, found in problems(read(tmp_path, text))]


def test_a_missing_column_is_answered_with_one_that_looks_like_it(tmp_path: Path) -> None:
    fix = {fault.column: fault.fix for fault in read(tmp_path, "Codes,Value\na,1\n").faults}
    assert fix["Code"].startswith("is it Codes?")


def test_a_missing_file_or_folder_is_a_fault(tmp_path: Path) -> None:
    assert (
        read_table(tmp_path, "none.csv", NAMES, required=("id",)).faults[0].problem == "there is no such file"
    )
    (tmp_path / "folder.csv").mkdir()
    assert "cannot be read" in read_table(tmp_path, "folder.csv", NAMES, required=("id",)).faults[0].problem


def test_a_missing_number_is_a_fault_and_never_a_zero(tmp_path: Path) -> None:
    table = read(tmp_path, "Code,Value\na,\nb,NA\nc,0\n")
    values = table.number("value")
    assert values.isna().tolist() == [True, True, False]
    assert [row for row, *_ in problems(table)] == [2, 3]


@pytest.mark.parametrize(
    ("cell", "problem"),
    [
        ("1,5", "a decimal comma"),
        ("many", "this is not a number"),
        ("inf", "this is not a number"),
        ("-1", "the number is out of range"),
        ("1.5", "not a whole number"),
    ],
)
def test_a_count_must_be_a_plain_whole_number(tmp_path: Path, cell: str, problem: str) -> None:
    table = read(tmp_path, f'Code,Value\na,"{cell}"\n')
    assert table.whole("value").isna().all()
    assert problems(table) == [(2, "Value", cell, problem)]


def test_dates_follow_the_stated_form_only(tmp_path: Path) -> None:
    table = read(tmp_path, "Code,Value,day\na,1,2024-05-31\nb,1,31.05.2024\nc,1,2024-02-30\nd,1,0024-01-01\n")
    dates = table.date("day", form="%Y-%m-%d")
    assert dates.notna().tolist() == [True, False, False, False]
    assert [row for row, *_ in problems(table)] == [3, 4, 5]
    assert "2024-05-31" in table.faults[0].fix


def test_repeats_and_strangers_are_faults_with_the_nearest_spelling(tmp_path: Path) -> None:
    table = read(tmp_path, "Code,Value\nSite1,1\nSite1,2\nSite11,3\n")
    table.unique("id")
    table.known("id", {"Site1", "Site2"}, where="the table of sites")
    assert [(row, problem) for row, _, _, problem in problems(table)] == [
        (3, "this value stands in an earlier row too"),
        (4, "this is not in the table of sites"),
    ]
    assert table.faults[-1].fix == "did you mean Site1?"


def test_an_optional_column_that_is_absent_is_empty(tmp_path: Path) -> None:
    table = read(tmp_path, "Code,Value\na,1\n")
    assert table.text("extra").tolist() == [""]
    assert table.faults == []
