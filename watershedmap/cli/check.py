"""`watershedmap check`: read a survey, report everything that is wrong with it, write nothing."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the annotation when it runs
from typing import Annotated

import typer

from watershedmap.cli.shared import (
    Folder,
    Quiet,
    Verbose,
    open_console,
    plain_errors,
    print_faults,
    spare_inputs,
    start_log,
    write_whole,
)
from watershedmap.errors import OutputError, SurveyError


def check(
    folder: Folder,
    *,
    page: Annotated[
        Path | None,
        typer.Option("--page", metavar="FILE", help="Write what was found in the map layers as a web page."),
    ] = None,
    points: Annotated[
        Path | None,
        typer.Option("--points", metavar="FILE", help="Write it as points, into a new GeoPackage."),
    ] = None,
    verbose: Verbose = False,
    quiet: Quiet = False,
) -> None:
    """Check a survey folder and report every fault at once. Nothing is written but what is asked for.

    Leaves with 0 when a run can go ahead, 1 when there are faults, 2 when there is no survey to check.

    Example: watershedmap check demo_data
    """
    start_log(verbose=verbose, quiet=quiet)
    console = open_console()
    with plain_errors():
        from watershedmap.assessment import assess  # noqa: PLC0415 - heavy, and `--help` does not need it

        if page is not None or points is not None:
            _write_findings(folder, page, points)
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


def _refuse_layer(path: Path) -> None:
    """Refuse a file for points that is none of ours, or that no program would know by its name."""
    import pyogrio  # noqa: PLC0415 - loads much

    if path.suffix.lower() != ".gpkg":
        raise OutputError(f"{path} is no name for a GeoPackage; let it end in .gpkg")
    if path.is_dir() or (path.exists() and pyogrio.list_layers(path)[:, 0].tolist() != ["layer_findings"]):
        raise OutputError(f"{path} holds something else; name a new file")
    if not path.parent.is_dir():
        raise OutputError(f"there is no folder {path.parent}; make it, or name another file")


def _write_findings(folder: Path, page: Path | None, points: Path | None) -> None:
    """Write what the layers themselves show; they need no samples, and may be at fault."""
    from watershedmap.readers.settings import read_settings  # noqa: PLC0415 - loads much
    from watershedmap.render.geopackage import write_findings  # noqa: PLC0415 - the same
    from watershedmap.render.layer_report import count_layers, render_layer_report  # noqa: PLC0415 - the same
    from watershedmap.streams import read_streams  # noqa: PLC0415 - the same

    settings, faults = read_settings(folder)
    for path in (page, points):
        if path is not None:
            spare_inputs(path, folder)
    if points is not None:
        _refuse_layer(points)
    if faults:
        return  # the check that follows reports them
    streams = read_streams(folder, settings)
    if streams.network is None:
        return  # the same
    if page is not None:
        text = render_layer_report(
            streams.findings,
            title=settings.title,
            counts=count_layers(streams),
            reaches=streams.reaches,
            areas=streams.subwatersheds,
        )
        write_whole(page, text)
    if points is not None:
        write_findings(streams.findings, points)
