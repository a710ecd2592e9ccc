"""`watershedmap check`: read a survey, report everything that is wrong with it, write nothing."""

from __future__ import annotations

import typer

from watershedmap.cli.shared import (
    Folder,
    Quiet,
    Verbose,
    open_console,
    plain_errors,
    print_faults,
    start_log,
)
from watershedmap.errors import SurveyError


def check(folder: Folder, verbose: Verbose = False, quiet: Quiet = False) -> None:
    """Check a survey folder and report every fault at once. Nothing is written.

    Leaves with 0 when a run can go ahead, 1 when there are faults, 2 when there is no survey to check.

    Example: watershedmap check demo_data
    """
    start_log(verbose=verbose, quiet=quiet)
    console = open_console()
    with plain_errors():
        from watershedmap.assessment import assess  # noqa: PLC0415 - heavy, and `--help` does not need it

        try:
            assessment = assess(folder)
        except SurveyError as error:
            print_faults(error.faults, to=console)
            raise typer.Exit(1) from None
        print_faults(assessment.notices, to=console)
        sizes = ", ".join(
            (
                f"{len(assessment.sites)} sites",
                f"{len(assessment.samples)} samples",
                f"{len(assessment.reaches)} reaches",
                f"{len(assessment.notices)} notice(s)",
            )
        )
        console.print(f"No faults. {sizes}.")
