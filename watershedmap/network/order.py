"""Stream order after Strahler, and magnitude after Shreve.

Order: a reach that nothing flows into has order 1. Where two reaches of one order meet and none is higher,
the order rises by one; otherwise the highest goes on (Strahler 1957, Quantitative analysis of watershed
geomorphology, Trans. Am. Geophys. Union 38:913-920). Three or more of the highest order at one node raise it
by one, once.

Magnitude: the number of sources upstream, a source being a reach that nothing flows into (Shreve 1966,
Statistical law of stream numbers, J. Geol. 74:17-37).

Both are defined for trees and are silent about divergences. Here the main branch (`main_down`) carries order
and sources on. A side branch starts again at order 1, and at magnitude 0, for it has no source of its own; so
every source is counted once at the outlets.

Known bias: both depend on which headwaters the map shows, so figures of layers of different scale cannot be
compared; where a layer is cut, reaches that enter it start at 1.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from watershedmap.network.levels import rank_branching, total_down

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
        One integer a reach, at least 1; 0 for reaches in a cycle, and everywhere when the direction of flow
        is unknown.
    """
    if not network.has_flow:
        return np.zeros(len(network.ids), dtype=np.int64)
    order = rank_branching(network.levels, _find_main(network)).astype(np.int64)
    order[network.in_cycle] = 0
    return order


def shreve_magnitude(network: Network) -> npt.NDArray[np.int64]:
    """Return the magnitude of each reach after Shreve (1966): the number of sources upstream.

    A source counts itself. At a divergence the main branch carries all sources on, so that the outlets
    together have as many as there are sources.

    Parameters
    ----------
    network
        The stream network.

    Returns
    -------
    numpy.ndarray
        One integer a reach; 0 on side branches that no source flows into, for reaches in a cycle, and
        everywhere when the direction of flow is unknown.
    """
    source = np.ones(len(network.ids))
    source[network.edge_down] = 0.0
    source[network.in_cycle] = 0.0
    if not network.has_flow:
        return np.zeros(len(source), dtype=np.int64)
    main = _find_main(network)
    return total_down(network.levels, source, None if main is None else main.astype(float)).astype(np.int64)


def _find_main(network: Network) -> npt.NDArray[np.bool_] | None:
    """Tell which edges are the main ones; None when all are, for no reach flows into two others."""
    if network.levels.upper is None:
        return None
    main: npt.NDArray[np.bool_] = network.main_down[network.edge_up] == network.edge_down
    return main
