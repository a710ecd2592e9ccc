"""Spatially balanced draws with given chances, and how balanced a draw is.

Definition
    The local pivotal method: an undecided unit, taken in random order, meets the nearest other undecided
    unit, and one of the two gives its chance to the other until it is in (1) or out (0). Each meeting leaves
    the sum and each expected chance as they were, so that every unit is drawn with its own chance and the
    size of the draw is fixed when the chances sum to a whole number. Near units are rarely drawn together.

    Balance is measured by Voronoi cells: v is the sum of chances of the units that lie nearest to one drawn
    unit (a unit as near to several is shared among them), and ``B = (1/n) sum (v - 1)^2``; 0 is perfect.
    The comparison is a systematic draw along a random order of the units, which keeps the same chances and
    knows nothing of place.

Source
    Grafstrom, Lundstrom and Schelin 2012, Biometrics 68:514-520 (the second of their two methods; the update
    from memory); Stevens and Olsen 2004, J. Am. Stat. Assoc. 99:262-278; random systematic draw: Hartley and
    Rao 1962, Ann. Math. Stat. 33:350-374 (from memory).

Known bias
    Distance is straight over the map, not along the flow: two banks of a divide count as near. B cannot see
    where in its cell a unit lies. Units that are certain (chance 1) take no part in the meetings, so that
    a unit beside a certain one keeps its chance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    import numpy.typing as npt

EDGE: Final = 1e-9
"""A chance nearer than this to 0 or 1 is decided."""
_NEAR: Final = 8  # neighbours looked up at a time
_SMALL: Final = 32  # with no more undecided units than this, all of them are looked up


def find_chances(need: npt.NDArray[np.float64], size: float) -> npt.NDArray[np.float64]:
    """Scale needs to chances that sum to the size of the draw; none is above 1.

    Parameters
    ----------
    need
        Above or equal 0, one a unit.
    size
        Expected number of units drawn; at most the units whose need is above 0 can be drawn.

    Returns
    -------
    numpy.ndarray
        In proportion to the need, save for those that would pass 1, which are certain.

    Raises
    ------
    ValueError
        When a need is negative or not finite.
    """
    if not (np.isfinite(need).all() and (need >= 0).all()):
        raise ValueError("needs must be finite and not below 0")
    chances = np.zeros(len(need))
    open_units = need > 0
    left = min(float(size), float(open_units.sum()))
    while left > EDGE and open_units.any():
        scaled = need * (left / need[open_units].sum())
        full = open_units & (scaled >= 1 - EDGE)
        if not full.any():
            chances[open_units] = scaled[open_units]
            break
        chances[full] = 1.0
        open_units &= ~full
        left -= float(full.sum())
    return chances


def draw_balanced(
    places: npt.NDArray[np.float64], chances: npt.NDArray[np.float64], *, seed: int
) -> npt.NDArray[np.intp]:
    """Draw units by the local pivotal method.

    Parameters
    ----------
    places
        Coordinates in which straight distance is meant, one row a unit.
    chances
        Chance of each unit, 0 to 1.
    seed
        Start of the random numbers.

    Returns
    -------
    numpy.ndarray
        Rows drawn, rising. A last unit that meets nobody is drawn with what is left of its chance.
    """
    random = np.random.default_rng(seed)
    chance = np.asarray(chances, dtype=float).copy()
    alive = (chance > EDGE) & (chance < 1 - EDGE)
    while alive.sum() > 1:
        _meet_until_half(places, chance, alive, random)
    for last in np.flatnonzero(alive):
        chance[last] = float(random.random() < chance[last])
    return np.flatnonzero(chance >= 1 - EDGE)


def _meet_until_half(
    places: npt.NDArray[np.float64],
    chance: npt.NDArray[np.float64],
    alive: npt.NDArray[np.bool_],
    random: np.random.Generator,
) -> None:
    """Let undecided units meet until half of them are decided; then it pays to look up neighbours anew."""
    rows = np.flatnonzero(alive)
    count = len(rows)
    tree = cKDTree(places[rows])
    width = count if count <= _SMALL else _NEAR
    near = np.asarray(tree.query(places[rows], k=width)[1])
    draws = random.random(count).tolist()
    order = random.permutation(count).tolist()
    open_units, left = [True] * count, count
    value = chance[rows].tolist()
    for turn, unit in enumerate(order):
        if left <= max(count // 2, 1) or not open_units[unit]:
            continue
        other = _find_other(unit, near[unit].tolist(), open_units)
        if other < 0:
            continue  # all of its neighbours are decided; it waits for the next look-up
        value[unit], value[other] = meet(value[unit], value[other], draws[turn])
        for one in (unit, other):
            if not EDGE < value[one] < 1 - EDGE:
                open_units[one] = False
                left -= 1
    chance[rows] = value
    alive[rows] = open_units


def _find_other(unit: int, near: list[int], open_units: list[bool]) -> int:
    return next((other for other in near if other != unit and open_units[other]), -1)


def meet(first: float, second: float, draw: float) -> tuple[float, float]:
    """Let two undecided units settle which of them gives its chance to the other.

    Parameters
    ----------
    first, second
        Chances, both above 0 and below 1.
    draw
        A random number from 0 to 1.

    Returns
    -------
    tuple of float
        New chances: the same sum, at least one of them 0 or 1, and each the same as before on the mean.
    """
    total = first + second
    if total < 1:
        return (0.0, total) if draw < second / total else (total, 0.0)
    if draw < (1 - second) / (2 - total):
        return 1.0, total - 1
    return total - 1, 1.0


def draw_random(chances: npt.NDArray[np.float64], random: np.random.Generator) -> npt.NDArray[np.intp]:
    """Draw units with given chances, without regard to place.

    Parameters
    ----------
    chances
        Chance of each unit, 0 to 1.
    random
        Source of random numbers.

    Returns
    -------
    numpy.ndarray
        Rows drawn, rising; as many as the chances sum to, when that is a whole number.
    """
    order = random.permutation(len(chances))
    sums = np.concatenate([[0.0], np.cumsum(chances[order])])
    steps = np.floor(sums - random.random() + EDGE)
    return np.sort(order[np.diff(steps) > 0])


def measure_balance(
    places: npt.NDArray[np.float64], chances: npt.NDArray[np.float64], drawn: npt.NDArray[np.intp]
) -> float:
    """Measure the balance of a draw by the Voronoi cells of its units.

    Parameters
    ----------
    places
        Coordinates, one row a unit.
    chances
        Chance of each unit.
    drawn
        Rows drawn.

    Returns
    -------
    float
        0 is perfect; NaN when nothing is drawn.
    """
    if len(drawn) == 0:
        return float("nan")
    tree, chance = cKDTree(places[drawn]), np.asarray(chances, dtype=float)
    tied, nearest, _ = _share_ties(tree, places, min(len(drawn), 2))
    cells = np.bincount(nearest[~tied, 0], weights=chance[~tied], minlength=len(drawn))
    if tied.any():  # few units lie between two drawn ones, and only they can lie between more
        _, nearest, share = _share_ties(tree, places[tied], min(len(drawn), _NEAR))
        parts = share * chance[tied, None]
        cells += np.bincount(nearest.ravel(), weights=parts.ravel(), minlength=len(drawn))
    return float(np.mean((cells - 1) ** 2))


def _share_ties(
    tree: cKDTree, places: npt.NDArray[np.float64], width: int
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.intp], npt.NDArray[np.float64]]:
    """Return whether units are as near to several, which those are, and the share of each."""
    found = tree.query(places, k=range(1, width + 1))
    distance, nearest = np.asarray(found[0]), np.asarray(found[1], dtype=np.intp)
    ties = distance <= distance[:, :1] * (1 + EDGE) + EDGE
    count = ties.sum(axis=1)
    return count > 1, nearest, ties / count[:, None]


def compare_balance(
    places: npt.NDArray[np.float64], chances: npt.NDArray[np.float64], *, draws: int, seed: int
) -> float:
    """Find the mean balance of random draws with the same chances.

    Parameters
    ----------
    places
        Coordinates, one row a unit.
    chances
        Chance of each unit.
    draws
        How many draws.
    seed
        Start of the random numbers.

    Returns
    -------
    float
        Mean of `measure_balance`; NaN when nothing is drawn.
    """
    random = np.random.default_rng(seed)
    likely = np.flatnonzero(chances > 0)
    found = [
        measure_balance(places[likely], chances[likely], draw_random(chances[likely], random))
        for _ in range(draws)
    ]
    return float(np.mean(found))
