"""The order of restoration need, and how firm it is.

Definition
    Only degraded items are ranked: reaches whose class is worse than `worse_than`, and sub-watersheds that
    hold any such reach. Need is the weighted mean of the parts (`watershedmap.planning.ranking_parts`) that
    are known for the item; the weight of a missing part is shared among the others in their ratio, and
    `weight_missing` says how much that was. Items of the same need, to three decimals, share a rank.
    How firm a rank is: weights are drawn from a Dirichlet distribution whose mean is the given weights, and
    at the same time each score from a normal (or, with degrees of freedom, Student's t) distribution about
    what was found with its error; the condition part follows the score. `rank_low` and `rank_high` hold the
    rank in 90 % of the draws, and `share_top_ten` is the share of draws in which it was among the first ten.

Source
    The Dirichlet distribution for uncertain weights is common practice, no source. All figures are settings
    of `[rank]`.

Known bias
    Scores are drawn independently of each other, although inferred ones that share a site err together: that
    widens the ranges among them. Items without an error of their score vary by the weights alone, so that
    their ranges are too narrow; `score_varies` tells them. Parts other than condition do not vary, and which
    items are degraded does not either. A part that stands at its full value can only lose by a draw.
    A rank is advice on where to look first; it says nothing of what a restoration would achieve or cost.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.errors import Fault, SurveyError
from watershedmap.planning.ranking_parts import PARTS, rate_areas, rate_condition, rate_reaches, split_classes
from watershedmap.scoring.classes import round_half_away
from watershedmap.settings import SETTINGS_FILE
from watershedmap.settings_rank import RankWeights

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from watershedmap.assessment import Assessment
    from watershedmap.scoring.indices import Index
    from watershedmap.settings_rank import RankSettings

    Floats = npt.NDArray[np.float64]

REACH, AREA = "reach", "sub-watershed"
RANKED: Final = "ranked"
NOT_DEGRADED: Final = "not ranked: not degraded"
UNASSESSED: Final = "not ranked: unassessed"
NO_PART: Final = "not ranked: no part is known"

DECIMALS: Final = 3
"""Decimals of need: what is the same to these is a tie."""
INTERVAL: Final = 0.90
"""Share of draws that the range of a rank holds."""
TOP: Final = 10
"""Ranks that `share_top_ten` counts."""

_MOST_CELLS = 20_000_000  # ranks held at once, items times draws
_FEWEST_DRAWS = 200
_CHUNK = 4_000_000  # figures drawn at once
_NOISE_DECIMALS = 9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ranking:
    """Items in the order of their need."""

    kind: str
    """What is ranked: `reach` or `sub-watershed`."""
    items: pd.DataFrame
    """Ranked items by rank, then the others by id: rank, rank_low, rank_high, share_top_ten, the id, name,
    status, need, weight_missing, score_varies, class, score, score_se, the figures of the parts, and for each
    part need_<part> and weight_<part>, the weight it had for this item. Rows are numbered as in the layer."""
    weights: Mapping[str, float]
    """Share of each part in the weight of all."""
    draws: int
    """How many draws were made: fewer than asked for where there are very many items."""
    worse_than: str
    """Label of a class: what is worse is degraded."""
    settings: RankSettings
    """The limits that it was made with."""


def rank_reaches(assessment: Assessment, *, columns: pd.DataFrame | None = None) -> Ranking:
    """Put degraded reaches in the order of restoration need.

    Parameters
    ----------
    assessment
        What was found.
    columns
        Columns of one's own as from `watershedmap.readers.rank_columns.read_rank_columns`.

    Returns
    -------
    Ranking
        With one item a reach of the layer.

    Raises
    ------
    SurveyError
        The settings name a class that the index does not have.
    """
    settings = _check(assessment)
    reaches = assessment.reaches
    parts = rate_reaches(assessment, settings, columns)
    own = [
        *("reach_id", "name", "subwatershed_id", "class", "score", "score_se", "score_df", "evidence"),
        *("length_km", "trend", "trend_years", "site_ids", "inferred_from", "inferred_km"),
    ]
    frame = pd.DataFrame(reaches[own]).join(parts.drop(columns="good"))
    return _rank(frame, "reach_id", assessment)


def rank_areas(assessment: Assessment, *, columns: pd.DataFrame | None = None) -> Ranking:
    """Put sub-watersheds that hold degraded stream in the order of restoration need.

    Parameters
    ----------
    assessment
        What was found.
    columns
        Columns of one's own, on the rows of the reaches.

    Returns
    -------
    Ranking
        With one item a sub-watershed.

    Raises
    ------
    SurveyError
        The survey has no sub-watersheds, or the settings name a class that the index does not have.
    """
    settings = _check(assessment)
    areas = assessment.subwatersheds
    if areas is None:
        fix = "name a layer of them as subwatersheds under [layers], or rank reaches"
        fault = Fault(SETTINGS_FILE, None, "layers.subwatersheds", "", "there are no sub-watersheds", fix)
        raise SurveyError([fault])
    of_reaches = rate_reaches(assessment, settings, columns)
    parts = rate_areas(assessment, settings, of_reaches, columns)
    own = ["subwatershed_id", "name", "class", "score", "stream_km", "assessed_km", "measured_km", "n_sites"]
    frame = pd.DataFrame(areas[own]).join(parts).assign(score_df=np.nan)
    return _rank(frame, "subwatershed_id", assessment)


def _check(assessment: Assessment) -> RankSettings:
    settings = assessment.survey.settings.rank
    try:
        split_classes(assessment.index, settings)
    except ValueError as error:
        value = ", ".join(filter(None, (settings.worse_than, settings.good_to)))
        fix = f"choose from: {', '.join(assessment.index.labels)}"
        raise SurveyError([Fault(SETTINGS_FILE, None, "rank", value, str(error), fix)]) from None
    return settings


def share_weights(settings: RankSettings) -> dict[str, float]:
    """Return the share of each part in the weight of all.

    Parameters
    ----------
    settings
        With at least one weight above 0.

    Returns
    -------
    dict of str to float
        By name of the part; they sum to 1.
    """
    given = {item.name: float(getattr(settings.weights, item.name)) for item in fields(RankWeights)}
    given = {name: given[name] for name in PARTS} | {
        column.name: column.weight for column in settings.columns
    }
    total = sum(given.values())
    return {name: weight / total for name, weight in given.items()}


def _rank(frame: pd.DataFrame, key: str, assessment: Assessment) -> Ranking:
    """Rank the degraded rows of a frame and put the others after them."""
    settings, index = assessment.survey.settings.rank, assessment.index
    weights = share_weights(settings)
    needs = frame[[f"need_{name}" for name in weights]].to_numpy(dtype=float)
    share = np.array(list(weights.values()))
    used = np.where(np.isnan(needs), 0.0, share)
    known = used.sum(axis=1)
    ranked = frame["degraded"].to_numpy() & (known > 0)
    frame = frame.assign(status=_name_status(frame, ranked))
    with np.errstate(invalid="ignore"):  # no part at all: not ranked
        effective = np.where(np.isnan(needs), np.nan, share) / known[:, None]
    need = pd.Series(np.nansum(effective * needs, axis=1), index=frame.index)
    frame["need"] = round_half_away(need, DECIMALS).where(ranked)
    frame["weight_missing"] = np.where(ranked, 1.0 - known, np.nan).round(_NOISE_DECIMALS)
    frame["score_varies"] = pd.array(frame["score_se"].notna().to_numpy(), dtype="boolean")
    frame["rank"] = frame["need"].rank(method="min", ascending=False).astype("Int64")
    ranges, draws = _draw_ranks(frame[ranked], needs[ranked], share, index=index, settings=settings)
    frame = frame.join(ranges)
    for column, name in enumerate(weights):
        frame[f"need_{name}"] = np.where(ranked, needs[:, column], np.nan)
        frame[f"weight_{name}"] = np.where(ranked, effective[:, column], np.nan)
    frame.loc[~ranked, ["score_varies"]] = pd.NA
    ordered = _order_columns(frame, key, list(weights)).sort_values(["rank", key], na_position="last")
    kind = REACH if key == "reach_id" else AREA
    limit = split_classes(index, settings)[0]
    worse_than = index.labels[int(limit)]
    return Ranking(
        kind=kind, items=ordered, weights=weights, draws=draws, worse_than=worse_than, settings=settings
    )


def _name_status(frame: pd.DataFrame, ranked: npt.NDArray[np.bool_]) -> npt.NDArray[np.object_]:
    other = np.where(frame["class"].isna(), UNASSESSED, np.where(frame["degraded"], NO_PART, NOT_DEGRADED))
    return np.where(ranked, RANKED, other).astype(object)


def _order_columns(frame: pd.DataFrame, key: str, parts: list[str]) -> pd.DataFrame:
    first = [
        "rank",
        "rank_low",
        "rank_high",
        "share_top_ten",
        key,
        "name",
        "status",
        "need",
        "weight_missing",
    ]
    first += ["score_varies", "class", "score", "score_se"]
    last = [f"{what}_{name}" for name in parts for what in ("need", "weight")]
    middle = [name for name in frame.columns if name not in {*first, *last, "degraded", "score_df"}]
    return frame[[*first, *middle, *last]]


def _draw_ranks(
    items: pd.DataFrame, needs: Floats, share: Floats, *, index: Index, settings: RankSettings
) -> tuple[pd.DataFrame, int]:
    """Draw weights and scores together, rank the items each time, and return the range of each rank."""
    size = len(items)
    draws = min(settings.draws, max(_FEWEST_DRAWS, _MOST_CELLS // max(size, 1)))
    random = np.random.default_rng(settings.seed)
    used = np.flatnonzero(share > 0)
    weights = np.zeros((draws, len(share)))
    weights[:, used] = random.dirichlet(settings.concentration * share[used], size=draws)
    fixed = np.nan_to_num(needs)
    fixed[:, 0] = 0.0  # condition is drawn
    present = (~np.isnan(needs)).astype(float)
    ranks = np.empty((size, draws), dtype=np.int32)
    chunk = max(1, _CHUNK // max(size, 1))
    for start in range(0, draws, chunk):
        part = weights[start : start + chunk]
        condition = np.nan_to_num(rate_condition(_draw_scores(items, len(part), random), index))
        total = part @ fixed.T + part[:, :1] * condition
        with np.errstate(invalid="ignore", divide="ignore"):
            total /= part @ present.T
        ranks[:, start : start + len(part)] = np.array([rank_high_first(row) for row in total]).T
    low, high = round((1 - INTERVAL) / 2 * (draws - 1)), round((1 + INTERVAL) / 2 * (draws - 1))
    top = (ranks <= TOP).mean(axis=1) if size else np.zeros(0)
    ranks.partition([low, high], axis=1)
    ends = {"rank_low": ranks[:, low], "rank_high": ranks[:, high]}
    found = pd.DataFrame(ends, index=items.index, dtype="Int64")
    return found.assign(share_top_ten=top), draws


def _draw_scores(items: pd.DataFrame, draws: int, random: np.random.Generator) -> Floats:
    """Draw scores about those found; without an error they stay."""
    error = items["score_se"].fillna(0.0).to_numpy(dtype=float)
    freedom = items["score_df"].to_numpy(dtype=float, na_value=np.nan)
    away = random.standard_normal((draws, len(items)))
    bound = np.flatnonzero(np.isfinite(freedom))
    half = (freedom[bound] / 2.0).astype(np.float32)
    spread = random.standard_gamma(half, (draws, bound.size), dtype=np.float32)  # twice as fast, and enough
    away[:, bound] /= np.sqrt(spread * 2.0 / freedom[bound])
    away *= error
    away += items["score"].to_numpy(dtype=float)
    return away


def rank_high_first(values: Floats) -> npt.NDArray[np.int32]:
    """Rank values, the highest first; equal ones share the best of their ranks.

    Parameters
    ----------
    values
        Numbers; what is equal to nine decimals is equal. One that is missing comes last.

    Returns
    -------
    numpy.ndarray
        Ranks from 1.
    """
    minus = -np.round(np.nan_to_num(values, nan=-1.0), _NOISE_DECIMALS)
    order = np.argsort(minus)  # the order among equal ones does not matter
    ordered = minus[order]
    place = np.arange(len(values), dtype=np.int32)
    place[1:][ordered[1:] == ordered[:-1]] = 0
    ranks = np.empty(len(values), dtype=np.int32)
    ranks[order] = np.maximum.accumulate(place) + 1
    return ranks
