"""Condition of a reach, and the evidence for it.

`measured`
    At least one current site with a score lies on the reach; the score is the mean over its sites. Their
    errors are taken as independent (`watershedmap.condition.probability`), and one site without an interval
    leaves that of the reach unknown. The interval is for the mean of the places sampled, not for the reach
    from end to end.
`inferred`
    No current site lies on it, but sites can be seen from its midpoint along the flow, upstream or
    downstream, with no other sampled reach between and no farther than the reach of influence. Its score is
    their weighted mean. The weight of a site at distance h is ``2 ** (-h / half_distance) * sqrt(a / b)``,
    where a and b are the smaller and the larger of the upstream lengths of the two reaches. Half-distance h0
    and the square root are the exponential tail-up model of Ver Hoef and Peterson (2010, J. Am. Stat. Assoc.
    105:6-18; formula from memory) with range h0 / ln 2 and upstream length in the place of drainage area.
    A site whose upstream length differs by more than `min_size_ratio` is not used.
`unassessed`
    Nothing of that; it has no score.

Known bias: what enters between a site and the reach (an outfall, a dam) is not known to the weights. An
inferred score therefore has no interval here, and is drawn apart from measured ones everywhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.sparse.csgraph import connected_components

from watershedmap.condition.probability import Z, bound_mean, pool_errors, rate_classes
from watershedmap.network.tracing import accumulate, sites_in_view

if TYPE_CHECKING:
    from watershedmap.network.topology import Network
    from watershedmap.scoring.indices import Index
    from watershedmap.settings import Options

MEASURED, INFERRED, UNASSESSED = "measured", "inferred", "unassessed"


def assess_reaches(
    network: Network, sites: pd.DataFrame, *, options: Options, index: Index | None = None
) -> pd.DataFrame:
    """Return the condition of every reach.

    Parameters
    ----------
    network
        The stream network.
    sites
        One row a site: site_id, reach (row in the network, -1 when on none), position_m, current, score, and
        score_se and score_df as from `watershedmap.condition.sites.assess_sites`; without these two the error
        is taken from score_low and score_high, as a normal one.
    options
        Reach of influence, half-distance and size ratio.
    index
        The index, for its scale and the probability of each class; left out, there are none.

    Returns
    -------
    pandas.DataFrame
        On the rows of the network: evidence, score, score_low, score_high, score_se (index units), score_df,
        n_sites, site_ids, inferred_from, inferred_km and, with `index`, probability_1 (best class) to
        probability_k and class_certainty. All of the error is missing on reaches that are not measured.
    """
    usable = sites[(sites["reach"] >= 0) & sites["current"] & sites["score"].notna()].reset_index(drop=True)
    frame = pd.DataFrame(index=pd.RangeIndex(len(network.ids)))
    frame = frame.join(_measure(usable, index)).join(_infer(network, usable, options))
    inferred = frame.pop("inferred_score")
    measured = frame["score"].notna()
    evidence = np.where(measured, MEASURED, np.where(inferred.notna(), INFERRED, UNASSESSED))
    frame.insert(0, "evidence", evidence)
    frame["score"] = frame["score"].fillna(inferred)
    frame["n_sites"] = frame["n_sites"].fillna(0).astype(int)
    if index is not None:
        frame = frame.join(rate_classes(frame, index))
    return frame.fillna({"site_ids": "", "inferred_from": ""})


def _measure(sites: pd.DataFrame, index: Index | None) -> pd.DataFrame:
    """Average the sites of each sampled reach; their errors are taken as independent."""
    ordered = sites.sort_values(["reach", "position_m", "site_id"], ascending=[True, False, True])
    if "score_se" not in ordered:
        error = (ordered["score_high"] - ordered["score_low"]) / (2 * Z)
        ordered = ordered.assign(score_se=error, score_df=np.nan)
    groups = ordered.groupby("reach")
    weight = 1 / groups["score"].transform("size")
    errors = pool_errors(weight, ordered["score_se"], ordered["score_df"], ordered["reach"])
    score = groups["score"].mean()
    scale = (-np.inf, np.inf) if index is None else index.scale
    interval = bound_mean(score, errors["score_se"], errors["score_df"], scale=scale)
    counted = pd.DataFrame({"n_sites": groups.size(), "site_ids": groups["site_id"].agg("; ".join)})
    return pd.concat([score, interval, errors, counted], axis=1)


def _infer(network: Network, sites: pd.DataFrame, options: Options) -> pd.DataFrame:
    """Weigh the sites in view of each reach that has none of its own."""
    empty = pd.DataFrame({"inferred_score": [], "inferred_from": [], "inferred_km": []}, dtype=float)
    if not network.has_flow or sites.empty:
        return empty.astype({"inferred_from": object})
    site_reach = sites["reach"].to_numpy()
    view = sites_in_view(network, site_reach, sites["position_m"].to_numpy(), within_km=options.influence_km)
    size = accumulate(network, network.length_km)
    here, there = size[view["reach"].to_numpy()], size[site_reach[view["site"].to_numpy()]]
    larger = np.maximum(here, there)
    ratio = np.divide(np.minimum(here, there), larger, out=np.zeros_like(larger), where=larger > 0)
    view = view.assign(ratio=ratio)[ratio >= options.min_size_ratio]
    # Distances count from the nearest site of each reach, which leaves the shares of the weights as they are
    # and keeps them from vanishing where the half-distance is short.
    beyond = view["distance_km"] - view.groupby("reach")["distance_km"].transform("min")
    view = view.assign(
        weight=np.sqrt(view["ratio"]) * 2.0 ** (-beyond / options.half_distance_km),
        score=sites["score"].to_numpy()[view["site"]],
        site_id=sites["site_id"].to_numpy()[view["site"]],
    )
    weighted = view.assign(product=view["weight"] * view["score"]).groupby("reach")
    return pd.DataFrame(
        {
            "inferred_score": weighted["product"].sum() / weighted["weight"].sum(),
            "inferred_from": weighted["site_id"].agg("; ".join),
            "inferred_km": weighted["distance_km"].min(),
        }
    )


def combine_series(yearly: pd.DataFrame, sites: pd.DataFrame) -> pd.DataFrame:
    """Return one series of years per reach from the series of its sites.

    Where the sites of a reach were sampled in common years, score = site + year is fitted by least squares
    and the series is the years' part about the mean level of the sites, so that a site that joins late or
    lies lower adds no step of its own. Where no common year links them, what is between them cannot be told
    from what is between the years: the longest series stands for the reach.

    Parameters
    ----------
    yearly
        site_id, year, score.
    sites
        site_id, reach (row in the network, -1 when on none).

    Returns
    -------
    pandas.DataFrame
        reach, year, score.
    """
    series = yearly.merge(sites.loc[sites["reach"] >= 0, ["site_id", "reach"]], on="site_id")
    shared = series.groupby("reach")["site_id"].transform("nunique") > 1
    alone = series.loc[~shared, ["reach", "year", "score"]]
    joined = [
        _fit_years(part.pivot_table(index="year", columns="site_id", values="score")).assign(reach=reach)
        for reach, part in series[shared].groupby("reach")
    ]
    whole = pd.concat([alone, *joined], ignore_index=True)
    return whole.sort_values(["reach", "year"], ignore_index=True)[["reach", "year", "score"]]


def _fit_years(table: pd.DataFrame) -> pd.DataFrame:
    """Fit site + year to a table of years by sites, or take its longest series where nothing links them."""
    known = table.notna().to_numpy()
    linked, _ = connected_components(known.T.astype(int) @ known.astype(int))
    if linked > 1:
        longest = table[table.count().idxmax()].dropna()
        return longest.rename("score").reset_index()
    year, site = np.nonzero(known)
    design = np.zeros((len(year), sum(table.shape)))
    design[np.arange(len(year)), year] = 1.0
    design[np.arange(len(year)), len(table) + site] = 1.0
    effects = np.linalg.lstsq(design, table.to_numpy()[known], rcond=None)[0]
    level = effects[len(table) :].mean()
    return pd.DataFrame({"year": table.index, "score": effects[: len(table)] + level})
