"""`watershedmap run`: assess a survey and write the map, tables and layers."""

from __future__ import annotations

import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from watershedmap.cli.shared import Folder, Quiet, Verbose, plain_errors, printable, start_log

if TYPE_CHECKING:
    from watershedmap.assessment import Assessment

WORST = 3


def run(
    folder: Folder,
    *,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", metavar="DIR", help="Folder for the results [default: output/<name of FOLDER>]."
        ),
    ] = None,
    figures: Annotated[
        bool, typer.Option("--figures", help="Draw maps and charts for reports too: PNG, SVG and PDF.")
    ] = False,
    open_map: Annotated[bool, typer.Option("--open", help="Open the map in the web browser.")] = False,
    verbose: Verbose = False,
    quiet: Quiet = False,
) -> None:
    """Assess a survey folder: score, map, trends. Results are written whole or not at all.

    Leaves with 0 when the results are written, 1 when the survey has faults, 2 when it cannot be done as
    asked.

    Example: watershedmap run demo_data
    """
    start_log(verbose=verbose, quiet=quiet)
    target = output or Path("output") / folder.resolve().name
    with plain_errors():
        from watershedmap.assessment import assess  # noqa: PLC0415 - heavy, and `--help` does not need it
        from watershedmap.render.results import write_results  # noqa: PLC0415 - the same

        assessment = assess(folder)
        page = write_results(assessment, target, figures=figures)
    for line in _summarise(assessment, page):
        typer.echo(printable(line))
    if open_map:
        webbrowser.open(page.resolve().as_uri())


def _summarise(assessment: Assessment, page: Path) -> list[str]:
    """Say where the map is, how the streams fare, and which measured reaches are worst."""
    from watershedmap.condition.reaches import INFERRED, MEASURED, UNASSESSED  # noqa: PLC0415 - loaded by now

    reaches = assessment.reaches
    lengths = reaches.groupby(["class", "evidence"])["length_km"].sum()
    shares = []
    for label in assessment.index.labels:
        measured, inferred = (lengths.get((label, evidence), 0.0) for evidence in (MEASURED, INFERRED))
        shares.append(f"{label} {measured:.1f} + {inferred:.1f}")
    unassessed = reaches.loc[reaches["evidence"] == UNASSESSED, "length_km"].sum()
    lines = [
        f"Map: {page}",
        f"As of {assessment.as_of_year}, by {assessment.index.label}; {assessment.index.better} is good",
        f"Kilometres, measured + inferred: {', '.join(shares)}; unassessed {unassessed:.1f}",
    ]
    measured = reaches[reaches["evidence"] == MEASURED]
    worst = measured.sort_values("score", ascending=assessment.index.better == "high", kind="stable").head(
        WORST
    )
    lines.append("Worst measured reaches:" if len(worst) else "No reach has a measured condition.")
    for _, reach in worst.iterrows():
        name = f" ({reach['name']})" if reach["name"] else ""
        lines.append(f"  {reach['reach_id']}{name}: {reach['score']:.2f}, {reach['class']}, {reach['trend']}")
    lines += _tell_steps(assessment)
    if assessment.notices:
        lines.append(f"{len(assessment.notices)} notice(s): see methods.html, or run watershedmap check")
    return lines


def _tell_steps(assessment: Assessment) -> list[str]:
    """Say how many steps are clear along the flow, and where the largest drop lies."""
    from watershedmap.condition.step_sentences import describe_steps  # noqa: PLC0415 - loaded by now

    names = dict(zip(assessment.sites["site_id"], assessment.sites["name"], strict=True))
    rate = assessment.survey.settings.options.false_discovery
    return describe_steps(assessment.steps, assessment.index, names=names, rate=rate)[:2]
