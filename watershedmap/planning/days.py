"""Visits grouped to days of field work by nearness.

Definition
    The visits are split in two along their longer extent, again and again, in proportion to the days of each
    half, until each part is one day. No day holds more than the given number, and the numbers differ by at
    most one. Within a day each visit is followed by the nearest one left, from the northernmost on.

Source
    None: a convention of this package.

Known bias
    Nearness is straight over the map. Roads, fords and walking time are unknown here: look at the days on a
    road map before believing them.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt


def group_days(places: npt.NDArray[np.float64], *, most: int) -> npt.NDArray[np.intp]:
    """Group places to as few days as can hold them.

    Parameters
    ----------
    places
        Coordinates in metres, one row a visit.
    most
        Most visits in a day, at least 1.

    Returns
    -------
    numpy.ndarray
        Number of the day of each place, from 0.
    """
    days = np.zeros(len(places), dtype=np.intp)
    if len(places):
        _split(places, np.arange(len(places)), math.ceil(len(places) / most), 0, days)
    return days


def _split(
    places: npt.NDArray[np.float64],
    rows: npt.NDArray[np.intp],
    count: int,
    first: int,
    days: npt.NDArray[np.intp],
) -> None:
    if count == 1:
        days[rows] = first
        return
    extent = np.ptp(places[rows], axis=0)
    along = rows[np.argsort(places[rows, int(np.argmax(extent))], kind="stable")]
    half = count // 2
    cut = round(len(rows) * half / count)
    _split(places, along[:cut], half, first, days)
    _split(places, along[cut:], count - half, first + half, days)


def order_day(places: npt.NDArray[np.float64], *, start: int) -> list[int]:
    """Put the visits of one day into an order, each followed by the nearest one left.

    Parameters
    ----------
    places
        Coordinates in metres, one row a visit.
    start
        Row of the first.

    Returns
    -------
    list of int
        Rows in the order of visiting.
    """
    order, left = [start], [row for row in range(len(places)) if row != start]
    while left:
        distance = np.linalg.norm(places[left] - places[order[-1]], axis=1)
        order.append(left.pop(int(np.argmin(distance))))
    return order


def measure_way_km(places: npt.NDArray[np.float64], order: list[int]) -> float:
    """Measure the straight way from visit to visit.

    Parameters
    ----------
    places
        Coordinates in metres, one row a visit.
    order
        Rows in the order of visiting.

    Returns
    -------
    float
        Kilometres; 0 for one visit.
    """
    return float(np.linalg.norm(np.diff(places[order], axis=0), axis=1).sum() / 1000)
