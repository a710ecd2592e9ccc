"""The error of sums over taxa found: richness, BMWP, ASPT.

Another sample of as many individuals from the same community would miss some taxa found here and hold others.
With detections independent and individuals Poisson, a taxon of expected count m is found with probability
``1 - exp(-m)``, so a sum of weights w over the taxa found has the variance::

    V = sum(w**2 * exp(-m) * (1 - exp(-m)))  =  E[T(2n)] - E[T(n)],   T(n) = sum of w**2 over taxa found in n

which is what doubling the sample would add to T. The sample cannot be doubled, but it can be halved: a taxon
of k individuals is missing from a random half with probability ``2**-k``, so halving takes away::

    V = sum(w**2 * 2**-k)        over the taxa found

and that stands for what doubling would add. The two are the same where taxa come in with the logarithm of
the number of individuals (Fisher, Corbet and Williams 1943, Journal of Animal Ecology 12:42-58, from
memory); where the list of taxa is nearly complete doubling adds less, so the error is rather too large than
too small. ASPT is a ratio; its weights are ``(points - ASPT) / families`` (delta method). The formula is
this package's own working; `tests/bench/bench_uncertainty.py` prints how often the intervals hold the
truth. Estimates of what doubling adds from taxa found once and twice alone (Chao 1984, Scandinavian Journal
of Statistics 11:265-270, from memory) were tried and held it less often, 83 to 92 % for 90 %.

The value that the interval is for is the one expected from as many individuals, not the whole richness of the
place, which is higher and which no such interval covers.

Known bias: individuals in a net come in clumps, so the true error is larger. Taxa of one count are few, so
the error itself is rough in small samples.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import numpy as np
import pandas as pd

from watershedmap.scoring.tally import divide, make_tally

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Places = npt.NDArray[np.intp]


def estimate_errors(sample: Places, individuals: Floats, squares: Floats, length: int) -> Floats:
    """Estimate the standard error of a sum of weights over the taxa found in each sample.

    Parameters
    ----------
    sample
        Row of the sample, one for each taxon found in it.
    individuals
        Individuals of that taxon, above zero.
    squares
        Square of its weight.
    length
        Number of samples.

    Returns
    -------
    numpy.ndarray
        One error a sample, in the unit of the weights; 0 for a sample without taxa.
    """
    variance = np.bincount(sample, weights=squares * 2.0**-individuals, minlength=length)
    return cast("Floats", np.sqrt(variance))


def measure_points(counts: pd.DataFrame, taxa: pd.DataFrame, *, averaged: bool) -> pd.DataFrame:
    """Compute BMWP or ASPT with its standard error.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count.
    taxa
        What the names stand for; of it family, bmwp and bmwp_group.
    averaged
        True for ASPT, points per scoring family; False for BMWP, their sum.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): score, score_se; missing in samples without a scoring family, and an
        ASPT from one family has no error.
    """
    tally = make_tally(counts, taxa)
    rows = tally.taxa
    family = rows["family"].where(rows["family"] != "", rows.index.to_series())
    group = rows["bmwp_group"].where(rows["bmwp_group"] != "", family).to_numpy(dtype=object)
    points = rows["bmwp"].to_numpy(dtype=np.float64, na_value=np.nan)
    found = pd.DataFrame(
        {
            "sample": tally.sample,
            "group": group[tally.taxon],
            "points": points[tally.taxon],
            "individuals": tally.individuals,
        }
    ).dropna(subset="points")
    families = found.groupby(["sample", "group"], as_index=False).agg(
        points=("points", "max"), individuals=("individuals", "sum")
    )
    sample, length = families["sample"].to_numpy(dtype=np.intp), len(tally.samples)
    value, individuals = families["points"].to_numpy(float), families["individuals"].to_numpy(float)
    number = np.bincount(sample, minlength=length).astype(np.float64)
    total = np.bincount(sample, weights=value, minlength=length).astype(np.float64)
    mean = divide(total, number)
    weight = (value - mean[sample]) / number[sample] if averaged else value
    error = estimate_errors(sample, individuals, weight**2, length)
    known = number > (1 if averaged else 0)
    score = mean if averaged else np.where(number > 0, total, np.nan)
    return pd.DataFrame({"score": score, "score_se": np.where(known, error, np.nan)}, index=tally.samples)
