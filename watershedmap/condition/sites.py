"""Condition of a site: the mean of its recent years.

Replicates (same site, date and method) are averaged first, then the visits of a year, then the last N
calendar years up to the site's last scored year, so that a year with many samples weighs no more than a
year with one.

The interval is Student's t interval of the mean over years (90 %). It takes the years as independent
draws about a level that does not change within the N years; where condition changes fast it is too wide
rather than too narrow. It is cut at the ends of the index's scale. One year alone has no
interval: unknown, not zero.

Known bias: a site with spring samples in one year and autumn samples in another mixes the season into
the difference between years.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.special import stdtrit

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.settings import Options

CONFIDENCE = 0.90


def average_years(samples: pd.DataFrame) -> pd.DataFrame:
    """Average scores to one value per site and year.

    Parameters
    ----------
    samples
        One row a sample: site_id, date, year, method, score. Samples without a score count for nothing.

    Returns
    -------
    pandas.DataFrame
        site_id, year, score, n_samples (samples with a score), sorted by site and year.
    """
    scored = samples[samples["score"].notna()]
    visits = scored.groupby(["site_id", "year", "date", "method"], as_index=False).agg(
        score=("score", "mean"), n_samples=("score", "size")
    )
    yearly = visits.groupby(["site_id", "year"], as_index=False).agg(
        score=("score", "mean"), n_samples=("n_samples", "sum")
    )
    return yearly.astype({"year": int, "n_samples": int})


def assess_sites(
    site_ids: pd.Series,
    yearly: pd.DataFrame,
    *,
    options: Options,
    as_of_year: int,
    scale: tuple[float, float] = (-np.inf, np.inf),
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

    Returns
    -------
    pandas.DataFrame
        On the rows of `site_ids`: n_samples, n_years, first_year, last_year (of all scored samples), current
        (False when the last is older than `stale_after_years`, or there is none), score, score_low,
        score_high.
    """
    last = yearly.groupby("site_id")["year"].transform("max")
    recent = yearly[yearly["year"] > last - options.recent_years]
    scores = recent.groupby("site_id")["score"].agg(["mean", "std", "size"])
    half = stdtrit((scores["size"] - 1).clip(lower=1), 0.5 + CONFIDENCE / 2) * scores["std"]
    half = half / np.sqrt(scores["size"])  # missing with one year, because its standard deviation is
    span = yearly.groupby("site_id").agg(
        n_samples=("n_samples", "sum"),
        n_years=("year", "size"),
        first_year=("year", "min"),
        last_year=("year", "max"),
    )
    frame = span.assign(
        score=scores["mean"],
        score_low=(scores["mean"] - half).clip(lower=scale[0]),
        score_high=(scores["mean"] + half).clip(upper=scale[1]),
    ).reindex(site_ids.to_numpy())
    frame = frame.set_axis(site_ids.index)
    current = frame["last_year"] >= as_of_year - options.stale_after_years
    frame.insert(4, "current", current.fillna(value=False).astype(bool))
    whole = dict.fromkeys(("n_samples", "n_years", "first_year", "last_year"), "Int64")
    return frame.astype(whole).fillna({"n_samples": 0, "n_years": 0})
