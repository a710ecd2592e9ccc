"""Where the reach of a site cannot be told for certain.

A site that names no reach is ambiguous when another candidate is not ruled out (its name and drainage area
do not cost it more than the one taken) and one of these holds:

- where reaches meet: the place taken lies within half a metre of the other;
- tributary mouth: the other comes within 25 m of the place taken, and the two meet;
- two reaches near: the two do not meet there, and the other costs at most half as much again as the one
  taken, or 10 m more;
- wide river: half the width of the other reaches over the site, or half the width of the one taken reaches
  over the site and the other is as near.

Two reaches that follow each other, with no third at their node, are one stream: only a place at the node
itself is ambiguous between them. The figures are ours, after the error of a hand-held receiver (5 to 10 m)
and of lines drawn for a map of 1:25,000 to 1:50,000 (about 25 m): common practice, no source.

Known bias: of three very short reaches in a row the first and the third do not touch, and count as two
streams.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from watershedmap.network.candidates import draw_boxes, touch_lines
from watershedmap.network.distance import point_distance_m
from watershedmap.network.lines import find_ends

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    from watershedmap.network.candidates import Candidates, LineIndex

MEET_M = 0.5
"""Reaches that come this near to each other meet there, metres."""
MOUTH_M = 25.0
"""A place nearer than this to another stream that joins its own is at a mouth, metres."""
NEAR_M, NEAR_SHARE = 10.0, 0.5
"""Another candidate is near when it costs at most this much more, metres, or this share of the cost."""

MEETING = "where reaches meet"
MOUTH = "tributary mouth"
NEAR = "two reaches near"
WIDE = "wide river"
REASONS = (MEETING, MOUTH, NEAR, WIDE)
"""In the order in which they are told."""

_DEGREE_M = 110_574.0  # the shortest degree of latitude; one of longitude is shorter, which errs to "apart"


@dataclass(frozen=True, slots=True, eq=False)
class Doubts:
    """Pairs of a site and a reach that it may lie on as well."""

    pair: npt.NDArray[np.intp]
    """Row of the candidate."""
    reasons: npt.NDArray[np.bool_]
    """A row a pair, a column for each of REASONS."""


def find_doubts(
    candidates: Candidates,
    chosen: npt.NDArray[np.intp],
    penalty_m: npt.NDArray[np.float64],
    reaches: pd.DataFrame,
    index: LineIndex,
) -> Doubts:
    """Find the other reaches that sites may lie on.

    Parameters
    ----------
    candidates
        Pairs of a site and a reach.
    chosen
        Row of the pair taken for each site.
    penalty_m
        What each pair is charged beside its offset, metres.
    reaches
        With width_m, which may be absent.
    index
        The lines.

    Returns
    -------
    Doubts
        Those with any reason, ordered by site and cost.
    """
    of_site = np.full(candidates.point.max(initial=-1) + 1, -1, dtype=np.intp)
    of_site[candidates.point[chosen]] = chosen
    taken = of_site[candidates.point]
    other = np.flatnonzero((taken != np.arange(len(taken))) & (penalty_m <= penalty_m[taken]))
    mine = taken[other]
    cost, least = (candidates.offset_m + penalty_m)[other], (candidates.offset_m + penalty_m)[mine]
    apart_m = touch_lines(candidates.place, index, mine, candidates.line[other]).offset_m
    reasons = np.stack(
        [
            apart_m <= MEET_M,
            apart_m <= MOUTH_M,
            cost - least <= np.maximum(NEAR_M, NEAR_SHARE * least),
            _lies_in_bed(candidates, mine, other, reaches),
        ],
        axis=1,
    )
    some = np.flatnonzero(reasons.any(axis=1))
    lines = index.lines[candidates.line[mine[some]]], index.lines[candidates.line[other[some]]]
    reasons[some, 1] &= np.asarray(shapely.dwithin(*lines, MEET_M / _DEGREE_M))
    reasons[some[_follow_each_other(*lines, index)], 1:] = False
    reasons[:, 1] &= ~reasons[:, 0]
    reasons[:, 2] &= ~reasons[:, :2].any(axis=1)  # reaches that meet are near each other anyhow
    kept = np.flatnonzero(reasons.any(axis=1))
    kept = kept[np.lexsort([other[kept], cost[kept], candidates.point[other[kept]]])]
    return Doubts(pair=other[kept], reasons=reasons[kept])


def _lies_in_bed(
    candidates: Candidates, mine: npt.NDArray[np.intp], other: npt.NDArray[np.intp], reaches: pd.DataFrame
) -> npt.NDArray[np.bool_]:
    """Tell where a river as wide as the layer says covers the site, and another reach is about."""
    if "width_m" not in reaches:
        return np.zeros(len(other), dtype=bool)
    half = reaches["width_m"].to_numpy(dtype=float)[candidates.line] / 2
    offset = candidates.offset_m
    in_mine = (offset[mine] <= half[mine]) & (offset[other] <= half[mine])
    return np.asarray((offset[other] <= half[other]) | in_mine)


def _follow_each_other(
    lines: npt.NDArray[np.object_], others: npt.NDArray[np.object_], index: LineIndex
) -> npt.NDArray[np.bool_]:
    """Tell which pairs of lines share an end that no third line comes to."""
    ends, other_ends = find_ends(lines), find_ends(others)
    follows = np.zeros(len(lines), dtype=bool)
    for mine in (0, 1):
        for theirs in (0, 1):
            apart = point_distance_m(*ends[:, mine].T, *other_ends[:, theirs].T)
            rows = np.flatnonzero(apart <= MEET_M)
            node, _ = index.tree.query(draw_boxes(ends[rows, mine], MEET_M), predicate="intersects")
            follows[rows] |= np.bincount(node, minlength=len(rows)) == 2  # noqa: PLR2004 - the two themselves
    return follows
