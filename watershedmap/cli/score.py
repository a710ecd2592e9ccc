"""`watershedmap score`: the scored samples as a table, or how one sample came to its score."""

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
    from collections.abc import Sequence

    from watershedmap.assessment import Assessment
    from watershedmap.scoring.explain import Explanation


def score(
    folder: Folder,
    *,
    explain: Annotated[
        str | None,
        typer.Option("--explain", "-e", metavar="SAMPLE", help="Show how this sample came to its score."),
    ] = None,
    checks: Annotated[
        bool, typer.Option("--checks", help="List what the checks of sample quality hit, instead of scores.")
    ] = False,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Write to this file instead of the screen."),
    ] = None,
    verbose: Verbose = False,
    quiet: Quiet = False,
) -> None:
    """Score the samples of a survey folder: metrics, index, class and flags, as comma-separated text.

    Leaves with 0 when it is done, 1 when the survey has faults, 2 when it cannot be done as asked.

    Example: watershedmap score demo_data --quiet
    """
    start_log(verbose=verbose, quiet=quiet)
    if explain is not None and checks:
        refuse("--explain and --checks are two questions; ask one at a time")
    with plain_errors():
        from watershedmap.assessment import assess  # noqa: PLC0415 - heavy, and `--help` does not need it

        assessment = assess(folder)
        if explain is not None:
            text = _explain(assessment, explain)
        elif checks:
            text = _write_checks(assessment)
        else:
            text = _write_samples(assessment)
        deliver(text, output, folder=folder)


def _write_samples(assessment: Assessment) -> str:
    from watershedmap.render.tables import format_table, order_columns  # noqa: PLC0415 - loads much
    from watershedmap.scoring.metrics import METRICS  # noqa: PLC0415 - loaded by now
    from watershedmap.scoring.spread import metric_intervals  # noqa: PLC0415 - the same

    samples, survey = order_columns(assessment.samples, "samples"), assessment.survey
    if survey.counts is not None and survey.taxa is not None:
        names = [metric.name for metric in METRICS]
        spread = metric_intervals(survey.counts, survey.taxa, names, settings=survey.metric_settings)
        ends = [f"{name}_{end}" for name in names for end in ("low", "high") if f"{name}_{end}" in spread]
        samples = samples.join(spread[ends].dropna(axis=1, how="all"), on="sample_id")
    return format_table(samples, decimals=assessment.index.decimals)


def _write_checks(assessment: Assessment) -> str:
    from watershedmap.render.tables import format_table  # noqa: PLC0415 - loads much

    return format_table(assessment.checks, decimals=assessment.index.decimals)


def _explain(assessment: Assessment, sample_id: str) -> str:
    from watershedmap.scoring.explain import explain_sample  # noqa: PLC0415 - loaded by now

    survey = assessment.survey
    row = find_id(assessment.samples["sample_id"], sample_id, "sample")
    explanation = explain_sample(
        sample_id, assessment.samples, survey.counts, survey.taxa, index=assessment.index
    )
    own = assessment.samples.iloc[row]
    head = [
        f"Sample {sample_id}, site {own['site_id']}, {own['date']:%Y-%m-%d}",
        f"{explanation.index}; source: {explanation.source}",
    ]
    flags = [
        f"Flags: {own['flags'] or 'none'}",
        f"Used for condition and trend: {'yes' if own['used'] else 'no'}",
    ]
    return "\n".join(printable(line) for line in [*head, *_lay_out(explanation), "", *flags]) + "\n"


def _lay_out(explanation: Explanation) -> list[str]:
    """Write the taxa as a table, then the arithmetic line by line."""
    lines = []
    if explanation.taxa:
        rows = [("count", "name", "taken for", "value", "source or reason", "remark")]
        for line in explanation.taxa:
            taken = line.taxon or "unknown"
            value = "none" if line.value is None else f"{line.value:g}"
            rows.append((f"{line.count:g}", line.name, taken, value, line.source, line.remark))
        lines += ["", "Taxa", *_align(rows, right={0, 3})]
    steps = [(step.text, "" if step.result is None else f"{step.result:.10g}") for step in explanation.steps]
    lines += ["", "Arithmetic", *_align(steps, right={1})]
    if not explanation.agrees:
        lines.append("This arithmetic does not come to the score of the sample. Please report this.")
    return lines


def _align(rows: Sequence[tuple[str, ...]], *, right: set[int]) -> list[str]:
    cells = [[printable(cell) for cell in row] for row in rows]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    return [
        "  "
        + "  ".join(
            cell.rjust(width) if place in right else cell.ljust(width)
            for place, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    ]
