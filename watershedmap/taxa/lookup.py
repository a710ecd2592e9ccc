"""Resolving the names of tally sheets, in our tables or with a user's own table laid over them.

How one name is found: `watershedmap.taxa.finding`.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import pandas as pd

from watershedmap.taxa.common import index_common_names
from watershedmap.taxa.finding import find_taxon
from watershedmap.taxa.merging import merge_taxa
from watershedmap.taxa.names import clean_name, make_key
from watershedmap.taxa.spelling import suggest_spellings
from watershedmap.taxa.tables import (
    DEFAULT_TOLERANCE,
    finish,
    load_common_names,
    load_synonyms,
    load_taxa,
    tolerance_columns,
)
from watershedmap.taxa.taxon import Lookup, Taxon, leave_out

if TYPE_CHECKING:
    from collections.abc import Iterable

EPT_ORDERS = frozenset({"Ephemeroptera", "Plecoptera", "Trichoptera"})
"""The orders of mayflies, stoneflies and caddisflies."""

RESOLVED_COLUMNS = (
    "taxon",
    "rank",
    "family",
    "order",
    "group",
    "ept",
    "tolerance",
    "tolerance_source",
    "known",
    "suggestions",
    "parent",
    "sensitivity",
    "bmwp",
    "bmwp_group",
    "excluded",
    "origin",
    "bmwp_source",
    "sensitivity_source",
)
"""Columns of what `resolve` returns, in order."""


def resolve(
    names: Iterable[str], *, lookup: Lookup | None = None, tolerance: str = DEFAULT_TOLERANCE
) -> pd.DataFrame:
    """Find what names on tally sheets stand for.

    Parameters
    ----------
    names
        Names as written, in any order, with repeats.
    lookup
        Tables to look in, as from `make_lookup`; the built-in ones by default.
    tolerance
        Column of tolerance values: one of `watershedmap.taxa.TOLERANCES`, or of the user's own table.

    Returns
    -------
    pandas.DataFrame
        Indexed by the name as written (unique, sorted): taxon (accepted name at the level of the record),
        rank, family, order, group, ept, tolerance (0 to 10, NaN when none), tolerance_source, known,
        suggestions (up to three nearest spellings, joined by ", "; empty for known names), parent (next
        taxon above), sensitivity (1, 2, 3 or NaN), bmwp (1 to 10 or NaN), bmwp_group, excluded (why it is
        left out of every metric; empty when it is not), origin (`built in` or `survey`), bmwp_source and
        sensitivity_source. No name is left out of the table.

    Raises
    ------
    ValueError
        When the tables have no such column of tolerance values.
    """
    lookup = _choose(lookup, tolerance)
    index = pd.Index(sorted(set(names)), name="name")
    found = [_join_sources(find_taxon(name, lookup), lookup) for name in index]
    known = [taxon.rank != "" or taxon.excluded != "" for taxon in found]
    suggestions = [
        "" if is_known else ", ".join(_suggest(taxon.taxon, lookup))
        for taxon, is_known in zip(found, known, strict=True)
    ]
    columns = {
        column: [getattr(taxon, column) for taxon in found]
        for column in RESOLVED_COLUMNS
        if column not in {"known", "suggestions"}
    }
    frame = pd.DataFrame(columns | {"known": known, "suggestions": suggestions}, index=index)
    types = {"ept": bool, "tolerance": float, "known": bool, "sensitivity": float, "bmwp": float}
    return frame.loc[:, list(RESOLVED_COLUMNS)].astype(types)


def make_lookup(own: pd.DataFrame | None = None, *, tolerance: str = DEFAULT_TOLERANCE) -> Lookup:
    """Make our tables, with a user's own table laid over them, ready for `resolve`.

    Parameters
    ----------
    own
        As from `watershedmap.readers.taxa.read_taxa`; None for the built-in tables alone.
    tolerance
        Column of tolerance values.

    Returns
    -------
    Lookup
        The tables; a name that the user's table lists is never taken for a changed or common name.

    Raises
    ------
    ValueError
        When the tables have no such column of tolerance values.
    """
    if own is None or own.empty:
        return _choose(None, tolerance)
    own = own.assign(taxon=own["taxon"].map(clean_name))
    table = finish(merge_taxa(own, _describe))
    synonyms, common = load_synonyms(), _list_common()
    if "common_name" in own:
        given = own.loc[own["common_name"] != "", ["common_name", "taxon"]]
        common += list(given.itertuples(index=False, name=None))
    return build_lookup(table, synonyms, common=common, own=own["taxon"], tolerance=tolerance)


def default_lookup(tolerance: str = DEFAULT_TOLERANCE) -> Lookup:
    """Make the built-in tables ready, once for each column of tolerance values.

    Parameters
    ----------
    tolerance
        Column of tolerance values.

    Returns
    -------
    Lookup
        The built-in taxa, changed and common names.
    """
    return _build_default(tolerance)


@cache
def _build_default(tolerance: str) -> Lookup:
    return build_lookup(load_taxa(), load_synonyms(), common=_list_common(), tolerance=tolerance)


def build_lookup(
    taxa: pd.DataFrame,
    synonyms: pd.DataFrame,
    *,
    common: Iterable[tuple[str, str]] = (),
    own: Iterable[str] = (),
    tolerance: str = DEFAULT_TOLERANCE,
) -> Lookup:
    """Make tables of taxa ready for looking names up.

    Parameters
    ----------
    taxa
        As from `load_taxa`; of two rows with one name the later one counts.
    synonyms
        As from `load_synonyms`.
    common
        Pairs of a common name in the singular and its taxon.
    own
        Names of the user's own table, which no changed or common name may stand before.
    tolerance
        Column of tolerance values.

    Returns
    -------
    Lookup
        The tables by key.
    """
    common = list(common)
    taken = {make_key(name) for name in own}
    pairs = zip(synonyms["name"], synonyms["accepted"], strict=True)
    accepted = {make_key(name): name_accepted for name, name_accepted in pairs}
    return Lookup(
        taxa=_index_taxa(taxa, tolerance),
        accepted={key: name for key, name in accepted.items() if key not in taken},
        common=index_common_names(common),
        written=(*taxa["taxon"], *synonyms["name"], *(name[:1].upper() + name[1:] for name, _ in common)),
        table=taxa,
        tolerance=tolerance,
    )


def _index_taxa(taxa: pd.DataFrame, tolerance: str) -> dict[str, Taxon]:
    """Make each row of a table a taxon, by the key of its name."""
    fields = ("taxon", "rank", "family", "order", "group", "parent", "sensitivity", "bmwp", "bmwp_group")
    sources = ("bmwp_source", "sensitivity_source")
    rows = taxa.loc[:, [*fields, *sources, "excluded", "origin", tolerance, f"{tolerance}_source"]]
    found = {
        make_key(row[0]): Taxon(
            **dict(zip((*fields, *sources), row[:-4], strict=True)),
            excluded=row[-4],
            origin=row[-3],
            tolerance=row[-2],
            tolerance_source=row[-1],
            ept=row[3] in EPT_ORDERS,
        )
        for row in rows.itertuples(index=False, name=None)
    }
    return {
        key: leave_out(taxon, taxon.excluded) if taxon.excluded else taxon for key, taxon in found.items()
    }


def _join_sources(taxon: Taxon, lookup: Lookup) -> Taxon:
    """Give names joined by a slash the sources of the values that they share."""
    if "/" not in taxon.taxon or taxon.excluded or taxon.bmwp_source or taxon.sensitivity_source:
        return taxon
    parts = [find_taxon(part, lookup) for part in taxon.taxon.split("/")]
    scores = {part.bmwp_source: None for part in parts if not math.isnan(taxon.bmwp)}
    groups = {part.sensitivity_source: None for part in parts if not math.isnan(taxon.sensitivity)}
    return replace(
        taxon,
        bmwp_source=" / ".join(filter(None, scores)),
        sensitivity_source=" / ".join(filter(None, groups)),
    )


def _choose(lookup: Lookup | None, tolerance: str) -> Lookup:
    """Return the tables with the values of one column."""
    known = tolerance_columns(load_taxa() if lookup is None else lookup.table)
    if tolerance not in known:
        raise ValueError(f"no column of tolerance values is named {tolerance}; there are {', '.join(known)}")
    if lookup is None:
        return default_lookup(tolerance)
    if lookup.tolerance == tolerance:
        return lookup
    return replace(lookup, taxa=_index_taxa(lookup.table, tolerance), tolerance=tolerance)


def _list_common() -> list[tuple[str, str]]:
    """List the common names of the built-in tables, each with its taxon."""
    table = load_common_names()
    rows = zip(table["taxon"], table["common_name"], table["other_names"], strict=True)
    return [(name, taxon) for taxon, first, others in rows for name in (first, *others.split("; ")) if name]


def _describe(name: str) -> dict[str, str]:
    """Tell what the built-in tables know of a name, for placing a row of a user's table."""
    found = find_taxon(name, default_lookup())
    if not found.rank:
        return {}
    parent = found.parent if make_key(found.taxon) == make_key(name) else found.taxon
    return {
        "rank": found.rank,
        "family": found.family,
        "order": found.order,
        "group": found.group,
        "parent": parent,
    }


def _suggest(name: str, lookup: Lookup) -> tuple[str, ...]:
    """Suggest spellings for the whole name, or else for its first word."""
    words = name.split()
    whole = suggest_spellings(name, lookup.spellings)
    return whole or (suggest_spellings(words[0], lookup.spellings) if len(words) > 1 else ())
