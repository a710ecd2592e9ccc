"""Diversity and dominance: how evenly the individuals of a sample are spread over its taxa.

With p the share of a taxon among all individuals and S the number of taxa::

    Shannon   H = -sum(p ln p)        base e; in base 2 it is H / ln 2
    Simpson   1 - sum(p^2)            the chance that two draws, with replacement, differ
    Pielou    H / ln S                1 when all taxa are alike in number; of one taxon it is undefined

Sources: Shannon C.E. 1948, Bell System Technical Journal 27:379-423; Simpson E.H. 1949, Nature 163:688;
Pielou E.C. 1966, Journal of Theoretical Biology 13:131-144 (all from memory). Taxa are those recorded,
parents beside their children included, because their individuals have to be somewhere; S is `taxa_recorded`.

Bias: all three grow with the level to which animals are named, and Shannon with the number of animals sorted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.scoring.tally import divide

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.scoring.tally import Tally

    Floats = npt.NDArray[np.float64]
    Places = npt.NDArray[np.intp]


def measure_shannon(tally: Tally) -> Floats:
    """Compute the Shannon diversity of each sample, in base e.

    Parameters
    ----------
    tally
        The counts.

    Returns
    -------
    numpy.ndarray
        One number for each sample, 0 or more; NaN where no individual was found.
    """
    total = tally.sum_by_sample(tally.individuals)
    share = tally.individuals / total[tally.sample]
    diversity = tally.sum_by_sample(-share * np.log(share))
    return np.where(total > 0, np.maximum(diversity, 0.0), np.nan)


def measure_simpson(tally: Tally) -> Floats:
    """Compute the Simpson diversity 1 - D of each sample.

    Parameters
    ----------
    tally
        The counts.

    Returns
    -------
    numpy.ndarray
        One number for each sample, 0 to below 1; NaN where no individual was found.
    """
    total = tally.sum_by_sample(tally.individuals)
    share = tally.individuals / total[tally.sample]
    diversity = 1.0 - tally.sum_by_sample(share * share)
    return np.where(total > 0, np.maximum(diversity, 0.0), np.nan)


def measure_pielou(tally: Tally) -> Floats:
    """Compute the evenness of Pielou of each sample.

    Parameters
    ----------
    tally
        The counts.

    Returns
    -------
    numpy.ndarray
        One number for each sample, 0 to 1; NaN where fewer than two taxa were found.
    """
    taxa = tally.sum_by_sample(np.ones(len(tally.individuals)))
    most = np.log(np.maximum(taxa, 1.0))
    return np.minimum(divide(measure_shannon(tally), most), 1.0)


def order_by_number(tally: Tally) -> tuple[Places, Places]:
    """Order the pairs of each sample from the most to the least numerous; of equals the first by name leads.

    Parameters
    ----------
    tally
        The counts.

    Returns
    -------
    order : numpy.ndarray
        Positions of pairs, sample by sample.
    rank : numpy.ndarray
        Place of each of them within its sample, from 0.
    """
    order = np.lexsort((-tally.individuals, tally.sample))
    starts = np.searchsorted(tally.sample, np.arange(len(tally.samples)))
    rank = np.arange(len(order)) - starts[tally.sample]
    return order, rank


def share_of_top(tally: Tally, order: Places, rank: Places, *, taxa: int) -> Floats:
    """Compute what share of the individuals the most numerous taxa hold together.

    Parameters
    ----------
    tally
        The counts.
    order, rank
        As from `order_by_number`.
    taxa
        How many taxa; where there are fewer, all of them.

    Returns
    -------
    numpy.ndarray
        Percent for each sample; NaN where no individual was found.
    """
    top = tally.sum_by_sample(np.where(rank < taxa, tally.individuals[order], 0.0))
    return 100 * divide(top, tally.sum_by_sample(tally.individuals))


def name_top(tally: Tally, order: Places, rank: Places) -> pd.Series:
    """Name the most numerous taxon of each sample.

    Parameters
    ----------
    tally
        The counts.
    order, rank
        As from `order_by_number`.

    Returns
    -------
    pandas.Series
        Accepted names by sample_id; missing where no individual was found.
    """
    first = order[rank == 0]
    names = tally.taxa.index[tally.taxon[first]]
    return pd.Series(names, index=tally.samples[tally.sample[first]]).reindex(tally.samples)
