"""`watershedmap limits`: draw class limits from reference sites and write them as TOML."""

from __future__ import annotations

import difflib
from math import isnan
from pathlib import Path  # noqa: TC003 - typer reads the annotation when it runs
from typing import TYPE_CHECKING, Annotated

import typer

from watershedmap.cli.shared import (
    Folder,
    Quiet,
    Verbose,
    deliver,
    plain_errors,
    refuse,
    start_log,
)

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.assessment import Assessment


def limits(
    folder: Folder,
    *,
    sites: Annotated[
        str, typer.Option("--sites", metavar="IDS", help="Reference sites: their ids, separated by commas.")
    ],
    percentile_type: Annotated[
        int,
        typer.Option("--percentile-type", metavar="TYPE", help="Type of percentile, 6 or 7.", min=6, max=7),
    ] = 7,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Write to this file instead of the screen."),
    ] = None,
    verbose: Verbose = False,
    quiet: Quiet = False,
) -> None:
    """Draw class limits from the condition of reference sites: their 25th and 5th percentile.

    Each reference site counts once, with its condition. The text is TOML: the section [index] of survey.toml,
    or the classes of a definition file where the survey has one.

    Leaves with 0 when it is done, 1 when the survey has faults, 2 when it cannot be done as asked.

    Example: watershedmap limits demo_data --sites S01,S02,S12,S13,S22,S23 --quiet
    """
    start_log(verbose=verbose, quiet=quiet)
    with plain_errors():
        from watershedmap.assessment import assess  # noqa: PLC0415 - heavy, and `--help` does not need it
        from watershedmap.scoring.indices import INDICES  # noqa: PLC0415 - the same
        from watershedmap.scoring.reference import write_classes  # noqa: PLC0415 - the same
        from watershedmap.scoring.scales import MultimetricIndex  # noqa: PLC0415 - the same

        assessment = assess(folder)
        index, built_in = assessment.index, assessment.index.name in INDICES
        try:
            text = write_classes(
                _pick_scores(assessment, sites),
                better=index.better,
                decimals=index.decimals,
                kind=percentile_type,
                use="" if isinstance(index, MultimetricIndex) else index.name,
                label="" if built_in else index.label,
                own_direction=built_in,
            )
        except ValueError as error:
            refuse(str(error))
        deliver(text, output, folder=folder)


def _pick_scores(assessment: Assessment, sites: str) -> pd.Series:
    """Return the condition of each site named, once; refuse unknown sites and those without a score."""
    scores = assessment.sites.set_index("site_id")["score"]
    wanted = list(dict.fromkeys(name.strip() for name in sites.split(",") if name.strip()))
    for name in wanted:
        if name not in scores.index:
            near = difflib.get_close_matches(name, list(scores.index), n=1, cutoff=0.0)
            refuse(f"there is no site {name}; the nearest is {', '.join(near)}")
    bare = [name for name in wanted if isnan(scores[name])]
    if bare:
        refuse(f"no score, so no use as a reference: {', '.join(bare)}; leave them out")
    return scores.reindex(wanted)
