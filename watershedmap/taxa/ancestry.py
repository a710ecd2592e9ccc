"""Walking up from a taxon to those that hold it, for what no source states for the taxon itself.

A species or genus has the value of the nearest taxon above it that has one. Tolerance and BMWP score end at
the family, because no index here is defined on values of orders; the groups of the streamside rating are
stated for orders and so may come from anywhere above. A taxon whose source says why it has no value keeps
none. Common practice, no source.

Bias: a genus whose family has one value for animals of very different needs is given that value all the
same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from watershedmap.taxa.names import make_key

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy.typing as npt
    import pandas as pd

    Places = npt.NDArray[np.intp]

_MOST_STEPS = 12


def inherit(taxa: pd.DataFrame, *, within_family: Iterable[str], anywhere: Iterable[str]) -> pd.DataFrame:
    """Fill values that a taxon lacks from the taxa above it.

    Parameters
    ----------
    taxa
        One row a taxon: taxon, parent, family, excluded, and the columns of values, each with its
        `<column>_source` (and `bmwp_group` beside `bmwp`).
    within_family
        Columns that are taken from a family or from below it only.
    anywhere
        Columns that are taken from any taxon above.

    Returns
    -------
    pandas.DataFrame
        A new frame; a source says from which taxon a value was taken.
    """
    up = _find_parents(taxa)
    inside = np.where((up >= 0) & (taxa["family"].to_numpy()[up] != ""), up, -1)
    excluded = taxa["excluded"].to_numpy()
    filled = taxa.assign(excluded=excluded[_climb(excluded != "", up)])
    for columns, steps in ((within_family, inside), (anywhere, up)):
        for column in columns:
            _fill(filled, column, steps)
    return filled


def _fill(taxa: pd.DataFrame, column: str, up: Places) -> None:
    """Fill one column, its source and, for a score, the family it counts under."""
    values, sources = taxa[column].to_numpy(), taxa[f"{column}_source"].to_numpy()
    given = ~np.isnan(values) | (sources != "")
    place = _climb(given, up)
    taken = (place != np.arange(len(taxa))) & ~np.isnan(values[place])
    names = taxa["taxon"].to_numpy()[place]
    notes = [f"; value of {name}" if is_taken else "" for name, is_taken in zip(names, taken, strict=True)]
    taxa[column] = values[place]
    taxa[f"{column}_source"] = [source + note for source, note in zip(sources[place], notes, strict=True)]
    if column == "bmwp":
        _fill_groups(taxa, up)


def _fill_groups(taxa: pd.DataFrame, up: Places) -> None:
    """Find what each score counts under: a group from above, else the family, else the taxon itself."""
    groups = taxa["bmwp_group"].to_numpy()
    groups = groups[_climb(groups != "", up)]
    rows = zip(taxa["bmwp"].notna(), groups, taxa["family"], taxa["taxon"], strict=True)
    taxa["bmwp_group"] = [(group or family or name) if scored else "" for scored, group, family, name in rows]


def _find_parents(taxa: pd.DataFrame) -> Places:
    """Find the row of each taxon's parent; -1 when there is none."""
    places = {make_key(name): place for place, name in enumerate(taxa["taxon"])}
    return np.array(
        [places.get(make_key(name), -1) if name else -1 for name in taxa["parent"]], dtype=np.intp
    )


def _climb(given: npt.NDArray[np.bool_], up: Places) -> Places:
    """Find for each row the nearest at or above it that is given; the row itself when none is."""
    start = np.arange(len(given), dtype=np.intp)
    place = start.copy()
    for _ in range(_MOST_STEPS):  # a bound, since a table of the user's may run in a circle
        place = np.where(given[place] | (up[place] < 0), place, up[place])
    return np.where(given[place], place, start)
