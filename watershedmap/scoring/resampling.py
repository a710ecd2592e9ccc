"""Samples drawn again: the individuals of each as a multinomial, with a seed taken from its own counts.

The same counts give the same resamples, whatever other samples stand beside them, in whatever order, and
under whatever id. A resample never holds a taxon that the sample missed, and loses some that it has:
richness and all that is built on it come out too low (Smith and van Belle 1984, Biometrics 40:119-129, from
memory). `centre_draws` takes that shift away again; the width it leaves as it is, which for presences is
somewhat narrow. With `halves` a sample is split at random into two halves instead, which hold each of its
taxa in one or both: half the mean square of their difference is the variance that a sample of half the size
has, without that bias (two halves of a random sample are two independent samples). The resampling is the
nonparametric bootstrap, Efron 1979, Annals of Statistics 7:1-26 (from memory).
"""

from __future__ import annotations

from hashlib import blake2b
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Measure = Callable[[pd.DataFrame, pd.DataFrame], pd.DataFrame]

DRAWS: Final = 200
"""Resamples of each sample."""
_ROWS_AT_ONCE: Final = 500_000


def centre_draws(values: Floats, score: Floats) -> tuple[Floats, Floats]:
    """Move resampled values until their mean is the score, and measure their spread.

    Parameters
    ----------
    values
        One row a sample, one column a resample.
    score
        Score of each sample.

    Returns
    -------
    moved : numpy.ndarray
        The values, with their bias taken away.
    error : numpy.ndarray
        Their standard deviation; NaN where a value or the score is missing, or all values are equal.
    """
    moved = values - values.mean(axis=1, keepdims=True) + score[:, None]
    error = moved.std(axis=1, ddof=1)
    same = np.ptp(values, axis=1) == 0
    return moved, np.where(same, np.nan, error)


def resample_values(
    counts: pd.DataFrame, taxa: pd.DataFrame, measure: Measure, *, draws: int = DRAWS, halves: bool = False
) -> Iterator[tuple[pd.Index, pd.DataFrame]]:
    """Draw the individuals of each sample again and measure every resample.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count.
    taxa
        What the names stand for. Names with a reason in the column `excluded` are left out before drawing:
        they are in no metric, and would make the number of those that are vary.
    measure
        Counts and taxa in, a frame by sample_id out. Those counts have the number of the resample for
        sample_id, and beside it `origin`, the id of the sample that was drawn again.
    draws
        Resamples of each sample, 2 or more; with `halves` an even number.
    halves
        Split without replacement: the second half of the rows of a sample is what the first half leaves.

    Returns
    -------
    iterator of (pandas.Index, pandas.DataFrame)
        Ids of some samples that hold individuals, and what was measured: `draws` rows a sample, in their
        order. The seed of a sample comes from its counts by taxon, so its rows do not depend on other
        samples, on the order of the file, or on its id.
    """
    whole = counts.groupby(["sample_id", "taxon"], as_index=False, sort=True)["count"].sum()
    left_out = taxa.index[taxa["excluded"].fillna("") != ""] if "excluded" in taxa.columns else taxa.index[:0]
    whole = whole[(whole["count"] > 0) & ~whole["taxon"].isin(left_out)]
    tables = [(key, part) for key, part in whole.groupby("sample_id", sort=True)]
    room = max(1, _ROWS_AT_ONCE // (draws * max((len(part) for _, part in tables), default=1)))
    for begin in range(0, len(tables), room):
        chunk = tables[begin : begin + room]
        frames = [_draw(part, draws, place * draws, halves=halves) for place, (_, part) in enumerate(chunk)]
        drawn = measure(pd.concat(frames, ignore_index=True), taxa)
        yield pd.Index([key for key, _ in chunk], name="sample_id"), drawn.reindex(range(len(chunk) * draws))


def _draw(part: pd.DataFrame, draws: int, first: int, *, halves: bool) -> pd.DataFrame:
    """Draw one sample again; resamples are numbered from `first`."""
    names, individuals = part["taxon"].to_numpy(), part["count"].to_numpy(dtype=np.int64)
    text = "\n".join(f"{name}\t{number}" for name, number in zip(names, individuals, strict=True))
    seed = int.from_bytes(blake2b(text.encode(), digest_size=8).digest(), "big")
    random, total = np.random.default_rng(seed), individuals.sum()
    if halves:
        half = random.multivariate_hypergeometric(
            individuals, total // 2, size=draws // 2, method="marginals"
        )
        table = np.concatenate([half, individuals - half])
    else:
        table = random.multinomial(total, individuals / total, size=draws)
    row, column = np.nonzero(table)
    return pd.DataFrame(
        {
            "sample_id": first + row,
            "origin": part["sample_id"].iloc[0],
            "taxon": names[column],
            "count": table[row, column],
        }
    )
