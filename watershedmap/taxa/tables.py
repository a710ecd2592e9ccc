"""The built-in tables of taxa: classification, values by source, changed and common names.

Small files lie in `taxa/tables/`, each row with its source:

- `families.csv`, `higher.csv` (orders, classes, subfamilies, tribes) and `genera.csv`: classification,
  common knowledge of the trade, from memory. The first two also carry the values of Hilsenhoff 1988;
- `rbp_1999.csv`: five regional columns of Barbour et al. 1999, EPA 841-B-99-002, Appendix B, as printed
  there with the page; only the rows above the genus and a few genera. Ohio's values were converted by the
  source from a scale of 60 points;
- `bmwp.csv`: scores of the Biological Monitoring Working Party, from memory, with the family that a taxon is
  scored together with. Chrysomelidae and Curculionidae, in the first list, are left out as in later use;
- `sensitivity.csv`: the three groups of the streamside rating of EPA 841-B-97-003, section 4.2, from memory;
- `synonyms.csv`: changed and misspelt names; `common_names.csv`: names of field keys.

Rules for taxa that a source does not name as such:

- a family split off since keeps the value of the family that then held it, and its source says so;
- Ameletidae and Acanthametropodidae are the exception for 1988: Siphlonuridae had its 7 for animals of
  still water, so they have none;
- the table of 1988 holds arthropods only: worms, leeches, snails, clams and flatworms have no value in it;
- Naididae has the value that Appendix B prints for Tubificidae, which it now holds: too high for some;
- a source that says "no value: ..." stops the walk up: the family's or order's value is not taken.

Bias: one value for a family hides the spread inside it; each list was made for the streams of its region.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

import pandas as pd

from watershedmap.taxa.ancestry import inherit

if TYPE_CHECKING:
    from collections.abc import Mapping

_RBP = "Barbour et al. 1999, EPA 841-B-99-002, Appendix B"
TOLERANCES: Final[Mapping[str, str]] = {
    "hilsenhoff_1988": "Hilsenhoff 1988, table of family tolerance values, from memory",
    "rbp_southeast": f"{_RBP}, column of the Southeast",
    "rbp_upper_midwest": f"{_RBP}, column of the Upper Midwest",
    "rbp_midwest": f"{_RBP}, column of the Midwest",
    "rbp_northwest": f"{_RBP}, column of the Northwest",
    "rbp_midatlantic": f"{_RBP}, column of the Mid-Atlantic coastal streams",
}
"""Built-in columns of tolerance values (0 best to 10 worst), and where each comes from."""
DEFAULT_TOLERANCE: Final = "hilsenhoff_1988"
"""The column that `load_taxa` also gives as `tolerance`."""
BUILT_IN: Final = "built in"
"""Origin of rows of the package's own tables."""
TEXT_COLUMNS: Final = ("taxon", "rank", "parent", "family", "order", "group", "common_name", "excluded")
"""Columns of text that say what a taxon is."""
TAXA_COLUMNS: Final = (
    *TEXT_COLUMNS,
    "sensitivity",
    "sensitivity_source",
    *(f"{name}{end}" for name in TOLERANCES for end in ("", "_source")),
    "bmwp",
    "bmwp_group",
    "bmwp_source",
    "origin",
    "source",
    "tolerance",
    "tolerance_source",
)
"""Columns of a table of taxa, in order."""


def load_taxa() -> pd.DataFrame:
    """List every taxon the package knows.

    Returns
    -------
    pandas.DataFrame
        One row a taxon, sorted by name: taxon, rank, parent (the next taxon above it in this list; empty at
        the top), family (empty above the family), order and group (a class or the nearest usual group; empty
        where unsettled), common_name, excluded (why it is left out of metrics; empty for all of ours),
        sensitivity (1 sensitive, 2 somewhat sensitive, 3 tolerant), one column for each of `TOLERANCES`
        (0 best to 10 worst), bmwp (1 to 10) with bmwp_group (the family it is scored with), origin, source
        (of the classification), and tolerance, which is the column of Hilsenhoff 1988 once more. A value
        that is missing is NaN. Each value has its source in `<column>_source`, which also says why a value
        is missing where that is not plain, and from which taxon above it was taken. The frame is the
        caller's.
    """
    return _load_taxa().copy()


def load_own_values() -> pd.DataFrame:
    """List the taxa with the values that the sources state for just that taxon.

    Returns
    -------
    pandas.DataFrame
        As from `load_taxa`, without what is taken from the taxa above, and without tolerance and its source.
        The frame is the caller's.
    """
    return _load_own_values().copy()


def load_synonyms() -> pd.DataFrame:
    """List changed and misspelt names.

    Returns
    -------
    pandas.DataFrame
        One row a name, sorted by it: name, accepted (a taxon of `load_taxa`, or a species of a genus in it),
        note, source. The frame is the caller's.
    """
    return _read("synonyms").copy()


def load_common_names() -> pd.DataFrame:
    """List the common names of field keys, in the singular.

    Returns
    -------
    pandas.DataFrame
        One row a taxon, sorted by it: taxon, common_name, other_names ("; " between them), source. The frame
        is the caller's.
    """
    return _read("common_names").copy()


def finish(own_values: pd.DataFrame) -> pd.DataFrame:
    """Let each taxon take from the taxa above it what no source states for itself.

    Parameters
    ----------
    own_values
        As from `load_own_values`, further tolerance columns included.

    Returns
    -------
    pandas.DataFrame
        As from `load_taxa`.
    """
    below_order = [*tolerance_columns(own_values), "bmwp"]
    taxa = inherit(own_values, within_family=below_order, anywhere=["sensitivity"])
    return taxa.assign(
        tolerance=taxa[DEFAULT_TOLERANCE], tolerance_source=taxa[f"{DEFAULT_TOLERANCE}_source"]
    )


def tolerance_columns(taxa: pd.DataFrame) -> list[str]:
    """Name the columns of tolerance values in a table of taxa.

    Parameters
    ----------
    taxa
        As from `load_taxa`, or merged with a table of the user's.

    Returns
    -------
    list of str
        Ours first, then the user's own in their order.
    """
    ended = [name.removesuffix("_source") for name in taxa.columns if name.endswith("_source")]
    return [name for name in ended if name in taxa and name not in {"sensitivity", "bmwp", "tolerance"}]


@cache
def _load_taxa() -> pd.DataFrame:
    return finish(_load_own_values()).loc[:, list(TAXA_COLUMNS)]


@cache
def _load_own_values() -> pd.DataFrame:
    families = _read("families").assign(rank="family").rename(columns={"family": "taxon"})
    higher = _read("higher")
    order = pd.concat([families.set_index("taxon")["order"], higher.set_index("taxon")["order"]])
    genera = _read("genera").rename(columns={"genus": "taxon"}).assign(rank="genus")
    genera["order"] = order.reindex(genera["family"]).to_numpy()
    genera["group"] = families.set_index("taxon")["group"].reindex(genera["family"]).to_numpy()
    taxa = pd.concat([families.assign(family=families["taxon"]), higher, genera], ignore_index=True)
    rbp = _read("rbp_1999")
    for name in TOLERANCES:
        if name.startswith("rbp_"):
            rbp[f"{name}_source"] = rbp["source"].where(rbp[name] != "", "")
    for table, renamed in (
        (rbp.drop(columns="source"), {}),
        (_read("bmwp"), {"source": "bmwp_source"}),
        (_read("sensitivity"), {"source": "sensitivity_source"}),
        (_read("common_names").drop(columns=["other_names", "source"]), {}),
    ):
        taxa = taxa.merge(table.rename(columns=renamed), on="taxon", how="left", validate="one_to_one")
    taxa = taxa.assign(excluded="", origin=BUILT_IN).fillna("")
    for name in (*TOLERANCES, "bmwp", "sensitivity"):
        taxa[name] = pd.to_numeric(taxa[name].where(taxa[name] != "")).astype(float)
    columns = [name for name in TAXA_COLUMNS if name not in {"tolerance", "tolerance_source"}]
    return taxa.loc[:, columns].sort_values("taxon", ignore_index=True)


@cache
def _read(name: str) -> pd.DataFrame:
    """Read one of the files as text: an empty cell is an empty text, never a missing value."""
    with (files("watershedmap.taxa") / "tables" / f"{name}.csv").open("r", encoding="utf-8") as file:
        return pd.read_csv(file, dtype=str, keep_default_na=False)
