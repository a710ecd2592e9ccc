"""One taxon, and the tables that names are looked up in."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from watershedmap.taxa.spelling import Spellings, index_spellings
from watershedmap.taxa.tables import BUILT_IN, DEFAULT_TOLERANCE

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd


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
    parent: str = ""
    """The next taxon above it that the tables list; empty at the top."""
    sensitivity: float = math.nan
    """Group of the streamside rating: 1 sensitive, 2 somewhat sensitive, 3 tolerant; NaN none."""
    bmwp: float = math.nan
    """Score of the Biological Monitoring Working Party, 1 to 10; NaN none."""
    bmwp_group: str = ""
    """Family that the score counts under, once a sample; empty without a score."""
    excluded: str = ""
    """Why its individuals are left out of every metric; empty when they are not."""
    origin: str = BUILT_IN
    """`built in`, or `survey` for what a row of the user's own table says."""
    bmwp_source: str = ""
    """Source of the score, or why there is none."""
    sensitivity_source: str = ""
    """Source of the group of the streamside rating, or why there is none."""


@dataclass(frozen=True)
class Lookup:
    """Tables of taxa made ready for looking names up."""

    taxa: Mapping[str, Taxon]
    """Taxa by the key of their name."""
    accepted: Mapping[str, str]
    """Accepted name by the key of a changed one."""
    common: Mapping[str, str]
    """Taxon by the key of a common name, in singular and plural."""
    written: tuple[str, ...]
    """All names of the tables as they are shown."""
    table: pd.DataFrame
    """The table of taxa it was made of."""
    tolerance: str = DEFAULT_TOLERANCE
    """Column of the table that the tolerance values are of."""

    @cached_property
    def spellings(self) -> Spellings:
        """The names made ready for suggestions, only when a name is unknown."""
        return index_spellings(self.written)


def leave_out(taxon: Taxon, reason: str) -> Taxon:
    """Take the values off a taxon that is left out, so that no sum can hold it by mistake.

    Parameters
    ----------
    taxon
        The taxon.
    reason
        Why it is left out of every metric.

    Returns
    -------
    Taxon
        The same without values, and not among the mayflies, stoneflies and caddisflies.
    """
    return replace(
        taxon,
        excluded=reason,
        ept=False,
        tolerance=math.nan,
        tolerance_source=f"left out: {reason}",
        sensitivity=math.nan,
        bmwp=math.nan,
        bmwp_group="",
        bmwp_source="",
        sensitivity_source="",
    )
