"""The inferred score of a place along the flow, and how far it may be off.

Definition
    The score is the mean of the scores of the sites in view (`watershedmap.network.views`), each weighted by
    ``w = sqrt(a / b) * 2 ** (-h / h0)``: h is the distance along the flow, h0 the half-distance, a and b the
    smaller and the larger of the sizes of the two reaches; weights are scaled to sum to 1. A site whose size
    differs by more than `min_size_ratio` is not used. Size is the drainage area where the layer gives one for
    every reach, and the upstream length otherwise.

    Its error is that of this mean as a predictor, under a covariance of true scores of
    ``s2 * sqrt(a / b) * 2 ** (-h / h0)`` between flow-connected places and 0 between others::

        error**2 = s2 + sum(w_i * w_j * C_ij) - 2 * sum(w_i * C_i0) + sum(w_i**2 * e_i**2)

    with e the error of each site's own score. s2 is the variance of the scores of all usable sites; with
    fewer than five of them it is unknown, and so is the error. The degrees of freedom are Satterthwaite's,
    over n - 1 for s2 and those of each e.

Source
    The exponential tail-up model of Ver Hoef and Peterson (2010, J. Am. Stat. Assoc. 105:6-18; formula from
    memory) with range h0 / ln 2 and the ratio of sizes in the place of the products of shares. The error of a
    linear predictor is textbook geostatistics.

Known bias
    The half-distance is chosen, not fitted, and the weights are not those with the least error under the
    model. s2 holds the errors of the sites as well, which makes intervals wide rather than narrow. Two sites
    on different branches below a divergence are taken to be unconnected. What enters between a site and the
    place (an outfall that nobody marked) is not known to the weights. How far all this is off on a survey is
    told by `watershedmap.condition.leave_out`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.network.tracing import accumulate
from watershedmap.network.views import NO_BARRIERS, Barriers, sites_in_view

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.network.topology import Network
    from watershedmap.settings import Options

LEAST_SITES: Final = 5
"""With fewer usable sites the variance between sites, and with it every inferred error, is unknown."""


def infer_reaches(
    network: Network, sites: pd.DataFrame, *, options: Options, barriers: Barriers = NO_BARRIERS
) -> pd.DataFrame:
    """Infer the score of reaches that have no usable site of their own.

    Parameters
    ----------
    network
        The stream network.
    sites
        Usable sites on a RangeIndex: site_id, reach (row), position_m, score, score_se, score_df.
    options
        `influence_km`, `half_distance_km` and `min_size_ratio`.
    barriers
        Where views end.

    Returns
    -------
    pandas.DataFrame
        Indexed by the row of the reach, those that see a site: inferred_score, inferred_se (index units;
        missing where it cannot be told), inferred_df, inferred_from (ids of the sites, `; ` between, nearest
        first), inferred_km (distance of the nearest).
    """
    columns = ["inferred_score", "inferred_se", "inferred_df", "inferred_from", "inferred_km"]
    if not network.has_flow or sites.empty:
        return pd.DataFrame({name: pd.Series(dtype=float) for name in columns}).astype(
            {"inferred_from": object}
        )
    view = sites_in_view(
        network,
        sites["reach"].to_numpy(),
        sites["position_m"].to_numpy(),
        within_km=options.influence_km,
        barriers=barriers,
    )
    size = measure_size(network)
    view = view.assign(here=size[view["reach"].to_numpy()]).rename(columns={"reach": "place"})
    spread = np.full(len(view), variance_between(sites["score"]))
    predicted = predict_places(view, sites, size, spread=spread, n_sites=len(sites), options=options)
    return predicted[["score", "score_se", "score_df", "sites", "nearest_km"]].set_axis(columns, axis=1)


def predict_places(
    view: pd.DataFrame,
    sites: pd.DataFrame,
    size: npt.NDArray[np.float64],
    *,
    spread: npt.NDArray[np.float64],
    n_sites: int,
    options: Options,
) -> pd.DataFrame:
    """Predict the score of places from the sites that they see.

    Parameters
    ----------
    view
        One row a place and site seen: place, site (row of `sites`), distance_km, upstream, here (size of the
        reach of the place).
    sites
        site_id, reach, position_m, score, score_se, score_df.
    size
        Size of each reach, as from `measure_size`.
    spread
        Variance between sites, for each row of `view`.
    n_sites
        How many sites that variance comes from.
    options
        `half_distance_km` and `min_size_ratio`.

    Returns
    -------
    pandas.DataFrame
        Indexed by place, those with a site that is used: score, score_se, score_df, sites (ids), nearest_km.
    """
    site = view["site"].to_numpy()
    ratio = size_ratio(view["here"].to_numpy(), size[sites["reach"].to_numpy()[site]])
    kept = ratio >= options.min_size_ratio
    view = view.assign(ratio=ratio, spread=spread)[kept].reset_index(drop=True)
    site = view["site"].to_numpy()
    # Distances count from the nearest site of each place, which leaves the shares of the weights as they are
    # and keeps them from vanishing where the half-distance is short.
    beyond = view["distance_km"] - view.groupby("place")["distance_km"].transform("min")
    raw = np.sqrt(view["ratio"]) * 2.0 ** (-beyond / options.half_distance_km)
    view["weight"] = raw / raw.groupby(view["place"]).transform("sum")
    view["product"] = view["weight"] * sites["score"].to_numpy()[site]
    view["site_id"] = sites["site_id"].to_numpy()[site]
    groups = view.groupby("place")
    found = pd.DataFrame(
        {
            "score": groups["product"].sum(),
            "sites": groups["site_id"].agg("; ".join),
            "nearest_km": groups["distance_km"].min(),
        }
    )
    return found.join(_predict_error(view, sites, size, n_sites=n_sites, half_km=options.half_distance_km))


def measure_size(network: Network) -> npt.NDArray[np.float64]:
    """Return the drainage area of each reach where all have one, else the upstream length, km2 or km."""
    local = network.length_km if np.isnan(network.area_km2).any() else network.area_km2
    return accumulate(network, local)


def size_ratio(one: npt.NDArray[np.float64], other: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the smaller of two sizes over the larger; 0 where neither is above 0."""
    larger = np.maximum(one, other)
    ratio: npt.NDArray[np.float64] = np.divide(
        np.minimum(one, other), larger, out=np.zeros_like(larger), where=larger > 0
    )
    return ratio


def variance_between(score: pd.Series) -> float:
    """Return the variance of the scores of sites; NaN with fewer than `LEAST_SITES`."""
    return float(score.var(ddof=1)) if len(score) >= LEAST_SITES else float("nan")


def covary(
    distance_km: npt.NDArray[np.float64], ratio: npt.NDArray[np.float64], *, half_km: float
) -> npt.NDArray[np.float64]:
    """Return the correlation of the true scores of two flow-connected places."""
    return np.sqrt(ratio) * 2.0 ** (-distance_km / half_km)


def _predict_error(
    view: pd.DataFrame,
    sites: pd.DataFrame,
    size: npt.NDArray[np.float64],
    *,
    n_sites: int,
    half_km: float,
) -> pd.DataFrame:
    """Return the error of each predicted mean, and its degrees of freedom."""
    site = view["site"].to_numpy()
    own = (view["weight"] * sites["score_se"].to_numpy(dtype=float)[site]) ** 2
    freedom = sites["score_df"].to_numpy(dtype=float, na_value=np.nan)[site]
    toward = view["weight"] * covary(
        view["distance_km"].to_numpy(), view["ratio"].to_numpy(), half_km=half_km
    )
    parts = pd.DataFrame(
        {
            "place": view["place"],
            "toward": toward,
            "own": own,
            "square": (own**2 / freedom).fillna(0.0),
            "unknown": own.isna(),
        }
    )
    sums = parts.groupby("place").sum()
    spread = view.groupby("place")["spread"].first()
    among = _sum_among(view, sites, size, half_km=half_km).reindex(sums.index)
    model = (spread * (1.0 + among - 2.0 * sums["toward"])).clip(lower=0.0)
    total = (model + sums["own"]).where(sums["unknown"] == 0)
    square = sums["square"] + model**2 / (n_sites - 1)
    degrees = (total**2 / square.where(square > 0)).where(total > 0)
    return pd.DataFrame({"score_se": np.sqrt(total), "score_df": degrees})


def _sum_among(
    view: pd.DataFrame, sites: pd.DataFrame, size: npt.NDArray[np.float64], *, half_km: float
) -> pd.Series:
    """Sum weight times weight times correlation over all pairs of sites that one place sees.

    Two sites on one reach are connected, and so are two on opposite sides of the place; two on the same side
    and on different reaches lie on different branches.
    """
    columns = ["place", "site", "weight", "distance_km", "upstream"]
    pairs = view[columns].merge(view[columns], on="place", suffixes=("", "_b"))
    reach, position = sites["reach"].to_numpy(), sites["position_m"].to_numpy() / 1000.0
    one, other = pairs["site"].to_numpy(), pairs["site_b"].to_numpy()
    together = reach[one] == reach[other]
    apart = pairs["distance_km"].to_numpy() + pairs["distance_km_b"].to_numpy()
    distance = np.where(together, np.abs(position[one] - position[other]), apart)
    ratio = size_ratio(size[reach[one]], size[reach[other]])
    connected = together | (pairs["upstream"] != pairs["upstream_b"]).to_numpy()
    correlation = np.where(connected, covary(distance, ratio, half_km=half_km), 0.0)
    correlation[one == other] = 1.0
    return (pairs["weight"] * pairs["weight_b"] * correlation).groupby(pairs["place"]).sum()
