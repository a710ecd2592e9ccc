"""How far inference is off: every site in turn is hidden, and its score told from the others.

Three ways are compared at the same sites, those that see another site along the flow: inference as for
reaches (`watershedmap.condition.inference`, from the place of the site itself), the score of the nearest
other site in a straight line, and the plain mean of all other sites. The coverage is the share of hidden
scores that lie in the 90 % interval of their prediction, widened by the error of the hidden score itself.

Leave-one-out prediction is common practice; its errors are those at places that were chosen for sampling.

Known bias: neighbours tell each other, so that their errors are not independent, and the comparison in
words, which takes them to be so, is a rough one. Sites are not where the unsampled reaches are. Where sites
stand close together the errors here are smaller than those of reaches far from any.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from watershedmap.condition.inference import LEAST_SITES, measure_size, predict_places
from watershedmap.condition.probability import bound_mean
from watershedmap.network.nodes import to_sphere
from watershedmap.network.views import NO_BARRIERS, Barriers, sites_seen_by_sites
from watershedmap.trends.paired import signed_rank_test

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.network.topology import Network
    from watershedmap.scoring.indices import Index
    from watershedmap.settings import Options

ALONG_FLOW, NEAREST, PLAIN_MEAN = "along the flow", "nearest site", "plain mean"
METHODS: Final = (ALONG_FLOW, NEAREST, PLAIN_MEAN)
"""Ways to tell the score of a hidden site."""
LEAST_PREDICTED: Final = 8
"""With fewer hidden sites that can be told at all, whether inference helps is unknown; our own choice."""
_ALPHA = 0.05 / 2
"""Level of each of the two comparisons that are put into words, so that both together keep to 0.05."""
_COLUMN = {ALONG_FLOW: "predicted", NEAREST: "nearest", PLAIN_MEAN: "mean"}


@dataclass(frozen=True, slots=True, kw_only=True)
class InferenceCheck:
    """What hiding every site in turn has shown."""

    table: pd.DataFrame
    """One row a way (`METHODS`): method, n_sites, mean_absolute_error, root_mean_square_error, bias
    (predicted minus observed; all in index units), interval_coverage (of inference alone)."""
    n_sites: int
    """Usable sites."""
    residuals: pd.DataFrame
    """One row a site that can be told along the flow: site_id, score, predicted, predicted_low,
    predicted_high, nearest, mean."""
    decimals: int
    """Decimals to write errors with."""

    @property
    def n_predicted(self) -> int:
        """Sites that can be told along the flow."""
        return len(self.residuals)

    def describe(self) -> str:
        """Say in one or two sentences whether inference helps.

        Returns
        -------
        str
            Made from the figures; nothing is claimed from few sites, or where chance could do it.
        """
        if self.n_predicted < LEAST_PREDICTED:
            return (
                f"{self.n_predicted} of {self.n_sites} sites can be told from others along the flow: fewer "
                f"than {LEAST_PREDICTED}, too few to say whether inference helps here."
            )
        errors = self.table.set_index("method")["mean_absolute_error"]
        told = ", ".join(f"{name} {errors[name]:.{self.decimals}f}" for name in METHODS)
        verdicts = [self._compare(NEAREST), self._compare(PLAIN_MEAN)]
        return (
            f"{self.n_predicted} of {self.n_sites} sites can be told from others along the flow; mean "
            f"absolute errors: {told}. {' '.join(verdicts)}"
        )

    def _compare(self, method: str) -> str:
        """Say whether inference is nearer than a simpler way at the same sites."""
        off = self.residuals[["predicted", _COLUMN[method]]].sub(self.residuals["score"], axis=0).abs()
        gain = (off[_COLUMN[method]] - off["predicted"]).to_numpy()
        test = signed_rank_test(gain)
        name = "the nearest site" if method == NEAREST else "the plain mean"
        if not test.p_value <= _ALPHA:
            return f"Whether inference is nearer than {name} cannot be told from chance."
        better = gain.mean() > 0
        return f"At these sites inference is {'nearer' if better else 'farther off'} than {name}."


def compare_inference(
    network: Network,
    sites: pd.DataFrame,
    *,
    options: Options,
    index: Index,
    barriers: Barriers = NO_BARRIERS,
) -> InferenceCheck:
    """Hide every usable site in turn and tell its score from the others.

    Parameters
    ----------
    network
        The stream network.
    sites
        One row a site: site_id, longitude, latitude, reach (row, -1 when on none), position_m, current,
        score, score_se, score_df.
    options
        As for inference.
    index
        The index, for its scale and decimals.
    barriers
        Where views end.

    Returns
    -------
    InferenceCheck
        Without residuals where the direction of flow is unknown.
    """
    usable = sites[(sites["reach"] >= 0) & sites["current"] & sites["score"].notna()].reset_index(drop=True)
    residuals = _predict_hidden(network, usable, options, barriers, index.scale)
    rows = [_measure(residuals, method) for method in METHODS]
    columns = ["method", "n_sites", "mean_absolute_error", "root_mean_square_error", "bias"]
    table = pd.DataFrame(rows, columns=columns)
    inside = residuals["score"].between(residuals["predicted_low"], residuals["predicted_high"])
    known = residuals["predicted_low"].notna()
    coverage = float(inside[known].mean()) if known.any() else np.nan
    table["interval_coverage"] = [coverage, np.nan, np.nan]
    return InferenceCheck(table=table, n_sites=len(usable), residuals=residuals, decimals=index.decimals)


def _predict_hidden(
    network: Network,
    sites: pd.DataFrame,
    options: Options,
    barriers: Barriers,
    scale: tuple[float, float],
) -> pd.DataFrame:
    """Predict every site that sees another one."""
    if not network.has_flow or len(sites) < 2:  # noqa: PLR2004 - one site has no other
        names = ["score", "predicted", "predicted_low", "predicted_high", "nearest", "mean"]
        return pd.DataFrame({"site_id": pd.Series(dtype=str), **{n: pd.Series(dtype=float) for n in names}})
    reach = sites["reach"].to_numpy()
    view = sites_seen_by_sites(
        network,
        reach,
        sites["position_m"].to_numpy(),
        within_km=options.influence_km,
        barriers=barriers,
    ).rename(columns={"from_site": "place"})
    size = measure_size(network)
    place = view["place"].to_numpy()
    found = predict_places(
        view.assign(here=size[reach[place]]),
        sites,
        size,
        spread=_variance_without(sites["score"].to_numpy(dtype=float))[place],
        n_sites=len(sites) - 1,
        options=options,
    )
    hidden = sites.loc[found.index]
    error = (found["score_se"] ** 2 + hidden["score_se"].astype(float) ** 2) ** 0.5
    bounds = bound_mean(found["score"], error, found["score_df"], scale=scale)
    total, score = sites["score"].sum(), hidden["score"].astype(float)
    return pd.DataFrame(
        {
            "site_id": hidden["site_id"],
            "score": score,
            "predicted": found["score"],
            "predicted_low": bounds["score_low"],
            "predicted_high": bounds["score_high"],
            "nearest": sites["score"].to_numpy(dtype=float)[_find_nearest(sites)[found.index]],
            "mean": (total - score) / (len(sites) - 1),
        }
    ).reset_index(drop=True)


def _variance_without(score: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the variance of the scores without each of them in turn; NaN where too few are left."""
    rest = len(score) - 1
    if rest < LEAST_SITES:
        return np.full(len(score), np.nan)
    centred = score - score.mean()
    mean = -centred / rest
    squares = (centred**2).sum() - centred**2
    variance: npt.NDArray[np.float64] = np.maximum((squares - rest * mean**2) / (rest - 1), 0.0)
    return variance


def _find_nearest(sites: pd.DataFrame) -> npt.NDArray[np.intp]:
    """Return the row of the other site that is nearest in a straight line."""
    points = to_sphere(sites[["longitude", "latitude"]].to_numpy(dtype=float))
    row = np.asarray(cKDTree(points).query(points, k=2)[1])
    return np.where(row[:, 0] == np.arange(len(sites)), row[:, 1], row[:, 0]).astype(np.intp)


def _measure(residuals: pd.DataFrame, method: str) -> tuple[str, int, float, float, float]:
    off = residuals[_COLUMN[method]] - residuals["score"]
    root = float(np.sqrt((off**2).mean()))
    return method, len(off), float(off.abs().mean()), root, float(off.mean())
