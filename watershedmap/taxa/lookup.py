"""What a name on a tally sheet stands for.

A name is looked up whole, then without remarks, then by its genus; a subfamily or tribe that no table lists
is taken for the family of the same stem (Baetinae: Baetidae). Names joined by a slash are known when each of
them is, and have what all of them share. The level of the record is kept: a species stays a species, so that
richness counts taxa as recorded; changed names are merged into the accepted one. A name nobody knows is kept
as it is, marked as unknown, with the nearest spellings beside it.

Classification and names: common knowledge of the trade, from memory; tolerance: see
`watershedmap.taxa.tables`. Bias: a family recorded as such and a genus of it count as two taxa, though the
first may be the second.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import TYPE_CHECKING

import pandas as pd

from watershedmap.taxa.names import WrittenName, is_epithet, make_key, read_name
from watershedmap.taxa.spelling import Spellings, index_spellings, suggest_spellings
from watershedmap.taxa.tables import load_synonyms, load_taxa

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

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
)
"""Columns of what `resolve` returns, in order."""

_BLOOD_RED = "Chironomidae (blood-red)"
_FAMILY_ENDINGS = ("inae", "ini")
_MOST_WORDS = 3


@dataclass(frozen=True, slots=True)
class Taxon:
    """What is known of one taxon."""

    taxon: str
    """Accepted name, at the level of the record."""
    rank: str
    """Rank in English, small letters; `mixed` when a slash joins several; empty if unknown."""
    family: str = ""
    """Family; empty above it."""
    order: str = ""
    """Order; empty above it."""
    group: str = ""
    """Class or the nearest usual group."""
    ept: bool = False
    """Whether it belongs to the mayflies, stoneflies or caddisflies."""
    tolerance: float = math.nan
    """Tolerance value, 0 to 10; NaN when the source has none."""
    tolerance_source: str = ""
    """Source of the tolerance value, or why there is none."""


@dataclass(frozen=True)
class Lookup:
    """Tables of taxa made ready for looking names up."""

    taxa: Mapping[str, Taxon]
    """Taxa by the key of their name."""
    accepted: Mapping[str, str]
    """Accepted name by the key of a changed one."""
    written: tuple[str, ...]
    """All names of the tables as they are shown."""

    @cached_property
    def spellings(self) -> Spellings:
        """The names made ready for suggestions, only when a name is unknown."""
        return index_spellings(self.written)


def resolve(names: Iterable[str]) -> pd.DataFrame:
    """Find what names on tally sheets stand for.

    Parameters
    ----------
    names
        Names as written, in any order, with repeats.

    Returns
    -------
    pandas.DataFrame
        Indexed by the name as written (unique, sorted): taxon (accepted name at the level of the record),
        rank, family, order, group, ept, tolerance (0 to 10, NaN when none), tolerance_source, known,
        suggestions (up to three nearest spellings, joined by ", "; empty for known names). No name is left
        out.
    """
    lookup = default_lookup()
    index = pd.Index(sorted(set(names)), name="name")
    found = [find_taxon(name, lookup) for name in index]
    frame = pd.DataFrame(
        {column: [getattr(taxon, column) for taxon in found] for column in RESOLVED_COLUMNS[:-2]}, index=index
    )
    known = [taxon.rank != "" for taxon in found]
    suggestions = [
        "" if is_known else ", ".join(_suggest(taxon.taxon, lookup))
        for taxon, is_known in zip(found, known, strict=True)
    ]
    types = {"ept": bool, "tolerance": float, "known": bool}
    return frame.assign(known=known, suggestions=suggestions).astype(types)


@cache
def default_lookup() -> Lookup:
    """Make the built-in tables ready, once.

    Returns
    -------
    Lookup
        The built-in taxa and changed names.
    """
    return build_lookup(load_taxa(), load_synonyms())


def build_lookup(taxa: pd.DataFrame, synonyms: pd.DataFrame) -> Lookup:
    """Make tables of taxa ready for looking names up.

    Parameters
    ----------
    taxa
        As from `load_taxa`; of two rows with one name the later one counts.
    synonyms
        As from `load_synonyms`.

    Returns
    -------
    Lookup
        The tables by key.
    """
    rows = taxa.loc[:, ["taxon", "rank", "family", "order", "group", "tolerance", "tolerance_source"]]
    by_key = {
        make_key(taxon): Taxon(
            taxon, rank, family, order, group, order in EPT_ORDERS, float(tolerance), source
        )
        for taxon, rank, family, order, group, tolerance, source in rows.itertuples(index=False)
    }
    pairs = zip(synonyms["name"], synonyms["accepted"], strict=True)
    accepted = {make_key(name): name_accepted for name, name_accepted in pairs}
    return Lookup(taxa=by_key, accepted=accepted, written=(*taxa["taxon"], *synonyms["name"]))


def find_taxon(name: str, lookup: Lookup) -> Taxon:
    """Find what one name stands for.

    Parameters
    ----------
    name
        The name as written.
    lookup
        The tables.

    Returns
    -------
    Taxon
        What is known; rank is empty, and taxon the name without remarks, when the name is unknown.
    """
    written = read_name(name)
    found = _find_written(name, written, lookup)
    if found is None and written.plain != name:
        # what is left without remarks must not turn out to be known only when it is read again
        found = _find_written(written.plain, read_name(written.plain), lookup)
    return Taxon(taxon=written.plain, rank="") if found is None else found


def _find_written(name: str, written: WrittenName, lookup: Lookup) -> Taxon | None:
    """Find a name as it stands, or else by what it was read apart into."""
    whole = _find_exact(name, lookup)
    if whole is not None:
        return whole
    found = _find_words(written.words, lookup)
    if found is not None and written.blood_red:
        found = _colour(found, lookup)
    return None if found is None else _number(found, written)


def _find_exact(name: str, lookup: Lookup) -> Taxon | None:
    key = make_key(name)
    accepted = lookup.accepted.get(key)
    if accepted is None:
        return lookup.taxa.get(key)
    return lookup.taxa.get(make_key(accepted)) or _find_species(tuple(accepted.split()), lookup)


def _find_words(words: tuple[str, ...], lookup: Lookup) -> Taxon | None:
    """Find a name given as its bare words."""
    if not words or len(words) > _MOST_WORDS:
        return None
    whole = _find_exact(" ".join(words), lookup)
    if whole is not None:
        return whole
    if len(words) > 1:
        return _find_species(words, lookup)
    if "/" in words[0]:
        return _find_joined(words[0], lookup)
    return _find_by_stem(words[0], lookup)


def _find_species(words: tuple[str, ...], lookup: Lookup) -> Taxon | None:
    """Find a species or subspecies by its genus; a changed genus brings the accepted one with it."""
    genus = _find_exact(words[0], lookup)
    if genus is None or genus.rank != "genus" or not all(is_epithet(word) for word in words[1:]):
        return None
    name = " ".join((genus.taxon, *words[1:]))
    if genus.taxon != words[0] and make_key(name) in lookup.accepted:
        return _find_exact(name, lookup)
    return replace(genus, taxon=name, rank="species" if len(words) < _MOST_WORDS else "subspecies")


def _find_by_stem(word: str, lookup: Lookup) -> Taxon | None:
    """Take an unlisted subfamily or tribe for the family of the same stem."""
    for ending in _FAMILY_ENDINGS:
        family = (
            lookup.taxa.get(make_key(word.removesuffix(ending) + "idae")) if word.endswith(ending) else None
        )
        if family is not None and family.rank == "family":
            return replace(family, taxon=word, rank="subfamily" if ending == "inae" else "tribe")
    return None


def _find_joined(word: str, lookup: Lookup) -> Taxon | None:
    """Find names joined by a slash: known when each is, with what all of them share."""
    parts = {part: _find_words((part.capitalize(),), lookup) for part in word.split("/")}
    taxa = sorted({taxon for taxon in parts.values() if taxon is not None}, key=lambda taxon: taxon.taxon)
    if None in parts.values() or not taxa:
        return None
    first = taxa[0]
    if len(taxa) == 1:
        return first
    same_tolerance = len({taxon.tolerance for taxon in taxa}) == 1
    return Taxon(
        taxon="/".join(taxon.taxon for taxon in taxa),
        rank=_shared([taxon.rank for taxon in taxa]) or "mixed",
        family=_shared([taxon.family for taxon in taxa]),
        order=_shared([taxon.order for taxon in taxa]),
        group=_shared([taxon.group for taxon in taxa]),
        ept=all(taxon.ept for taxon in taxa),
        tolerance=first.tolerance if same_tolerance else math.nan,
        tolerance_source=first.tolerance_source if same_tolerance else "",
    )


def _shared(values: list[str]) -> str:
    return values[0] if len(set(values)) == 1 else ""


def _colour(taxon: Taxon, lookup: Lookup) -> Taxon | None:
    """Give a midge called blood-red the value for those; of other animals the remark says nothing known."""
    blood_red = lookup.taxa.get(make_key(_BLOOD_RED))
    if blood_red is None or taxon.family != blood_red.family:
        return None
    if taxon.rank == "family":
        return blood_red
    return replace(
        taxon,
        taxon=f"{taxon.taxon} (blood-red)",
        tolerance=blood_red.tolerance,
        tolerance_source=blood_red.tolerance_source,
    )


def _number(taxon: Taxon, written: WrittenName) -> Taxon:
    """Keep the code of an unnamed species: `Baetis sp. A` and `Baetis sp. B` are two taxa."""
    if not written.code:
        return taxon
    return replace(taxon, taxon=f"{taxon.taxon} sp. {written.code}", rank="species")


def _suggest(name: str, lookup: Lookup) -> tuple[str, ...]:
    """Suggest spellings for the whole name, or else for its first word."""
    words = name.split()
    whole = suggest_spellings(name, lookup.spellings)
    return whole or (suggest_spellings(words[0], lookup.spellings) if len(words) > 1 else ())
