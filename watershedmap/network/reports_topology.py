"""What the topology of a layer has to say of shares, codes, elevations and lengths, in words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from watershedmap.errors import Fault
from watershedmap.network.reports import KEY, OR_LEAVE_OUT, list_ids, notice, report_divergences

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import numpy.typing as npt

    from watershedmap.network.divergence import Shares

_LARGEST = {"area": "the largest upstream area", "order": "the highest order"}


def leave_out(faults: Sequence[Fault]) -> list[Fault]:
    """Turn faults of cycles into notices, for a survey that has them left out.

    Parameters
    ----------
    faults
        As from `watershedmap.network.reports.report_cycles`.

    Returns
    -------
    list of Fault
        Notices that say what it costs.
    """
    cost = "it is left out of all tracing, and totals downstream do not count what comes through it"
    return [
        replace(
            fault,
            problem=f"{fault.problem}; {cost}",
            fix=fault.fix.removesuffix(OR_LEAVE_OUT),
            severity="notice",
        )
        for fault in faults
    ]


def report_given_lengths(ids: npt.NDArray[np.object_], *, file: str) -> list[Fault]:
    """Notice reaches whose length is taken from the layer for want of a line.

    Parameters
    ----------
    ids
        Their ids.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        At most one notice.
    """
    if not len(ids):
        return []
    problem = f"{len(ids)} reach(es) have no line and cannot be drawn; their length is that of the column"
    return [notice(file, "length_km", ids, problem, "draw them in the layer, if they are to be on the map")]


def report_codes(
    ids: npt.NDArray[np.object_],
    *,
    unusable: npt.NDArray[np.bool_],
    repeated: npt.NDArray[np.bool_],
    file: str,
) -> list[Fault]:
    """Report nested codes that tell no order.

    Parameters
    ----------
    ids
        Id of each reach.
    unusable
        Whether it has no code of digits.
    repeated
        Whether its code stands at other reaches as well.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        A notice of the former, a fault of the latter.
    """
    found = []
    if unusable.any():
        problem = (
            f"{int(unusable.sum())} reach(es) have no nested code of digits; nothing tells where they flow"
        )
        found.append(notice(file, "nested_code", ids[unusable], problem, "give them a code, or the next id"))
    if repeated.any():
        problem = (
            f"{int(repeated.sum())} reaches share their nested code with others, so their order is unknown"
        )
        fix = "give codes with more digits, or the id of the next reach downstream"
        names = list_ids(ids[repeated].tolist())
        found.append(Fault(file, None, "nested_code", names, problem, fix))
    return found


def report_elevations(
    ids: npt.NDArray[np.object_],
    *,
    turned: npt.NDArray[np.bool_],
    untold: npt.NDArray[np.bool_],
    file: str,
) -> list[Fault]:
    """Notice lines that are turned because they run uphill, and lines whose elevations do not tell.

    Parameters
    ----------
    ids
        Id of each reach.
    turned
        Whether its line is drawn uphill.
    untold
        Whether its ends are equally high, or one of them is unknown.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        At most one notice of each kind.
    """
    found = []
    if turned.any():
        problem = (
            f"{int(turned.sum())} line(s) are drawn uphill by their elevations; they are taken to flow down"
        )
        fix = 'correct the elevations if that is wrong; direction = "drawn" takes lines as they are drawn'
        found.append(notice(file, "end_elevation_m", ids[turned], problem, fix))
    if untold.any():
        problem = (
            f"elevations do not tell the direction of {int(untold.sum())} line(s), equal or missing at the "
            "ends; these are taken to be drawn downstream"
        )
        found.append(notice(file, "end_elevation_m", ids[untold], problem, "see whether these flow as drawn"))
    return found


def report_shares(ids: npt.NDArray[np.object_], shares: Shares, *, rule: str, file: str) -> list[Fault]:
    """Notice divergences, and the rule that holds at each.

    Parameters
    ----------
    ids
        Id of each reach.
    shares
        How outflow is shared.
    rule
        What the survey asked for: `equal`, `area` or `order`.
    file
        Name of the layer.

    Returns
    -------
    list of Fault
        At most one notice of each kind.
    """
    found = report_divergences(ids[shares.equal], file=file)
    if len(shares.equal) and rule != "equal":
        problem = f"{len(shares.equal)} divergence(s) have no figure to find {_LARGEST[rule]} by"
        found.append(notice(file, KEY, ids[shares.equal], problem, "give it, or leave the shares equal"))
    if len(shares.ruled):
        problem = (
            f"{len(shares.ruled)} reach(es) flow into more than one; all that they carry is taken to go down "
            f"the branch with {_LARGEST[rule]}, and none down the others"
        )
        fix = "nothing, if that is the main branch; otherwise give shares in the layer"
        found.append(notice(file, KEY, ids[shares.ruled], problem, fix))
    if len(shares.given):
        problem = f"{len(shares.given)} reach(es) flow into more than one, by the shares that the layer gives"
        found.append(notice(file, "share", ids[shares.given], problem, "nothing, if streams divide there"))
    if len(shares.uneven):
        problem = (
            f"the shares of {len(shares.uneven)} divergence(s) do not sum to 1; they are brought to that sum"
        )
        found.append(notice(file, "share", ids[shares.uneven], problem, "correct the shares"))
    if len(shares.incomplete):
        problem = (
            f"at {len(shares.incomplete)} divergence(s) a branch has no share, one below 0, or all have 0; "
            "none of their shares is used"
        )
        found.append(notice(file, "share", ids[shares.incomplete], problem, "give every branch its share"))
    return found
