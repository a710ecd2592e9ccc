"""The methods page: what was computed, from which source, with which options.

Whoever doubts a figure must be able to follow it here, so every option and every taxon is listed, and every
notice repeated.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from dataclasses import asdict
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import jinja2

from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX
from watershedmap.scoring.metrics import METRICS
from watershedmap.scoring.quality import WITHOUT_TOLERANCE_LIMIT
from watershedmap.settings import Options

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from watershedmap.assessment import Assessment
    from watershedmap.scoring.indices import Index

EN_DASH = "\N{EN DASH}"


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
        is_fbi=index.name == FAMILY_BIOTIC_INDEX.name,
        direction=f"{'Low' if index.better == 'low' else 'High'} values are good condition.",
        classes=_describe_classes(index),
        metrics=METRICS if assessment.taxa is not None else (),
        options=options,
        flow=_describe_flow(assessment),
        percent_alpha=f"{100 * options.trend_alpha:g}",
        option_rows=_list_options(options),
        flags=_count_flags(assessment.samples["flags"]),
        tolerance_limit=f"{WITHOUT_TOLERANCE_LIMIT:.0%}",
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


def _count_flags(flags: pd.Series) -> list[tuple[str, int]]:
    """Count samples by flag, leaving out the figure inside a flag so that like ones are counted together."""
    kinds: Counter[str] = Counter()
    for joined in flags[flags != ""]:
        kinds.update(
            re.sub(r"(^|from )\d+ individuals?", r"\1some individuals", flag) for flag in joined.split("; ")
        )
    return sorted(kinds.items(), key=lambda item: (-item[1], item[0]))


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
                "source": "" if row["tolerance_source"] == usual else row["tolerance_source"],
            }
        )
    return rows
