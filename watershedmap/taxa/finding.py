"""What a name on a tally sheet stands for.

A name is looked up whole, then without remarks, then by its genus; a subfamily or tribe that no table lists
is taken for the family of the same stem (Baetinae: Baetidae). Names joined by a slash are known when each of
them is, and have what all of them share. The level of the record is kept: a species stays a species, so that
richness counts taxa as recorded; changed names are merged into the accepted one. What is no animal of the
stream (see `watershedmap.taxa.names`) is a taxon apart, without values, and says why it is left out. A name
nobody knows is kept as it is, marked as unknown, with the nearest spellings beside it.

Classification and names: common knowledge of the trade, from memory; values: see
`watershedmap.taxa.tables`. Bias: a family recorded as such and a genus of it are two taxa here, though the
first may be the second; `parent` tells the metrics so.
"""

from __future__ import annotations

import math
from dataclasses import replace

from watershedmap.taxa.common import find_common
from watershedmap.taxa.merging import SURVEY
from watershedmap.taxa.names import WrittenName, is_epithet, make_key, read_name
from watershedmap.taxa.taxon import Lookup, Taxon, leave_out

_BLOOD_RED = "Chironomidae (blood-red)"
_FAMILY_ENDINGS = ("inae", "ini")
_MOST_WORDS = 3


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
    whole = _find_exact(name, lookup)
    if whole is not None:
        return whole
    written = read_name(name)
    found = _find_written(written, lookup)
    if found is None and written.plain != name:
        # what is left without remarks must not turn out to be known only when it is read again
        plain = _find_exact(written.plain, lookup)
        found = plain or _find_written(read_name(written.plain), lookup)
    if found is not None:
        return found
    unknown = Taxon(taxon=written.plain, rank="")
    return leave_out(unknown, written.excluded) if written.excluded else unknown


def _find_written(written: WrittenName, lookup: Lookup) -> Taxon | None:
    """Find a name by what it was read apart into."""
    if written.whole != written.words:
        # words that mean no animal may belong to the name of one, as in snail-case maker
        whole = _find_exact(" ".join(written.whole), lookup)
        if whole is not None:
            return whole
    found = _find_words(written.words, lookup)
    if found is not None and written.blood_red:
        found = _colour(found, lookup)
    if found is None:
        return None
    found = _number(found, written)
    if not written.excluded:
        return found
    return leave_out(replace(found, taxon=f"{found.taxon} ({written.excluded})"), written.excluded)


def _find_exact(name: str, lookup: Lookup) -> Taxon | None:
    key = make_key(name)
    accepted = lookup.accepted.get(key)
    if accepted is None:
        found = lookup.taxa.get(key)
        accepted = None if found is not None else find_common(key, lookup.common)
        if accepted is None:
            return found
    return lookup.taxa.get(make_key(accepted)) or _find_species(tuple(accepted.split()), lookup)


def _find_words(words: tuple[str, ...], lookup: Lookup) -> Taxon | None:
    """Find a name given as its bare words."""
    if not words:
        return None
    whole = _find_exact(" ".join(words), lookup)
    if whole is not None or len(words) > _MOST_WORDS:
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
    if len(words) == _MOST_WORDS:
        species = lookup.taxa.get(make_key(f"{genus.taxon} {words[1]}"), genus)
        return replace(species, taxon=name, rank="subspecies", parent=f"{genus.taxon} {words[1]}")
    return lookup.taxa.get(make_key(name)) or replace(genus, taxon=name, rank="species", parent=genus.taxon)


def _find_by_stem(word: str, lookup: Lookup) -> Taxon | None:
    """Take an unlisted subfamily or tribe for the family of the same stem."""
    for ending in _FAMILY_ENDINGS:
        family = (
            lookup.taxa.get(make_key(word.removesuffix(ending) + "idae")) if word.endswith(ending) else None
        )
        if family is not None and family.rank == "family":
            rank = "subfamily" if ending == "inae" else "tribe"
            return replace(family, taxon=word, rank=rank, parent=family.taxon)
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
    same_group = len({taxon.bmwp_group for taxon in taxa}) == 1
    return Taxon(
        taxon="/".join(taxon.taxon for taxon in taxa),
        rank=_shared([taxon.rank for taxon in taxa]) or "mixed",
        family=_shared([taxon.family for taxon in taxa]),
        order=_shared([taxon.order for taxon in taxa]),
        group=_shared([taxon.group for taxon in taxa]),
        ept=all(taxon.ept for taxon in taxa),
        tolerance=first.tolerance if same_tolerance else math.nan,
        tolerance_source=first.tolerance_source if same_tolerance else "",
        parent=_shared([taxon.parent for taxon in taxa]),
        sensitivity=first.sensitivity if len({taxon.sensitivity for taxon in taxa}) == 1 else math.nan,
        bmwp=first.bmwp if same_group else math.nan,
        bmwp_group=first.bmwp_group if same_group else "",
        excluded=_shared([taxon.excluded for taxon in taxa]),
        origin=_shared([taxon.origin for taxon in taxa]) or SURVEY,
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
    parent = taxon.taxon if taxon.rank != "species" else taxon.parent
    return replace(taxon, taxon=f"{taxon.taxon} sp. {written.code}", rank="species", parent=parent)
