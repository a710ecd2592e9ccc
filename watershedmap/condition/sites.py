"""Condition of a site: the mean of its recent years.

Replicates (same site, date and method) are averaged first, then the visits of a year, then the last N
calendar years up to the site's last scored year, so that a year with many samples weighs no more than a
year with one.

The interval is Student's t interval of the mean over years (90 %). It takes the years as independent
draws about a level that does not change within the N years; where condition changes fast it is too wide
rather than too narrow. It is cut at the ends of the index's scale.

One year alone shows nothing of the difference between years. Its interval comes from the counts of its
samples (`watershedmap.scoring.uncertainty`), averaged as the scores are, with errors independent and
normal. Where the interval over years comes out narrower than that from the counts, the one from the counts
stands: two or three years can agree by chance, and no condition is surer than the counts behind it.
`interval_basis` says which: `years`, `counts`, or nothing where there is no interval: unknown, not zero. An
interval from counts leaves out all that changes from year to year and from spot to spot; for one year it can
be far narrower than one from two years, which is wide because two years say little.

Known bias: a site with spring samples in one year and autumn samples in another mixes the season into
the difference between years.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from watershedmap.condition.probability import CONFIDENCE, Z, bound_mean, rate_classes

if TYPE_CHECKING:
    from watershedmap.scoring.indices import Index
    from watershedmap.settings import Options

__all__ = ["CONFIDENCE", "COUNTS", "YEARS", "assess_sites", "average_years"]

YEARS, COUNTS = "years", "counts"
"""What an interval rests on."""


def average_years(samples: pd.DataFrame) -> pd.DataFrame:
    """Average scores to one value per site and year.

    Parameters
    ----------
    samples
        One row a sample: site_id, date, year, method, score and, where it is known, score_se (standard error
        from the counts, index units). Samples without a score count for nothing.

    Returns
    -------
    pandas.DataFrame
        site_id, year, score, n_samples (samples with a score), sorted by site and year; with score_se where
        the samples have it, missing in a year in which any of its samples has none.
    """
    scored = samples.loc[samples["score"].notna()].assign(n_samples=1)
    if "score_se" in scored:
        scored = scored.assign(variance=scored.pop("score_se") ** 2)
    visits = _average(scored, ["site_id", "year", "date", "method"])
    yearly = _average(visits, ["site_id", "year"])
    if "variance" in yearly:
        yearly["score_se"] = np.sqrt(yearly.pop("variance"))
    return yearly.astype({"year": int, "n_samples": int})


def _average(parts: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Average scores within groups, with the variance of the mean where those of the parts are known."""
    groups = parts.groupby(keys)
    frame = groups.agg(score=("score", "mean"), n_samples=("n_samples", "sum"))
    if "variance" in parts:
        known = groups["variance"].count() == groups.size()
        frame["variance"] = (groups["variance"].sum() / groups.size() ** 2).where(known)
    return frame.reset_index()


def assess_sites(
    site_ids: pd.Series,
    yearly: pd.DataFrame,
    *,
    options: Options,
    as_of_year: int,
    scale: tuple[float, float] = (-np.inf, np.inf),
    index: Index | None = None,
) -> pd.DataFrame:
    """Return the condition of every site.

    Parameters
    ----------
    site_ids
        Ids of the sites, one row each.
    yearly
        As from `average_years`.
    options
        The number of recent years, and after how many a site is stale.
    as_of_year
        Year that condition is stated for: the last one of the survey.
    scale
        Lowest and highest value that the index can take; the interval is cut there.
    index
        The index, for the probability of each class; left out, there are none.

    Returns
    -------
    pandas.DataFrame
        On the rows of `site_ids`: n_samples, n_years, first_year, last_year (of all scored samples), current
        (False when the last is older than `stale_after_years`, or there is none), score, score_low,
        score_high, score_se, score_df (degrees of freedom; missing for an error from counts), interval_basis
        (`years`, `counts` or empty) and, with `index`, probability_1 (best class) to probability_k and
        class_certainty (probability of the class that the score lies in).
    """
    last = yearly.groupby("site_id")["year"].transform("max")
    recent = yearly[yearly["year"] > last - options.recent_years]
    means = _find_errors(recent)
    span = yearly.groupby("site_id").agg(
        n_samples=("n_samples", "sum"),
        n_years=("year", "size"),
        first_year=("year", "min"),
        last_year=("year", "max"),
    )
    interval = bound_mean(means["score"], means["score_se"], means["score_df"], scale=scale)
    parts = [span, means[["score"]], interval, means.drop(columns="score")]
    if index is not None:
        parts.append(rate_classes(means, index))
    frame = pd.concat(parts, axis=1).reindex(site_ids.to_numpy())
    frame = frame.set_axis(site_ids.index)
    current = frame["last_year"] >= as_of_year - options.stale_after_years
    frame.insert(4, "current", current.fillna(value=False).astype(bool))
    whole = dict.fromkeys(("n_samples", "n_years", "first_year", "last_year"), "Int64")
    return frame.astype(whole).fillna({"n_samples": 0, "n_years": 0, "interval_basis": ""})


def _find_errors(recent: pd.DataFrame) -> pd.DataFrame:
    """Average the recent years of each site, with the error of the mean and what it rests on."""
    if "score_se" not in recent:
        recent = recent.assign(score_se=np.nan)
    groups = recent.assign(variance=recent["score_se"] ** 2).groupby("site_id")
    scores = groups["score"].agg(["mean", "std", "size"])
    known = groups["variance"].count() == scores["size"]
    by_counts = (np.sqrt(groups["variance"].sum()) / scores["size"]).where(known)
    by_years = scores["std"] / np.sqrt(scores["size"])  # missing with one year, because its deviation is
    # A condition is never surer than the counts behind it: three years can agree by chance.
    wide = by_years * stdtrit((scores["size"] - 1).clip(lower=1), 0.5 + CONFIDENCE / 2)
    years = by_years.notna() & (by_counts.isna() | (wide >= Z * by_counts))
    error = by_years.where(years, by_counts)
    return pd.DataFrame(
        {
            "score": scores["mean"],
            "score_se": error,
            "score_df": (scores["size"] - 1).astype(float).where(years),
            "interval_basis": np.select([years, error.notna()], [YEARS, COUNTS], default=""),
        }
    )
