"""What joins a stream between two places on it.

A tributary is a reach that flows into a reach of the way from one place to the other, below its first, and
that is no part of the way. A side branch that leaves the way and comes back to it is part of the way; what
joins the side branch joins the stream. A tributary is larger than the stream when the length of all reaches
upstream of it is greater than that of the reach of the way just above.

Known bias: the tributaries are those of the layer. An outfall, a ditch or a stream that the layer leaves out
is not among them. Upstream length stands for size; a stream drawn in more detail looks larger.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import pandas as pd

from watershedmap.network.tracing import accumulate
from watershedmap.scoring.classes import round_half_away

if TYPE_CHECKING:
    from collections.abc import Mapping

    from watershedmap.network.edges import Neighbours
    from watershedmap.network.topology import Network

UNNAMED: Final = "unnamed"
"""Stands for the name of a reach that has none."""
UNKNOWN: Final = "unknown"
"""Stands for the score of a reach that has none."""


def describe_between(
    network: Network, paths: list[list[int]], *, reaches: pd.DataFrame | None, decimals: int
) -> pd.DataFrame:
    """Name the reaches of ways along the flow, and what joins there.

    Parameters
    ----------
    network
        The stream network.
    paths
        Rows of the reaches of each way, from upstream to downstream.
    reaches
        reach_id, name, score and, where known, evidence; None when nothing is known of them.
    decimals
        Decimals of the scores.

    Returns
    -------
    pandas.DataFrame
        One row a way, on a RangeIndex: reaches_between (ids, first and last left out), tributaries (ids),
        tributary_names, tributary_scores (all joined by `; `) and larger_joins (whether one of them is larger
        than the stream that it joins).
    """
    names, scores = _label_reaches(network, reaches, decimals)
    joining = [list_tributaries(path, network.above, network.below) for path in paths]
    upstream_km = accumulate(network, network.length_km)
    return pd.DataFrame(
        {
            "reaches_between": ["; ".join(network.ids[path[1:-1]]) for path in paths],
            "tributaries": ["; ".join(network.ids[reach] for reach, _ in rows) for rows in joining],
            "tributary_names": [
                "; ".join(names.get(reach, UNNAMED) for reach, _ in rows) for rows in joining
            ],
            "tributary_scores": [
                "; ".join(scores.get(reach, UNKNOWN) for reach, _ in rows) for rows in joining
            ],
            "larger_joins": [
                any(upstream_km[reach] > upstream_km[beside] for reach, beside in rows) for rows in joining
            ],
        },
        index=pd.RangeIndex(len(paths)),
    )


def _label_reaches(
    network: Network, reaches: pd.DataFrame | None, decimals: int
) -> tuple[Mapping[int, str], Mapping[int, str]]:
    """Return the name of each row of the network that has one, and its score as text."""
    if reaches is None:
        return {}, {}
    known = reaches.drop_duplicates("reach_id").set_index("reach_id").reindex(network.ids)
    names = {row: name for row, name in enumerate(known["name"]) if isinstance(name, str) and name}
    score = round_half_away(known["score"].astype(float), decimals).tolist()
    evidence = known["evidence"].tolist() if "evidence" in known else ["measured"] * len(known)
    scores = {
        row: f"{value:.{decimals}f}" + (f" ({word})" if word != "measured" else "")
        for row, (value, word) in enumerate(zip(score, evidence, strict=True))
        if not math.isnan(value)
    }
    return names, scores


def list_tributaries(path: list[int], above: Neighbours, below: Neighbours) -> list[tuple[int, int]]:
    """List what joins along a way.

    Parameters
    ----------
    path
        Rows of reaches along the flow, each flowing into the next.
    above
        Of each reach those that flow into it.
    below
        Of each reach those that it flows into.

    Returns
    -------
    list of tuple of int
        Row of the lowest reach of each tributary, and of the reach of the way just above where it joins, from
        upstream to downstream.
    """
    side = _find_side_branches(path, above, below)
    known = {*path, *side}
    joining: list[tuple[int, int]] = []
    for beside, reach in pairwise(path):
        # What joins a side branch is told where the side branch comes back.
        waiting = [reach]
        while waiting:
            for upper in above.of(waiting.pop()):
                if upper in side:
                    side.remove(upper)
                    waiting.append(upper)
                elif upper not in known:
                    known.add(upper)
                    joining.append((upper, beside))
    return joining


def _find_side_branches(path: list[int], above: Neighbours, below: Neighbours) -> set[int]:
    """Find the reaches that leave the way and lead back to it."""
    on_path = set(path)
    left: set[int] = set()
    waiting = [lower for reach in path[:-1] for lower in below.of(reach) if lower not in on_path]
    while waiting:
        reach = waiting.pop()
        if reach not in left:
            left.add(reach)
            waiting += [lower for lower in below.of(reach) if lower not in on_path]
    back: set[int] = set()
    waiting = [upper for reach in path[1:] for upper in above.of(reach) if upper in left]
    while waiting:
        reach = waiting.pop()
        if reach not in back:
            back.add(reach)
            waiting += [upper for upper in above.of(reach) if upper in left]
    return back
