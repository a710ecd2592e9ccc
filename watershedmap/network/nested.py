"""Nested basin numbers: the next reach downstream, read out of Pfafstetter codes.

In the system of Otto Pfafstetter, as Verdin and Verdin (1999, A topological system for delineation and
codification of the Earth's river basins, J. Hydrol. 218:1-12) set it out, the four largest tributaries of a
basin are numbered 2, 4, 6 and 8 going up the main stem, and the stretches of the stem between them 1, 3, 5, 7
and 9; each unit is divided again in the same way by one more digit. 0 marks a closed basin.

So a unit lies downstream of another when, after the digits that both have in common, its next digit is the
smaller one and all its remaining digits are odd: odd digits are the stem. The next unit downstream is the
one of these with the largest code, in the order of a dictionary.

Known bias: at the coast the odd numbers are stretches of shore, which do not flow into one another, and codes
alone do not tell a coast from a river. A code of several reaches does not tell their order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from watershedmap.network.edges import Edges

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

_STEM = frozenset("13579")
"""Digits of the main stem."""
_CLOSED = "0"
"""Digit of a closed basin."""


def link_codes(codes: pd.Series) -> tuple[Edges, npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Link reaches by their nested codes.

    Parameters
    ----------
    codes
        Code of each reach, text; missing where it has none.

    Returns
    -------
    Edges
        At most one for a reach.
    numpy.ndarray
        Whether a reach has no code, or one that is not all digits; it is linked to nothing.
    numpy.ndarray
        Whether a code stands at several reaches; only the first of them is linked.
    """
    given = codes.astype("str")
    unusable = ~given.str.fullmatch("[0-9]+").fillna(value=False).to_numpy(dtype=bool)
    repeated = given.duplicated(keep=False).to_numpy() & ~unusable
    linked = np.flatnonzero(~unusable & ~given.duplicated().to_numpy())
    names = given.to_numpy(dtype=object)
    rows = linked[np.argsort(names[linked].astype(str), kind="stable")].tolist()
    up, down = [], []
    open_below: list[int] = []  # rows whose codes may still be the next downstream of a larger one
    for row in rows:
        while open_below and not _is_stem(names[open_below[-1]], names[row]):
            open_below.pop()  # the digits in common only grow fewer from here on, so it stays closed
        if open_below and not _is_closed(names[open_below[-1]], names[row]):
            up.append(row)
            down.append(open_below[-1])
        open_below.append(row)
    edges = Edges(up=np.array(up, dtype=np.intp), down=np.array(down, dtype=np.intp))
    return edges, unusable, repeated


def _is_stem(lower: str, upper: str) -> bool:
    """Tell whether all digits of a smaller code that it does not share with a larger one are of the stem."""
    return _STEM.issuperset(lower[_count_shared(lower, upper) :])


def _is_closed(lower: str, upper: str) -> bool:
    """Tell whether the upper unit lies in a closed basin that the lower one is outside of."""
    return _CLOSED in upper[_count_shared(lower, upper) :]


def _count_shared(one: str, other: str) -> int:
    """Count the digits that two codes have in common at their beginning."""
    pairs = enumerate(zip(one, other, strict=False))
    return next((place for place, (a, b) in pairs if a != b), min(len(one), len(other)))
