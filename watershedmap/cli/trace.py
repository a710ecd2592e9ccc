"""`watershedmap trace`: the way of the water down from a place, and what lies upstream of it."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the annotation when it runs
from typing import TYPE_CHECKING, Annotated

import typer

from watershedmap.cli.shared import (
    Folder,
    Quiet,
    Verbose,
    deliver,
    find_id,
    plain_errors,
    printable,
    refuse,
    start_log,
)

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.assessment import Assessment


def trace(
    folder: Folder,
    *,
    site: Annotated[
        str | None, typer.Option("--site", "-s", metavar="ID", help="Start at this site.", show_default=False)
    ] = None,
    reach: Annotated[
        str | None,
        typer.Option("--reach", metavar="ID", help="Start where this reach ends.", show_default=False),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Write to this file instead of the screen."),
    ] = None,
    verbose: Verbose = False,
    quiet: Quiet = False,
) -> None:
    """Follow the water from a site or a reach down to the outlet, and sum up all that lies upstream.

    Leaves with 0 when it is done, 1 when the survey has faults, 2 when it cannot be done as asked.

    Example: watershedmap trace demo_data --site S05 --quiet
    """
    start_log(verbose=verbose, quiet=quiet)
    if (site is None) == (reach is None):
        refuse("name a place to start from: --site ID or --reach ID, one of the two")
    with plain_errors():
        from watershedmap.assessment import assess  # noqa: PLC0415 - heavy, and `--help` does not need it

        assessment = assess(folder)
        if not assessment.survey.network.has_flow:
            refuse("the direction of flow of this layer is unknown, so nothing can be traced; see check")
        row, position_m, title = _find_place(assessment, site, reach)
        if assessment.survey.network.in_cycle[row]:
            refuse("this reach lies in a circle of reaches, which is left out of tracing; see check")
        lines = [title, *_describe_down(assessment, row, position_m)]
        lines += ["", *_describe_upstream(assessment, row, position_m)]
        deliver("\n".join(printable(line) for line in lines) + "\n", output, folder=folder)


def _find_place(assessment: Assessment, site: str | None, reach: str | None) -> tuple[int, float, str]:
    """Return the row of the reach, the metres up from its lower end, and a title."""
    sites, reaches = assessment.sites, assessment.reaches
    if site is None:
        row = find_id(reaches["reach_id"], str(reach), "reach")
        return row, 0.0, f"From the lower end of reach {_name(reaches.iloc[row], 'reach_id')}"
    own = sites.iloc[find_id(sites["site_id"], site, "site")]
    if own["reach_id"] != own["reach_id"] or own["reach_id"] is None:
        refuse(f"site {site} lies on no reach, so nothing can be traced from it")
    row = find_id(reaches["reach_id"], str(own["reach_id"]), "reach")
    title = f"From site {_name(own, 'site_id')} on reach {own['reach_id']}"
    if own["position_m"] != own["position_m"]:
        middle = float(assessment.survey.network.length_km[row]) * 500.0
        return row, middle, f"{title}, where on it is not known: taken at its middle"
    return row, float(own["position_m"]), title


def _name(row: pd.Series, key: str) -> str:
    return f"{row[key]} ({row['name']})" if row["name"] and row["name"] != row[key] else str(row[key])


def _describe_down(assessment: Assessment, row: int, position_m: float) -> list[str]:
    """Write one line for each reach on the way down."""
    from watershedmap.condition.way import follow_down  # noqa: PLC0415 - loaded by now

    way = follow_down(
        assessment.survey.network, assessment.reaches, assessment.sites, reach=row, position_m=position_m
    )
    network, last = assessment.survey.network, _last_row(assessment, way)
    goal = "a circle of reaches, which is not traced" if network.enters_cycle[last] else "the outlet"
    lines = [f"Down to {goal}: {way['distance_km'].iloc[-1]:.1f} km, {len(way)} reach(es)"]
    for _, step in way.iterrows():
        sites = f"; sites {step['site_ids']}" if step["site_ids"] else ""
        place = f"  {step['distance_km']:7.1f} km  {_name(step, 'reach_id')}"
        lines.append(f"{place}: {_condition(step, assessment)}{sites}")
    if network.leaves_layer[last]:
        lines.append("  The water goes on beyond the layer.")
    return lines


def _last_row(assessment: Assessment, way: pd.DataFrame) -> int:
    return find_id(assessment.reaches["reach_id"], str(way["reach_id"].iloc[-1]), "reach")


def _condition(row: pd.Series, assessment: Assessment) -> str:
    if row["score"] != row["score"]:
        return str(row["evidence"])
    return f"{_score(row, assessment)}, {row['evidence']}"


def _score(row: pd.Series, assessment: Assessment) -> str:
    """Write class and score, rounded as for the class."""
    from watershedmap.scoring.classes import write_rounded  # noqa: PLC0415 - loaded by now

    return f"{row['class']}, {write_rounded(row['score'], assessment.index.decimals)}"


def _describe_upstream(assessment: Assessment, row: int, position_m: float) -> list[str]:
    """Write the upstream summary of the reach, and the sites above the place."""
    from watershedmap.condition.way import find_upstream  # noqa: PLC0415 - loaded by now

    own = assessment.reaches.iloc[row]
    above, sites = find_upstream(
        assessment.survey.network, assessment.reaches, assessment.sites, reach=row, position_m=position_m
    )
    total, known = own["upstream_km"], own["upstream_assessed_km"]
    lines = [f"Upstream, the whole reach included: {total:.1f} km of stream, {len(above)} reach(es)"]
    kilometres = [
        f"{label} {own[f'upstream_km_{number}']:.1f}"
        for number, label in enumerate(assessment.index.labels, start=1)
    ]
    lines.append(f"  Kilometres: {', '.join(kilometres)}, unassessed {own['upstream_km_unassessed']:.1f}")
    if known > 0:
        score = f"{own['upstream_score']:.{assessment.index.decimals}f}"
        lines.append(f"  Mean score by length: {score}, over {known:.1f} km assessed")
    else:
        lines.append("  No reach upstream is assessed.")
    lines.append(f"  Sites above: {len(sites)}")
    on = assessment.sites[assessment.sites["reach_id"] == own["reach_id"]]
    if len(on) > 1 and on["position_m"].isna().any():
        lines.append(f"  In no known order on this reach: {', '.join(on['site_id'])}")
    for _, site in sites.sort_values("site_id").iterrows():
        score = "no score" if site["score"] != site["score"] else _score(site, assessment)
        lines.append(f"    {_name(site, 'site_id')} on {site['reach_id']}: {score}, {site['trend']}")
    return lines
