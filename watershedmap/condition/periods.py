"""Condition in earlier years: the mean of the yearly scores of each run of years.

Definition
    Periods are runs of `recent_years` calendar years, counted back from the year that condition is stated
    for, so that the last one ends with it; the first one begins with the first year that has a score and may
    be shorter. The score of a site in a period is the mean of its yearly scores in it, and that of a reach
    the mean over its sites. Nothing is inferred: a place without a score in a period has no row.

Known bias
    A reach is compared with itself only as far as its sites stayed the same: where one joins or leaves, what
    lies between the sites mixes into the difference between periods. A site with one year in a period counts
    like one with all. The last period can differ from the condition of today, which looks back from the last
    year of each site.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from watershedmap.scoring.classes import classify

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.scoring.indices import Index


def average_periods(
    yearly: pd.DataFrame, sites: pd.DataFrame, *, as_of_year: int, years: int, index: Index
) -> pd.DataFrame:
    """Average yearly scores of reaches by period.

    Parameters
    ----------
    yearly
        site_id, year, score; later years than `as_of_year` are not used, nor rows without a score.
    sites
        site_id and reach_id, which is missing for a site on no reach.
    as_of_year
        Last year of the last period.
    years
        Years of a period.
    index
        The index, for classes.

    Returns
    -------
    pandas.DataFrame
        first_year, last_year (of the period, not of its samples), reach_id, score, class, n_sites, n_years
        (different years with a score on the reach), sorted by period and reach.

    Raises
    ------
    ValueError
        When a period is shorter than a year.
    """
    scored = _place_in_periods(yearly, as_of_year=as_of_year, years=years)
    placed = sites.loc[sites["reach_id"].notna(), ["site_id", "reach_id"]]
    joined = scored.merge(placed, on="site_id")
    keys = ["first_year", "last_year", "reach_id"]
    by_site = joined.groupby([*keys, "site_id"], as_index=False)["score"].mean()
    reaches = by_site.groupby(keys).agg(score=("score", "mean"), n_sites=("site_id", "size"))
    reaches["n_years"] = joined.groupby(keys)["year"].nunique()
    frame = reaches.reset_index()
    frame["class"] = classify(frame["score"], index)
    return frame[["first_year", "last_year", "reach_id", "score", "class", "n_sites", "n_years"]]


def average_site_periods(yearly: pd.DataFrame, *, as_of_year: int, years: int, index: Index) -> pd.DataFrame:
    """Average yearly scores of sites by period, also of those on no reach.

    Parameters
    ----------
    yearly, as_of_year, years, index
        As for `average_periods`.

    Returns
    -------
    pandas.DataFrame
        first_year, last_year (as for `average_periods`), site_id, score, class, n_years (years with a score),
        sorted by period and site.

    Raises
    ------
    ValueError
        When a period is shorter than a year.
    """
    scored = _place_in_periods(yearly, as_of_year=as_of_year, years=years)
    keys = ["first_year", "last_year", "site_id"]
    frame = scored.groupby(keys).agg(score=("score", "mean"), n_years=("year", "nunique")).reset_index()
    frame["class"] = classify(frame["score"], index)
    return frame[["first_year", "last_year", "site_id", "score", "class", "n_years"]]


def _place_in_periods(yearly: pd.DataFrame, *, as_of_year: int, years: int) -> pd.DataFrame:
    """Keep what has a score and is not too late, with the first and the last year of its period."""
    if years < 1:
        raise ValueError(f"a period has at least one year, not {years}")
    scored = yearly[yearly["score"].notna() & (yearly["year"] <= as_of_year)]
    last = as_of_year - years * ((as_of_year - scored["year"]) // years)
    first = int(scored["year"].min()) if len(scored) else as_of_year
    return scored.assign(last_year=last, first_year=(last - years + 1).clip(lower=first))
