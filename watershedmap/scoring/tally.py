"""Counts brought together: one number for each sample and accepted taxon.

All metrics and indices start from the same sums, so the sums are made in one place. Names that stand for the
same accepted taxon are added up within a sample; a count of zero means looked for and not found, and makes no
taxon.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Places = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Tally:
    """Individuals by sample and accepted taxon; only pairs that were counted at all."""

    samples: pd.Index
    """Sample ids, sorted; also those in which nothing was found."""
    taxa: pd.DataFrame
    """One row an accepted taxon, sorted by name: ept, known, tolerance."""
    sample: Places
    """Position in `samples`, one for each pair; rising."""
    taxon: Places
    """Position in `taxa`, one for each pair; rising within a sample."""
    individuals: Floats
    """Individuals of the pair, above zero."""

    def sum_by_sample(self, values: Floats) -> Floats:
        """Add values up within samples.

        Parameters
        ----------
        values
            One value for each pair.

        Returns
        -------
        numpy.ndarray
            One sum for each sample; 0 for a sample without pairs.
        """
        return _add_up(self.sample, values, len(self.samples))

    def of_taxon(self, column: str) -> npt.NDArray[np.generic]:
        """Look a property of the taxon up for each pair.

        Parameters
        ----------
        column
            A column of `taxa`.

        Returns
        -------
        numpy.ndarray
            One value for each pair.
        """
        return self.taxa[column].to_numpy()[self.taxon]


def make_tally(counts: pd.DataFrame, taxa: pd.DataFrame) -> Tally:
    """Add counts up by sample and accepted taxon.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count (0 or more, never missing).
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`, indexed by the name as written.

    Returns
    -------
    Tally
        The sums.

    Raises
    ------
    ValueError
        A name in `counts` is not in the index of `taxa`, or a count is missing or below zero.
    """
    place = taxa.index.get_indexer(pd.Index(counts["taxon"]))
    individuals = counts["count"].to_numpy(dtype=np.float64, na_value=np.nan)
    _check(counts, place, individuals)
    accepted, kinds = _accept(taxa)
    sample, ids = pd.factorize(counts["sample_id"], sort=True)
    pair = sample.astype(np.int64) * max(len(kinds), 1) + accepted[place]
    unique, where = np.unique(pair, return_inverse=True)
    sums = _add_up(where, individuals, len(unique))
    found = sums > 0
    return Tally(
        samples=pd.Index(ids, name="sample_id"),
        taxa=kinds,
        sample=(unique[found] // max(len(kinds), 1)).astype(np.intp),
        taxon=(unique[found] % max(len(kinds), 1)).astype(np.intp),
        individuals=sums[found],
    )


def _accept(taxa: pd.DataFrame) -> tuple[Places, pd.DataFrame]:
    """Order the accepted taxa by name, and say which one each written name stands for."""
    accepted, names = pd.factorize(taxa["taxon"], sort=True)
    rows = taxa.loc[:, ["taxon", "ept", "known", "tolerance"]].drop_duplicates("taxon").set_index("taxon")
    return accepted, rows.loc[names]


def _check(counts: pd.DataFrame, place: Places, individuals: Floats) -> None:
    missing = sorted({str(name) for name in counts["taxon"].to_numpy()[place < 0]})
    if missing:
        raise ValueError(f"names in the counts that are not among the taxa: {', '.join(missing)}")
    if not bool(np.all(individuals >= 0)):
        raise ValueError("a count is missing or below zero")


def _add_up(place: Places, values: Floats, length: int) -> Floats:
    return np.bincount(place, weights=values, minlength=length).astype(np.float64)


def divide(part: Floats, whole: Floats) -> Floats:
    """Divide, with NaN where the whole is zero: of nothing there is no share.

    Parameters
    ----------
    part
        Numerators.
    whole
        Denominators, 0 or more.

    Returns
    -------
    numpy.ndarray
        The ratios.
    """
    out = np.full(len(whole), np.nan)
    return cast("Floats", np.divide(part, whole, out=out, where=whole > 0))
