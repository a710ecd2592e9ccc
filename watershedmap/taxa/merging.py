"""A user's own table of taxa laid over ours, row by row and cell by cell.

A cell that is given takes the place of ours; a blank cell leaves ours. `tolerance` takes the place of the
value in each of our columns of tolerance values; a column with the name of one of ours changes that one only;
a column of any other name is a column of its own, without our values. A taxon that our tables do not know is
placed by what the row says, and for the rest by what its own name tells: a species by its genus, a changed
name by the accepted one. Rules of this package, no source.

Bias: a value for a family passes on to all of its genera that have none of their own.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from watershedmap.taxa.names import is_epithet, make_key
from watershedmap.taxa.tables import TOLERANCES, load_own_values

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Mapping

SURVEY: Final = "survey"
"""Origin of rows of the user's own table."""
UNRANKED: Final = "unranked"
"""Rank of a taxon of the user's that neither the row nor the name tells the rank of."""
OWN_TEXT: Final = ("taxon", "rank", "family", "order", "group", "common_name", "excluded")
"""Columns of text in a user's own table."""
OWN_VALUES: Final = ("tolerance", "sensitivity", "bmwp")
"""Columns of numbers in a user's own table; any other column is a further column of tolerance values."""

_ENDINGS = {"idae": "family", "inae": "subfamily", "ini": "tribe"}


def merge_taxa(own: pd.DataFrame, find: Callable[[str], dict[str, str]]) -> pd.DataFrame:
    """Lay a user's own table over ours.

    Parameters
    ----------
    own
        As from `watershedmap.readers.taxa.read_taxa`: taxon, and any of `OWN_TEXT`, `OWN_VALUES`, `source`
        and further columns of tolerance values; blank text and NaN leave ours.
    find
        Tells rank, family, order, group and parent of a name by our tables; an empty mapping when unknown.

    Returns
    -------
    pandas.DataFrame
        As from `load_own_values`, with the user's columns added; the user's rows have origin `survey`.
    """
    frame = load_own_values()
    further = [str(name) for name in own if name not in {*OWN_TEXT, *OWN_VALUES, *frame, "source", "row"}]
    for name in further:
        frame[name], frame[f"{name}_source"] = math.nan, ""
    rows = {make_key(row["taxon"]): _as_dict(row) for row in frame.to_dict("records")}
    empty = {
        name: math.nan if isinstance(value, float) else ""
        for name, value in next(iter(rows.values())).items()
    }
    changed = []
    for given in map(_as_dict, own.to_dict("records")):
        key = make_key(given["taxon"])
        row = rows.get(key) or {**empty, "rank": "", **find(given["taxon"]), "taxon": given["taxon"]}
        rows[key] = _overlay(row, given, further)
        changed.append((key, given))
    for key, given in changed:
        _place(rows[key], given, rows)
    return pd.DataFrame(list(rows.values())).sort_values("taxon", ignore_index=True)


def _as_dict(row: Mapping[Hashable, Any]) -> dict[str, Any]:
    return {str(name): value for name, value in row.items()}


def _overlay(row: dict[str, Any], given: dict[str, Any], further: list[str]) -> dict[str, Any]:
    """Put the cells that are given in place of ours."""
    source = given.get("source") or "the survey's own table of taxa"
    texts = {name: given[name] for name in OWN_TEXT[1:] if given.get(name)}
    new = {**row, **texts, "origin": SURVEY, "source": source}
    same = given.get("tolerance", math.nan)
    values = dict.fromkeys(TOLERANCES, same)
    named = {name: given[name] for name in (*TOLERANCES, *further, "sensitivity", "bmwp") if name in given}
    values |= {name: value for name, value in named.items() if not math.isnan(value)}
    for name, value in values.items():
        if not math.isnan(value):
            new |= {name: value, f"{name}_source": source}
    return new


def _place(row: dict[str, Any], given: dict[str, Any], rows: dict[str, dict[str, Any]]) -> None:
    """Complete the classification of a row, and find the taxon next above it."""
    genus = rows.get(make_key(row["taxon"].split(" ")[0])) if " " in row["taxon"] else None
    if genus is not None and genus["rank"] == "genus" and not row["family"]:
        row |= {name: row[name] or genus[name] for name in ("family", "order", "group")}
    row["rank"] = row["rank"] or _guess_rank(row["taxon"])
    for rank in ("family", "order"):
        if row["rank"] == rank:
            row[rank] = given.get(rank) or row["taxon"]
    for above in ("family", "order"):
        holder = rows.get(make_key(row[above]))
        if holder is not None and holder is not row:
            moved = bool(given.get(above))  # a family that is given brings its own order and group along
            for name in ("order", "group"):
                if name != above and not given.get(name) and (moved or not row[name]):
                    row[name] = holder[name] or row[name]
    if genus is not None and genus["rank"] == "genus" and genus["family"] == row["family"]:
        row["parent"] = genus["taxon"]
    elif make_key(row["parent"]) not in rows or any(
        given.get(name) for name in ("rank", "family", "order", "group")
    ):
        names = (row["family"], row["order"], row["group"])
        row["parent"] = next((name for name in names if name and name != row["taxon"]), "")


def _guess_rank(name: str) -> str:
    words = name.split()
    if len(words) > 1 and all(map(is_epithet, words)):
        return "species"
    return next((rank for ending, rank in _ENDINGS.items() if name.endswith(ending)), UNRANKED)
