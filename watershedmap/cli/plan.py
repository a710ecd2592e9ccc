"""`watershedmap plan`: which sites to visit next season, and where to add new ones."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path  # noqa: TC003 - typer reads the annotation when it runs
from typing import TYPE_CHECKING, Annotated, Any

import typer

from watershedmap.cli.shared import (
    Folder,
    Quiet,
    Verbose,
    deliver,
    plain_errors,
    printable,
    refuse,
    spare_inputs,
    start_log,
    write_whole,
)

if TYPE_CHECKING:
    from watershedmap.planning.visits import Plan


def plan(
    folder: Folder,
    *,
    visits: Annotated[
        int | None,
        typer.Option("--visits", "-n", metavar="N", min=1, help="How many visits.", show_default=False),
    ] = None,
    days: Annotated[
        int | None,
        typer.Option(
            "--days", metavar="D", min=1, help="No more days of field work than this.", show_default=False
        ),
    ] = None,
    sites_per_day: Annotated[
        int | None,
        typer.Option("--sites-per-day", metavar="K", min=1, help="Most visits in a day [default: settings]."),
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option("--seed", metavar="S", min=0, help="Start of the random draw [default: settings]."),
    ] = None,
    access: Annotated[
        Path | None,
        typer.Option(
            "--access", metavar="FILE", help="Map layer of roads or access points.", show_default=False
        ),
    ] = None,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", metavar="FILE", help="Write the table (CSV).")
    ] = None,
    layer: Annotated[Path | None, typer.Option("--layer", metavar="FILE", help="Write a GeoPackage.")] = None,
    gpx: Annotated[
        Path | None, typer.Option("--gpx", metavar="FILE", help="Write waypoints (GPX 1.1).")
    ] = None,
    geojson: Annotated[Path | None, typer.Option("--geojson", metavar="FILE", help="Write GeoJSON.")] = None,
    calendar: Annotated[
        Path | None,
        typer.Option("--calendar", metavar="FILE", help="Write the days as a calendar; needs --start."),
    ] = None,
    start: Annotated[
        str | None,
        typer.Option("--start", metavar="DATE", help="First day, YYYY-MM-DD.", show_default=False),
    ] = None,
    verbose: Verbose = False,
    quiet: Quiet = False,
) -> None:
    """Choose next season's visits: what must go on, what is old or unsure, and what nobody has sampled.

    How the visits are weighed is said in the section [plan] of survey.toml; the plan states it. The plan is
    printed in words; the options write it to files. It advises: the crew decides on the spot.
    Leaves with 0 when it is done, 1 when the survey has faults, 2 when it cannot be done as asked.

    Example: watershedmap plan demo_data --visits 12 --quiet
    """
    start_log(verbose=verbose, quiet=quiet)
    if visits is None and days is None:
        refuse("say how many visits there can be: --visits N, or --days D, or both")
    first = _read_start(start, calendar)
    targets = {"table": output, "layer": layer, "gpx": gpx, "geojson": geojson, "calendar": calendar}
    files = {kind: path for kind, path in targets.items() if path is not None}
    if len({path.resolve() for path in files.values()}) < len(files):
        refuse("two of the files to write are the same; name different files")
    with plain_errors():
        from watershedmap.render.visits import tell_plan  # noqa: PLC0415 - heavy

        for path in files.values():
            spare_inputs(path, folder)
            if access is not None and path.resolve() == access.resolve():
                refuse(f"{path} is the layer of access; name another file")
        made, decimals = _make_plan(
            folder,
            visits=visits,
            days=days,
            access=access,
            given={"sites_per_day": sites_per_day, "seed": seed},
        )
        _write_files(made, files, decimals=decimals, start=first)
        deliver("\n".join(printable(line) for line in tell_plan(made)) + "\n", None, folder=folder)
    for path in files.values():
        typer.echo(printable(f"Written: {path}"))


def _read_start(start: str | None, calendar: Path | None) -> date | None:
    """Read the first day; a calendar needs one, and it is of no use without a calendar."""
    if (start is None) != (calendar is None):
        refuse("a calendar needs a first day: give --calendar FILE and --start DATE together")
    if start is None:
        return None
    try:
        return date.fromisoformat(start)
    except ValueError:
        refuse(f"{start} is no date; write it as YYYY-MM-DD")


def _make_plan(
    folder: Path,
    *,
    visits: int | None,
    days: int | None,
    access: Path | None,
    given: dict[str, int | None],
) -> tuple[Plan, int]:
    """Assess the survey and choose the visits; return the plan and the decimals of the index."""
    from watershedmap.assessment import assess  # noqa: PLC0415 - heavy, and `--help` does not need it
    from watershedmap.planning.visits import plan_visits  # noqa: PLC0415 - the same
    from watershedmap.readers.access import read_access  # noqa: PLC0415 - the same

    roads = None if access is None else read_access(access)
    assessment = assess(folder)
    chosen: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    settings = replace(assessment.survey.settings.plan, **chosen)
    limits = [visits, None if days is None else days * settings.sites_per_day]
    count = min(limit for limit in limits if limit is not None)
    return plan_visits(assessment, settings, visits=count, access=roads), assessment.index.decimals


def _write_files(plan: Plan, files: dict[str, Path], *, decimals: int, start: date | None) -> None:
    """Write what was asked for; all texts are made before the first file is written."""
    from watershedmap.planning.reasons import CAUTION, describe_plan  # noqa: PLC0415 - loaded by now
    from watershedmap.render.calendar import make_calendar  # noqa: PLC0415 - the same
    from watershedmap.render.gpx import make_gpx  # noqa: PLC0415 - the same
    from watershedmap.render.visits import make_geojson, make_table, write_layer  # noqa: PLC0415 - the same

    texts = {}
    if "table" in files:
        texts["table"] = make_table(plan, decimals=decimals)
    if "gpx" in files:
        about = ". ".join([CAUTION.rstrip("."), *describe_plan(plan)])
        texts["gpx"] = make_gpx(plan.visits, title=f"{plan.title}: visits", about=about)
    if "geojson" in files:
        texts["geojson"] = make_geojson(plan)
    if start is not None:
        texts["calendar"] = make_calendar(plan.visits, start=start, title=plan.title)
    if "layer" in files:
        write_layer(plan, files["layer"])
    for kind, text in texts.items():
        write_whole(files[kind], text)
