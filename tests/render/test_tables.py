"""The plain tables: order, rounding, missing values, and text that no spreadsheet runs."""

from __future__ import annotations

import csv
import dataclasses
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

from watershedmap.errors import OutputError
from watershedmap.render.tables import (
    COLUMNS,
    column_decimals,
    format_column,
    guard_text,
    order_columns,
    write_tables,
)

if TYPE_CHECKING:
    from pathlib import Path

    from watershedmap.assessment import Assessment

ALL_TABLES = {
    "samples": "samples",
    "sites": "sites",
    "reaches": "reaches",
    "subwatersheds": "subwatersheds",
    "yearly": "yearly",
    "taxa": "taxa",
    "checks": "checks",
    "steps": "steps",
    "combined_trends": "combined_trends",
    "inference": "inference.table",
    "layer_findings": "survey.findings",
    "notices": "notices",
}


def _read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_every_frame_becomes_a_table(small_assessment: Assessment, tmp_path: Path) -> None:
    written = write_tables(small_assessment, tmp_path / "out")
    assert [path.name for path in written] == [f"{name}.csv" for name in ALL_TABLES]
    frames = [attrgetter(place)(small_assessment) for place in ALL_TABLES.values()]
    assert [len(_read(path)) for path in written] == [len(frame) for frame in frames]


def test_what_a_survey_does_not_have_is_no_file(small_assessment: Assessment, tmp_path: Path) -> None:
    without = dataclasses.replace(small_assessment, subwatersheds=None, taxa=None)
    names = {path.name for path in write_tables(without, tmp_path)}
    assert "subwatersheds.csv" not in names
    assert "taxa.csv" not in names
    assert not (tmp_path / "taxa.csv").exists()


def test_columns_stand_in_their_fixed_order_without_geometry(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    write_tables(small_assessment, tmp_path)
    header = (tmp_path / "sites.csv").read_text(encoding="utf-8").split("\n", 1)[0].split(",")
    assert header == list(COLUMNS["sites"])
    reaches = (tmp_path / "reaches.csv").read_text(encoding="utf-8").split("\n", 1)[0].split(",")
    assert reaches[-2:] == ["upstream_km_1", "upstream_km_unassessed"]
    assert "geometry" not in reaches


def test_columns_that_are_not_known_follow_at_the_end(small_assessment: Assessment) -> None:
    extra = small_assessment.yearly.assign(extra=1)[["extra", "score", "site_id", "year", "n_samples"]]
    assert list(order_columns(extra, "yearly")) == ["site_id", "year", "score", "n_samples", "extra"]


def test_numbers_have_the_decimals_of_their_kind(small_assessment: Assessment, tmp_path: Path) -> None:
    write_tables(small_assessment, tmp_path)
    sample = _read(tmp_path / "samples.csv")[0]
    assert (sample["date"], sample["year"], sample["total_individuals"]) == ("2021-05-03", "2021", "120")
    assert (sample["percent_ept"], sample["shannon_diversity"]) == ("51.7", "2.12")
    assert sample["used"] == "true"
    site = _read(tmp_path / "sites.csv")[0]
    assert (site["longitude"], site["offset_m"], site["position_m"]) == ("10.000000", "3.3", "512.0")
    reach = _read(tmp_path / "reaches.csv")[0]
    assert (reach["length_km"], reach["upstream_km_1"]) == ("1.235", "1.235")
    assert (reach["score"], reach["upstream_score"]) == ("4.25", "4.25")
    assert [row["upstream_sites"] for row in _read(tmp_path / "reaches.csv")] == ["1", "1.5", "0"]


def test_scores_follow_the_decimals_of_the_index(small_assessment: Assessment, tmp_path: Path) -> None:
    index = dataclasses.replace(small_assessment.index, decimals=0)
    write_tables(dataclasses.replace(small_assessment, index=index), tmp_path)
    assert _read(tmp_path / "samples.csv")[0]["score"] == "4"


def test_a_printed_score_is_rounded_like_its_class_is_drawn(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    write_tables(small_assessment, tmp_path)
    assert f"{4.255:.2f}" == "4.25"  # what plain formatting would print
    assert _read(tmp_path / "samples.csv")[0]["score"] == "4.26"


def test_missing_is_empty_and_never_zero(small_assessment: Assessment, tmp_path: Path) -> None:
    write_tables(small_assessment, tmp_path)
    site = _read(tmp_path / "sites.csv")[1]
    empty = {name for name, cell in site.items() if cell == ""}
    assert {"score", "class", "reach_id", "offset_m", "first_year", "trend", "notes"} <= empty
    assert (site["n_samples"], site["current"]) == ("0", "false")
    reach = _read(tmp_path / "reaches.csv")[2]
    assert (reach["strahler_order"], reach["score"]) == ("", "")


def test_text_that_begins_like_a_formula_is_harmless(small_assessment: Assessment, tmp_path: Path) -> None:
    for path in write_tables(small_assessment, tmp_path):
        cells = [cell for row in _read(path) for cell in row.values()]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))], path.name
    site = _read(tmp_path / "sites.csv")
    assert site[1]["name"] == "'=cmd|' /C calc'!A0"
    assert site[0]["notes"] == "'+1 riffle"
    assert site[0]["name"] == "<img src=x onerror=alert(1)>"  # only a name: a table runs no markup
    assert _read(tmp_path / "taxa.csv")[1]["name"] == "'-Baetidea"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\N{FULLWIDTH EQUALS SIGN}"])
def test_every_risky_start_is_guarded(start: str) -> None:
    assert guard_text(f"{start}1") == f"'{start}1"


@pytest.mark.parametrize("text", ["", "Alder Run", "a=b", "'quoted", "1-2"])
def test_other_text_is_unchanged(text: str) -> None:
    assert guard_text(text) == text


def test_negative_numbers_stay_numbers() -> None:
    slopes = pd.Series([-0.25, 0.1, np.nan, -1e-12], name="slope_per_year")
    assert format_column(slopes, decimals=2) == ["-0.250000", "0.100000", "", "0.000000"]


def test_large_whole_numbers_keep_every_digit() -> None:
    ids = pd.Series([23001300078683123], name="comid")
    assert format_column(ids, decimals=2) == ["23001300078683123"]


def test_a_line_drawn_from_printed_figures_is_true_to_the_score() -> None:
    slope, intercept = -0.123456789, 253.123456789
    printed = [
        float(format_column(pd.Series([value], name=name), decimals=2)[0])
        for name, value in (("slope_per_year", slope), ("intercept", intercept))
    ]
    assert printed[1] + printed[0] * 2024 == pytest.approx(intercept + slope * 2024, abs=0.005)


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [(4.255, 2, 4.26), (-4.255, 2, -4.26), (0.5, 0, 1.0), (2.5, 0, 3.0), (4.2549, 2, 4.25), (0.285, 2, 0.29)],
)
def test_halves_are_rounded_away_from_zero(value: float, decimals: int, expected: float) -> None:
    assert format_column(pd.Series([value], name="score"), decimals=decimals) == [f"{expected:.{decimals}f}"]


def test_decimals_follow_the_unit_in_the_name() -> None:
    names = ["length_km", "upstream_km_3", "offset_m", "p_value", "score_low", "year"]
    assert [column_decimals(name, decimals=1) for name in names] == [3, 3, 1, 4, 1, None]


def test_notices_are_listed_with_the_row_as_a_spreadsheet_counts(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    write_tables(small_assessment, tmp_path)
    rows = _read(tmp_path / "notices.csv")
    assert list(rows[0]) == ["file", "row", "column", "value", "problem", "fix"]
    assert (rows[0]["row"], rows[0]["value"]) == ("3", "'-Baetidea")
    assert rows[1]["row"] == ""


def test_a_survey_without_notices_still_has_the_heading(small_assessment: Assessment, tmp_path: Path) -> None:
    write_tables(dataclasses.replace(small_assessment, notices=()), tmp_path)
    assert (tmp_path / "notices.csv").read_bytes() == b"file,row,column,value,problem,fix\n"


def test_same_assessment_same_bytes_with_plain_line_ends(
    small_assessment: Assessment, tmp_path: Path
) -> None:
    first = write_tables(small_assessment, tmp_path / "one")
    second = write_tables(small_assessment, tmp_path / "two")
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]
    text = (tmp_path / "one" / "reaches.csv").read_bytes()
    assert b"\r" not in text
    assert "Größe".encode() in text
    assert not text.startswith(b"\xef\xbb\xbf")


def test_the_assessment_is_not_changed(small_assessment: Assessment, tmp_path: Path) -> None:
    before = small_assessment.sites.copy()
    write_tables(small_assessment, tmp_path)
    pd.testing.assert_frame_equal(small_assessment.sites, before)


def test_a_place_that_cannot_be_written_is_said_plainly(small_assessment: Assessment, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    with pytest.raises(OutputError, match=r"samples\.csv cannot be written"):
        write_tables(small_assessment, tmp_path / "taken")
