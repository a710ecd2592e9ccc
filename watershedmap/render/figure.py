"""Figures for reports, drawn without a browser: the map, small maps by period, a chart for each site.

Each is made from the same assessment as the map page, with the same classes, colours and signs. Sheets are
A4 lying (297 by 210 mm). Where there are more than `figure_map.DOTS_FROM` reaches, their lines are dots of
300 to the inch inside SVG and PDF, so that these open in reasonable time; all else stays lines and text.
"""

from __future__ import annotations

import logging
import math
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Polygon
from pyproj import Geod

from watershedmap.render.figure_legend import draw_legend
from watershedmap.render.figure_map import DOTS_FROM, draw_survey
from watershedmap.render.figure_marks import add_text
from watershedmap.render.figure_paper import Paper, fit_paper
from watershedmap.render.figure_periods import build_periods
from watershedmap.render.figure_series import choose_sites, draw_series, series_names
from watershedmap.render.figure_style import (
    FORMATS,
    add_sheet,
    clean,
    draw_frame,
    drawing_rules,
    new_figure,
    page_colours,
    save_figure,
    wrap,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from watershedmap.assessment import Assessment

WIDTH, HEIGHT = 841.9, 595.3
"""A4 lying, points."""
EDGE = 28.0
"""Free at each edge of the sheet, points."""
HEAD, FOOT, SIDE = 64.0, 46.0, 236.0
"""Height of the head and the foot, width of the legend, points."""
MARGIN = 14.0
"""Free within the frame of the map, points."""
SCALES = tuple(base * 10.0**power for power in range(-2, 4) for base in (1, 2, 5))
"""Lengths of a scale bar, kilometres."""
SERIES_FOLDER = "series"
ADVICE = "This map advises; it certifies nothing, and it does not say that water is safe."

log = logging.getLogger(__name__)


def write_figures(
    assessment: Assessment,
    folder: Path,
    *,
    formats: Sequence[str] = FORMATS,
    sites: Sequence[str] | None = None,
) -> list[Path]:
    """Write the map, the maps by period and the charts of sites.

    Parameters
    ----------
    assessment
        What is drawn.
    folder
        Folder that is there already; charts go into a folder `series` within it.
    formats
        Of the maps: `png`, `svg` and `pdf`.
    sites
        Ids of the sites that get a chart; left out, `figure_series.choose_sites` chooses.

    Returns
    -------
    list of pathlib.Path
        What was written: `map.*`, `periods.*` where there are two periods or more, `series/*.svg`.
    """
    title = str(assessment.survey.settings.title)
    with drawing_rules():
        sheets = {"map": build_map(assessment), "periods": build_periods(assessment)}
        written = [
            save_figure(figure, folder / f"{name}.{kind}", title=title)
            for name, figure in sheets.items()
            if figure is not None
            for kind in formats
        ]
    chosen, names = choose_sites(assessment) if sites is None else list(sites), series_names(assessment)
    if chosen:
        (folder / SERIES_FOLDER).mkdir(exist_ok=True)
    written += [draw_series(assessment, site, folder / SERIES_FOLDER / names[site]) for site in chosen]
    log.info("Drew %d figures", len(written))
    return written


def draw_map(assessment: Assessment, path: Path) -> Path:
    """Draw the map.

    Parameters
    ----------
    assessment
        What is drawn.
    path
        File to write; its ending says how: `.png`, `.svg` or `.pdf`.

    Returns
    -------
    pathlib.Path
        The file.
    """
    with drawing_rules():
        return save_figure(build_map(assessment), path, title=str(assessment.survey.settings.title))


def build_map(assessment: Assessment) -> Figure:
    """Lay out the sheet of the map.

    Parameters
    ----------
    assessment
        What is drawn.

    Returns
    -------
    matplotlib.figure.Figure
        Not written yet; to be made and written within `figure_style.drawing_rules`.
    """
    figure = new_figure(WIDTH, HEIGHT)
    width, height = WIDTH - 2 * EDGE - SIDE - 16, HEIGHT - 2 * EDGE - HEAD - FOOT
    paper = fit_paper(survey_bounds(assessment), width, height, MARGIN)
    body = add_sheet(figure, (EDGE, EDGE + FOOT, width, height))
    draw_frame(body, width, height)
    corners = [(0.0, 0.0, 40 + width / 4, 30.0), (width - 32, height - 44, width, height)]
    drawn = draw_survey(body, assessment, paper, reserved=corners)
    draw_scale(body, paper)
    draw_north(body, width - 16, height - 24)
    legend = add_sheet(figure, (WIDTH - EDGE - SIDE, EDGE + FOOT, SIDE, height))
    draw_legend(legend, assessment, drawn)
    draw_head(add_sheet(figure, (EDGE, HEIGHT - EDGE - HEAD, WIDTH - 2 * EDGE, HEAD)), assessment)
    draw_foot(add_sheet(figure, (EDGE, EDGE, WIDTH - 2 * EDGE, FOOT - 6)), assessment)
    return figure


def survey_bounds(assessment: Assessment) -> tuple[float, float, float, float]:
    """Return the bounds of all that is drawn.

    Parameters
    ----------
    assessment
        What is drawn.

    Returns
    -------
    tuple of float
        West, south, east and north, degrees; infinite where nothing has a place.
    """
    frames = [assessment.reaches, assessment.sites, assessment.subwatersheds]
    bounds = np.array([frame.total_bounds for frame in frames if frame is not None and len(frame)])
    known = bounds[np.isfinite(bounds).all(axis=1)] if len(bounds) else bounds
    if not len(known):
        return (-math.inf, -math.inf, math.inf, math.inf)
    west, south = known[:, :2].min(axis=0)
    east, north = known[:, 2:].max(axis=0)
    return float(west), float(south), float(east), float(north)


def draw_head(axes: Axes, assessment: Assessment) -> None:
    """Write title, index, years, and what the survey says about itself.

    Parameters
    ----------
    axes
        A sheet in points.
    assessment
        What is drawn.
    """
    width, height = axes.get_xlim()[1], axes.get_ylim()[1]
    settings, index = assessment.survey.settings, assessment.index
    title = wrap(clean(settings.title, 300) or "Untitled survey", width, 17, most_lines=1, weight="bold")[0]
    add_text(axes, 0, height - 10, title, 17, weight="bold", serif=True)
    years = assessment.yearly["year"]
    span = f"samples {years.min()}\u2013{years.max()}" if len(years) else "no scored sample"
    facts = f"{clean(index.label, 80)} \u00b7 {span} \u00b7 condition as of {assessment.as_of_year}"
    add_text(axes, 0, height - 27, facts, 8.6, colour=page_colours()["muted"])
    about = wrap(clean(settings.about, 600), width - 10, 8.2, most_lines=2)
    for n, line in enumerate(about):
        add_text(axes, 9, height - 40 - 10.5 * n, line, 8.2)
    if about:
        low = height - 40 - 10.5 * len(about) + 5
        axes.plot(
            [2, 2],
            [low, height - 35],
            color=page_colours()["caution"],
            linewidth=2,
            scalex=False,
            scaley=False,
        )


def draw_foot(axes: Axes, assessment: Assessment) -> None:
    """Write the sources, and that the figure advises and certifies nothing.

    Parameters
    ----------
    axes
        A sheet in points.
    assessment
        What is drawn.
    """
    width, height = axes.get_xlim()[1], axes.get_ylim()[1]
    muted = page_colours()["muted"]
    add_text(axes, 0, height - 5, ADVICE, 7.4, weight="bold")
    source = clean(assessment.index.source, 900) or "not stated by the survey"
    words = (
        f"Source of the index and its classes: {source}. "
        "Streams, sites and samples: the layers and tables of the survey."
    )
    if len(assessment.reaches) > DOTS_FROM:
        words += " Lines are dots of 300 to the inch, for there are very many."
    for n, line in enumerate(wrap(words, width, 6.6, most_lines=3)):
        add_text(axes, 0, height - 16 - 8.6 * n, line, 6.6, colour=muted)


def draw_scale(axes: Axes, paper: Paper) -> None:
    """Draw a scale bar in the lower left corner.

    Parameters
    ----------
    axes
        The sheet of the map.
    paper
        Where places lie on it.
    """
    km, length = scale_bar(paper)
    ink, x, y = page_colours()["ink"], 10.0, 12.0
    for colour, width in ((page_colours()["map"], 4.0), (ink, 1.2)):
        axes.plot(
            [x, x, x + length, x + length],
            [y + 5, y, y, y + 5],
            color=colour,
            linewidth=width,
            solid_joinstyle="miter",
            zorder=8,
            scalex=False,
            scaley=False,
        )
    words = f"{km:g} km" + (" in the middle of the map" if paper.uneven else "")
    add_text(axes, x + 4, y + 7, words, 7.4, halo=2.2, zorder=9)


def scale_bar(paper: Paper) -> tuple[float, float]:
    """Find a round length for the scale bar.

    Parameters
    ----------
    paper
        Where places lie.

    Returns
    -------
    tuple of float
        Kilometres, geodesic along the middle latitude of the sheet, and points; at most a quarter of its
        width.
    """
    longitude, latitude = paper.middle
    geod = Geod(ellps="WGS84")
    degree_km = geod.inv(longitude - 0.005, latitude, longitude + 0.005, latitude)[2] / 10
    to_points = paper.across / degree_km
    fitting = [km for km in SCALES if km * to_points <= paper.width / 4]
    km = fitting[-1] if fitting else SCALES[0]
    return km, km * to_points


def draw_north(axes: Axes, x: float, y: float) -> None:
    """Draw a north mark.

    Parameters
    ----------
    axes
        A sheet in points.
    x, y
        Middle of the mark.
    """
    ink, paper = page_colours()["ink"], "#ffffff"
    for side, face in ((-1, ink), (1, paper)):
        corners = [(x, y + 13), (x + 5 * side, y - 4), (x, y - 0.5)]
        axes.add_patch(Polygon(corners, facecolor=face, edgecolor=ink, linewidth=0.7, zorder=8))
    add_text(axes, x, y - 10, "N", 8, weight="bold", align="center", halo=2.2, zorder=9)
