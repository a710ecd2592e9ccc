"""The parts of restoration need: for each reach or sub-watershed a number from 0, no need, to 1, full need.

Definition
    condition: where the score lies between the limit of the best class (0) and that of the worst class (1).
    certainty: probability that the class is a degraded one. length: kilometres of degraded reaches that hang
    together with the reach, itself included. trend: worsening 1, no clear trend 0.5, improving 0. step: the
    largest clear step for the worse that ends on the reach or has it between its two sites, in mean widths of
    a class; 0 where there are tested steps and none is one. downstream: kilometres of degraded stream that
    follow along the main branch within `downstream_km`. connection: good stream that ends at the same
    unbroken run of assessed reaches that are not good, upstream of the reach or elsewhere; the smaller of the
    two sums, since that much would be joined to the rest. evidence: 1 measured, 0 inferred. Columns of one's
    own: between their two ends, turned where need is greater at the low one. Kilometres count in full from
    `full_km` on.
    Of a sub-watershed: condition is that of its mean score; certainty is the mean over its degraded stream by
    length; length is its own degraded kilometres; trend is the common trend of its sites; step, downstream
    and connection are the largest among its degraded reaches; evidence is the measured share of its assessed
    kilometres; columns of one's own are means over its stream by length.

Missing
    What cannot be told stays missing: certainty without an error of the score, trend with too few years or
    without a site, step where no tested step leads into it (a headwater, say), downstream where the layer
    ends or nothing within reach is assessed, all that is traced where the direction of flow is unknown.

Source
    The parts are common practice in words; their figures are conventions of this package.

Known bias
    Nothing of this is a cause. Steps that compare a tributary with a larger stream that it enters are left
    out. Stream that is not assessed ends a run: what lies beyond is not counted, so that length and
    connection are too small rather than too large where few reaches are assessed. At a divergence only the
    main branch is followed down.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.condition.groups import SUBWATERSHED
from watershedmap.condition.reaches import MEASURED
from watershedmap.condition.steps import TOO_FEW_PAIRS, WORSE, follow_steps
from watershedmap.network.edges import Edges, label_components
from watershedmap.network.levels import sort_levels, total_down
from watershedmap.scoring.classes import class_rank
from watershedmap.trends.direction import IMPROVING, NO_CLEAR_TREND, WORSENING

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from watershedmap.assessment import Assessment
    from watershedmap.network.topology import Network
    from watershedmap.scoring.indices import Index
    from watershedmap.settings_rank import RankColumn, RankSettings

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]

PARTS: Final = ("condition", "certainty", "length", "trend", "step", "downstream", "connection", "evidence")
"""Names of the parts that are always there, in the order they are shown."""
TREND_NEED: Final[Mapping[str, float]] = {WORSENING: 1.0, NO_CLEAR_TREND: 0.5, IMPROVING: 0.0}
"""Need by trend; any other word is unknown."""


def rate_condition(score: Floats, index: Index) -> Floats:
    """Turn scores into need.

    Parameters
    ----------
    score
        Scores, index units, any shape.
    index
        Their index. With two classes the worst end of its scale stands for the limit of the worst class.

    Returns
    -------
    numpy.ndarray
        0 at the limit of the best class or better, 1 from the limit of the worst class on; NaN where the
        score is, or where an index of two classes has no end of its scale.
    """
    best, worst = index.limits[0], index.limits[-1]
    if best == worst:
        worst = index.scale[1 if index.better == "low" else 0]
    if not np.isfinite(worst):
        return np.full(np.shape(score), np.nan)
    need: Floats = np.clip((score - best) / (worst - best), 0.0, 1.0)
    return need


def split_classes(index: Index, settings: RankSettings) -> tuple[float, float]:
    """Find where degraded and good classes lie.

    Parameters
    ----------
    index
        The index.
    settings
        `worse_than` and `good_to`.

    Returns
    -------
    tuple of float
        Ranks of classes, 0 the best: those above the first are degraded, those up to the second are good.

    Raises
    ------
    ValueError
        A label is none of the index's, names the worst class as the limit, or good and degraded overlap.
    """
    middle = (len(index.labels) - 1) / 2
    for label in filter(None, (settings.worse_than, settings.good_to)):
        if label not in index.labels:
            raise ValueError(f"{label} is none of the classes: {', '.join(index.labels)}")
    limit = index.labels.index(settings.worse_than) if settings.worse_than else middle
    better = min(float(np.ceil(middle)) - 1.0, float(np.floor(limit)))
    good = index.labels.index(settings.good_to) if settings.good_to else better
    if limit >= len(index.labels) - 1:
        raise ValueError(f"no class is worse than {settings.worse_than}")
    if good > limit:
        raise ValueError(f"{settings.good_to} would be good and degraded at once")
    return float(limit), float(good)


def rate_reaches(
    assessment: Assessment, settings: RankSettings, columns: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return the figures and the need of each reach, part by part.

    Parameters
    ----------
    assessment
        What was found.
    settings
        Limits.
    columns
        Columns of one's own, on the rows of the reaches.

    Returns
    -------
    pandas.DataFrame
        On the rows of the reaches: degraded and good (whether), stretch_km, degraded_below_km,
        assessed_below_km, step_size, good_above_km, good_elsewhere_km, and need_<part> from 0 to 1, missing
        where not known. Only those of degraded reaches mean anything.
    """
    reaches, index, network = assessment.reaches, assessment.index, assessment.survey.network
    ranks = class_rank(reaches["class"], index).to_numpy(dtype=float, na_value=np.nan)
    limit, good_to = split_classes(index, settings)
    degraded, good = ranks > limit, ranks <= good_to
    frame = pd.DataFrame({"degraded": degraded, "good": good}, index=reaches.index)
    frame["stretch_km"] = _measure_runs(network, degraded)
    below, known = _look_down(network, degraded, ~np.isnan(ranks), within_km=settings.downstream_km)
    frame["degraded_below_km"], frame["assessed_below_km"] = below, known
    frame["step_size"] = _find_step_sizes(assessment)
    above, elsewhere = _find_good(network, good, ~good & ~np.isnan(ranks))
    frame["good_above_km"], frame["good_elsewhere_km"] = above, elsewhere
    for name, need in {
        "condition": rate_condition(reaches["score"].to_numpy(dtype=float), index),
        "certainty": _sum_chances(reaches, np.arange(len(index.labels)) > limit),
        "length": _rate_km(frame["stretch_km"], settings),
        "trend": reaches["trend"].map(TREND_NEED).to_numpy(dtype=float),
        "step": _rate_steps(frame["step_size"], index, settings),
        "downstream": _rate_km(frame["degraded_below_km"], settings),
        "connection": _rate_km(_join_good(frame), settings),
        "evidence": (reaches["evidence"] == MEASURED).to_numpy(dtype=float),
        **_rate_columns(columns, settings.columns),
    }.items():
        frame[f"need_{name}"] = need
    return frame


def rate_areas(
    assessment: Assessment,
    settings: RankSettings,
    of_reaches: pd.DataFrame,
    columns: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the figures and the need of each sub-watershed, part by part.

    Parameters
    ----------
    assessment
        What was found; it must have sub-watersheds.
    settings
        Limits.
    of_reaches
        As from `rate_reaches`.
    columns
        Columns of one's own, on the rows of the reaches.

    Returns
    -------
    pandas.DataFrame
        On the rows of the sub-watersheds: degraded (whether any degraded stream lies in it), degraded_km,
        degraded_below_km and step_size (the largest of its degraded reaches), good_above_km and
        good_elsewhere_km (of the one that would join most), trend, score_se (errors of measured reaches taken
        as independent, those of inferred ones as all going the same way: as wide as can be) and need_<part>.
    """
    areas, shares = assessment.subwatersheds, assessment.survey.shares
    if areas is None:
        raise ValueError("the survey has no sub-watersheds")
    parts = of_reaches.iloc[shares["reach"]].set_axis(shares.index)
    parts = parts.assign(area=shares["area"], km=shares["length_km"])
    bad = parts[parts["degraded"] & (parts["km"] > 0)]
    sums = bad.groupby("area")["km"].sum().reindex(areas.index)
    frame = pd.DataFrame({"degraded": sums.notna(), "degraded_km": sums.fillna(0.0)})
    figures = ["degraded_below_km", "step_size", "need_step", "need_downstream", "need_connection"]
    frame = frame.join(bad.groupby("area")[figures].max().reindex(areas.index))
    frame = frame.join(_find_widest_gap(bad).reindex(areas.index))
    frame["score_se"] = _pool_area_errors(assessment)
    frame["need_condition"] = rate_condition(areas["score"].to_numpy(dtype=float), assessment.index)
    frame["need_certainty"] = _average(bad, "need_certainty").reindex(areas.index)
    frame["need_length"] = _rate_km(frame["degraded_km"], settings)
    combined = assessment.combined_trends
    trends = combined[combined["kind"] == SUBWATERSHED].set_index("group")["trend"]
    frame["trend"] = areas["subwatershed_id"].map(trends)
    frame["need_trend"] = frame["trend"].map(TREND_NEED).to_numpy(dtype=float)
    assessed = areas["assessed_km"].where(areas["assessed_km"] > 0)
    frame["need_evidence"] = areas["measured_km"] / assessed
    for name, need in _rate_columns(columns, settings.columns).items():
        own = parts.assign(need=np.asarray(need)[shares["reach"]])
        frame[f"need_{name}"] = _average(own, "need").reindex(areas.index)
    names = [*PARTS, *(column.name for column in settings.columns)]
    needs = [f"need_{name}" for name in names]
    return frame[[*(name for name in frame.columns if name not in needs), *needs]]


def _find_widest_gap(bad: pd.DataFrame) -> pd.DataFrame:
    """Return what lies on either side of the degraded reach of each area that would join most good stream."""
    joined = _join_good(bad)
    order = bad.assign(joined=joined).dropna(subset="joined").sort_values(["area", "joined", "good_above_km"])
    return order.drop_duplicates("area", keep="last").set_index("area")[
        ["good_above_km", "good_elsewhere_km"]
    ]


def _average(parts: pd.DataFrame, name: str) -> pd.Series:
    """Average over stretches by length, per area; what is missing has no weight."""
    known = parts[parts[name].notna() & (parts["km"] > 0)]
    total = (known[name] * known["km"]).groupby(known["area"]).sum()
    return total / known.groupby("area")["km"].sum()


def _pool_area_errors(assessment: Assessment) -> Floats:
    """Return the error of the mean score of each sub-watershed.

    Errors of measured reaches are taken as independent. Those of inferred ones go all the same way, because
    neighbours share their sites: the widest that can be. One reach without an error leaves it unknown.
    """
    areas, shares, reaches = assessment.subwatersheds, assessment.survey.shares, assessment.reaches
    assert areas is not None  # noqa: S101 - the caller asked
    parts = reaches[["evidence", "score", "score_se"]].iloc[shares["reach"]].set_axis(shares.index)
    parts = parts.assign(area=shares["area"], km=shares["length_km"])
    parts = parts[parts["score"].notna() & (parts["km"] > 0)]
    share = parts["km"] / parts.groupby("area")["km"].transform("sum")
    error: pd.Series = share * parts["score_se"]
    measured: pd.Series = parts["evidence"] == MEASURED
    sums = pd.DataFrame(
        {
            "measured": (error**2).where(measured, 0.0),
            "inferred": error.where(~measured, 0.0),
            "unknown": error.isna(),
        }
    )
    pooled = sums.groupby(parts["area"]).sum().reindex(areas.index)
    variance = (pooled["measured"] + pooled["inferred"] ** 2).where(pooled["unknown"] == 0)
    found: Floats = np.sqrt(variance.to_numpy(dtype=float))
    return found


def _join_good(frame: pd.DataFrame) -> pd.Series:
    """Return the smaller of the good stream above and elsewhere."""
    above = frame["good_above_km"]
    return above.where(above <= frame["good_elsewhere_km"], frame["good_elsewhere_km"])


def _rate_km(km: pd.Series, settings: RankSettings) -> Floats:
    need: Floats = np.minimum(km.to_numpy(dtype=float) / settings.full_km, 1.0)
    return need


def _sum_chances(reaches: pd.DataFrame, degraded: Flags) -> Floats:
    names = [f"probability_{number}" for number in np.flatnonzero(degraded) + 1]
    chances: Floats = np.minimum(reaches[names].to_numpy(dtype=float).sum(axis=1), 1.0)
    return chances


def _rate_steps(size: pd.Series, index: Index, settings: RankSettings) -> Floats:
    inner = len(index.labels) - 2  # classes that have a limit on either side
    if inner < 1:
        return np.full(len(size), np.nan)
    width = abs(index.limits[-1] - index.limits[0]) / inner
    need: Floats = np.minimum(size.to_numpy(dtype=float) / (width * settings.step_classes), 1.0)
    return need


def _rate_columns(columns: pd.DataFrame | None, wanted: tuple[RankColumn, ...]) -> dict[str, Floats]:
    """Put each column of one's own between its two ends; one that does not vary says nothing."""
    needs = {}
    for column in wanted:
        if columns is None or column.name not in columns:
            raise ValueError(f"the column {column.name} was not read")
        values = columns[column.name].to_numpy(dtype=float)
        known = values[~np.isnan(values)]
        low = column.least if column.least is not None else known.min(initial=np.inf)
        high = column.most if column.most is not None else known.max(initial=-np.inf)
        if not low < high:
            needs[column.name] = np.full(len(values), np.nan)
            continue
        share = np.clip((values - low) / (high - low), 0.0, 1.0)
        needs[column.name] = share if column.need == "high" else 1.0 - share
    return needs


def _measure_runs(network: Network, member: Flags) -> Floats:
    """Measure the members that hang together with each; missing for others, and where flow is unknown."""
    if not network.has_flow:
        return np.full(len(member), np.nan)
    inside = member[network.edge_up] & member[network.edge_down]
    label = label_components(network.edge_up[inside], network.edge_down[inside], len(member))
    km = np.bincount(label, weights=np.where(member, network.length_km, 0.0))
    return np.where(member, km[label], np.nan)


def _look_down(
    network: Network, degraded: Flags, assessed: Flags, *, within_km: float
) -> tuple[Floats, Floats]:
    """Measure the degraded and the assessed stream that follows each degraded reach along the main branch.

    Missing where the layer or a circle ends the view, or stream follows of which nothing is assessed.
    """
    size = len(degraded)
    bad, known, seen = np.zeros(size), np.zeros(size), np.zeros(size)
    cut = np.zeros(size, dtype=bool)
    rows = np.flatnonzero(degraded)
    at = rows.copy()
    while rows.size:
        cut[rows] |= network.leaves_layer[at] | network.enters_cycle[at] | network.in_cycle[at]
        at = network.main_down[at]
        rows, at = rows[at >= 0], at[at >= 0]
        km = np.minimum(network.length_km[at], within_km - seen[rows])
        bad[rows] += km * degraded[at]
        known[rows] += km * assessed[at]
        seen[rows] += km
        going = seen[rows] < within_km
        rows, at = rows[going], at[going]
    unknown = ~degraded | (cut & (seen < within_km)) | ((seen > 0) & (known == 0))
    if not network.has_flow:
        unknown[:] = True
    return np.where(unknown, np.nan, bad), np.where(unknown, np.nan, known)


def _find_good(network: Network, good: Flags, others: Flags) -> tuple[Floats, Floats]:
    """Sum the good stream that meets the run of each assessed reach that is not good: above it, elsewhere.

    Runs and good stream are followed along main branches, so that all is a tree.
    """
    size = len(good)
    if not network.has_flow:
        return np.full(size, np.nan), np.full(size, np.nan)
    up = np.flatnonzero(network.main_down >= 0)
    down = network.main_down[up].astype(np.intp)
    both = good[up] & good[down]
    block = label_components(up[both], down[both], size)
    good_km = np.bincount(block, weights=np.where(good, network.length_km, 0.0))
    local = np.zeros(size)
    enters = good[up] & others[down]
    np.add.at(local, down[enters], good_km[block[up[enters]]])
    inside = others[up] & others[down]
    levels = sort_levels(Edges(up=up[inside], down=down[inside]), size)
    above = total_down(levels, local, None)
    run = label_components(up[inside], down[inside], size)
    total = np.bincount(run, weights=np.where(others, local, 0.0))
    leaves = others[up] & good[down]
    np.add.at(total, run[up[leaves]], good_km[block[down[leaves]]])
    return np.where(others, above, np.nan), np.where(others, np.maximum(total[run] - above, 0.0), np.nan)


def _find_step_sizes(assessment: Assessment) -> Floats:
    """Find the largest clear step for the worse into each reach, 0 where none of those tested is one."""
    size = np.full(len(assessment.reaches), np.nan)
    steps = assessment.steps
    tested = steps[(steps["step"] != TOO_FEW_PAIRS) & ~steps["larger_joins"]]
    if tested.empty:
        return size
    sites = assessment.sites.assign(reach=assessment.survey.placement["reach"])
    for path, word, estimate in zip(
        follow_steps(assessment.survey.network, tested, sites),
        tested["step"],
        tested["step_estimate"].abs(),
        strict=True,
    ):
        rows = path[1:] or path
        size[rows] = np.fmax(size[rows], estimate if word == WORSE else 0.0)
    return size
