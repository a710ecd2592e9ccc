"""Effort: from the animals picked to the animals of the sample, and to those on a square metre of bed.

Where only part of a sample was sorted::

    individuals in the sample = individuals picked / fraction sorted
    individuals on a square metre = individuals in the sample / area sampled

and where the sample was spread over a pan of equal grids, the fraction sorted is grids picked / grids in the
pan (Barbour and others 1999, Rapid Bioassessment Protocols, EPA 841-B-99-002, chapter 7; arithmetic). Counts
are scaled for a density only: richness is not in proportion to the animals sorted, and is compared by
rarefaction (`watershedmap.scoring.rarefaction`).

A fraction that was not recorded is unknown, not 1, so the density is then missing. Bias: the few large or
rare animals that are picked from the whole sample beside the fraction are scaled up with the others.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    Floats = npt.NDArray[np.float64]

EFFORT_COLUMNS: Final = ("fraction_sorted", "grids_picked", "grids_total", "area_m2", "minutes")
"""What may be said of the effort of a sample; any of it may be missing."""


def find_fraction(effort: pd.DataFrame) -> pd.Series:
    """Find the fraction of each sample that was sorted.

    Parameters
    ----------
    effort
        One row a sample, sample_id as index or column: fraction_sorted (above 0, to 1), or grids_picked and
        grids_total. A fraction given as such counts before one from grids.

    Returns
    -------
    pandas.Series
        By sample_id, named fraction_sorted; NaN where it is not known.

    Raises
    ------
    ValueError
        A sample stands there twice, or its fraction is not above 0 and up to 1.
    """
    table = _by_sample(effort)
    given = _numbers(table, "fraction_sorted")
    total = _numbers(table, "grids_total")
    _refuse(table, total <= 0, "grids_total is not above 0")
    fraction = np.where(np.isnan(given), _numbers(table, "grids_picked") / total, given)
    _refuse(table, (fraction <= 0) | (fraction > 1), "the fraction sorted is not above 0 and up to 1")
    return table.iloc[:, :0].assign(fraction_sorted=fraction)["fraction_sorted"]


def scale_to_sample(total: pd.Series, effort: pd.DataFrame) -> pd.Series:
    """Estimate the individuals of each whole sample.

    Parameters
    ----------
    total
        Individuals picked, by sample_id.
    effort
        As for `find_fraction`; samples that are not in `total` are passed over.

    Returns
    -------
    pandas.Series
        Individuals in the sample, on the index of `total`; NaN where the fraction sorted is not known.

    Raises
    ------
    ValueError
        As from `find_fraction`.
    """
    scaled = total.astype(np.float64) / find_fraction(effort).reindex(total.index)
    return scaled.rename("individuals_in_sample")


def measure_density(total: pd.Series, effort: pd.DataFrame) -> pd.Series:
    """Estimate the individuals on a square metre of bed.

    Parameters
    ----------
    total
        Individuals picked, by sample_id.
    effort
        As for `find_fraction`, with area_m2 (above 0), the area of bed sampled in square metres.

    Returns
    -------
    pandas.Series
        Individuals per square metre, on the index of `total`; NaN where fraction or area is not known.

    Raises
    ------
    ValueError
        As from `find_fraction`, or an area is not above 0.
    """
    table = _by_sample(effort)
    area = _numbers(table, "area_m2")
    _refuse(table, ~(area > 0) & ~np.isnan(area), "area_m2 is not above 0")
    by_sample = table.iloc[:, :0].assign(area=area)["area"].reindex(total.index)
    return (scale_to_sample(total, effort) / by_sample).rename("density_per_m2")


def _by_sample(effort: pd.DataFrame) -> pd.DataFrame:
    table = effort.set_index("sample_id") if "sample_id" in effort.columns else effort
    _refuse(table, table.index.duplicated(), "its effort is given twice")
    return table


def _numbers(table: pd.DataFrame, column: str) -> Floats:
    if column not in table.columns:
        return np.full(len(table), np.nan)
    return table[column].to_numpy(dtype=np.float64, na_value=np.nan)


def _refuse(table: pd.DataFrame, wrong: npt.NDArray[np.bool_], problem: str) -> None:
    if wrong.any():
        raise ValueError(f"sample {table.index[wrong][0]}: {problem}")
