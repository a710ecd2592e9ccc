"""Reads samples with counts, or scored samples.

A sample may also say how it was sorted and how it was checked: the share of the tray that was sorted, the
area or time sampled, and the figures of a quality check in the laboratory. All of that is optional, and an
empty cell is unknown, never zero. Where the tray was picked by grids, the share sorted is grids picked of
grids in the tray; a share written beside them may differ by rounding only (0.01), and the grids count.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.readers.tables import LARGEST_SCORE, Table, read_table
from watershedmap.settings import TABLE_COLUMNS

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from watershedmap.errors import Fault
    from watershedmap.settings import Settings


def read_samples(
    folder: Path, settings: Settings, *, site_ids: Collection[str]
) -> tuple[pd.DataFrame, list[Fault]]:
    """Read and check the table of samples.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings.
    site_ids
        Ids of the table of sites.

    Returns
    -------
    pandas.DataFrame
        sample_id, site_id, date, year, method, replicate; then those of these columns that the file has:
        fraction_sorted (above 0, to 1), grids_picked, grids_total, area_m2, minutes (above 0),
        sorting_efficiency, taxonomic_disagreement, count_difference (percent), NaN where unknown. With both
        columns of grids fraction_sorted is there too, taken from them.
    list of Fault
        All faults of the table; a sample that looks entered twice is a notice.
    """
    names = {name: settings.column("samples", name) for name in TABLE_COLUMNS["samples"]}
    required = ("sample_id", "site_id", "date")
    table = read_table(folder, settings.tables["samples"], names, required=required)
    sample_id = table.text("sample_id", required=True)
    table.unique("sample_id")
    frame = _collections(table, sample_id, settings, site_ids)
    for name, values in _read_effort(table).items():
        frame[name] = values.to_numpy()
    return frame, table.faults


def read_scores(
    folder: Path, settings: Settings, *, site_ids: Collection[str]
) -> tuple[pd.DataFrame, list[Fault]]:
    """Read and check the table of scores brought in.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings.
    site_ids
        Ids of the table of sites.

    Returns
    -------
    pandas.DataFrame
        As from `read_samples`, and score. A table without sample ids gets `row 2`, `row 3` and so on.
    list of Fault
        All faults of the table.
    """
    names = {name: settings.column("scores", name) for name in (*_SAMPLE_COLUMNS, "score")}
    table = read_table(folder, settings.tables["scores"], names, required=("site_id", "date", "score"))
    sample_id = table.text("sample_id")
    numbered = pd.Series([f"row {row}" for row in table.frame.index], index=table.frame.index, dtype=str)
    table.unique("sample_id")
    frame = _collections(table, sample_id.where(sample_id != "", numbered), settings, site_ids)
    frame["score"] = table.number("score", low=-LARGEST_SCORE, high=LARGEST_SCORE).to_numpy()
    return frame, table.faults


def read_counts(
    folder: Path, settings: Settings, *, samples: pd.DataFrame
) -> tuple[pd.DataFrame, list[Fault]]:
    """Read and check the table of counts.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings.
    samples
        The table of samples.

    Returns
    -------
    pandas.DataFrame
        sample_id, taxon (as written), count (0: looked for, none found), and row (in the file).
    list of Fault
        All faults; a taxon given twice in a sample (the counts are summed) and a sample without any row of
        counts are notices.
    """
    names = {name: settings.column("counts", name) for name in ("sample_id", "taxon", "count")}
    table = read_table(folder, settings.tables["counts"], names, required=tuple(names))
    sample_id = table.text("sample_id", required=True)
    table.known("sample_id", set(samples["sample_id"]), where="the table of samples", blank=True)
    taxon = table.text("taxon", required=True)
    counts = table.whole("count")
    again = pd.DataFrame({"sample_id": sample_id, "taxon": taxon.str.casefold()}).duplicated() & (taxon != "")
    fix = "the counts are summed; mend the table if one of the rows is a slip"
    table.report("taxon", again, "this taxon stands in the same sample already", fix, notice=True)
    frame = pd.DataFrame({"sample_id": sample_id, "taxon": taxon, "count": counts, "row": table.frame.index})
    return frame.reset_index(drop=True), table.faults


_SAMPLE_COLUMNS = ("sample_id", "site_id", "date", "method", "replicate")
MOST_GRIDS = 10_000
"""No tray has more grids; a larger number is a slip."""
LARGEST_AREA = 1_000_000
"""No sample covers more square metres; a larger number is a slip."""
LONGEST_MINUTES = 10_000
"""No sample takes longer; a larger number is a slip."""
ROUNDING = 0.01
"""A share sorted may differ from grids picked of grids in the tray by so much."""

_ABOVE_ZERO = {
    "fraction_sorted": 1.0,
    "grids_picked": MOST_GRIDS,
    "grids_total": MOST_GRIDS,
    "area_m2": LARGEST_AREA,
    "minutes": LONGEST_MINUTES,
}
"""Columns that must be above zero, with the highest value they can have."""
_PERCENTS = ("sorting_efficiency", "taxonomic_disagreement", "count_difference")


def _read_effort(table: Table) -> dict[str, pd.Series]:
    """Read the columns of effort and of quality checks that the table has."""
    read = {}
    for name, high in _ABOVE_ZERO.items():
        if name in table.frame:
            values = table.number(name, low=0, high=high, required=False)
            table.report(name, values == 0, "not above 0", "leave the cell empty where it is not known")
            read[name] = values.where(values > 0)
    for name in _PERCENTS:
        if name in table.frame:
            read[name] = table.number(name, low=0, high=100, required=False)
    for name in ("grids_picked", "grids_total"):
        if name in read:
            parted = read[name] % 1 > 0
            table.report(name, parted, "not a whole number", "count whole grids, or give fraction_sorted")
            read[name] = read[name].where(~parted)
    if "grids_picked" in read and "grids_total" in read:
        read["fraction_sorted"] = _share_grids(table, read)
    return read


def _share_grids(table: Table, read: dict[str, pd.Series]) -> pd.Series:
    """Return the share sorted, from grids where they are given; check that all three agree."""
    picked, total = read["grids_picked"], read["grids_total"]
    more = picked > total
    table.report("grids_picked", more, "more grids were picked than there are", "see both numbers")
    share = (picked / total).where(~more)
    written = read.get("fraction_sorted", pd.Series(np.nan, index=share.index))
    apart = (written - share).abs() > ROUNDING * (1 + 1e-9)
    fix = "correct one of the three: grids picked of grids in the tray is the share sorted"
    table.report("fraction_sorted", apart, "this does not agree with the grids", fix)
    return share.fillna(written)


def _collections(
    table: Table, sample_id: pd.Series, settings: Settings, site_ids: Collection[str]
) -> pd.DataFrame:
    """Return the columns that samples and scores share."""
    site_id = table.text("site_id", required=True)
    table.known("site_id", site_ids, where="the table of sites", blank=True)
    date = table.date("date", form=settings.options.date_format)
    frame = pd.DataFrame(
        {
            "sample_id": sample_id,
            "site_id": site_id,
            "date": date,
            "year": date.dt.year.astype("Int64"),
            "method": table.text("method"),
            "replicate": table.text("replicate"),
        }
    )
    again = frame.duplicated(["site_id", "date", "method", "replicate"]) & frame["date"].notna()
    fix = (
        "they are averaged as replicates; number the replicates, or remove the sample if it was entered twice"
    )
    problem = "an earlier row has the same site, date, method and replicate"
    table.report("site_id", again, problem, fix, notice=True)
    return frame.reset_index(drop=True)
