"""Steps in words: plain sentences made of the figures of `watershedmap.condition.steps`, and of nothing else.

The largest drop is the clear step of worse condition with the largest Hodges-Lehmann estimate, the
largest recovery that of better condition. Steps where a larger stream joins between the two sites are told
apart: there the upper site lies on a tributary of the stream that the lower one lies on. The sentences say
where and how much, never why.

Known bias: of many clear steps the largest is told, and the largest of many estimates tends to be too large.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from watershedmap.condition.junctions import UNKNOWN, UNNAMED
from watershedmap.condition.probability import CONFIDENCE
from watershedmap.condition.steps import BETTER, NO_CLEAR_STEP, NO_TEST, TOO_FEW_PAIRS, WORSE
from watershedmap.scoring.classes import write_rounded

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from watershedmap.scoring.classes import Index

_NOUNS: Final = {WORSE: "drop", BETTER: "recovery"}

MOST_NAMED: Final = 4
"""No more tributaries than this are named in a sentence."""


def describe_steps(
    steps: pd.DataFrame, index: Index, *, names: Mapping[str, str] | None = None, rate: float = 0.05
) -> list[str]:
    """Say in plain sentences where the score changes along the flow.

    Parameters
    ----------
    steps
        As from `watershedmap.condition.steps.find_steps`.
    index
        The index, for its label, unit and decimals.
    names
        Name of each site; ids alone where left out.
    rate
        The rate of false discovery that the steps were judged at.

    Returns
    -------
    list of str
        First how many pairs there are, then the largest drop and the largest recovery, or that none is clear,
        then what could not be told. Where none is clear, the largest that cannot be told from chance is given
        as such. Names are as written in the tables: escape them before use in a page.
    """
    if steps.empty:
        return ["No two sampled sites lie one below the other along the flow, so no step can be told."]
    sentences = [_count_steps(steps, rate)]
    apart = steps["larger_joins"]
    for word in (WORSE, BETTER):
        clear = steps["step"] == word
        sentences.append(_tell_largest(steps[~apart], word, index, names))
        if (clear & apart).any():
            sentences.append(_tell_entering(steps[clear & apart], word, index, names))
    return [*sentences, *_tell_unknown(steps, rate)]


def _count_steps(steps: pd.DataFrame, rate: float) -> str:
    counts = steps["step"].value_counts()
    words = [f"{counts.get(word, 0)} {word}" for word in (WORSE, BETTER, NO_CLEAR_STEP, TOO_FEW_PAIRS)]
    return (
        f"Of {_count(len(steps), 'pair')} of neighbouring sites along the flow: {', '.join(words)} "
        f"(false discovery rate {100 * rate:g} % over all pairs tested)."
    )


def _tell_largest(steps: pd.DataFrame, word: str, index: Index, names: Mapping[str, str] | None) -> str:
    """Tell the largest clear step of a kind, or the largest that could not be told from chance."""
    noun = _NOUNS[word]
    clear = steps[steps["step"] == word]
    if not clear.empty:
        place = _tell_step(_largest(clear), index, names)
        return f"The largest {noun} of condition along a stream lies between {place}"
    none = f"No clear {noun} of condition lies between two neighbouring sites of one stream"
    rises = steps["step_estimate"] > 0
    this_way = rises if (word == BETTER) == (index.better == "high") else steps["step_estimate"] < 0
    tested = steps[this_way & (steps["test"] != NO_TEST)]
    if tested.empty:
        return f"{none}."
    return (
        f"{none}; the largest that cannot be told from chance lies between "
        f"{_tell_step(_largest(tested), index, names)}"
    )


def _tell_entering(clear: pd.DataFrame, word: str, index: Index, names: Mapping[str, str] | None) -> str:
    row = _largest(clear)
    pairs = _count(len(clear), "more pair")
    return (
        f"In {pairs} a larger stream joins between the two sites, and condition is clearly "
        f"{'worse' if word == WORSE else 'better'} in it; the most between {_tell_step(row, index, names)}"
    )


def _largest(clear: pd.DataFrame) -> pd.Series:
    """Return the row with the largest estimate, the first of equals."""
    return clear.iloc[int(np.argmax(clear["step_estimate"].abs().to_numpy()))]


def _tell_step(row: pd.Series, index: Index, names: Mapping[str, str] | None) -> str:
    upper, lower = (_name_site(str(row[column]), names) for column in ("site_upstream", "site_downstream"))
    unit = f" {index.unit}" if index.unit else ""
    change = "higher" if row["step_estimate"] > 0 else "lower"
    return (
        f"{upper} and {lower}, {row['distance_km']:.1f} km: {index.label} "
        f"{_write(abs(row['step_estimate']), index)}{unit} {change} downstream ({_tell_interval(row, index)}"
        f"{_count(int(row['n_pairs']), 'pair')} of samples, {row['first_year']} to {row['last_year']}, "
        f"adjusted p {_write_p(row['p_adjusted'])}). {_tell_tributaries(row)}"
    )


def _tell_interval(row: pd.Series, index: Index) -> str:
    """Give the limits in the direction of the change; with signs where they lie on both sides of 0."""
    limits = (float(row["step_low"]), float(row["step_high"]))
    if math.isnan(limits[0]):
        return ""
    if limits[0] < 0 < limits[1]:
        low, high = (("+" if limit > 0 else "-") + _write(abs(limit), index) for limit in limits)
    else:
        low, high = (_write(limit, index) for limit in sorted(abs(limit) for limit in limits))
    return f"{100 * CONFIDENCE:g} % interval {low} to {high}; "


def _write(value: float, index: Index) -> str:
    return write_rounded(value, index.decimals)


def _tell_tributaries(row: pd.Series) -> str:
    ids = [part for part in str(row["tributaries"]).split("; ") if part]
    if not ids:
        return "No tributary of the layer joins there."
    labels = [str(row[column]).split("; ") for column in ("tributary_names", "tributary_scores")]
    if any(len(column) != len(ids) for column in labels):  # a name with the separator in it
        labels = [ids, [UNKNOWN] * len(ids)]
    told = [
        f"{name} (score {score.replace(' (', ', ').removesuffix(')')})"
        for name, score in zip(*labels, strict=True)
        if name != UNNAMED
    ]
    nameless = labels[0].count(UNNAMED)
    more = len(told) - MOST_NAMED
    told = told[:MOST_NAMED] + ([f"{more} more"] if more > 0 else [])
    if nameless:
        told.append(_count(nameless, "tributary", "tributaries") + " without a name")
    verb = "joins" if len(ids) == 1 else "join"
    listed = told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"
    return f"Between them {verb} {listed}."


def _tell_unknown(steps: pd.DataFrame, rate: float) -> list[str]:
    """Say of how many pairs nothing could be told, and why."""
    sentences = []
    few = int((steps["step"] == TOO_FEW_PAIRS).sum())
    if few:
        have = "has" if few == 1 else "have"
        sentences.append(f"{_count(few, 'pair')} of sites {have} too few common years to be tested.")
    n_tests = int((steps["test"] != NO_TEST).sum())
    least = 2.0 ** (1 - steps["n_pairs"][steps["step"] == NO_CLEAR_STEP])  # when all differences go one way
    blind = int((least > rate).sum())
    weak = int((least * n_tests > rate).sum()) - blind
    lone = f"one step alone, however large, could not be clear among {n_tests} tests"
    for number, what in ((blind, "no difference, however large, could be clear"), (weak, lone)):
        if number:
            are = "is" if number == 1 else "are"
            sentences.append(
                f"{_count(number, 'pair')} of sites {are} tested on so few samples that {what}; "
                "`no clear step` says little there."
            )
    return sentences


def _name_site(site_id: str, names: Mapping[str, str] | None) -> str:
    name = (names or {}).get(site_id)
    return f"{name} ({site_id})" if name and name != site_id else site_id


def _write_p(p_value: float) -> str:
    return "below 0.001" if p_value < 0.001 else f"{p_value:.3f}"  # noqa: PLR2004  # three decimals


def _count(number: int, noun: str, plural: str = "") -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {plural or noun + 's'}"
