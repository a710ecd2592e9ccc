"""Divergences: how the outflow of a reach that flows into several others is shared between them.

Where the layer gives each branch its share, the shares count as given, brought to a sum of 1. Otherwise a
rule decides: equal shares, or all of it down the main path, which is the branch with the largest upstream
area or the highest order that the layer gives; of equals the one that stands first in the layer. Keeping one
path whole is the usual way to total over a network with divergences (common practice, no source).

Known bias: shares of water change with the flow, and a layer gives one figure for all seasons. The main path
takes everything from its side branches, equal shares give a ditch as much as a river.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from watershedmap.network.levels import Levels, total_down

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

RULES = ("equal", "area", "order")
"""How the outflow is shared where the layer gives no shares."""
ROUNDING = 0.005
"""How far a share given to two decimals can lie from what is meant; sums farther from 1 are reported."""


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """How the outflow of each reach is shared, and by which rule; rows are those of diverging reaches."""

    share: npt.NDArray[np.float64]
    """Share of the upper reach's outflow that takes each edge."""
    main_down: npt.NDArray[np.intp]
    """Row of the next reach downstream, that with the largest share; -1 for none."""
    given: npt.NDArray[np.intp]
    """Shared as the layer says."""
    ruled: npt.NDArray[np.intp]
    """Shared by the largest area or order."""
    equal: npt.NDArray[np.intp]
    """Shared equally."""
    uneven: npt.NDArray[np.intp]
    """Given shares do not sum to 1."""
    incomplete: npt.NDArray[np.intp]
    """Some branches have a share that can be used, others have none."""


def share_outflow(levels: Levels, reaches: pd.DataFrame, *, rule: str) -> Shares:
    """Share the outflow of each reach between the reaches that it flows into.

    Parameters
    ----------
    levels
        Of all reaches.
    reaches
        On their rows, where the layer has them: share, upstream_area_km2, area_km2, stream_order.
    rule
        `equal`, `area` or `order`: what decides at a divergence without given shares.

    Returns
    -------
    Shares
        The shares of one reach sum to 1.
    """
    size, up, down = len(reaches), levels.edge_up, levels.edge_down
    share = np.ones(len(up))
    main_down = np.full(size, -1, dtype=np.intp)
    main_down[up] = down
    edges = np.flatnonzero(np.bincount(up, minlength=size)[up] > 1)
    edges = edges[np.lexsort([down[edges], up[edges]])]  # branch after branch, in the order of the layer
    upper, first, count = np.unique(up[edges], return_index=True, return_counts=True)
    share[edges] = 1.0 / np.repeat(count, count)
    if not len(edges):
        return Shares(share, main_down, upper, upper, upper, upper, upper)
    values = _read_values(levels, reaches, share, rule)[down[edges]]
    ruled, by_rule = _take_largest(values, first, count)
    given, incomplete, total, by_layer = _take_given(_column(reaches, "share")[down[edges]], first, count)
    ruled &= ~given
    share[edges] = np.select(
        [np.repeat(given, count), np.repeat(ruled, count)], [by_layer, by_rule], share[edges]
    )
    _, is_main = _take_largest(share[edges], first, count)
    main_down[upper] = down[edges[is_main > 0]]
    return Shares(
        share=share,
        main_down=main_down,
        given=upper[given],
        ruled=upper[ruled],
        equal=upper[~given & ~ruled],
        uneven=upper[given & (np.abs(total - 1.0) > ROUNDING * count + 1e-9)],
        incomplete=upper[incomplete],
    )


def _column(reaches: pd.DataFrame, name: str) -> npt.NDArray[np.float64]:
    """Return a column of numbers, all missing where the layer does not have it."""
    if name not in reaches:
        return np.full(len(reaches), np.nan)
    return reaches[name].to_numpy(dtype=float, na_value=np.nan)


def _read_values(
    levels: Levels, reaches: pd.DataFrame, equal: npt.NDArray[np.float64], rule: str
) -> npt.NDArray[np.float64]:
    """Return what the rule compares; areas that the layer does not give are totalled with equal shares."""
    if rule == "order":
        return _column(reaches, "stream_order")
    if rule == "equal":
        return np.full(len(reaches), np.nan)
    published = _column(reaches, "upstream_area_km2")
    if not np.isnan(published).all():
        return published
    return total_down(levels, _column(reaches, "area_km2"), equal)


def _take_largest(
    values: npt.NDArray[np.float64], first: npt.NDArray[np.intp], count: npt.NDArray[np.intp]
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.float64]]:
    """Tell which groups have any value, and give 1 to the first of the largest of each, 0 to the rest."""
    largest = np.fmax.reduceat(values, first)
    is_largest = values == np.repeat(largest, count)
    place = np.where(is_largest, np.arange(len(values)), len(values))
    is_first = np.arange(len(values)) == np.repeat(np.minimum.reduceat(place, first), count)
    return ~np.isnan(largest), is_first.astype(float)


def _take_given(
    given: npt.NDArray[np.float64], first: npt.NDArray[np.intp], count: npt.NDArray[np.intp]
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Tell which groups have all shares, which only some, and their sums; and bring the sums to 1."""
    known = given >= 0
    whole = np.logical_and.reduceat(known, first)
    total = np.add.reduceat(np.where(known, given, 0.0), first)
    usable = whole & (total > 0)
    partly = ~usable & np.logical_or.reduceat(known, first)
    spread = np.repeat(np.where(usable, total, 1.0), count)
    return usable, partly, total, given / spread
