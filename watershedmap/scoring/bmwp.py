"""BMWP and ASPT: families found, whatever their numbers.

Every scoring family has 1 (tolerant) to 10 (sensitive) points. The BMWP score adds them up over the scoring
families present, each once; the average score per taxon divides by their number::

    BMWP = sum of points          ASPT = BMWP / number of scoring families

Families that the list joins (Dugesiidae under Planariidae) count once, under one name.

Source: Biological Monitoring Working Party 1978; Armitage P.D., Moss D., Wright J.F., Furse M.T. 1983, Water
Research 17:333-347; rule second-hand, points from memory. Class limits: Freshwater Biology and Ecology
Handbook, table 5.13. Other schemes draw them elsewhere. The two numbers are classed apart and are never
merged: one sample can be Good by ASPT and Poor by BMWP.

Rules of this package, no source:

- the table prints ASPT to one decimal and BMWP in whole points, so scores are rounded to that before they are
  compared: ASPT 5.95 is 6.0 and Excellent;
- without a scoring family there is no ASPT. BMWP is 0 only where nothing at all was found; where animals were
  found and none of them scores, the record does not tell, and there is no BMWP either.

Bias: BMWP grows with the animals sorted and the area searched; ASPT much less. Both were made for organic
pollution of rivers in Great Britain.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.scoring.classes import Index, IndexClass
from watershedmap.scoring.tally import Tally, divide, make_tally

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

_RULE: Final = (
    "Biological Monitoring Working Party 1978; Armitage and others 1983, Water Research 17:333-347; points "
    "from memory; classes: Freshwater Biology and Ecology Handbook, table 5.13"
)

BMWP: Final = Index(
    name="bmwp",
    label="BMWP score",
    unit="",
    better="high",
    decimals=0,
    classes=(
        IndexClass("Excellent", 85, ""),
        IndexClass("Good", 70, ""),
        IndexClass("Fair", 50, ""),
        IndexClass("Poor", 15, ""),
        IndexClass("Seriously polluted", None, ""),
    ),
    source=_RULE,
    scale=(0.0, np.inf),
)
"""The BMWP score: 0 (worst) upwards."""

ASPT: Final = Index(
    name="aspt",
    label="Average score per taxon (ASPT)",
    unit="",
    better="high",
    decimals=1,
    classes=(
        IndexClass("Excellent", 6.0, ""),
        IndexClass("Good", 5.0, ""),
        IndexClass("Fair", 4.2, ""),
        IndexClass("Poor", 3.0, ""),
        IndexClass("Seriously polluted", None, ""),
    ),
    source=_RULE,
    scale=(1.0, 10.0),
)
"""The average score per taxon: 1 (worst) to 10 (best)."""


def bmwp(counts: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Compute the BMWP score of every sample that has counts.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count (0 or more).
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`; of it bmwp (points, NaN for none) and
        bmwp_group (the scoring family a name counts under; empty for the family itself). Of different points
        within one scoring family the highest counts.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): score (0 worst, no upper end; NaN when animals were found and none of
        them scores), scored_individuals and individuals_without_tolerance (here: without points), which
        together are all individuals.

    Raises
    ------
    ValueError
        A name in `counts` is not among `taxa`, or a count is missing or below zero.
    """
    tally = make_tally(counts, taxa)
    points, families = _add_families(tally)
    found = tally.sum_by_sample(tally.individuals)
    score = np.where((families == 0) & (found > 0), np.nan, points)
    return _frame(tally, score)


def aspt(counts: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Compute the average score per taxon of every sample that has counts.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count (0 or more).
    taxa
        As for `bmwp`.

    Returns
    -------
    pandas.DataFrame
        As from `bmwp`; score from 1 (worst) to 10 (best), NaN without a scoring family.

    Raises
    ------
    ValueError
        A name in `counts` is not among `taxa`, or a count is missing or below zero.
    """
    tally = make_tally(counts, taxa)
    points, families = _add_families(tally)
    return _frame(tally, divide(points, families))


def list_families(tally: Tally) -> pd.DataFrame:
    """List the scoring families of each sample, each once.

    Parameters
    ----------
    tally
        Counts added up by sample and taxon; its taxa as for `bmwp`.

    Returns
    -------
    pandas.DataFrame
        One row a sample and scoring family, sorted: sample (position among the samples of the tally), group
        (name of the scoring family), points.
    """
    points, group = _read_points(tally)
    scores = np.isfinite(points)
    pairs = pd.DataFrame({"sample": tally.sample[scores], "group": group[scores], "points": points[scores]})
    return pairs.groupby(["sample", "group"], as_index=False).agg({"points": "max"})


def _add_families(tally: Tally) -> tuple[Floats, Floats]:
    """Add up points and number of the scoring families of each sample."""
    families, length = list_families(tally), len(tally.samples)
    place = families["sample"].to_numpy(dtype=np.intp)
    total = np.bincount(place, weights=families["points"].to_numpy(dtype=np.float64), minlength=length)
    return total.astype(np.float64), np.bincount(place, minlength=length).astype(np.float64)


def _read_points(tally: Tally) -> tuple[Floats, npt.NDArray[np.object_]]:
    """Look points and scoring family up for each pair of sample and taxon."""
    rows = tally.taxa
    family = rows["family"].where(rows["family"] != "", rows.index.to_series())
    group = rows["bmwp_group"].where(rows["bmwp_group"] != "", family).to_numpy(dtype=object)
    points = rows["bmwp"].to_numpy(dtype=np.float64, na_value=np.nan)
    return points[tally.taxon], group[tally.taxon]


def _frame(tally: Tally, score: Floats) -> pd.DataFrame:
    points, _ = _read_points(tally)
    scored = np.isfinite(points)
    return pd.DataFrame(
        {
            "score": score,
            "scored_individuals": np.rint(tally.sum_by_sample(tally.individuals * scored)).astype(np.int64),
            "individuals_without_tolerance": np.rint(tally.sum_by_sample(tally.individuals * ~scored)).astype(
                np.int64
            ),
        },
        index=tally.samples,
    )
