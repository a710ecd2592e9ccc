"""Names on a figure: ids beside sites, sub-watersheds in their middle, streams along their lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from watershedmap.render.figure_layout import Label, Occupancy, Spot, box_about, label_lines, label_spots
from watershedmap.render.figure_marks import LABELS, add_text
from watershedmap.render.figure_paper import join_lines
from watershedmap.render.figure_style import clean, page_colours, text_width
from watershedmap.render.page_columns import texts

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from watershedmap.assessment import Assessment
    from watershedmap.render.figure_paper import Floats, Paper, Shapes

MOST_AREA_NAMES = 60
"""Sub-watersheds from which they carry their id and not their name."""
AREA_LETTERS, SITE_LETTERS, STREAM_LETTERS = 7.0, 6.6, 7.6
"""Size of names, points."""
MOST_NAME = 28
"""Longest name of a stream or a sub-watershed, characters."""
MOST_ID = 16
"""Longest id of a site, characters."""
AREA_SHIFTS = sorted(
    ((float(dx), float(dy)) for dy in range(-48, 49, 12) for dx in range(-45, 46, 15)),
    key=lambda at: (np.hypot(*at), at),
)
"""Where the name of a sub-watershed may stand about its best place, points: the nearest first."""


@dataclass(frozen=True, slots=True)
class SiteNames:
    """Where sites stand, for their names."""

    spots: list[Spot]
    """As from `figure_layout.part_sites`."""
    radius: float
    """Of a site, points."""
    shown: bool
    """Whether there are few enough for names."""


def write_names(
    axes: Axes, assessment: Assessment, taken: Occupancy, *, names: SiteNames, paper: Paper, lines: Shapes
) -> None:
    """Write all names that find room.

    Parameters
    ----------
    axes
        A sheet in points.
    assessment
        What is drawn.
    taken
        What is covered; names are added to it.
    names
        Where sites stand.
    paper
        Where places lie on the sheet.
    lines
        Lines of the reaches, in points.
    """
    colours = page_colours()
    sites = _place_site_names(assessment, names, taken) if names.shown else []
    for label in _place_area_names(assessment, paper, taken):
        _write(axes, label, AREA_LETTERS, colour=colours["label-area"], weight="bold")
    for label in sites:
        _write(axes, label, SITE_LETTERS, colour=colours["ink"], weight="bold")
    for label in _place_stream_names(assessment, lines, taken):
        _write(axes, label, STREAM_LETTERS, colour=colours["water"], style="italic")


def _place_site_names(assessment: Assessment, names: SiteNames, taken: Occupancy) -> list[Label]:
    words = [clean(text, MOST_ID) for text in texts(assessment.sites, "site_id")]
    widths = [text_width(name, SITE_LETTERS, weight="bold") for name in words]
    return label_spots(names.spots, words, widths, taken, radius=names.radius)


def _write(axes: Axes, label: Label, size: float, **look: Any) -> None:  # noqa: ANN401 - as add_text
    add_text(
        axes,
        label.x,
        label.y,
        label.text,
        size,
        angle=label.angle,
        align="center",
        halo=2.2,
        zorder=LABELS,
        **look,
    )


def _place_area_names(assessment: Assessment, paper: Paper, taken: Occupancy) -> list[Label]:
    """Write the name of each sub-watershed in it, or its id, or nothing where neither finds room."""
    areas = assessment.subwatersheds
    if areas is None:
        return []
    shapes = paper.place_shapes(areas.geometry)
    shapes[~(shapely.area(shapes) > 0)] = None
    centres = shapely.get_point(shapely.maximum_inscribed_circle(shapes, tolerance=1.0), 0)
    names = zip(texts(areas, "name"), texts(areas, "subwatershed_id"), strict=True)
    few = len(areas) <= MOST_AREA_NAMES
    found = []
    for shape, centre, (name, key) in zip(shapes, centres, names, strict=True):
        if shape is None or centre is None:
            continue
        tries = [clean(text, MOST_NAME) for text in ((name, key) if few else (key,)) if text]
        label = next((spot for text in tries if (spot := _place_area_name(text, shape, centre, taken))), None)
        if label:
            found.append(label)
    return found


def _place_area_name(text: str, shape: Any, centre: Any, taken: Occupancy) -> Label | None:  # noqa: ANN401
    half = text_width(text, AREA_LETTERS, weight="bold") / 2 + 2
    west, _, east, _ = shape.bounds
    if 2 * half > 1.15 * (east - west):
        return None
    for dx, dy in AREA_SHIFTS:
        x, y = centre.x + dx, centre.y + dy
        if shape.covers(shapely.Point(x, y)) and taken.claim([box_about(x, y, half, 4.5)]):
            return Label(text, x, y)
    return None


def _place_stream_names(assessment: Assessment, lines: Shapes, taken: Occupancy) -> list[Label]:
    names = np.array([clean(text, MOST_NAME) for text in texts(assessment.reaches, "name")], dtype=object)
    rows = pd.Series(np.arange(len(names))).groupby(names).groups
    chains: dict[str, list[Floats]] = {
        str(name): join_lines(lines[list(of)]) for name, of in rows.items() if name
    }
    widths = {name: text_width(name, STREAM_LETTERS, style="italic") for name in chains}
    return label_lines(chains, widths, taken, lift=8.0, tall=3.8)
