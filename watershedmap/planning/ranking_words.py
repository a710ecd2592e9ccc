"""A ranking in plain words: what was ranked and how, then one paragraph for each ranked item.

Every sentence is made from figures that stand in the table beside it. What is not known is said to be so. No
sentence speaks of causes, of what a restoration would achieve, or calls water safe.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from watershedmap.planning.ranking import RANKED, REACH, TOP
from watershedmap.planning.ranking_parts import PARTS

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.planning.ranking import Ranking

UNKNOWN_WORDS: Final = {
    "condition": "the condition",
    "certainty": "how sure the class is",
    "length": "the degraded length",
    "trend": "the trend",
    "step": "a step into it",
    "downstream": "what lies downstream",
    "connection": "what good stream it would connect",
    "evidence": "the share that was measured",
}
"""What is said of a part that is missing."""
ADVICE: Final = (
    "The order is advice on where to look first. It names no causes, says nothing of what a restoration "
    "would achieve, and does not replace a visit."
)


def describe_ranking(ranking: Ranking) -> list[str]:
    """Say what was ranked, with which weights and limits.

    Parameters
    ----------
    ranking
        As from `watershedmap.planning.ranking`.

    Returns
    -------
    list of str
        Sentences, one a line.
    """
    settings, items = ranking.settings, ranking.items
    ranked = int((items["status"] == RANKED).sum())
    noun = "reaches" if ranking.kind == REACH else "sub-watersheds"
    are = "are" if ranking.kind == REACH else "hold stream"
    others = items.loc[items["status"] != RANKED, "status"].value_counts().sort_index()
    rest = "".join(f"; {count} {status}" for status, count in others.items())
    weights = ", ".join(f"{name} {share:.2f}" for name, share in ranking.weights.items())
    limits = (
        f"Kilometres count in full from {settings.full_km:g} on; downstream is looked "
        f"{settings.downstream_km:g} km; a step counts in full from {settings.step_classes:g} mean widths of "
        "a class on."
    )
    ranges = (
        f"Ranges hold the rank in 90 % of {ranking.draws} draws of weights (concentration "
        f"{settings.concentration:g}) and scores (seed {settings.seed}). Items of the same need share a "
        "rank; items whose ranges overlap are not firmly apart."
    )
    lines = [
        f"{ranked} of {len(items)} {noun} {are} worse than {ranking.worse_than} and ranked by need{rest}.",
        f"Weights: {weights}. The weight of a part that is not known is shared among the others.",
        limits,
        ranges,
    ]
    for column in settings.columns:
        ends = [
            f"from {column.least:g}" if column.least is not None else "from the lowest in the layer",
            f"to {column.most:g}" if column.most is not None else "to the highest in the layer",
        ]
        lines.append(f"Column {column.name}: {' '.join(ends)}, need greater where it is {column.need}.")
    return [*lines, ADVICE]


def describe_items(ranking: Ranking, *, decimals: int, most: int | None = None) -> list[str]:
    """Write one paragraph for each ranked item, in the order of ranks.

    Parameters
    ----------
    ranking
        As from `watershedmap.planning.ranking`.
    decimals
        Decimals of scores.
    most
        How many at most; None for all.

    Returns
    -------
    list of str
        One paragraph an item.
    """
    items = ranking.items[ranking.items["status"] == RANKED].iloc[:most]
    ties = ranking.items["rank"].value_counts()
    return [
        " ".join(
            [
                _say_rank(row, ranking, shared=int(ties[row["rank"]]) > 1),
                *_say_condition(row, ranking.kind, decimals),
                *_say_place(row, ranking, decimals),
                *_say_columns(row, ranking),
                *_say_missing(row, ranking),
            ]
        )
        for _, row in items.iterrows()
    ]


def _is_known(value: object) -> bool:
    return value is not None and value == value  # noqa: PLR0124 - missing is not itself


def _name(row: pd.Series, key: str) -> str:
    name = row["name"]
    return f"{row[key]} ({name})" if name and name != row[key] else str(row[key])


def _say_rank(row: pd.Series, ranking: Ranking, *, shared: bool) -> str:
    key = "reach_id" if ranking.kind == REACH else "subwatershed_id"
    tie = ", shared with others of the same need" if shared else ""
    low, high = int(row["rank_low"]), int(row["rank_high"])
    spread = f"at {low}" if low == high else f"from {low} to {high}"
    varies = "weights and score" if row["score_varies"] else "weights alone (its score has no known error)"
    top = ""
    if (ranking.items["status"] == RANKED).sum() > TOP:
        top = f", among the first {TOP} in {_percent(row['share_top_ten'])}"
    return (
        f"{_name(row, key)}: rank {int(row['rank'])}{tie}, need {row['need']:.3f}; {spread} in 90 % of draws "
        f"of {varies}{top}."
    )


def _percent(share: float) -> str:
    whole = round(100 * share)
    if whole == 100 and share < 1:  # noqa: PLR2004 - nearly all is not all
        return "more than 99 %"
    return "less than 1 %" if whole == 0 and share > 0 else f"{whole} %"


def _say_condition(row: pd.Series, kind: str, decimals: int) -> list[str]:
    score = f"{row['class']}, score {row['score']:.{decimals}f}"
    error = f" (standard error {row['score_se']:.2f})" if _is_known(row["score_se"]) else " (error not known)"
    if kind != REACH:
        return _say_area(row, f"{score}{error}")
    if row["evidence"] == "measured":
        basis = f"measured at {row['site_ids']}"
    else:
        basis = f"inferred from {row['inferred_from']}, {row['inferred_km']:.1f} km away, not measured"
    said = [f"{score}{error}, {basis}."]
    if _is_known(row["need_certainty"]):
        chance = min(row["need_certainty"], 1 - 1e-9)  # no estimate is beyond doubt
        said.append(f"The chance that it is degraded is {_percent(chance)}.")
    if _is_known(row["stretch_km"]):
        said.append(
            f"It is {row['length_km']:.1f} km long; degraded stream that hangs together with it, itself "
            f"included: {row['stretch_km']:.1f} km."
        )
    if _is_known(row["need_trend"]):
        said.append(f"Over {int(row['trend_years'])} years: {row['trend']}.")
    return said


def _say_area(row: pd.Series, condition: str) -> list[str]:
    share = f"{row['assessed_km']:.1f} are assessed, {row['measured_km']:.1f} by measurement"
    extent = f"Of {row['stream_km']:.1f} km of stream {share}, and {row['degraded_km']:.1f} are degraded."
    said = [f"On the whole {condition}.", extent]
    return [*said, f"Common trend of its sites: {row['trend']}."] if _is_known(row["need_trend"]) else said


def _say_place(row: pd.Series, ranking: Ranking, decimals: int) -> list[str]:
    """Say what the steps and the flow show; of a sub-watershed, what they show of its degraded reaches."""
    area = ranking.kind != REACH
    it, lies = ("a degraded reach of it", "A degraded reach of it lies") if area else ("it", "It lies")
    none = "any degraded reach of it" if area else "it"
    said = []
    if _is_known(row["step_size"]):
        worse = f"The score worsens by {row['step_size']:.{decimals}f} on the way into {it}, a clear step."
        said.append(worse if row["step_size"] > 0 else f"No clear step for the worse leads into {none}.")
    if _is_known(row["degraded_below_km"]):
        within = f"Downstream of {it} within" if area else "Downstream within"
        where = f"{within} {ranking.settings.downstream_km:g} km"
        said.append(f"{where}: {row['degraded_below_km']:.1f} km degraded.")
    if _is_known(row["need_connection"]):
        if row["need_connection"] > 0:
            above, elsewhere = row["good_above_km"], row["good_elsewhere_km"]
            between = f"{above:.1f} km of good stream upstream and {elsewhere:.1f} km elsewhere"
            said.append(f"{lies} between {between}.")
        else:
            nothing = "No degraded reach of it lies" if area else "It does not lie"
            said.append(f"{nothing} between stretches of good stream.")
    return said


def _say_columns(row: pd.Series, ranking: Ranking) -> list[str]:
    return [
        f"{column.name}: need {row[f'need_{column.name}']:.2f} of 1."
        for column in ranking.settings.columns
        if _is_known(row[f"need_{column.name}"])
    ]


def _say_missing(row: pd.Series, ranking: Ranking) -> list[str]:
    missing = [name for name in ranking.weights if not _is_known(row[f"need_{name}"])]
    if not missing:
        return []
    words = ", ".join(UNKNOWN_WORDS[name] if name in PARTS else name for name in missing)
    return [f"Not known: {words} ({_percent(row['weight_missing'])} of the weight, shared among the rest)."]
