"""Reads samples with counts, or scored samples."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from watershedmap.readers.tables import LARGEST_SCORE, Table, read_table

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
        sample_id, site_id, date, year, method, replicate.
    list of Fault
        All faults of the table; a sample that looks entered twice is a notice.
    """
    names = {name: settings.column("samples", name) for name in _SAMPLE_COLUMNS}
    required = ("sample_id", "site_id", "date")
    table = read_table(folder, settings.tables["samples"], names, required=required)
    sample_id = table.text("sample_id", required=True)
    table.unique("sample_id")
    return _collections(table, sample_id, settings, site_ids), table.faults


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
