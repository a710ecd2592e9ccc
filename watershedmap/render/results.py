"""Writes all results of an assessment into one folder, whole or not at all."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import TYPE_CHECKING

from watershedmap.errors import OutputError
from watershedmap.render.folder import staged_folder
from watershedmap.render.geopackage import write_geopackage
from watershedmap.render.layer_report import count_layers, write_layer_report
from watershedmap.render.manifest import write_manifest
from watershedmap.render.methods import write_methods
from watershedmap.render.page import write_page
from watershedmap.render.tables import write_tables

if TYPE_CHECKING:
    from watershedmap.assessment import Assessment

MAP_FILE = "map.html"
GEOPACKAGE = "condition.gpkg"
FIGURES = "figures"

log = logging.getLogger(__name__)


def write_results(assessment: Assessment, folder: str | Path, *, figures: bool = False) -> Path:
    """Write map, methods page, layer report, layers, tables and manifest.

    Parameters
    ----------
    assessment
        What to write.
    folder
        Folder for the results. An earlier result in it is replaced as a whole.
    figures
        Whether maps and charts for reports are drawn too, into a folder `figures`.

    Returns
    -------
    pathlib.Path
        The map page.

    Raises
    ------
    OutputError
        When the folder holds other things, or cannot be written; it is then left as it was.
    """
    folder = Path(folder)
    _spare_inputs(assessment, folder)
    with staged_folder(folder) as stage:
        write_page(assessment, stage / MAP_FILE)
        write_methods(assessment, stage / "methods.html")
        write_geopackage(assessment, stage / GEOPACKAGE)
        write_layer_report(
            assessment.survey.findings,
            stage / "layers.html",
            title=assessment.survey.settings.title,
            counts=count_layers(assessment.survey),
            reaches=assessment.survey.reaches,
            areas=assessment.survey.subwatersheds,
            back=MAP_FILE,
            points_in=GEOPACKAGE,
        )
        write_tables(assessment, stage)
        if figures:
            from watershedmap.render.figure import write_figures  # noqa: PLC0415 - loads much, and is asked for

            (stage / FIGURES).mkdir()
            write_figures(assessment, stage / FIGURES)
        outputs = sorted(path for path in stage.rglob("*") if path.is_file())
        write_manifest(assessment, stage / "manifest.json", outputs=outputs)
    log.info("Wrote %d files to %s", len(outputs) + 1, folder)
    return folder / MAP_FILE


def _spare_inputs(assessment: Assessment, folder: Path) -> None:
    """Refuse a folder that a file of the survey lies in: the swap would take the input away."""
    inside = [path.name for path in assessment.survey.inputs if folder.resolve() in path.resolve().parents]
    if inside:
        raise OutputError(f"{folder} holds {inside[0]}, which the survey reads; choose another folder")
