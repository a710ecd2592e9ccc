"""A user's own table of taxa: every fault is named, and what is blank leaves ours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from watershedmap.readers.taxa import read_taxa
from watershedmap.settings import Options, Settings
from watershedmap.taxa import TOLERANCES, load_taxa, make_lookup, resolve

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from watershedmap.errors import Fault

HEADING = "taxon,rank,family,order,group,tolerance,common_name,sensitivity,bmwp"


def read(
    folder: Path,
    text: str | bytes,
    *,
    tolerance: str = "hilsenhoff_1988",
    columns: dict[str, str] | None = None,
) -> tuple[pd.DataFrame, list[Fault]]:
    (folder / "taxa.csv").write_bytes(text if isinstance(text, bytes) else text.encode())
    settings = Settings(
        title="",
        about="",
        tables={"taxa": "taxa.csv"},
        layers={},
        columns={"taxa": columns or {}},
        options=Options(tolerance=tolerance),
    )
    frame, faults = read_taxa(folder, settings)
    assert frame is not None
    return frame, faults


def test_a_survey_without_such_a_table_has_none(tmp_path: Path) -> None:
    assert read_taxa(tmp_path, Settings(title="", about="", tables={}, layers={})) == (None, [])


def test_a_good_table_has_no_faults_and_serves_the_lookup(tmp_path: Path) -> None:
    text = f"{HEADING}\nPerlidae,,,,,2.5,goldie,,\nNovidae,Family,,Plecoptera,,0,,1,10\n"
    frame, faults = read(tmp_path, text)
    assert faults == []
    assert frame["row"].tolist() == [2, 3]
    assert frame["source"].tolist() == ["taxa.csv, row 2", "taxa.csv, row 3"]
    found = resolve(["goldies", "Novidae"], lookup=make_lookup(frame))
    assert found["taxon"].tolist() == ["Novidae", "Perlidae"]
    assert found["tolerance"].tolist() == [0, 2.5]
    assert found["origin"].tolist() == ["survey", "survey"]
    assert found.loc["goldies", "tolerance_source"] == "taxa.csv, row 2"


def test_only_the_taxon_is_required(tmp_path: Path) -> None:
    frame, faults = read(tmp_path, "taxon\nPerlidae\n")
    assert faults == []
    assert frame.loc[0, ["rank", "family", "common_name"]].tolist() == ["", "", ""]
    assert frame.loc[0, ["tolerance", "sensitivity", "bmwp"]].isna().all()


OUT = "the number is out of range"


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ("Perlidae,,,,,10.5,,,", ("tolerance", "10.5", OUT, "expected 0 to 10")),
        ("Perlidae,,,,,-1,,,", ("tolerance", "-1", OUT, "expected 0 to 10")),
        ("Perlidae,,,,,low,,,", ("tolerance", "low", "this is not a number", "write a plain number")),
        ("Perlidae,,,,,,,,0", ("bmwp", "0", OUT, "expected 1 to 10")),
        ("Perlidae,,,,,,,,11", ("bmwp", "11", OUT, "expected 1 to 10")),
        ("Perlidae,,,,,,,4,", ("sensitivity", "4", OUT, "expected 1 to 3")),
        (
            "Perlidae,,,,,,,1.5,",
            ("sensitivity", "1.5", "not a whole number", "write 1, 2 or 3: sensitive to tolerant"),
        ),
        ("Perlidae,famly,,,,,,,", ("rank", "famly", "unknown rank", "did you mean family?")),
        (",family,,,,,,,", ("taxon", "", "this cell is empty", "fill in the taxon")),
        ("!!!,,,,,,,,", ("taxon", "!!!", "this is no name", "write the name of the taxon in letters")),
    ],
)
def test_each_fault_names_file_row_column_value_and_fix(
    tmp_path: Path, row: str, expected: tuple[str, ...]
) -> None:
    _, (fault,) = read(tmp_path, f"{HEADING}\nBaetidae,,,,,4,,,\n{row}\n")
    assert (fault.file, fault.row, fault.severity) == ("taxa.csv", 3, "fault")
    assert (fault.column, fault.value, fault.problem, fault.fix) == expected


def test_all_faults_are_found_at_once_under_the_names_of_the_file(tmp_path: Path) -> None:
    text = "Animal,TV,Score\nPerlidae,11,0\nElmidae,x,12\n"
    columns = {"taxon": "Animal", "tolerance": "TV", "bmwp": "Score"}
    _, faults = read(tmp_path, text, columns=columns)
    assert sorted((fault.row, fault.column) for fault in faults) == [
        (2, "Score"),
        (2, "TV"),
        (3, "Score"),
        (3, "TV"),
    ]


def test_a_taxon_stands_once_whatever_its_capitals_and_signs(tmp_path: Path) -> None:
    _, faults = read(tmp_path, "taxon\nChironomidae (blood-red)\nCHIRONOMIDAE blood red\n")
    assert [(fault.row, fault.problem) for fault in faults] == [(3, "an earlier row has this taxon too")]
    _, faults = read(tmp_path, "taxon\nBaetis\nBaetis sp. A\nBaetis sp.\n")
    assert [(fault.row, fault.problem) for fault in faults] == [(4, "an earlier row has this taxon too")]


def test_a_family_or_order_that_no_table_knows_is_noticed(tmp_path: Path) -> None:
    text = "taxon,family,order\nNova alba,Batidae,\nOwnia,Ownidae,Plecoptra\nOwnidae,,Plecoptera\n"
    _, faults = read(tmp_path, text)
    assert [(fault.row, fault.column, fault.value, fault.fix, fault.severity) for fault in faults] == [
        (2, "family", "Batidae", "did you mean Baetidae?", "notice"),
        (3, "order", "Plecoptra", "did you mean Plecoptera?", "notice"),
    ]


def test_further_columns_of_numbers_up_to_10_are_tolerance_values_and_others_are_left_alone(
    tmp_path: Path,
) -> None:
    text = "taxon,valley,notes,number,rbp_northwest\nPerlidae,1.5,seen once,102914,2\nElmidae,3,,114093,\n"
    frame, faults = read(tmp_path, text)
    assert [(fault.column, fault.severity) for fault in faults] == [("number", "notice")]
    assert {"valley", "rbp_northwest"} <= set(frame)
    assert not {"notes", "number"} & set(frame)
    found = resolve(["Perlidae"], lookup=make_lookup(frame), tolerance="valley")
    assert found["tolerance"].tolist() == [1.5]


@pytest.mark.parametrize("odd", ["30", "-1", "inf", "none yet"])
def test_a_column_of_numbers_with_another_cell_is_noticed_once_and_left_alone(
    tmp_path: Path, odd: str
) -> None:
    text = f"taxon,length\nPerlidae,1.5\nElmidae,3\nBaetidae,{odd}\nCaenidae,{odd}\nLimnephilidae,3\n"
    frame, (notice,) = read(tmp_path, text)
    assert "length" not in frame
    assert (notice.severity, notice.row, notice.column, notice.value) == ("notice", 4, "length", odd)
    assert notice.problem.startswith("this column was not taken for tolerance values")
    assert 'tolerance = "length"' in notice.fix


@pytest.mark.parametrize("name", ["valley", "rbp_northwest"])
def test_a_chosen_column_and_one_of_a_built_in_name_are_binding(tmp_path: Path, name: str) -> None:
    text = f"taxon,{name}\nPerlidae,1.5\nElmidae,30\n"
    frame, (fault,) = read(tmp_path, text, tolerance=name)
    assert name in frame
    assert (fault.row, fault.column, fault.problem, fault.severity) == (3, name, OUT, "fault")
    _, faults = read(tmp_path, text)
    assert [fault.severity for fault in faults] == ["notice" if name == "valley" else "fault"]


@pytest.mark.parametrize("cell", ["no", "No", "FALSE", "false", "0", "n", "N", "", "NA"])
def test_a_cell_of_excluded_that_says_no_leaves_nothing_out(tmp_path: Path, cell: str) -> None:
    frame, faults = read(tmp_path, f"taxon,excluded\nPerlidae,{cell}\nElmidae,terrestrial\n")
    assert faults == []
    assert frame["excluded"].tolist() == ["", "terrestrial"]
    found = resolve(["Perlidae", "Elmidae"], lookup=make_lookup(frame))
    assert found["excluded"].to_dict() == {"Perlidae": "", "Elmidae": "terrestrial"}
    assert found.loc["Perlidae", "tolerance"] == 1


def test_a_chosen_column_must_be_there_and_hold_numbers(tmp_path: Path) -> None:
    _, faults = read(tmp_path, "taxon,valey\nPerlidae,1\n", tolerance="valley")
    assert [(fault.row, fault.column, fault.problem) for fault in faults] == [
        (1, "valley", "the column is missing")
    ]
    assert faults[0].fix.startswith("is it valey?")
    _, faults = read(tmp_path, "taxon,valley\nPerlidae,high\n", tolerance="valley")
    assert [(fault.row, fault.column, fault.value) for fault in faults] == [(2, "valley", "high")]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "the table has no rows"),
        ("Taxa\nPerlidae\n", "the column is missing"),
        ("taxon\nPerlidé\n".encode("latin-1"), "the file is not text in UTF-8"),
        ("taxon,valley,valley\nPerlidae,1,2\n", "two columns have this heading"),
    ],
)
def test_a_file_that_cannot_be_such_a_table_is_a_fault(
    tmp_path: Path, text: str | bytes, problem: str
) -> None:
    frame, faults = read(tmp_path, text)
    assert problem in [fault.problem for fault in faults]
    assert "taxon" in frame


def test_a_missing_file_is_a_fault(tmp_path: Path) -> None:
    settings = Settings(title="", about="", tables={"taxa": "none.csv"}, layers={})
    _, faults = read_taxa(tmp_path, settings)
    assert [(fault.file, fault.problem) for fault in faults] == [("none.csv", "there is no such file")]


def test_our_own_table_saved_as_a_file_is_a_good_table(tmp_path: Path) -> None:
    ours = load_taxa()
    frame, faults = read(tmp_path, ours.to_csv(index=False))
    assert faults == []
    assert set(TOLERANCES) <= set(frame)
    again = resolve(ours["taxon"], lookup=make_lookup(frame))
    plain = resolve(ours["taxon"])
    assert again["tolerance"].equals(plain["tolerance"])
    assert again["family"].equals(plain["family"])
