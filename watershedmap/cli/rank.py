"""`watershedmap rank`: degraded reaches or sub-watersheds in the order of restoration need."""

from __future__ import annotations

from pathlib import Path  # noqa: TC003 - typer reads the annotation when it runs
from typing import TYPE_CHECKING, Annotated

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
)

if TYPE_CHECKING:
    from watershedmap.assessment import Assessment
    from watershedmap.planning.ranking import Ranking


def rank(
    folder: Folder,
    *,
    areas: Annotated[bool, typer.Option("--areas", help="Rank sub-watersheds instead of reaches.")] = False,
    words: Annotated[
        bool, typer.Option("--words", help="Write a paragraph for each ranked item instead of a table.")
    ] = False,
    most: Annotated[
        int | None,
        typer.Option("--most", "-n", metavar="N", min=1, help="With --words: no more than N paragraphs."),
    ] = None,
    layer: Annotated[
        Path | None,
        typer.Option("--layer", metavar="FILE.gpkg", help="Write a map layer to this GeoPackage as well."),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", metavar="FILE", help="Write to this file instead of the screen."),
    ] = None,
    verbose: Verbose = False,
    quiet: Quiet = False,
) -> None:
    """Put what is degraded in the order of restoration need, with the range of each rank.

    Weights and limits stand under [rank] in survey.toml; all have defaults, which the log and --words state.
    Leaves with 0 when it is done, 1 when the survey has faults, 2 when it cannot be done as asked.

    Example: watershedmap rank demo_data --words --most 3 --quiet
    """
    start_log(verbose=verbose, quiet=quiet)
    _check_options(words=words, most=most, layer=layer, output=output)
    with plain_errors():
        for path in (layer, output):
            if path is not None:
                spare_inputs(path, folder)  # before anything is written
        from watershedmap.assessment import assess  # noqa: PLC0415 - heavy, and `--help` does not need it
        from watershedmap.render.tables import format_table  # noqa: PLC0415 - the same

        assessment = assess(folder)
        ranking = _rank(assessment, areas=areas)
        if words:
            text = _write_words(ranking, assessment, most)
        else:
            _log_limits(ranking)
            text = format_table(ranking.items, decimals=assessment.index.decimals)
        if layer is not None:
            _write_layer(ranking, assessment, layer)
        deliver(text, output, folder=folder)


def _check_options(*, words: bool, most: int | None, layer: Path | None, output: Path | None) -> None:
    problem = ""
    if most is not None and not words:
        problem = "--most goes with --words; the table always holds all items"
    elif layer is not None and layer.suffix.lower() != ".gpkg":
        problem = f"{layer.name} is no GeoPackage; name a file that ends in .gpkg"
    elif layer is not None and output is not None and layer.resolve() == output.resolve():
        problem = "--layer and --output name the same file"
    if problem:
        refuse(problem)


def _rank(assessment: Assessment, *, areas: bool) -> Ranking:
    from watershedmap.errors import SurveyError  # noqa: PLC0415 - loaded by now
    from watershedmap.planning.ranking import rank_areas, rank_reaches  # noqa: PLC0415 - loads much
    from watershedmap.readers.rank_columns import read_rank_columns  # noqa: PLC0415 - the same

    survey = assessment.survey
    columns, faults = read_rank_columns(survey.folder, survey.settings)
    if faults:
        raise SurveyError(faults)
    return (rank_areas if areas else rank_reaches)(assessment, columns=columns)


def _log_limits(ranking: Ranking) -> None:
    import logging  # noqa: PLC0415 - only here

    from watershedmap.planning.ranking_words import describe_ranking  # noqa: PLC0415 - loaded by now

    for line in describe_ranking(ranking):
        logging.getLogger(__name__).info("%s", printable(line))


def _write_words(ranking: Ranking, assessment: Assessment, most: int | None) -> str:
    from watershedmap.planning.ranking_words import describe_items, describe_ranking  # noqa: PLC0415 - as above

    paragraphs = describe_items(ranking, decimals=assessment.index.decimals, most=most)
    head = "\n".join(printable(line) for line in describe_ranking(ranking))
    return "\n\n".join([head, *map(printable, paragraphs)]) + "\n"


def _write_layer(ranking: Ranking, assessment: Assessment, path: Path) -> None:
    from watershedmap.render.rank_layer import write_rank_layer  # noqa: PLC0415 - loads much

    frame = assessment.reaches if "reach_id" in ranking.items else assessment.subwatersheds
    assert frame is not None  # noqa: S101 - there is a ranking of it
    write_rank_layer(ranking.items, frame.geometry, path, decimals=assessment.index.decimals)
