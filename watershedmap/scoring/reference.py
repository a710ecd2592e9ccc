"""Class limits from reference sites: what least disturbed streams score.

A sample is Good when it scores at least as well as the 25th percentile of reference sites, Poor when it falls
below their 5th, Fair between. Where low values are good the mirror image holds: 75th and 95th.

Source: 25th percentile of reference scores between good and fair: Barbour and others 1999, Rapid
Bioassessment Protocols, EPA 841-B-99-002, figure 9-8. 25th and 5th percentile as in the national surveys of
EPA (Wadeable Streams Assessment 2006), from memory.

There are several ways to read a percentile from few values, and they differ most where it matters, at the
ends. Two are offered, named as by Hyndman and Fan 1996, The American Statistician 50:361-365 (from memory):
type 7 (rank 1 + (n - 1) p, the default here and in spreadsheets) and type 6 (rank (n + 1) p). For 40, 45 ...
90 type 7 gives 52.5 and 42.5, type 6 gives 50.0 and 40.0.

Bias: a 5th percentile of fewer than twenty sites is little more than the worst of them; what is written says
from how many it comes. Limits are only as good as the choice of reference sites.
"""

from __future__ import annotations

import json
from typing import Final, Literal

import numpy as np
import pandas as pd

from watershedmap.scoring.classes import IndexClass, round_half_away

PERCENTILE_TYPES: Final = {6: "weibull", 7: "linear"}
"""Types of percentile by number, and numpy's name for each."""
GOOD_PERCENTILE: Final = 25.0
"""Percentile of reference scores at which Good ends, where high is good."""
FAIR_PERCENTILE: Final = 5.0
"""Percentile of reference scores at which Fair ends, where high is good."""
FEW_SITES: Final = 20
"""With fewer sites the 5th percentile rests on the worst of them."""


def find_percentile(values: pd.Series, percent: float, *, kind: int = 7) -> float:
    """Find a percentile of the values that are there.

    Parameters
    ----------
    values
        Numbers; missing ones are left out.
    percent
        0 to 100.
    kind
        Type of percentile, 6 or 7.

    Returns
    -------
    float
        The percentile, between values by straight lines; NaN when there is no value.

    Raises
    ------
    ValueError
        The type is neither 6 nor 7, or percent lies outside 0 to 100.
    """
    if kind not in PERCENTILE_TYPES:
        raise ValueError(f"a percentile is of type 6 or 7, not {kind}")
    numbers = values.to_numpy(dtype=np.float64, na_value=np.nan)
    present = numbers[~np.isnan(numbers)]
    if not len(present):
        return float("nan")
    method: Literal["weibull", "linear"] = "weibull" if PERCENTILE_TYPES[kind] == "weibull" else "linear"
    return float(np.percentile(present, percent, method=method))


def find_classes(
    scores: pd.Series, *, better: Literal["low", "high"], decimals: int, kind: int = 7
) -> tuple[IndexClass, ...]:
    """Draw the classes Good, Fair and Poor from the scores of reference sites.

    Parameters
    ----------
    scores
        One score a reference site (of repeated samples their mean, or the sites with most visits weigh most);
        missing ones are left out.
    better
        The end of the scale at which condition is better.
    decimals
        Decimals of the limits, rounded halves away from zero. Scores are rounded the same way before they are
        compared, so rounding puts no reference site on the wrong side of a limit.
    kind
        Type of percentile, 6 or 7.

    Returns
    -------
    tuple of IndexClass
        From best to worst.

    Raises
    ------
    ValueError
        There is no score, or the two limits are the same after rounding.
    """
    percents = (GOOD_PERCENTILE, FAIR_PERCENTILE)
    if better == "low":
        percents = (100 - GOOD_PERCENTILE, 100 - FAIR_PERCENTILE)
    raw = [find_percentile(scores, percent, kind=kind) for percent in percents]
    if np.isnan(raw[0]):
        raise ValueError("no reference site has a score")
    good, fair = (float(one) for one in round_half_away(pd.Series(raw), decimals))
    if good == fair:
        raise ValueError(
            f"Good and Fair would both end at {good:g}: the reference sites are too alike or too few; keep "
            "more decimals, or set the limits by hand"
        )
    sites = "reference sites"
    return (
        IndexClass("Good", good, f"as good as the better three quarters of {sites}"),
        IndexClass("Fair", fair, f"as good as only the lower quarter of {sites}"),
        IndexClass("Poor", None, f"worse than 95 in 100 {sites}"),
    )


def write_classes(
    scores: pd.Series,
    *,
    better: Literal["low", "high"],
    decimals: int,
    kind: int = 7,
    use: str = "",
    label: str = "",
    own_direction: bool = False,
) -> str:
    """Write class limits from reference sites as TOML.

    Parameters
    ----------
    scores, better, decimals, kind
        As for `find_classes`.
    use
        Name of the index or metric, or `scores`: then the text is the section `[index]` of `survey.toml`.
        Without it the text is the classes of a definition file of a multimetric index.
    label
        What the index is called on pages; empty for a built-in one.
    own_direction
        Whether the index has its direction built in, so that `survey.toml` may not state it.

    Returns
    -------
    str
        TOML, with the number of sites and the type of percentile in its head.

    Raises
    ------
    ValueError
        As for `find_classes`.
    """
    classes = find_classes(scores, better=better, decimals=decimals, kind=kind)
    number = int(scores.notna().sum())
    percents = "25th and 5th" if better == "high" else "75th and 95th"
    source = f"{percents} percentile (type {kind}) of {number} reference site{'' if number == 1 else 's'}"
    lines = [f"# Class limits: {source}."]
    if number < FEW_SITES:
        lines.append(f"# From fewer than {FEW_SITES} sites the limit of Poor rests on the worst of them.")
    if use:
        stated = (("label", label), ("better", "" if own_direction else better))
        pairs = (("use", use), *(pair for pair in stated if pair[1]), ("source", source))
        lines += ["[index]", *(f"{key} = {_quote(value)}" for key, value in pairs)]
    for item in classes:
        lines += ["", "[[index.classes]]" if use else "[[classes]]", f"label = {_quote(item.label)}"]
        lines += [] if item.limit is None else [f"limit = {item.limit:.{decimals}f}"]
        lines += [] if use else [f"meaning = {_quote(item.meaning)}"]
    return "\n".join(lines) + "\n"


def _quote(text: str) -> str:
    """Write a text as a TOML string; what JSON escapes, TOML reads."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
