"""Reads a table of text, and checks its columns, gathering every fault.

A table is a CSV file in UTF-8 with a heading row, separated by commas, semicolons or tabs. Every cell is
read as text first, so that a fault shows what stands in the file, at the row a spreadsheet would show.
"""

from __future__ import annotations

import csv
import difflib
import io
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.errors import Fault

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from pathlib import Path

    from watershedmap.errors import Severity

SEPARATORS = ",;\t"
MISSING = frozenset({"", "na", "n/a", "nan", "null"})
"""Cells that mean "not known", in lower case."""
MOST_COUNTED = 10_000_000
"""No sorted sample holds more individuals; a larger count is a slip, and would spoil sums."""
LARGEST_SCORE = 1_000_000_000
"""No index reaches so far from zero; a larger score is a slip."""


class Table:
    """One table as text, with the checks that turn its columns into values.

    Every check returns a whole column, missing where the text was at fault, and adds what it finds to
    `faults`, so that one pass over all tables finds everything.

    Parameters
    ----------
    file
        Name of the file as `survey.toml` gives it.
    frame
        Text cells under our column names; the index is the row as a spreadsheet counts it.
    names
        Our column name to the file's.
    faults
        What was found when reading the file.
    """

    def __init__(
        self, file: str, frame: pd.DataFrame, names: Mapping[str, str], faults: Collection[Fault] = ()
    ) -> None:
        self.file = file
        self.frame = frame
        self.names = names
        self.faults = list(faults)

    def report(self, column: str, bad: pd.Series, problem: str, fix: str, *, notice: bool = False) -> None:
        """Add one fault for each row where `bad` is true.

        Parameters
        ----------
        column
            Our name of the column.
        bad
            Truth per row, on the index of `frame`.
        problem, fix
            Wording of the fault.
        notice
            Whether the run may go on all the same.
        """
        if column not in self.frame:
            return  # that the column is missing is a fault of its own
        name = self.names.get(column, column)
        severity: Severity = "notice" if notice else "fault"
        cells = self.frame.loc[bad, column]
        self.faults += [
            Fault(self.file, int(row), name, str(text), problem, fix, severity)
            for row, text in zip(cells.index, cells, strict=True)
        ]

    def text(self, column: str, *, required: bool = False) -> pd.Series:
        """Return a column as text; with `required`, an empty cell is a fault."""
        cells = self._cells(column)
        if required:
            self.report(column, cells == "", "this cell is empty", f"fill in the {self.names[column]}")
        return cells

    def unique(self, column: str) -> None:
        """Fault every repeat of a value that must stand once."""
        cells = self._cells(column)
        repeated = cells.duplicated() & (cells != "")
        fix = "give each its own, or remove the row that is there twice"
        self.report(column, repeated, "this value stands in an earlier row too", fix)

    def known(self, column: str, values: Collection[str], *, where: str, blank: bool = False) -> None:
        """Fault values that another table does not hold; `blank` lets an empty cell pass."""
        ordered = sorted(set(values) - {""})
        if not ordered:
            return  # an empty other table has a fault of its own, which this one would only repeat
        cells = self._cells(column)
        unknown = ~cells.isin(ordered) & (cells != "")
        if not blank:
            unknown |= cells == ""
        for text in cells[unknown].unique():
            near = difflib.get_close_matches(text, ordered, n=1)
            fix = f"did you mean {near[0]}?" if near else f"add it to {where}, or correct it"
            self.report(column, unknown & (cells == text), f"this is not in {where}", fix)

    def number(
        self, column: str, *, low: float = -np.inf, high: float = np.inf, required: bool = True
    ) -> pd.Series:
        """Return a column of numbers; text, and numbers outside `low` to `high`, are faults."""
        cells, given = self._given(column, required=required)
        values = pd.to_numeric(cells.where(given), errors="coerce").astype(float)
        finite = pd.Series(np.isfinite(values), index=cells.index)
        comma = given & ~finite & cells.str.fullmatch(r"[-+]?\d*,\d+")
        self.report(column, comma, "a decimal comma", "write the number with a decimal point")
        self.report(column, given & ~finite & ~comma, "this is not a number", "write a plain number")
        outside = finite & ~values.between(low, high)
        span = f"{low:,.0f} or more" if np.isinf(high) else f"{low:,.0f} to {high:,.0f}"
        self.report(column, outside, "the number is out of range", f"expected {span}")
        return values.where(finite & ~outside)

    def whole(self, column: str) -> pd.Series:
        """Return a column of whole numbers, 0 or more."""
        values = self.number(column, low=0, high=MOST_COUNTED)
        parted = values.notna() & (values % 1 != 0)
        fix = "write how many individuals were counted, before any scaling"
        self.report(column, parted, "not a whole number", fix)
        return values.where(~parted)

    def date(self, column: str, *, form: str) -> pd.Series:
        """Return a column of dates written in the form given (`strftime` codes)."""
        cells, given = self._given(column, required=True)
        dates = pd.to_datetime(cells.where(given), format=form, errors="coerce").astype("datetime64[s]")
        bad = given & (dates.isna() | ~dates.dt.year.between(1900, 2100))
        example = pd.Timestamp(2024, 5, 31).strftime(form)
        fix = f'write dates like {example}, or say date_format = "%d/%m/%Y" or the like under [options]'
        self.report(column, bad, "this is not a date in the expected form", fix)
        # The day is what counts: two replicates taken at different hours are one visit.
        return dates.where(~bad).dt.normalize()

    def _cells(self, column: str) -> pd.Series:
        if column in self.frame:
            return self.frame[column]
        return pd.Series("", index=self.frame.index, dtype=str)

    def _given(self, column: str, *, required: bool) -> tuple[pd.Series, pd.Series]:
        """Return the cells and which of them hold something; report those that hold nothing."""
        cells = self._cells(column)
        given = ~cells.str.lower().isin(MISSING)
        if required:
            fix = "fill it in, or remove the row: a missing value is not taken as zero"
            self.report(column, ~given, "the value is missing", fix)
        return cells, given


def read_table(folder: Path, file: str, names: Mapping[str, str], *, required: Collection[str]) -> Table:
    """Read a CSV file as text.

    Parameters
    ----------
    folder
        The survey folder.
    file
        Path relative to it.
    names
        Our column name to the file's, for every column that may be there.
    required
        Our names of the columns that must be there.

    Returns
    -------
    Table
        With no rows when the file cannot be read; its faults say why.
    """
    empty = pd.DataFrame(columns=list(required), dtype=str)
    try:
        text = (folder / file).read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        fix = "put the file there, or correct its name in survey.toml"
        return Table(file, empty, names, [Fault(file, None, "", "", "there is no such file", fix)])
    except UnicodeDecodeError:
        fix = "save it again as CSV in UTF-8"
        return Table(file, empty, names, [Fault(file, None, "", "", "the file is not text in UTF-8", fix)])
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "this cannot be the name of a file"
        fix = "see that the file can be opened, and that its name is right"
        return Table(file, empty, names, [Fault(file, None, "", "", f"cannot be read: {reason}", fix)])
    frame, faults = _split(text, file)
    frame, more = _name_columns(frame, file, names, required)
    return Table(file, frame, names, faults + more)


def _split(text: str, file: str) -> tuple[pd.DataFrame, list[Fault]]:
    """Split text into cells; rows with too few or too many cells are faults and left out."""
    heading = text.split("\n", 1)[0]
    separator = max(SEPARATORS, key=heading.count)
    reader = csv.reader(io.StringIO(text), delimiter=separator)
    faults: list[Fault] = []
    rows: dict[int, list[str]] = {}
    columns: list[str] = []
    try:
        columns = [cell.strip() for cell in next(reader, [])]
        # A quoted cell may hold line breaks, so the row is counted by records as a spreadsheet does.
        for number, cells in enumerate(reader, start=2):
            if not "".join(cells).strip():
                continue
            if len(cells) == len(columns):
                rows[number] = [cell.strip() for cell in cells]
                continue
            problem = f"the row has {len(cells)} cells, the heading {len(columns)}"
            fix = "put text that holds the separator in quotation marks, and fill missing cells"
            faults.append(Fault(file, number, "", cells[0], problem, fix))
    except csv.Error as error:
        faults.append(
            Fault(file, reader.line_num, "", "", f"not readable as CSV: {error}", "save it again as CSV")
        )
    if not rows and not faults:
        faults.append(Fault(file, None, "", "", "the table has no rows", "add rows under the heading"))
    frame = pd.DataFrame.from_dict(rows, orient="index", columns=columns, dtype=str)
    return frame, faults


def _name_columns(
    frame: pd.DataFrame, file: str, names: Mapping[str, str], required: Collection[str]
) -> tuple[pd.DataFrame, list[Fault]]:
    """Keep the columns we know under our names; a missing or repeated one is a fault."""
    faults = []
    headings = list(frame.columns)
    for ours, theirs in names.items():
        if headings.count(theirs) > 1:
            faults.append(Fault(file, 1, theirs, "", "two columns have this heading", "rename or remove one"))
        mapped = ours != theirs
        if theirs not in headings and (ours in required or mapped):
            near = difflib.get_close_matches(theirs, headings, n=1, cutoff=0.5)
            hint = f"is it {near[0]}? " if near else ""
            fix = f"{hint}add the column, or name it in survey.toml under [columns]"
            faults.append(Fault(file, 1, theirs, "", "the column is missing", fix))
    present = {ours: frame[theirs] for ours, theirs in names.items() if headings.count(theirs) == 1}
    return pd.DataFrame(present, index=frame.index), faults
