"""Counts brought together: one number for each sample and accepted taxon.

All metrics and indices start from the same sums, so the sums are made in one place. Names that stand for the
same accepted taxon are added up within a sample; a count of zero means looked for and not found, and makes no
taxon. Animals that no metric may hold (a terrestrial stray, an empty shell) are left out here, once for all,
and their number is kept beside the sums.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    import numpy.typing as npt

    Bools = npt.NDArray[np.bool_]
    Floats = npt.NDArray[np.float64]
    Places = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Tally:
    """Individuals by sample and accepted taxon; only pairs that were counted at all."""

    samples: pd.Index
    """Sample ids, sorted; also those in which nothing was found."""
    taxa: pd.DataFrame
    """One row an accepted taxon, sorted by name, with what `watershedmap.taxa.resolve` says of it."""
    sample: Places
    """Position in `samples`, one for each pair; rising."""
    taxon: Places
    """Position in `taxa`, one for each pair; rising within a sample."""
    individuals: Floats
    """Individuals of the pair, above zero."""
    excluded: Floats
    """Individuals left out, one number for each sample."""

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

    def count_by_sample(self, holds: Bools) -> Floats:
        """Count the pairs of each sample for which something holds.

        Parameters
        ----------
        holds
            One truth value for each pair.

        Returns
        -------
        numpy.ndarray
            One number for each sample; 0 for a sample without pairs.
        """
        return np.bincount(self.sample[holds], minlength=len(self.samples)).astype(np.float64)

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
        What the names stand for, as from `watershedmap.taxa.resolve`, indexed by the name as written. Names
        with a reason in the column `excluded` are left out; without that column none is.

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
    code = accepted[place]
    out = code < 0
    excluded = _add_up(sample[out], individuals[out], len(ids))
    kept = ~out & (individuals > 0)
    width = max(len(kinds), 1)
    pair = sample[kept].astype(np.int64) * width + code[kept]
    unique, sums = _add_up_pairs(pair, individuals[kept])
    return Tally(
        samples=pd.Index(ids, name="sample_id"),
        taxa=kinds,
        sample=(unique // width).astype(np.intp),
        taxon=(unique % width).astype(np.intp),
        individuals=sums,
        excluded=excluded,
    )


def _accept(taxa: pd.DataFrame) -> tuple[Places, pd.DataFrame]:
    """Order the accepted taxa by name, and say which one each written name stands for; -1 for none."""
    counted = np.ones(len(taxa), dtype=bool)
    if "excluded" in taxa.columns:
        reason = taxa["excluded"]
        counted = (reason.isna() | (reason == "")).to_numpy(dtype=bool)
    accepted = np.full(len(taxa), -1, dtype=np.intp)
    accepted[counted], names = pd.factorize(taxa.loc[counted, "taxon"], sort=True)
    rows = taxa.loc[counted].drop_duplicates("taxon").set_index("taxon")
    return accepted, rows.loc[names]


def _check(counts: pd.DataFrame, place: Places, individuals: Floats) -> None:
    missing = sorted({str(name) for name in counts.loc[place < 0, "taxon"]})
    if missing:
        raise ValueError(f"names in the counts that are not among the taxa: {', '.join(missing)}")
    if not bool(np.all(individuals >= 0)):
        raise ValueError("a count is missing or below zero")


def _add_up_pairs(pair: npt.NDArray[np.int64], values: Floats) -> tuple[npt.NDArray[np.int64], Floats]:
    """Add up values of equal pairs; pairs come back sorted, each once."""
    order = np.argsort(pair, kind="stable")
    ordered = pair[order]
    first = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]][: len(ordered)])
    sums = np.add.reduceat(values[order], first) if len(first) else np.zeros(0)
    return ordered[first], sums


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
