"""The built-in tables of taxa: families, higher groups, genera, and changed names.

Four small files lie in `taxa/tables/`, each row with its source: `families.csv`, `higher.csv` (orders,
classes, subfamilies, tribes), `genera.csv` (a genus belongs to one family) and `synonyms.csv` (a changed,
misspelt or common name and the accepted one).

The classification is common knowledge of the trade, written from memory. Tolerance values are those of the
family table of Hilsenhoff 1988 (from memory) and no others. Rules for families the table does not name as
such:

- a family split off since 1988 keeps the value of the family that then held it, and its source says so;
- Ameletidae and Acanthametropodidae are the exception: Siphlonuridae had its 7 for animals of still water, so
  they have none;
- the table holds arthropods only: worms, leeches, snails, clams and flatworms have no value;
- a family the table leaves out has no value. It is known all the same;
- a genus, tribe or subfamily has the value of its family; an order or class has none.

Bias: one value for a family hides the spread inside it, and the table was made for streams of Wisconsin.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import pandas as pd

TAXA_COLUMNS = ("taxon", "rank", "family", "order", "group", "tolerance", "tolerance_source")
"""Columns of a table of taxa, in order."""


def load_taxa() -> pd.DataFrame:
    """List every taxon the package knows.

    Returns
    -------
    pandas.DataFrame
        One row a taxon, sorted by name: taxon, rank, family (empty above the family), order and group (a
        class or the nearest usual group; empty where unsettled), tolerance (0 best to 10 worst; NaN when the
        source has none) and tolerance_source (also says why a value is missing where that is not plain). The
        frame is the caller's.
    """
    return _load_taxa().copy()


def load_synonyms() -> pd.DataFrame:
    """List changed, misspelt and common names.

    Returns
    -------
    pandas.DataFrame
        One row a name, sorted by it: name, accepted (a taxon of `load_taxa`, or a species of a genus in it),
        note, source. The frame is the caller's.
    """
    return _read("synonyms").copy()


@cache
def _load_taxa() -> pd.DataFrame:
    families = _families()
    parts = [families, _read("higher"), _genera(families)]
    taxa = pd.concat([part.loc[:, list(TAXA_COLUMNS)] for part in parts], ignore_index=True)
    taxa["tolerance"] = pd.to_numeric(taxa["tolerance"].where(taxa["tolerance"] != ""))
    return taxa.sort_values("taxon", ignore_index=True)


def _families() -> pd.DataFrame:
    families = _read("families")
    return families.assign(taxon=families["family"], rank="family")


def _genera(families: pd.DataFrame) -> pd.DataFrame:
    """Give each genus the order, group and tolerance of its family."""
    genera = _read("genera").drop(columns="source").rename(columns={"genus": "taxon"})
    inherited = families.loc[:, ["family", "order", "group", "tolerance", "tolerance_source"]]
    return genera.merge(inherited, on="family", how="left", validate="many_to_one").assign(rank="genus")


@cache
def _read(name: str) -> pd.DataFrame:
    """Read one of the files as text: an empty cell is an empty text, never a missing value."""
    with (files("watershedmap.taxa") / "tables" / f"{name}.csv").open("r", encoding="utf-8") as file:
        return pd.read_csv(file, dtype=str, keep_default_na=False)
