"""Steps along the flow for the page: clear changes of score between two neighbouring sites."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from watershedmap.render.page_columns import column, numbers, pick_lists, picks, positions, texts

if TYPE_CHECKING:
    from watershedmap.assessment import Assessment

CLEAR = ("worse downstream", "better downstream")
"""Steps that are drawn."""


def collect_steps(assessment: Assessment) -> dict[str, Any] | None:
    """Collect the clear steps.

    Parameters
    ----------
    assessment
        What was computed.

    Returns
    -------
    dict or None
        A list a column, and `pairs`, how many pairs of sites were looked at; None where no step was looked
        for.
    """
    steps = getattr(assessment, "steps", None)
    if steps is None:
        return None
    frame = steps[steps["step"].isin(CLEAR)].reset_index(drop=True)
    sites, decimals = positions(assessment.sites["site_id"]), assessment.index.decimals
    return {
        "pairs": len(steps),
        "kind": picks(frame, "step", {word: n for n, word in enumerate(CLEAR)}),
        "from": picks(frame, "site_upstream", sites),
        "to": picks(frame, "site_downstream", sites),
        "km": numbers(frame, "distance_km", 1),
        "nPairs": numbers(frame, "n_pairs", 0),
        "change": numbers(frame, "step_estimate", decimals),
        "low": numbers(frame, "step_low", decimals),
        "high": numbers(frame, "step_high", decimals),
        "p": numbers(frame, "p_adjusted", 4),
        "firstYear": numbers(frame, "first_year", 0),
        "lastYear": numbers(frame, "last_year", 0),
        "joins": pick_lists(frame, "tributaries", positions(assessment.reaches["reach_id"])),
        "ids": texts(frame, "tributaries"),
        "tributaries": texts(frame, "tributary_names"),
        "scores": texts(frame, "tributary_scores"),
        "larger": [not pd.isna(value) and bool(value) for value in column(frame, "larger_joins")],
    }
