"""Rarefied richness: the distinct taxa to be expected had fewer individuals been sorted.

Of N individuals m are drawn without replacement. A group of x of them is missed with probability::

    q(x) = C(N - x, m) / C(N, m)        0 when fewer than m are left

and a taxon of n individuals is met with probability 1 - q(n) (Hurlbert S.H. 1971, The nonconcept of species
diversity: a critique and alternative parameters, Ecology 52:577-586). An unresolved parent is a new taxon
only when it is met and nothing below it is; with b individuals below it, that is q(b) - q(b + n). The sum
over all taxa is the expected `taxa_richness` of the smaller sample, exactly; at m = N it is `taxa_richness`.
Where no taxon has a child in its sample it is Hurlbert's own figure. Binomial coefficients are taken through
log-gamma; the relative error is below 1e-9 up to a million individuals.

Bias: the individuals of a sorted sample are taken as drawn one by one; animals that live in clumps make the
expected richness too high.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import gammaln

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.scoring.tally import Tally

    Floats = npt.NDArray[np.float64]

RAREFY_TO: Final = 100
"""Individuals to which richness is rarefied unless the survey says otherwise."""


def rarefy_richness(tally: Tally, below: Floats, *, individuals: int = RAREFY_TO) -> Floats:
    """Compute the distinct taxa expected among a given number of individuals of each sample.

    Parameters
    ----------
    tally
        The counts.
    below
        Individuals named below the taxon of each pair, as from `watershedmap.scoring.richness.count_below`.
    individuals
        Individuals drawn, 1 or more.

    Returns
    -------
    numpy.ndarray
        One number for each sample; NaN where it holds fewer individuals.

    Raises
    ------
    ValueError
        `individuals` is not a whole number of 1 or more.
    """
    check_individuals(individuals)
    total = tally.sum_by_sample(tally.individuals)
    enough = total >= individuals
    expected = _miss(below, total[tally.sample], individuals)
    expected -= _miss(below + tally.individuals, total[tally.sample], individuals)
    return np.where(enough, tally.sum_by_sample(expected), np.nan)


def check_individuals(individuals: float) -> None:
    """Refuse a number of individuals that none can be drawn to.

    Parameters
    ----------
    individuals
        Individuals drawn.

    Raises
    ------
    ValueError
        It is not a whole number of 1 or more.
    """
    if not individuals >= 1 or individuals != int(individuals):
        raise ValueError(f"rarefy_to is {individuals}: give a whole number of individuals, 1 or more")


def _miss(group: Floats, total: Floats, drawn: int) -> Floats:
    """Give the probability that none of a group is drawn; 0 where fewer are left than are drawn."""
    chance = np.zeros(len(group))
    chance[group == 0] = 1.0
    some = np.flatnonzero((group > 0) & (total - group >= drawn))
    whole, left = total[some], (total - group)[some]
    logs = gammaln(left + 1) - gammaln(left - drawn + 1) - gammaln(whole + 1) + gammaln(whole - drawn + 1)
    chance[some] = np.exp(logs)
    return chance
