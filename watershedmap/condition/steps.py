"""Steps: where along the stream the score changes from one sampled site to the next.

Definition
    Neighbours are two sampled sites, one upstream of the other along the main branch, with none between;
    sites on one reach stand in the order of their positions. Where a reach has several sites and the position
    of one is not known, its sites are left out, and no pair passes it. The used samples of each are averaged
    within a year, or within a season of a year, as the condition of a site is;
    periods in which both have a score are pairs. The difference is downstream minus upstream. From
    `min_step_pairs` pairs on it is tested: by the signed-rank test, or by the sign test where fewer than half
    of the pairs have a size of difference of their own, because ranks of ties say little. The p-values of all
    pairs tested are adjusted together (`watershedmap.trends.false_discovery`). A step is clear when the
    adjusted one is at most `false_discovery` and the test and the Hodges-Lehmann estimate point the same way;
    better or worse is read through the direction of the index. A season begins on its first day and lasts
    until the next begins; one that crosses the new year belongs to the year that it began in.

Source
    Tests, estimate and interval: see `watershedmap.trends.paired`. The paired comparison of stations above
    and below a place is common practice; the choice of test by ties, and six pairs as the least, are
    conventions of this package.

Known bias
    The difference says where, not why: all that changes between two sites is in it, their habitat too.
    Years are taken as independent. Two sites sampled by different methods, or in different seasons of a
    year, differ for that reason alone. Pairs that share a site share its errors, so that one odd site makes
    two steps. Where a larger stream joins between the two (`larger_joins`, by upstream length), the step
    compares a tributary with the stream that it enters, not a stream with itself. Five pairs can never give a
    p-value below 0.0625, six 0.03125, whatever the difference; among many tests a lone step needs more still.
    In a simulation of 20 sites along one stream (errors of 0.4 a sample, one step of 1), eight years found
    the step in 1 of 100 surveys, twelve in 93; the mean share of false steps among the clear ones was 0.01
    and 0.06. With few years `no clear step` says little.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.condition.junctions import describe_between
from watershedmap.condition.probability import CONFIDENCE
from watershedmap.condition.sites import average_years
from watershedmap.network.tracing import place_on_reaches
from watershedmap.trends.false_discovery import adjust_p_values
from watershedmap.trends.paired import hodges_lehmann, sign_test, signed_rank_test

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.network.topology import Network
    from watershedmap.scoring.classes import Index
    from watershedmap.settings import Options

WORSE: Final = "worse downstream"
BETTER: Final = "better downstream"
NO_CLEAR_STEP: Final = "no clear step"
TOO_FEW_PAIRS: Final = "too few pairs"

STEP_WORDS: Final = (WORSE, BETTER, NO_CLEAR_STEP, TOO_FEW_PAIRS)
"""All words there are, in the order they are listed in a legend."""

SIGNED_RANK, SIGN, NO_TEST = "signed-rank", "sign", "none"
"""How a step was tested."""

_NOISE_DECIMALS = 9  # means of the same figures differ in the last bits

_COLUMNS: Final = {
    "site_upstream": "str",
    "site_downstream": "str",
    "distance_km": "float64",
    "n_pairs": "int64",
    "first_year": "Int64",
    "last_year": "Int64",
    "median_difference": "float64",
    "step_estimate": "float64",
    "step_low": "float64",
    "step_high": "float64",
    "p_value": "float64",
    "p_adjusted": "float64",
    "test": "str",
    "step": "str",
    "reaches_between": "str",
    "tributaries": "str",
    "tributary_names": "str",
    "tributary_scores": "str",
    "larger_joins": "bool",
}


def find_steps(
    network: Network,
    sites: pd.DataFrame,
    samples: pd.DataFrame,
    *,
    index: Index,
    options: Options,
    reaches: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Compare every sampled site with the next one downstream.

    Parameters
    ----------
    network
        The stream network.
    sites
        One row a site: site_id, reach (row in the network, -1 when on none), position_m.
    samples
        One row a sample: site_id, date, year, method, score; where there is a column `used`, only those that
        are used count.
    index
        The index, for its direction and decimals.
    options
        `min_step_pairs`, `false_discovery` and `seasons`.
    reaches
        reach_id, name, score and, where known, evidence: what is said of the tributaries between two sites.

    Returns
    -------
    pandas.DataFrame
        One row a pair of neighbours, sorted by the upstream site: site_upstream, site_downstream, distance_km
        along the flow, n_pairs, first_year and last_year (of the pairs), median_difference and step_estimate
        (Hodges-Lehmann; downstream minus upstream, units of the index), step_low and step_high (90 %
        interval; NaN when there are too few pairs for one), p_value and p_adjusted (NaN where not tested),
        test (`signed-rank`, `sign` or `none`), step (one of `STEP_WORDS`), reaches_between (ids from upstream
        to downstream, those of the two sites left out), tributaries (ids of the reaches that join between the
        two), tributary_names (`unnamed` where there is none), tributary_scores (`unknown` where there is
        none; with its evidence where that is not `measured`) and larger_joins (whether one of them is larger
        than the stream it joins, by upstream length). No row where the direction of flow is unknown.
    """
    scored = samples[samples["score"].notna()]
    if "used" in scored:
        scored = scored[scored["used"].astype(bool)]
    sampled = sites[(sites["reach"] >= 0) & sites["site_id"].isin(scored["site_id"])]
    alone = ~sampled["reach"].duplicated(keep=False)
    ordered = alone | sampled["position_m"].notna()
    unordered = {int(reach) for reach in sampled.loc[~ordered, "reach"]}
    found, paths = _find_pairs(network, sampled[ordered], unordered)
    tests = _test_pairs(found, _average_periods(scored, options.seasons), options)
    found = found.join(tests)
    found["p_adjusted"] = adjust_p_values(found["p_value"])
    found["step"] = _name_steps(found, better=index.better, rate=options.false_discovery)
    between = describe_between(network, paths, reaches=reaches, decimals=index.decimals)
    return found.join(between)[list(_COLUMNS)].astype(_COLUMNS)


def follow_steps(network: Network, steps: pd.DataFrame, sites: pd.DataFrame) -> list[list[int]]:
    """Return the rows of the reaches of each step, from that of the upper site to that of the lower one.

    Parameters
    ----------
    network
        The stream network.
    steps
        As from `find_steps`.
    sites
        The sites that it was made of.

    Returns
    -------
    list of list of int
        One list a step.

    Raises
    ------
    ValueError
        When the lower site of a step is not downstream of the upper one.
    """
    reach_of = sites.set_index("site_id")["reach"]
    ends = (reach_of.loc[steps[column]].tolist() for column in ("site_upstream", "site_downstream"))
    return [_walk(network, start, end) for start, end in zip(*ends, strict=True)]


def _walk(network: Network, start: int, end: int) -> list[int]:
    path = [start]
    while path[-1] != end:
        path.append(int(network.main_down[path[-1]]))
        if path[-1] < 0:
            raise ValueError(f"reach {network.ids[end]} is not downstream of {network.ids[start]}")
    return path


def _find_pairs(
    network: Network, sampled: pd.DataFrame, unordered: set[int]
) -> tuple[pd.DataFrame, list[list[int]]]:
    """Pair each sampled site with the next one downstream, and return the reaches from one to the other.

    No pair passes a reach whose sites are in no known order: they lie between.
    """
    ordered = sampled.sort_values(["reach", "position_m", "site_id"], ascending=[True, False, True])
    rows: list[tuple[str, str, float, list[int]]] = []
    on_reach: dict[int, list[tuple[str, float]]] = {}
    position = place_on_reaches(network, ordered["reach"].to_numpy(), ordered["position_m"].to_numpy())
    for reach, site, from_lower in zip(ordered["reach"], ordered["site_id"], position.tolist(), strict=True):
        on_reach.setdefault(int(reach), []).append((site, from_lower))
    dry = set(unordered)  # reaches below which no site is met, or where it cannot be told
    for reach, here in on_reach.items() if network.has_flow else ():
        if reach in unordered:
            continue
        rows += [(a, b, high - low, [reach]) for (a, high), (b, low) in pairwise(here)]
        path = _next_sampled(network, reach, on_reach, dry)
        if path:
            (upper, start), (lower, rest) = here[-1], on_reach[path[-1]][0]
            rows.append((upper, lower, start + float(network.length_km[path[1:]].sum()) - rest, path))
    rows.sort(key=lambda row: row[0])
    frame = pd.DataFrame(
        [row[:3] for row in rows], columns=["site_upstream", "site_downstream", "distance_km"]
    )
    return frame.astype({"distance_km": float}), [row[3] for row in rows]


def _next_sampled(
    network: Network, reach: int, on_reach: dict[int, list[tuple[str, float]]], dry: set[int]
) -> list[int]:
    """Return the way down to the next sampled reach, both ends included; nothing where there is none."""
    path = [reach]
    below = int(network.main_down[reach])
    while below >= 0 and below not in dry:
        path.append(below)
        if below in on_reach:
            return path
        below = int(network.main_down[below])
    dry.update(path[1:])
    return []


def _average_periods(scored: pd.DataFrame, seasons: tuple[str, ...]) -> pd.DataFrame:
    """Average scores to one value a site and period; the period counts years, or seasons of years."""
    year, season = number_seasons(scored["date"], seasons)
    count = max(len(seasons), 1)
    periods = average_years(
        scored[["site_id", "date", "method", "score"]].assign(year=year * count + season)
    ).rename(columns={"year": "period"})
    return periods.assign(year=periods["period"] // count)[["site_id", "period", "year", "score"]]


def number_seasons(dates: pd.Series, seasons: tuple[str, ...]) -> tuple[pd.Series, pd.Series]:
    """Find the year and the season that dates belong to.

    Parameters
    ----------
    dates
        Days.
    seasons
        First day of each season, `MM-DD`; empty when a year is one season from January on.

    Returns
    -------
    tuple of pandas.Series
        The year that the season began in, and the number of the season in that year, from 0.
    """
    first_days = np.sort([int(month) * 100 + int(day) for month, day in (s.split("-") for s in seasons)])
    if not first_days.size:
        return dates.dt.year, pd.Series(0, index=dates.index)
    day = dates.dt.month * 100 + dates.dt.day
    season = pd.Series(np.searchsorted(first_days, day, side="right") - 1, index=dates.index)
    before = season < 0  # the last season of the year before is still on
    return dates.dt.year - before, season.mask(before, first_days.size - 1)


def _test_pairs(pairs: pd.DataFrame, periods: pd.DataFrame, options: Options) -> pd.DataFrame:
    """Test the differences of each pair of sites over the periods that both have."""
    upper = pairs[["site_upstream"]].rename_axis("pair").reset_index()
    upper = upper.merge(periods, left_on="site_upstream", right_on="site_id")
    lower = pairs[["site_downstream"]].rename_axis("pair").reset_index()
    lower = lower.merge(periods, left_on="site_downstream", right_on="site_id")
    both = upper.merge(lower, on=["pair", "period"], suffixes=("", "_below")).sort_values(["pair", "period"])
    difference = (both["score_below"] - both["score"]).round(_NOISE_DECIMALS)
    groups = both.assign(difference=difference).groupby("pair")
    span = (
        groups.agg(first_year=("year", "min"), last_year=("year", "max")).reindex(pairs.index).astype("Int64")
    )
    values = {pair: part.to_numpy() for pair, part in groups["difference"]}
    none = np.zeros(0)
    rows = [_test_differences(values.get(pair, none), options) for pair in pairs.index]
    columns = ["n_pairs", "median_difference", "step_estimate", "step_low", "step_high"]
    tested = pd.DataFrame(rows, columns=[*columns, "p_value", "test", "leaning"], index=pairs.index)
    return span.join(tested.astype(dict.fromkeys([*columns[1:], "p_value", "leaning"], float)))


def _test_differences(
    differences: np.ndarray, options: Options
) -> tuple[int, float, float, float, float, float, str, float]:
    """Return how many, their median, estimate, limits, p-value, test, and which way the test leans."""
    n = differences.size
    shift = hodges_lehmann(differences, confidence=CONFIDENCE)
    median = float(np.median(differences)) if n else math.nan
    figures = (n, median, shift.estimate, shift.low, shift.high)
    if n < max(options.min_step_pairs, 1):
        return (*figures, math.nan, NO_TEST, 0.0)
    sizes = np.abs(differences[differences != 0])
    ranked = 2 * np.unique(sizes).size >= n
    result = signed_rank_test(differences) if ranked else sign_test(differences)
    leaning = result.statistic - result.expected
    return (*figures, result.p_value, SIGNED_RANK if ranked else SIGN, leaning)


def _name_steps(found: pd.DataFrame, *, better: str, rate: float) -> npt.NDArray[np.str_]:
    """Give each pair its word."""
    estimate = found["step_estimate"]
    clear = (found["p_adjusted"] <= rate) & (estimate * found["leaning"] > 0)
    improves = (estimate > 0) == (better == "high")
    words = np.where(clear, np.where(improves, BETTER, WORSE), NO_CLEAR_STEP)
    return np.where(found["test"] == NO_TEST, TOO_FEW_PAIRS, words)
