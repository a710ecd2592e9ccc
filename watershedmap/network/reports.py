"""What building a network and placing sites has to say, in words: faults with a remedy, and notices."""

from __future__ import annotations

from typing import TYPE_CHECKING

from watershedmap.errors import Fault
from watershedmap.network.nodes import BELIEVED_SHARE

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import numpy.typing as npt

    from watershedmap.network.nodes import DirectionCheck

MOST_IDS = 10
"""How many ids a message names."""
KEY = "reach_id"
"""Column that faults of the layer are told of."""

OR_LEAVE_OUT = '; or set cycles = "leave_out" under [options], to go on without them and see them on the map'
"""The other way out of a cycle, at the end of its remedy."""
WITHOUT_DIRECTION = (
    "stream order, what lies upstream or downstream, and inference along the flow are left out; "
    "which reach a site lies on, its score and its trend are not touched by this"
)


def list_ids(ids: Sequence[object], *, between: str = ", ") -> str:
    """Name the first few ids.

    Parameters
    ----------
    ids
        Any number of them.
    between
        What stands between two.

    Returns
    -------
    str
        At most ten, and how many more there are.
    """
    shown = between.join(str(name) for name in ids[:MOST_IDS])
    return shown if len(ids) <= MOST_IDS else f"{shown} and {len(ids) - MOST_IDS} more"


def report_lines(
    ids: npt.NDArray[np.object_],
    *,
    missing: npt.NDArray[np.bool_],
    in_parts: npt.NDArray[np.bool_],
    file: str,
) -> list[Fault]:
    """Notice reaches without a line, and lines whose parts could not be merged.

    Parameters
    ----------
    ids
        Id of each reach.
    missing
        Whether it has no line.
    in_parts
        Whether its line is in parts that do not meet.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        At most one notice of each kind.
    """
    found = []
    if missing.any():
        problem = f"{int(missing.sum())} reach(es) have no line; each counts as 0 km and cannot be drawn"
        found.append(notice(file, KEY, ids[missing], problem, "draw them in the layer"))
    if in_parts.any():
        problem = (
            f"{int(in_parts.sum())} line(s) are in parts that have gaps or forks; the parts are taken in "
            "the order in which they are stored"
        )
        found.append(
            notice(file, KEY, ids[in_parts], problem, "close the gaps, or make a reach of each part")
        )
    return found


def report_leaving(names: Sequence[str], *, file: str) -> list[Fault]:
    """Notice ids of next reaches that are not in the layer.

    Parameters
    ----------
    names
        The ids that were not found.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        At most one notice.
    """
    if not names:
        return []
    problem = (
        f"{len(names)} reach(es) name a next one that is not in the layer; they are taken to leave it there"
    )
    fix = "if the layer was cut out of a larger one this is as it should be; if not, correct the ids"
    return [Fault(file, None, "downstream_id", list_ids(list(dict.fromkeys(names))), problem, fix, "notice")]


def report_direction(check: DirectionCheck, *, asked: str, believed: bool, file: str) -> list[Fault]:
    """Notice whether the drawn direction of lines is taken for the direction of flow.

    Parameters
    ----------
    check
        What the junctions look like.
    asked
        What the survey asked for: `check`, `drawn` or `unknown`.
    believed
        Whether the direction is taken for flow.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        One notice, none when the survey says that lines are drawn downstream.
    """
    if asked == "drawn":
        return []
    figures = (
        f"at {check.confluences} of {check.junctions} junctions ({check.share:.0%}) one line leaves "
        "and others arrive"
        if check.junctions
        else "no junction of three or more lines shows it"
    )
    if believed:
        problem = f"the lines are taken to be drawn downstream: {figures} (limit {BELIEVED_SHARE:.0%})"
        fix = 'if they are not, set direction = "unknown"'
        return [Fault(file, None, "", "", problem, fix, "notice")]
    why = "as the survey says" if asked == "unknown" else f"{figures} (limit {BELIEVED_SHARE:.0%})"
    problem = f"the direction of flow is unknown: {why}; {WITHOUT_DIRECTION}"
    fix = (
        "use a layer with the id of the next reach downstream or with node ids; "
        'if the lines are drawn downstream, set direction = "drawn"'
    )
    return [Fault(file, None, "", "", problem, fix, "notice")]


def report_cycles(
    ids: npt.NDArray[np.object_],
    own: npt.NDArray[np.intp],
    cycles: Sequence[Sequence[int]],
    *,
    from_ends: bool,
    file: str,
) -> list[Fault]:
    """Report reaches that flow into themselves, and cycles.

    Parameters
    ----------
    ids
        Id of each reach.
    own
        Rows of reaches that flow into themselves.
    cycles
        Rows of each cycle, along the flow.
    from_ends
        Whether topology comes from the ends of lines.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        One fault for each reach, and for each cycle.
    """
    other = ', or set direction = "unknown"' if from_ends else ""
    fix_own = (
        "give it the id or node of what it flows into, or leave it out if it is a closed line"
        f"{other}{OR_LEAVE_OUT}"
    )
    fix_cycle = (
        "find the reach among these that points the wrong way and turn it round, or take it out"
        f"{other}{OR_LEAVE_OUT}"
    )
    found = [
        Fault(file, None, KEY, str(ids[row]), "this reach flows into itself", fix_own) for row in own.tolist()
    ]
    for rows in cycles:
        names = list_ids([ids[row] for row in rows], between=" > ")
        problem = f"{len(rows)} reaches flow in a circle"
        found.append(Fault(file, None, KEY, names, problem, fix_cycle))
    return found


def report_divergences(ids: npt.NDArray[np.object_], *, file: str) -> list[Fault]:
    """Notice reaches that flow into several others, and the rule for them.

    Parameters
    ----------
    ids
        Ids of these reaches.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        At most one notice.
    """
    if not len(ids):
        return []
    problem = (
        f"{len(ids)} reach(es) flow into more than one; what they carry is shared equally by the branches; "
        "the branch that stands first in the layer is the main one, which keeps the order"
    )
    fix = "nothing, if streams divide there; otherwise correct the layer, or put the main branch first"
    return [notice(file, KEY, ids, problem, fix)]


def report_components(sizes: npt.NDArray[np.intp], *, outlets: int, file: str) -> list[Fault]:
    """Notice that a layer does not hang together, or has several outlets.

    Parameters
    ----------
    sizes
        Number of reaches of each separate network.
    outlets
        Number of reaches with nothing downstream in the layer.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        At most one notice.
    """
    if len(sizes) <= 1 and outlets <= 1:
        return []
    problem = (
        f"the layer holds {len(sizes)} separate network(s) with {outlets} outlet(s) in all; the largest has "
        f"{int(sizes.max())} of {int(sizes.sum())} reaches"
    )
    fix = "nothing, if they are separate; otherwise join them, for a site says nothing of another network"
    return [Fault(file, None, KEY, "", problem, fix, "notice")]


def notice(file: str, column: str, ids: npt.NDArray[np.object_], problem: str, fix: str) -> Fault:
    """Make one notice of many reaches.

    Parameters
    ----------
    file
        Name of the layer.
    column
        Column that it is told of.
    ids
        Ids of the reaches; the first few are named.
    problem, fix
        What it is, and the remedy.

    Returns
    -------
    Fault
        A notice.
    """
    return Fault(file, None, column, list_ids(ids.tolist()), problem, fix, "notice")
