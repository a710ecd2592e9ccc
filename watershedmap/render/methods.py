"""The methods page: what was computed, from which source, with which options.

Whoever doubts a figure must be able to follow it here, so every option and every taxon is listed, and every
notice repeated.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import jinja2

from watershedmap.render.methods_flow import (
    describe_all_steps,
    describe_combined_trends,
    describe_inference,
)
from watershedmap.scoring.metrics import METRICS
from watershedmap.scoring.quality import list_checks
from watershedmap.scoring.scales import CutPoints, MultimetricIndex, Percentile, Ramp
from watershedmap.settings import Options
from watershedmap.trends.direction import IMPROVING, WORSENING, count_held

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import pandas as pd

    from watershedmap.assessment import Assessment
    from watershedmap.scoring.indices import Index

EN_DASH = "\N{EN DASH}"

_MEAN = (
    "Each individual counts with the tolerance value of its taxon; the index is the mean over individuals "
    "that have one. Individuals without a value stay out of both sums and are counted beside the score. "
)
INDEX_RULES: Mapping[str, str] = {
    "family_biotic_index": _MEAN
    + "Worms, leeches, snails, clams and flatworms have no value in the list of 1988. Known bias, stated by "
    "its author: an index at the level of families tends to read more polluted in clean streams, and less "
    "polluted in polluted ones, than one at the level of genus and species.",
    "biotic_index": _MEAN
    + "It is meant for values of genera and species: with a list of family values its classes do not hold.",
    "bmwp": "Each scoring family that is present counts once, whatever its numbers; the index is the sum. It "
    "grows with the size of a sample.",
    "aspt": "The mean score of the scoring families that are present, each once. Without a scoring family it "
    "is undefined, not zero.",
    "streamside_rating": "Kinds of animals are counted in three groups of sensitivity, each weighted by "
    "whether it is rare (1 to 9), common (10 to 99) or dominant (100 or more). Weights are from memory.",
}
"""What is said of each built-in index, beside its classes and source."""

DIVERGENCE_RULES: Mapping[str, str] = {
    "equal": "all branches share equally, and the branch that stands first in the layer is the main one",
    "area": "all goes down the branch with the largest upstream area",
    "order": "all goes down the branch with the highest order in the layer",
}
"""How water divides where the layer gives no shares, by the option."""


def write_methods(assessment: Assessment, path: Path) -> None:
    """Write the methods page.

    Parameters
    ----------
    assessment
        What the page describes.
    path
        File to write.
    """
    path.write_text(render_methods(assessment), encoding="utf-8", newline="\n")


def render_methods(assessment: Assessment) -> str:
    """Return the methods page as HTML; everything that comes from tables is escaped.

    Parameters
    ----------
    assessment
        What the page describes.

    Returns
    -------
    str
        A whole page that needs no other file.
    """
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("watershedmap.render", "assets"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        keep_trailing_newline=True,
    )
    survey, index = assessment.survey, assessment.index
    options = survey.settings.options
    return environment.get_template("methods.html.j2").render(
        title=survey.settings.title,
        about=survey.settings.about,
        as_of_year=assessment.as_of_year,
        read=_describe_input(assessment),
        index=index,
        index_rule=INDEX_RULES.get(index.name, ""),
        parts=_list_parts(index),
        direction=f"{'Low' if index.better == 'low' else 'High'} values are good condition.",
        classes=_describe_classes(index),
        metrics=METRICS if assessment.taxa is not None else (),
        options=options,
        flow=_describe_flow(assessment),
        divergence=DIVERGENCE_RULES[options.divergence],
        inference=describe_inference(assessment),
        steps=describe_all_steps(assessment),
        combined=describe_combined_trends(assessment),
        held=_describe_held(assessment),
        percent_alpha=f"{100 * options.trend_alpha:g}",
        option_rows=_list_options(options),
        checks=_list_checks(assessment),
        replicates=_describe_replicates(assessment),
        usual_source=_usual_source(assessment.taxa),
        taxa=_list_taxa(assessment.taxa),
        notices=assessment.notices,
        version=version("watershedmap"),
    )


def _describe_input(assessment: Assessment) -> list[str]:
    survey, samples, sites = assessment.survey, assessment.samples, assessment.sites
    lines = [
        f"{len(sites)} sites, {int((sites['reach_id'].notna()).sum())} of them placed on a reach",
        (
            f"{len(samples)} samples, {int(samples['score'].notna().sum())} with a score, "
            f"{int(samples['used'].sum())} used for condition and trend; "
            f"{samples['date'].min():%Y-%m-%d} to {samples['date'].max():%Y-%m-%d}"
        ),
        f"{len(assessment.reaches)} reaches, {assessment.reaches['length_km'].sum():.1f} km of stream",
    ]
    if assessment.subwatersheds is not None:
        lines.append(f"{len(assessment.subwatersheds)} sub-watersheds")
    if survey.settings.map.host:
        lines.append(
            f"A background map from {survey.settings.map.host} on the map page, off until a reader "
            "switches it on; no result rests on it"
        )
    files = sorted({path.name for path in survey.inputs})
    return [*lines, f"Files: {', '.join(files)} (hashes in manifest.json)"]


def _describe_classes(index: Index) -> list[dict[str, Any]]:
    """Write the limits of each class the way a reader would."""
    rows = []
    worse = "over" if index.better == "low" else "under"
    previous: float | None = None
    for number, item in enumerate(index.classes, start=1):
        until = None if item.limit is None else f"{item.limit:.{index.decimals}f}"
        since = None if previous is None else f"{worse} {previous:.{index.decimals}f}"
        best = f"{until} {'or less' if index.better == 'low' else 'or more'}"
        span = best if since is None else since if until is None else f"{since} to {until}"
        rows.append({"number": number, "label": item.label, "span": span, "meaning": item.meaning})
        previous = item.limit
    return rows


def _describe_flow(assessment: Assessment) -> str:
    network = assessment.survey.network
    if network.has_flow:
        return "The direction of flow is known from the layer, so order, tracing and inference are given."
    return (
        "The direction of flow could not be established from this layer: no stream order, no upstream or "
        "downstream figures and no inferred condition are given, only what was measured on a reach."
    )


def _describe_held(assessment: Assessment) -> str:
    """Say how many of the sites with a direction would hold with false discovery held down over all."""
    rate = assessment.survey.settings.options.false_discovery
    trends = assessment.sites["trend"]
    directed = int(trends.isin([IMPROVING, WORSENING]).sum())
    held = count_held(assessment.sites, rate=rate)
    return f"{directed} site(s) show a direction; {held} of them hold with false discovery at {rate:g}"


def _list_options(options: Options) -> list[dict[str, str]]:
    defaults = asdict(Options())
    return [
        {"name": name, "value": _show(value), "default": _show(defaults[name])}
        for name, value in asdict(options).items()
    ]


def _show(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(map(str, value)) or "all"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _list_checks(assessment: Assessment) -> list[dict[str, str]]:
    """Write the register with the limits in force, and how many samples each check hit."""
    settings = assessment.survey.settings
    hits = assessment.checks.groupby("check")["sample_id"].nunique()
    rows = []
    for check in list_checks(settings.quality, settings.options).to_dict("records"):
        limit = "" if math.isnan(check["limit"]) else f"{check['limit']:g} {check['unit']}".strip()
        hit = str(hits.get(check["check"], 0))
        rows.append(
            {
                "label": check["label"],
                "limit": limit,
                "action": check["action"],
                "hits": hit,
                "source": check["source"],
            }
        )
    return rows


def _describe_replicates(assessment: Assessment) -> str:
    """Say what replicates show of the error beside what the counts predict."""
    found = assessment.replicates
    if not found.groups or math.isnan(found.ratio):
        return "There are no replicates to compare it with."
    return (
        f"In this survey {found.groups} sets of replicates differ with a standard deviation of "
        f"{found.observed_sd:.2f}, where the counts alone predict {found.predicted_sd:.2f}: a ratio of "
        f"{found.ratio:.1f} (90 % interval {found.ratio_low:.1f} to {found.ratio_high:.1f})."
    )


def _list_parts(index: Index) -> list[dict[str, str]]:
    """Write the metrics of a multimetric index with their scales."""
    if not isinstance(index, MultimetricIndex):
        return []
    return [
        {"metric": part.metric, "better": part.better, "scale": _describe_scale(part)}
        for part in index.metrics
    ]


def _describe_scale(part: CutPoints | Ramp) -> str:
    if isinstance(part, CutPoints):
        return f"5, 3 or 1 with cut points {part.cuts[0]:g} and {part.cuts[1]:g}"
    ends = (
        f"{end.percent:g}th percentile" if isinstance(end, Percentile) else f"{end:g}"
        for end in (part.floor, part.ceiling)
    )
    return "0 to 100 from {} to {}".format(*ends)


def _usual_source(taxa: pd.DataFrame | None) -> str:
    """Return the source that most tolerance values have, which is then said once."""
    if taxa is None or taxa["tolerance"].isna().all():
        return ""
    return str(taxa.loc[taxa["tolerance"].notna(), "tolerance_source"].mode().iloc[0])


def _list_taxa(taxa: pd.DataFrame | None) -> list[dict[str, str]]:
    if taxa is None:
        return []
    rows = []
    usual = _usual_source(taxa)
    for name, row in taxa.iterrows():
        unknown = not row["known"]
        rows.append(
            {
                "name": str(name),
                "taxon": "unknown" if unknown else row["taxon"],
                "family": row["family"] or EN_DASH,
                "order": row["order"] or row["group"] or EN_DASH,
                "tolerance": "none" if math.isnan(row["tolerance"]) else f"{row['tolerance']:g}",
                "origin": row["origin"],
                "source": "" if row["tolerance_source"] == usual else row["tolerance_source"],
            }
        )
    return rows
