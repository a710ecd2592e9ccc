"""Sub-watersheds on a figure: a tint where measured, hatching where only inferred or unassessed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely
from matplotlib.collections import PathCollection
from matplotlib.path import Path

from watershedmap.render.figure_columns import INFERRED, MEASURED, UNASSESSED, area_evidence, rank_of
from watershedmap.render.figure_marks import AREAS
from watershedmap.render.figure_style import page_colours
from watershedmap.render.palette import class_colours, tint_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from watershedmap.assessment import Assessment
    from watershedmap.render.figure_paper import Paper, Shapes

HATCH_STRENGTH = 0.4
"""Share of the class colour in the hatching of what is only inferred, as on the page."""
FULL_BORDERS = 60
"""Sub-watersheds from which their borders grow thinner."""


def draw_areas(axes: Axes, assessment: Assessment, paper: Paper) -> None:
    """Draw all sub-watersheds, if there are any.

    Parameters
    ----------
    axes
        A sheet in points.
    assessment
        Whose sub-watersheds they are.
    paper
        Where places lie on the sheet.
    """
    areas = assessment.subwatersheds
    if areas is None:
        return
    shapes, k = paper.place_shapes(areas.geometry), len(assessment.index.classes)
    evidence, rank = area_evidence(areas), rank_of(areas, assessment.index)
    border = max(0.2, 0.7 * min(1.0, FULL_BORDERS / max(1, len(areas))) ** 0.5)
    for kind in (UNASSESSED, INFERRED, MEASURED):
        for n in range(-1, k):
            add_areas(axes, shapes[(evidence == kind) & (rank == n)], kind=kind, rank=n, k=k, border=border)


def add_areas(axes: Axes, shapes: Shapes, *, kind: int, rank: int, k: int, border: float = 0.7) -> None:
    """Draw sub-watersheds of one look.

    Parameters
    ----------
    axes
        A sheet in points.
    shapes
        Polygons, in points.
    kind
        Evidence: `MEASURED`, `INFERRED` or `UNASSESSED`.
    rank
        Of their class; below 0 without one.
    k
        Number of classes.
    border
        Width of the border, points.
    """
    known = [shape for shape in shapes if shape is not None and not shape.is_empty]
    if not known:
        return
    colours = page_colours()
    paths = [
        Path.make_compound_path(*(Path(shapely.get_coordinates(ring)) for ring in _rings(shape)))
        for shape in known
    ]
    colour = class_colours(k)[rank] if rank >= 0 else colours["nodata"]
    face = tint_of(colour) if kind == MEASURED else colours["map"]
    options: dict[str, Any] = {"facecolors": face, "edgecolors": colours["border"], "linewidths": border}
    if kind != MEASURED:
        options["hatch"] = "\\\\\\\\" if kind == INFERRED else "////"
        options["hatchcolors"] = colours["hatch"] if kind == UNASSESSED else _paler(colour)
    axes.add_collection(PathCollection(paths, zorder=AREAS, **options), autolim=False)


def _paler(colour: str) -> str:
    """Mix a colour with paper: hatching in it stays below lines and names."""
    parts = [int(colour[start : start + 2], 16) for start in (1, 3, 5)]
    return "#" + "".join(f"{round(HATCH_STRENGTH * part + (1 - HATCH_STRENGTH) * 247):02x}" for part in parts)


def _rings(shape: Any) -> list[Any]:  # noqa: ANN401 - shapely's shapes have no common type with rings
    rings: list[Any] = list(shapely.get_rings(shapely.get_parts(shape)))
    return rings
