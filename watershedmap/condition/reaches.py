"""Condition of a reach, and the evidence for it.

`measured`
    At least one current site with a score lies on the reach; the score is the mean over its sites. Their
    errors are taken as independent (`watershedmap.condition.probability`), and one site without an interval
    leaves that of the reach unknown. The interval is for the mean of the places sampled, not for the reach
    from end to end.
`inferred`
    No current site lies on it, but sites can be seen from its midpoint along the flow, upstream or
    downstream, with no other sampled reach and no barrier between and no farther than the reach of influence:
    see `watershedmap.condition.inference` for score and error.
`unassessed`
    Nothing of that; it has no score.

Known bias: an inferred score is a guess with a reason. It is never drawn like a measured one, whatever its
interval.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.sparse.csgraph import connected_components

from watershedmap.condition.inference import infer_reaches
from watershedmap.condition.probability import Z, bound_mean, pool_errors, rate_classes
from watershedmap.network.views import NO_BARRIERS, Barriers

if TYPE_CHECKING:
    from watershedmap.network.topology import Network
    from watershedmap.scoring.indices import Index
    from watershedmap.settings import Options

MEASURED, INFERRED, UNASSESSED = "measured", "inferred", "unassessed"


def assess_reaches(
    network: Network,
    sites: pd.DataFrame,
    *,
    options: Options,
    index: Index | None = None,
    barriers: Barriers = NO_BARRIERS,
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
    barriers
        Where inference ends.

    Returns
    -------
    pandas.DataFrame
        On the rows of the network: evidence, score, score_low, score_high, score_se (index units), score_df,
        n_sites, site_ids, inferred_from, inferred_km and, with `index`, probability_1 (best class) to
        probability_k and class_certainty. The error is missing where it cannot be told, and on reaches that
        are unassessed.
    """
    usable = sites[(sites["reach"] >= 0) & sites["current"] & sites["score"].notna()].reset_index(drop=True)
    usable = _with_errors(usable)
    scale = (-np.inf, np.inf) if index is None else index.scale
    frame = pd.DataFrame(index=pd.RangeIndex(len(network.ids)))
    frame = frame.join(_measure(usable, scale))
    measured = frame["score"].notna()
    found = infer_reaches(network, usable, options=options, barriers=barriers).reindex(frame.index)
    bounds = bound_mean(found["inferred_score"], found["inferred_se"], found["inferred_df"], scale=scale)
    evidence = np.where(measured, MEASURED, np.where(found["inferred_score"].notna(), INFERRED, UNASSESSED))
    frame.insert(0, "evidence", evidence)
    guessed = pd.DataFrame(
        {
            "score": found["inferred_score"],
            "score_low": bounds["score_low"],
            "score_high": bounds["score_high"],
            "score_se": found["inferred_se"],
            "score_df": found["inferred_df"],
        }
    )
    frame[guessed.columns] = frame[guessed.columns].where(measured, guessed)
    frame["n_sites"] = frame["n_sites"].fillna(0).astype(int)
    frame = frame.join(found[["inferred_from", "inferred_km"]])
    if index is not None:
        frame = frame.join(rate_classes(frame, index))
    return frame.fillna({"site_ids": "", "inferred_from": ""})


def _with_errors(sites: pd.DataFrame) -> pd.DataFrame:
    """Take the error of a site from its interval where it is not given, as a normal one."""
    if "score_se" in sites:
        return sites
    return sites.assign(score_se=(sites["score_high"] - sites["score_low"]) / (2 * Z), score_df=np.nan)


def _measure(sites: pd.DataFrame, scale: tuple[float, float]) -> pd.DataFrame:
    """Average the sites of each sampled reach; their errors are taken as independent."""
    ordered = sites.sort_values(["reach", "position_m", "site_id"], ascending=[True, False, True])
    groups = ordered.groupby("reach")
    weight = 1 / groups["score"].transform("size")
    errors = pool_errors(weight, ordered["score_se"], ordered["score_df"], ordered["reach"])
    score = groups["score"].mean()
    interval = bound_mean(score, errors["score_se"], errors["score_df"], scale=scale)
    counted = pd.DataFrame({"n_sites": groups.size(), "site_ids": groups["site_id"].agg("; ".join)})
    return pd.concat([score, interval, errors, counted], axis=1)


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
