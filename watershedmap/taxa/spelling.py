"""Nearest spellings of a name that no table knows.

The likeness of two spellings is the share of letter pairs they have in common (Dice's coefficient over pairs
of neighbouring letters, with the ends marked), which an index over the pairs finds without comparing every
name; the few best are then ordered by `difflib`. Bias: a wrong letter in a short name costs more than in a
long one.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_SHORTLIST = 20
_LEAST_PAIRS = 0.4
_LEAST_RATIO = 0.75


@dataclass(frozen=True, slots=True)
class Spellings:
    """Known spellings, and where each pair of letters occurs in them."""

    names: tuple[str, ...]
    """The spellings as they are shown, sorted, each once."""
    sizes: tuple[int, ...]
    """How many different letter pairs each of them has."""
    places: Mapping[str, tuple[int, ...]]
    """Positions in `names` by pair of letters."""


def index_spellings(names: Iterable[str]) -> Spellings:
    """Prepare known names for `suggest_spellings`.

    Parameters
    ----------
    names
        Names as they are to be shown.

    Returns
    -------
    Spellings
        The index.
    """
    unique = tuple(sorted(set(names)))
    places: defaultdict[str, list[int]] = defaultdict(list)
    sizes = []
    for position, name in enumerate(unique):
        pairs = _pairs(name)
        sizes.append(len(pairs))
        for pair in pairs:
            places[pair].append(position)
    frozen = {pair: tuple(positions) for pair, positions in places.items()}
    return Spellings(names=unique, sizes=tuple(sizes), places=frozen)


def suggest_spellings(name: str, spellings: Spellings, *, most: int = 3) -> tuple[str, ...]:
    """Find the known spellings nearest to a name.

    Parameters
    ----------
    name
        A name that is not known.
    spellings
        The known ones.
    most
        How many to return at most.

    Returns
    -------
    tuple of str
        Nearest first; empty when none is near.
    """
    pairs = _pairs(name)
    shared = Counter(position for pair in pairs for position in spellings.places.get(pair, ()))
    likeness = {
        position: 2 * count / (len(pairs) + spellings.sizes[position]) for position, count in shared.items()
    }
    shortlist = sorted(
        (position for position, value in likeness.items() if value >= _LEAST_PAIRS),
        key=lambda position: (-likeness[position], position),
    )
    found = [(_ratio(name, spellings.names[position]), position) for position in shortlist[:_SHORTLIST]]
    near = sorted((-ratio, position) for ratio, position in found if ratio >= _LEAST_RATIO)
    return tuple(spellings.names[position] for _, position in near[:most])


def _ratio(name: str, other: str) -> float:
    return SequenceMatcher(None, name.casefold(), other.casefold(), autojunk=False).ratio()


def _pairs(name: str) -> frozenset[str]:
    text = f" {name.casefold()} "
    return frozenset(text[start : start + 2] for start in range(len(text) - 1))
