"""Reads a user's own table of taxa.

Only the column `taxon` is required; a blank cell leaves what the built-in tables say. Beside the columns of
`COLUMNS`, a column is taken for tolerance values when it has the name of a built-in one, when the survey
chooses it, or when all its cells are numbers from 0 to 10; any other is left alone, so that a table may carry
notes and numbers of its own. A column mostly of numbers that is left alone is said to be so.
"""

from __future__ import annotations

import csv
import difflib
from typing import TYPE_CHECKING, Final

import pandas as pd

from watershedmap.readers.tables import MISSING, SEPARATORS, Table, read_table
from watershedmap.taxa.lookup import resolve
from watershedmap.taxa.merging import OWN_TEXT, OWN_VALUES, UNRANKED
from watershedmap.taxa.names import clean_name, make_key
from watershedmap.taxa.tables import TAXA_COLUMNS, TOLERANCES

if TYPE_CHECKING:
    from pathlib import Path

    from watershedmap.errors import Fault
    from watershedmap.settings import Settings

COLUMNS: Final = (*OWN_TEXT, *OWN_VALUES, "source")
"""Our names of the columns that a table of taxa may have."""
RANKS: Final = (
    *("kingdom", "phylum", "subphylum", "superclass", "class", "subclass", "infraclass", "cohort"),
    *("superorder", "order", "suborder", "infraorder", "superfamily", "family", "subfamily", "tribe"),
    *("genus", "subgenus", "species group", "species", "subspecies", UNRANKED),
)
"""Ranks that a table may name, from wide to narrow."""
LIMITS: Final = {"tolerance": (0, 10), "sensitivity": (1, 3), "bmwp": (1, 10)}
"""Lowest and highest value of each column of numbers; further tolerance columns have those of tolerance."""
NOT_EXCLUDED: Final = MISSING | {"no", "n", "false", "0"}
"""Cells of `excluded` that leave nothing out, in small letters."""


def read_taxa(folder: Path, settings: Settings) -> tuple[pd.DataFrame | None, list[Fault]]:
    """Read and check the user's own table of taxa.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings; the column of tolerance values they choose must be there unless it is a built-in one.

    Returns
    -------
    pandas.DataFrame or None
        One row a taxon: the text columns of `COLUMNS` (empty where blank), tolerance, sensitivity, bmwp and
        each further column of tolerance values (NaN where blank), source (names file and row) and row (in
        the file). None when the survey names no such table.
    list of Fault
        All faults; a family or order that no table knows, and a column of numbers that is left alone, are
        notices.
    """
    file = settings.tables.get("taxa")
    if file is None:
        return None, []
    names = {name: settings.column("taxa", name) for name in COLUMNS}
    further = [name for name in _read_headings(folder / file) if _may_be_tolerance(name, names)]
    chosen = settings.options.tolerance
    required = ("taxon",) if chosen in TOLERANCES else ("taxon", chosen)
    known = names | {name: name for name in (*further, *required[1:])}
    table = read_table(folder, file, known, required=required)
    further = [name for name in further if _holds_tolerances(table, name, chosen)]
    frame = _read_text(table)
    for name in (*OWN_VALUES, *further):
        low, high = LIMITS.get(name, LIMITS["tolerance"])
        frame[name] = table.number(name, low=low, high=high, required=False)
    parted = frame["sensitivity"].notna() & (frame["sensitivity"] % 1 != 0)
    table.report("sensitivity", parted, "not a whole number", "write 1, 2 or 3: sensitive to tolerant")
    frame["sensitivity"] = frame["sensitivity"].where(~parted)
    where = [f"{file}, row {row}" for row in table.frame.index]
    said = zip(table.text("source"), where, strict=True)
    frame["source"] = [f"{source} ({place})" if source else place for source, place in said]
    frame["row"] = table.frame.index
    return frame[frame["taxon"] != ""].reset_index(drop=True), table.faults


def _read_headings(path: Path) -> list[str]:
    """Read the headings of a table; none when it cannot be read, which `read_table` reports."""
    try:
        with path.open("r", encoding="utf-8-sig", newline="") as file:
            heading = file.readline()
        separator = max(SEPARATORS, key=heading.count)
        return [cell.strip() for cell in next(csv.reader([heading], delimiter=separator), [])]
    except (OSError, ValueError, csv.Error):
        return []


def _may_be_tolerance(name: str, names: dict[str, str]) -> bool:
    """Tell whether a heading is none of ours, or one of our columns of tolerance values."""
    ours = {*names, *names.values(), *TAXA_COLUMNS, "row", ""} - set(TOLERANCES)
    return name not in ours and not name.endswith("_source")


def _holds_tolerances(table: Table, name: str, chosen: str) -> bool:
    """Tell whether a column is of tolerance values; notice one of numbers that is not."""
    if name in TOLERANCES or name == chosen or name not in table.frame:
        return name in table.frame
    cells = table.frame[name]
    given = cells[~cells.str.casefold().isin(MISSING)]
    values = pd.to_numeric(given, errors="coerce")
    others = ~values.between(*LIMITS["tolerance"])
    if others.any() and 2 * int(values.notna().sum()) > len(given):
        first = cells.index == others.idxmax()
        problem = "this column was not taken for tolerance values, which are numbers from 0 to 10"
        fix = f'nothing to do if it holds none; else correct it and say tolerance = "{name}" under [options]'
        table.report(name, pd.Series(first, index=cells.index), problem, fix, notice=True)
    return len(given) > 0 and not others.any()


def _read_text(table: Table) -> pd.DataFrame:
    """Read the columns of text, and check names, ranks and the taxa above."""
    frame = pd.DataFrame({name: table.text(name, required=name == "taxon") for name in OWN_TEXT})
    frame["excluded"] = frame["excluded"].where(~frame["excluded"].str.casefold().isin(NOT_EXCLUDED), "")
    keys = frame["taxon"].map(clean_name).map(make_key)
    nameless = (frame["taxon"] != "") & (keys == "")
    table.report("taxon", nameless, "this is no name", "write the name of the taxon in letters")
    fix = "keep one row a taxon; capitals, hyphens and remarks make no difference"
    table.report("taxon", keys.duplicated() & (keys != ""), "an earlier row has this taxon too", fix)
    frame["rank"] = frame["rank"].str.casefold()
    for rank in sorted(set(frame["rank"]) - {"", *RANKS}):
        near = difflib.get_close_matches(rank, RANKS, n=1)
        fix = f"did you mean {near[0]}?" if near else f"choose from: {', '.join(RANKS)}"
        table.report("rank", frame["rank"] == rank, "unknown rank", fix)
    for name in ("family", "order"):
        _check_above(table, frame, name, set(keys))
    frame["taxon"] = frame["taxon"].where(~nameless, "")
    return frame


def _check_above(table: Table, frame: pd.DataFrame, name: str, listed: set[str]) -> None:
    """Notice a family or order that neither our tables nor the user's list."""
    found = resolve(set(frame[name]) - {""})
    for text, suggestions in found.loc[~found["known"], "suggestions"].items():
        if make_key(str(text)) not in listed:
            fix = f"did you mean {suggestions.split(', ')[0]}?" if suggestions else "give it a row of its own"
            table.report(name, frame[name] == text, f"no table knows this {name}", fix, notice=True)
