"""The regional Kendall test: one answer for many sites.

Definition
    Each site is compared with itself only: ``S`` is the sum of the S of the sites. The variance without
    regard to correlation is the sum of theirs, corrected for ties. Sites that share weather share their good
    years, so the covariance form adds the covariances between sites: with ``s_ij`` the sign between the years
    i and j at a site (0 where one is missing) and ``a_i`` their sum over j, the covariance of two sites is
    ``(sum_{i<j} s_ij s'_ij + sum_i a_i a'_i) / 3``. That is what it would be over all orders of the years,
    each year kept whole with its ties and its missing sites. ``z = (S - sgn S) / sqrt(Var S)``. The slope is
    the median of all slopes between two years of one site; its limits are those of `slopes`, with these
    variances and the number of these slopes. Whether the sites agree: with ``z_i = S_i / sqrt(Var S_i)``,
    without continuity correction, ``sum z_i ** 2 - m * mean(z) ** 2`` is chi-square with m - 1 degrees of
    freedom. A year missing at a site makes no pair there; nothing is filled in. A site enters with two years
    or more.

Source
    Hirsch, Slack and Smith 1982, Water Resources Research 18:107-121 (sums over parts); covariance form:
    Dietz and Killeen 1981, JASA 76:169-174, Hirsch and Slack 1984, Water Resources Research 20:727-732; sites
    for seasons: Helsel and Frans 2006, Environmental Science and Technology 40:4066-4073 (from memory);
    heterogeneity: van Belle and Hughes 1984, Water Resources Research 20:127-136.

Known bias
    Sites that go opposite ways cancel: read the agreement first; where they differ clearly no common trend is
    named. The normal approximation is rough with few years, and ten or more are asked for where covariances
    are estimated (Hirsch and Slack 1984). Years are taken as independent. The agreement test takes sites as
    independent: where they share weather it finds too little difference. Its sites count the same whatever
    their length of stream.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from watershedmap.trends.direction import NO_CLEAR_TREND, NOISE_DECIMALS, TOO_FEW_YEARS, Rules, word_of
from watershedmap.trends.kendall import pair_indices, score_variance, tie_sizes
from watershedmap.trends.slopes import interval_of

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from watershedmap.trends.direction import Better

MIN_SITES = 2
"""One site alone is no region."""


@dataclass(frozen=True, slots=True)
class RegionalResult:
    """What the test found over the sites of a region; NaN where there was nothing to test."""

    n_sites: int
    """Sites with two years or more."""
    n_years: int
    """Different years with a value at any of these sites."""
    s: int
    """Rising pairs less falling pairs, over all sites."""
    variance: float
    """Variance of `s` with the covariances between sites."""
    variance_independent: float
    """Variance of `s` if sites were independent."""
    z: float
    """Standard score of `s` with the covariances."""
    z_independent: float
    """Standard score of `s` if sites were independent."""
    p_value: float
    """Two-sided, with the covariances."""
    p_value_independent: float
    """Two-sided, if sites were independent."""
    slope: float
    """Median of the slopes within sites, per unit of time."""
    low: float
    """Lower limit of the slope, with the covariances."""
    high: float
    """Upper limit of the slope, with the covariances."""
    low_independent: float
    """Lower limit of the slope if sites were independent."""
    high_independent: float
    """Upper limit of the slope if sites were independent."""
    heterogeneity: float
    """Chi-square of the differences between sites."""
    heterogeneity_df: int
    """Its degrees of freedom: sites that can show a trend, less one."""
    heterogeneity_p: float
    """Probability of so much difference between sites that share one trend; NaN below two sites."""
    rising: int
    """Sites with `s` above 0."""
    falling: int
    """Sites with `s` below 0."""


def regional_kendall(values: ArrayLike, times: ArrayLike, *, confidence: float = 0.90) -> RegionalResult:
    """Test the sites of a region for a common rise or fall.

    Parameters
    ----------
    values
        One row a year and one column a site; NaN where a site has no value.
    times
        The years, all different, in any order; slopes are per unit of it.
    confidence
        Two-sided confidence of the limits of the slope, between 0 and 1.

    Returns
    -------
    RegionalResult
        Sites with fewer than two values are left out.

    Raises
    ------
    ValueError
        If the shapes do not fit, a time is given twice or missing, or `confidence` is not between 0 and 1.
    """
    table, when = _check_table(values, times, confidence)
    table = table[:, np.isfinite(table).sum(axis=0) >= MIN_SITES]
    used = np.isfinite(table).any(axis=1)
    table, when = table[used], when[used]
    scores, variances, whole = _score_sites(table, when)
    s, independent = int(scores.sum()), float(variances.sum())
    z, p_value = _judge_score(s, whole)
    z_independent, p_independent = _judge_score(s, independent)
    slopes = _slopes_within(table, when)
    slope = float(np.median(slopes)) if slopes.size else math.nan
    quantile = NormalDist().inv_cdf((1 + confidence) / 2)
    low, high = interval_of(slopes, quantile * math.sqrt(whole))
    low_independent, high_independent = interval_of(slopes, quantile * math.sqrt(independent))
    chi_square, degrees = _compare_sites(scores, variances)
    return RegionalResult(
        n_sites=table.shape[1],
        n_years=table.shape[0],
        s=s,
        variance=whole,
        variance_independent=independent,
        z=z,
        z_independent=z_independent,
        p_value=p_value,
        p_value_independent=p_independent,
        slope=slope,
        low=low,
        high=high,
        low_independent=low_independent,
        high_independent=high_independent,
        heterogeneity=chi_square,
        heterogeneity_df=degrees,
        heterogeneity_p=float(chdtrc(degrees, chi_square)) if degrees > 0 else math.nan,
        rising=int((scores > 0).sum()),
        falling=int((scores < 0).sum()),
    )


def trends_of_groups(
    yearly: pd.DataFrame,
    members: pd.DataFrame,
    *,
    better: Better,
    min_years: int = 5,
    alpha: float = 0.05,
    confidence: float = 0.90,
) -> pd.DataFrame:
    """Judge the common trend of every group of sites.

    Parameters
    ----------
    yearly
        site_id, year, score: one row a year of a site.
    members
        group, site_id: one row for each site of a group; a site may be in several. Rows without a group are
        left out.
    better
        Which end of the index is good: `low` or `high`.
    min_years
        Fewest different years, over the sites of a group, that are judged.
    alpha
        Largest two-sided p-value that counts as a trend.
    confidence
        Two-sided confidence of the limits of the slope.

    Returns
    -------
    DataFrame
        Indexed by group, sorted: trend (the words of a site), slope_per_year, slope_low, slope_high, p_value
        (with the covariances between sites), p_value_independent, n_sites (with two years or more),
        first_year, last_year, heterogeneity_p and agreement (what the single sites do, in words). With fewer
        than two sites, or too few years, the trend is `too few years` and the figures are NaN. Where sites
        differ by more than chance (heterogeneity_p at most alpha) and go both ways, it is `no clear trend`.

    Raises
    ------
    ValueError
        If `better`, `alpha` or `confidence` is none of the values it can have.
    """
    rules = Rules(better, min_years, alpha, confidence)
    listed = members.loc[members["group"].notna(), ["group", "site_id"]].drop_duplicates()
    scored = yearly.loc[yearly["score"].notna(), ["site_id", "year", "score"]]
    series = listed.merge(scored, on="site_id")
    groups = dict(iter(series.groupby("group")))
    names = sorted(listed["group"].unique())
    rows = [_judge_group(groups.get(name, series.iloc[:0]), rules) for name in names]
    frame = pd.DataFrame(rows, columns=list(_COLUMNS), index=pd.Index(names, name="group"))
    return frame.astype(_COLUMNS)


_COLUMNS = {
    "trend": "str",
    "slope_per_year": "float64",
    "slope_low": "float64",
    "slope_high": "float64",
    "p_value": "float64",
    "p_value_independent": "float64",
    "n_sites": "int64",
    "first_year": "Int64",
    "last_year": "Int64",
    "heterogeneity_p": "float64",
    "agreement": "str",
}


def _judge_group(series: pd.DataFrame, rules: Rules) -> tuple[object, ...]:
    table = series.pivot_table(index="year", columns="site_id", values="score", aggfunc="mean")
    table = table.loc[:, table.count() >= MIN_SITES].dropna(how="all").round(NOISE_DECIMALS)
    span = (int(table.index.min()), int(table.index.max())) if len(table) else (pd.NA, pd.NA)
    n_sites = table.shape[1]
    if n_sites < MIN_SITES or len(table) < rules.min_years:
        missing = f"{_count(n_sites, 'site')} with two years or more, {_count(len(table), 'year')} in all"
        return (TOO_FEW_YEARS, *[math.nan] * 5, n_sites, *span, math.nan, missing)
    found = regional_kendall(table.to_numpy(), table.index.to_numpy(), confidence=rules.confidence)
    word = NO_CLEAR_TREND if _is_split(found, rules) else word_of(found.slope, found.p_value, rules)
    figures = (found.slope, found.low, found.high, found.p_value, found.p_value_independent)
    return (word, *figures, n_sites, *span, found.heterogeneity_p, _describe_agreement(found, rules))


def _describe_agreement(found: RegionalResult, rules: Rules) -> str:
    """Say what the single sites do, and whether they differ by more than chance."""
    up, down = ("improving", "worsening") if rules.better == "high" else ("worsening", "improving")
    level = found.n_sites - found.rising - found.falling
    sure = f"by their signs alone {found.rising} {up}, {found.falling} {down}, {level} level"
    if math.isnan(found.heterogeneity_p):
        return f"{sure}; whether they differ cannot be told"
    if found.heterogeneity_p > rules.alpha:
        return f"{sure}; no more different than by chance"
    both_ways = ", and go both ways: no common trend is named" if _is_split(found, rules) else ""
    return f"{sure}; they differ by more than chance{both_ways}"


def _is_split(found: RegionalResult, rules: Rules) -> bool:
    """Tell whether sites differ by more than chance, some rising and some falling."""
    return found.heterogeneity_p <= rules.alpha and found.rising > 0 and found.falling > 0


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")


def _check_table(
    values: ArrayLike, times: ArrayLike, confidence: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")
    table, when = np.asarray(values, dtype=np.float64), np.asarray(times, dtype=np.float64).ravel()
    if table.ndim != 2 or len(table) != when.size:  # noqa: PLR2004  # years by sites
        raise ValueError(f"values of shape {table.shape} do not have one row for each of {when.size} times")
    if not np.isfinite(when).all() or np.unique(when).size < when.size:
        raise ValueError("each time must be there, once")
    return np.where(np.isfinite(table), table, np.nan), when


def _score_sites(
    table: NDArray[np.float64], when: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Return S and its variance for each site, and the variance of the sum with all covariances.

    The sum of a covariance over all pairs of sites is the square of a sum over sites, so that no table of
    sites by sites is needed.
    """
    earlier, later = pair_indices(len(table))
    order = np.argsort(when)
    ordered = table[order]
    signs = np.nan_to_num(np.sign(ordered[later] - ordered[earlier]), nan=0.0)
    scores = signs.sum(axis=0)
    together = signs.sum(axis=1)
    about = np.bincount(later, together, len(table)) - np.bincount(earlier, together, len(table))
    whole = float((together**2).sum() + (about**2).sum()) / 3
    ties = [tie_sizes(column[np.isfinite(column)]) for column in ordered.T]
    variances = np.array([score_variance(sizes, (1,) * sum(sizes)) for sizes in ties], dtype=np.float64)
    return scores, variances, whole


def _judge_score(s: int, variance: float) -> tuple[float, float]:
    if variance <= 0:
        return (0.0, 1.0) if s == 0 else (math.nan, math.nan)
    z = (s - math.copysign(1, s)) / math.sqrt(variance) if s else 0.0
    return z, math.erfc(abs(z) / math.sqrt(2))


def _slopes_within(table: NDArray[np.float64], when: NDArray[np.float64]) -> NDArray[np.float64]:
    earlier, later = pair_indices(len(table))
    slopes = (table[later] - table[earlier]) / (when[later] - when[earlier])[:, None]
    return np.sort(slopes[np.isfinite(slopes)])


def _compare_sites(scores: NDArray[np.float64], variances: NDArray[np.float64]) -> tuple[float, int]:
    """Return chi-square and degrees of freedom; a site whose values are all equal shows nothing."""
    able = variances > 0
    if able.sum() < MIN_SITES:
        return math.nan, 0
    z = scores[able] / np.sqrt(variances[able])
    return max(float((z**2).sum() - z.size * z.mean() ** 2), 0.0), int(z.size - 1)
