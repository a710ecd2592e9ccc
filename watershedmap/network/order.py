"""Stream order after Strahler.

A reach that nothing flows into has order 1. Where two reaches of one order meet and none is higher, the order
rises by one; otherwise the highest goes on (Strahler 1957, Quantitative analysis of watershed geomorphology,
Trans. Am. Geophys. Union 38:913-920). Three or more of the highest order at one node raise it by one, once.

At a divergence the main branch (`main_down`) carries the order on, and side branches start again at 1; the
definition is for trees and is silent about that.

Known bias: the order depends on which headwaters the map shows, so orders of layers of different scale
cannot be compared; where a layer is cut, reaches that enter it start at 1.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.network.topology import Network


def strahler_order(network: Network) -> npt.NDArray[np.int64]:
    """Return the order of each reach after Strahler (1957).

    A reach without tributaries is of order 1. Two or more tributaries of the same highest order make the
    next one; a lower one changes nothing. Three or more of the same order raise it once. At a divergence
    only the main branch carries the order on.

    Parameters
    ----------
    network
        The stream network.

    Returns
    -------
    numpy.ndarray
        One integer a reach, at least 1; 0 everywhere when the direction of flow is unknown.
    """
    size = len(network.ids)
    if not network.has_flow:
        return np.zeros(size, dtype=np.int64)
    main_down = network.main_down.tolist()
    highest, how_many = [0] * size, [0] * size
    order = [0] * size
    for reach in network.order.tolist():
        own = max(1, highest[reach] + (how_many[reach] > 1))
        order[reach] = own
        lower = main_down[reach]
        if lower < 0:
            continue
        if own > highest[lower]:
            highest[lower], how_many[lower] = own, 1
        elif own == highest[lower]:
            how_many[lower] += 1
    return np.array(order, dtype=np.int64)
