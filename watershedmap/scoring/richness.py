"""Distinct taxa: an unresolved parent is not a new taxon where a child of it stands in the same sample.

A record of Baetidae beside one of *Baetis* may be the same animals left unnamed, so Baetidae counts as a
taxon only in a sample that holds nothing below it. The parents of a taxon are

- the species of a subspecies, the genus of a species (the first word of its name);
- its family, its order and its class or group, as `watershedmap.taxa.resolve` gives them;
- the plain name of one with a remark in brackets: Chironomidae of "Chironomidae (blood-red)";
- names joined by a slash that hold it or one of its parents: "Baetis/Cloeon" is no new taxon beside *Baetis*.

Source: distinct taxa are meant by the richness metrics of Barbour and others 1999 (Rapid Bioassessment
Protocols, EPA 841-B-99-002, chapter 7); the rule itself is common practice, no source.

Bias: the tables do not say which genera make up a subfamily, tribe or suborder, nor which classes a phylum. A
record at such a level replaces its family, order or class but stays a taxon of its own beside genera that may
belong to it, so richness can be too high by one for each. Unknown names have no parents and no children.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import numpy.typing as npt
    import pandas as pd

    from watershedmap.scoring.tally import Tally

    Bools = npt.NDArray[np.bool_]
    Floats = npt.NDArray[np.float64]
    Places = npt.NDArray[np.intp]

_LEVELS: Final = ("family", "order", "group")
_BELOW_GENUS: Final = frozenset({"species", "subspecies"})
INTOLERANT_TO: Final = 3.0
"""Taxa with a tolerance value up to this, on the scale of 0 to 10, are intolerant."""


def count_below(tally: Tally) -> Floats:
    """Count, for each pair of sample and taxon, the individuals named below that taxon in the same sample.

    Parameters
    ----------
    tally
        The counts.

    Returns
    -------
    numpy.ndarray
        One number for each pair; 0 where the taxon is distinct.
    """
    width = max(len(tally.taxa), 1)
    pairs = tally.sample.astype(np.int64) * width + tally.taxon
    below = np.zeros(len(pairs))
    for parent in list_parents(tally.taxa):
        code = parent[tally.taxon]
        child = np.flatnonzero(code >= 0)
        wanted = tally.sample[child].astype(np.int64) * width + code[child]
        place = np.minimum(np.searchsorted(pairs, wanted), len(pairs) - 1)
        found = pairs[place] == wanted
        below += np.bincount(place[found], weights=tally.individuals[child[found]], minlength=len(pairs))
    return below


def count_taxa(tally: Tally, distinct: Bools, *, order: str = "") -> Floats:
    """Count the distinct taxa of each sample.

    Parameters
    ----------
    tally
        The counts.
    distinct
        Whether the taxon of each pair is distinct in its sample.
    order
        Only taxa of this order; empty for all.

    Returns
    -------
    numpy.ndarray
        One number for each sample.
    """
    holds = distinct & (tally.of_taxon("order") == order).astype(bool) if order else distinct
    return tally.count_by_sample(holds)


def count_intolerant(tally: Tally, distinct: Bools) -> Floats:
    """Count the distinct taxa of each sample that have a tolerance value of 3 or less.

    Parameters
    ----------
    tally
        The counts.
    distinct
        Whether the taxon of each pair is distinct in its sample.

    Returns
    -------
    numpy.ndarray
        One number for each sample; NaN where animals were found and none of them has a value: how many of
        their taxa are intolerant is then unknown, not zero.
    """
    tolerance = tally.of_taxon("tolerance").astype(np.float64)
    number = tally.count_by_sample(distinct & (tolerance <= INTOLERANT_TO))
    everything = np.ones(len(tolerance), dtype=bool)
    unknown = (tally.count_by_sample(np.isfinite(tolerance)) == 0) & (tally.count_by_sample(everything) > 0)
    return np.where(unknown, np.nan, number)


def list_parents(taxa: pd.DataFrame) -> list[Places]:
    """Find the parents of every taxon that are in the table themselves.

    Parameters
    ----------
    taxa
        Indexed by accepted name: rank, family, order, group; rank is empty for unknown names.

    Returns
    -------
    list of numpy.ndarray
        As many arrays as the most parents that a taxon has; each holds a position in `taxa` for every taxon,
        -1 for none.
    """
    position = {str(name): place for place, name in enumerate(taxa.index)}
    columns = (taxa[column].to_numpy() for column in ("rank", *_LEVELS))
    ranks = dict(zip(position, taxa["rank"].to_numpy(), strict=True))
    lines = {
        name: _name_line(name, str(rank), [str(level) for level in levels])
        for name, rank, *levels in zip(position, *columns, strict=True)
        if rank
    }
    joined = _list_joined(name for name, rank in ranks.items() if rank)
    parents = {name: _collect(name, line, joined) & lines.keys() for name, line in lines.items()}
    mutual = {name: {one for one in found if name not in parents[one]} for name, found in parents.items()}
    depth = max(map(len, mutual.values()), default=0)
    arrays = [np.full(len(taxa), -1, dtype=np.intp) for _ in range(depth)]
    for name, found in mutual.items():
        for array, parent in zip(arrays, sorted(found), strict=False):
            array[position[name]] = position[parent]
    return arrays


def _name_line(name: str, rank: str, levels: list[str]) -> list[str]:
    """List a taxon and all that stands above it, by name."""
    plain = name.split(" (", maxsplit=1)[0]
    line = [name, plain, *levels]
    if rank in _BELOW_GENUS:
        words = plain.split()
        line += [words[0], " ".join(words[:2])]
    return [one for one in line if one]


def _list_joined(names: Iterable[str]) -> Mapping[str, set[str]]:
    """List, for each name that a slash joins to others, the joined names that hold it."""
    joined: dict[str, set[str]] = {}
    for name in names:
        if "/" not in name:
            continue
        *genus, last = name.split()
        for part in last.split("/"):
            joined.setdefault(" ".join((*genus, part)), set()).add(name)
    return joined


def _collect(name: str, line: list[str], joined: Mapping[str, set[str]]) -> set[str]:
    holding = (joined.get(one, set()) for one in line)
    return set(line).union(*holding) - {name}
