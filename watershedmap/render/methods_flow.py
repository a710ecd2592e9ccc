"""What the methods page says of everything along the flow: inference, steps and combined trends.

It words figures that were computed elsewhere, and computes none.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from watershedmap.condition.step_sentences import describe_steps
from watershedmap.scoring.classes import write_rounded

if TYPE_CHECKING:
    from watershedmap.assessment import Assessment

EN_DASH = "\N{EN DASH}"


def describe_inference(assessment: Assessment) -> dict[str, Any]:
    """Word how far inference is off at sites that were left out.

    Parameters
    ----------
    assessment
        What the page describes.

    Returns
    -------
    dict
        `sentence`, and `rows` of the table: method, sites, and the errors as text.
    """
    check, decimals = assessment.inference, assessment.index.decimals + 1
    rows = [
        {
            "method": row["method"],
            "n_sites": str(row["n_sites"]),
            "mean_absolute_error": _figure(row["mean_absolute_error"], decimals),
            "root_mean_square_error": _figure(row["root_mean_square_error"], decimals),
            "bias": _figure(row["bias"], decimals),
            "interval_coverage": _percent(row["interval_coverage"]),
        }
        for row in check.table.to_dict("records")
    ]
    return {"sentence": check.describe(), "rows": rows}


def describe_all_steps(assessment: Assessment) -> dict[str, Any]:
    """Word the steps between neighbouring sites.

    Parameters
    ----------
    assessment
        What the page describes.

    Returns
    -------
    dict
        `sentences`, and `rows` of the table, clear steps first.
    """
    steps, decimals = assessment.steps, assessment.index.decimals
    names = dict(zip(assessment.sites["site_id"], assessment.sites["name"], strict=True))
    options = assessment.survey.settings.options
    ordered = steps.sort_values(["p_adjusted", "site_upstream"], na_position="last", kind="stable")
    rows = [
        {
            "upstream": row["site_upstream"],
            "downstream": row["site_downstream"],
            "km": _figure(row["distance_km"], 1),
            "pairs": str(row["n_pairs"]),
            "estimate": _interval(row, "step_estimate", "step_low", "step_high", decimals),
            "p": _figure(row["p_adjusted"], 4),
            "step": row["step"],
            "joins": _join(row["tributaries"], row["tributary_scores"]),
        }
        for row in ordered.drop(columns="geometry").to_dict("records")
    ]
    sentences = describe_steps(steps, assessment.index, names=names, rate=options.false_discovery)
    return {"sentences": sentences, "rows": rows}


def describe_combined_trends(assessment: Assessment) -> list[dict[str, str]]:
    """Word the common trend of each group of sites.

    Parameters
    ----------
    assessment
        What the page describes.

    Returns
    -------
    list of dict
        One a group.
    """
    decimals = assessment.index.decimals + 1
    return [
        {
            "group": f"{row['kind']} {row['group']}",
            "n_sites": str(row["n_sites"]),
            "years": _span(row["first_year"], row["last_year"]),
            "slope": _interval(row, "slope_per_year", "slope_low", "slope_high", decimals),
            "p": _figure(row["p_value"], 4),
            "p_adjusted": _figure(row["p_adjusted"], 4),
            "trend": row["trend"],
            "agreement": row["agreement"],
        }
        for row in assessment.combined_trends.to_dict("records")
    ]


def _figure(value: float, decimals: int) -> str:
    return EN_DASH if math.isnan(value) else write_rounded(value, decimals)


def _percent(value: float) -> str:
    return EN_DASH if math.isnan(value) else f"{100 * value:.0f} %"


def _interval(row: dict[Any, Any], middle: str, low: str, high: str, decimals: int) -> str:
    """Write a figure with its interval; an end that is not known is said to be so."""
    if math.isnan(row[middle]):
        return EN_DASH
    ends = ["unknown" if math.isnan(row[name]) else _figure(row[name], decimals) for name in (low, high)]
    return f"{_figure(row[middle], decimals)} ({ends[0]} to {ends[1]})"


def _span(first: Any, last: Any) -> str:  # noqa: ANN401 - a year, or pandas' missing value
    return EN_DASH if first != first or first is None else f"{first} to {last}"  # noqa: PLR0124


def _join(ids: str, scores: str) -> str:
    """Write each tributary with its own score."""
    pairs = zip(ids.split("; "), scores.split("; "), strict=False)
    return "; ".join(f"{name} ({score})" for name, score in pairs if name)
