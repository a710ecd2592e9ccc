"""How far a sample can be relied on, in plain words.

The flags say what a reader should know before a score is used; none of them takes a score away. The smallest
number of individuals is set by the survey (Hilsenhoff 1988 expects 100 arthropods or more, second-hand). The
limit of one in ten individuals without a tolerance value is this package's own choice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    import numpy.typing as npt

    Flags = npt.NDArray[np.object_]

WITHOUT_TOLERANCE_LIMIT: Final = 0.10
"""Share of individuals without a tolerance value above which a sample is flagged."""


def flag_samples(
    samples: pd.DataFrame, *, min_individuals: int, basis: str = "total_individuals"
) -> pd.Series:
    """Say in plain words what weakens each sample.

    Parameters
    ----------
    samples
        total_individuals, unknown_individuals, scored_individuals, individuals_without_tolerance, score.
        Counts are missing where a score was brought in without any: then nothing is said of them.
    min_individuals
        Fewest individuals that a sample should hold.
    basis
        Column of the individuals that the index was computed from: `scored_individuals` for an index that
        leaves some out. Too few of them are flagged where the sample itself is large enough.

    Returns
    -------
    pandas.Series
        Flags joined by "; ", on the same index, named `flags`; empty when there is none. A sample with
        neither counts nor a score is flagged "no counts".
    """
    total = _numbers(samples, "total_individuals")
    unknown = _numbers(samples, "unknown_individuals")
    without = _numbers(samples, "individuals_without_tolerance")
    no_score = np.isnan(_numbers(samples, "score"))
    percent = f"{WITHOUT_TOLERANCE_LIMIT:.0%}".removesuffix("%")
    columns = (
        _word(np.isnan(total) & no_score, "no counts"),
        _word(total == 0, "no animals"),
        _word((total > 0) & (total < min_individuals), f"under {min_individuals} individuals"),
        _say_basis(_numbers(samples, basis), total, min_individuals),
        _say_unknown(unknown),
        _word(
            (total > 0) & (without > WITHOUT_TOLERANCE_LIMIT * total),
            f"over {percent} % of individuals without a tolerance value",
        ),
        _word(no_score, "no score"),
    )
    joined = ["; ".join(filter(None, row)) for row in zip(*columns, strict=True)]
    return pd.Series(joined, index=samples.index, name="flags", dtype=object)


def _numbers(samples: pd.DataFrame, column: str) -> npt.NDArray[np.float64]:
    return samples[column].to_numpy(dtype=np.float64, na_value=np.nan)


def _word(holds: npt.NDArray[np.bool_], word: str) -> Flags:
    return np.where(holds, np.array(word, dtype=object), np.array("", dtype=object))


def _say_basis(basis: npt.NDArray[np.float64], total: npt.NDArray[np.float64], min_individuals: int) -> Flags:
    few = (total >= min_individuals) & (basis < min_individuals)
    said = [
        f"index from {number:.0f} individuals only" if flag else ""
        for number, flag in zip(basis, few, strict=True)
    ]
    return np.array(said, dtype=object)


def _say_unknown(unknown: npt.NDArray[np.float64]) -> Flags:
    said = [
        f"{number:.0f} individual{'' if number == 1 else 's'} of unknown name" if number > 0 else ""
        for number in unknown
    ]
    return np.array(said, dtype=object)
