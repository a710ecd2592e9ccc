"""Small maps of one look, one for each run of years, so that a change shows where it happened.

Only measured reaches have a class here: nothing is inferred, and what was not measured in a period stays thin
and grey. How many reaches were measured stands under each map, because fewer coloured lines do not mean fewer
streams.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import LineCollection

from watershedmap.condition.periods import average_periods
from watershedmap.render.figure_columns import rank_of
from watershedmap.render.figure_legend import MOST_LABEL, line_sign
from watershedmap.render.figure_map import DOTS_FROM
from watershedmap.render.figure_marks import LINES, add_lines, add_text, line_strokes
from watershedmap.render.figure_paper import LEAST_CLASSED, crowding, fit_paper, join_lines
from watershedmap.render.figure_style import (
    add_sheet,
    clean,
    draw_frame,
    drawing_rules,
    new_figure,
    page_colours,
    save_figure,
    text_width,
    wrap,
)
from watershedmap.render.page_data import describe_limits

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from watershedmap.assessment import Assessment
    from watershedmap.render.figure_paper import Paper, Shapes

MOST_PERIODS = 6
"""Periods that are drawn: the last ones; how many are left out is said."""
LONG, SHORT, EDGE = 841.9, 595.3, 28.0
"""Sides of A4, and what is free at its edges, points; the sheet lies or stands as the maps are larger."""
HEAD, FOOT, BETWEEN, CAPTION, INNER = 52.0, 74.0, 14.0, 20.0, 10.0
"""Heights of the head, the foot, the gap between maps, the words under each, and free within each, points."""


def draw_periods(assessment: Assessment, path: Path) -> Path | None:
    """Draw the maps by period.

    Parameters
    ----------
    assessment
        What is drawn.
    path
        File to write; its ending says how: `.png`, `.svg` or `.pdf`.

    Returns
    -------
    pathlib.Path or None
        The file; None, and no file, where there are fewer than two periods.
    """
    with drawing_rules():
        figure = build_periods(assessment)
        title = str(assessment.survey.settings.title)
        return None if figure is None else save_figure(figure, path, title=f"{title} by period")


def build_periods(assessment: Assessment) -> Figure | None:
    """Lay out the sheet of maps.

    Parameters
    ----------
    assessment
        What is drawn.

    Returns
    -------
    matplotlib.figure.Figure or None
        To be made and written within `figure_style.drawing_rules`; None with fewer than two periods.
    """
    options = assessment.survey.settings.options
    frame = average_periods(
        assessment.yearly,
        assessment.sites,
        as_of_year=assessment.as_of_year,
        years=options.recent_years,
        index=assessment.index,
    )
    lasts = sorted(frame["last_year"].unique().tolist())
    if len(lasts) < 2:  # noqa: PLR2004 - one map is no comparison
        return None
    shown = lasts[-MOST_PERIODS:]
    grid = _choose_grid(_bounds(assessment), len(shown))
    paper, width, height = grid.paper, grid.paper.width, grid.paper.height + CAPTION
    figure = new_figure(grid.page_width, grid.page_height)
    lines = paper.place_shapes(assessment.reaches.geometry)
    ever = assessment.reaches["reach_id"].isin(frame["reach_id"]).to_numpy()
    thin = 0.8 * crowding(lines[ever], least=LEAST_CLASSED), 0.8 * crowding(lines)
    for n, last in enumerate(shown):
        left = EDGE + n % grid.columns * (width + BETWEEN)
        top = grid.page_height - EDGE - HEAD - n // grid.columns * (height + BETWEEN)
        body = add_sheet(figure, (left, top - height + CAPTION, width, height - CAPTION))
        words = add_sheet(figure, (left, top - height, width, CAPTION))
        part = frame[frame["last_year"] == last]
        _draw_period(body, assessment, lines, part, paper=paper, thin=thin)
        _write_caption(words, assessment, part)
    _write_head(figure, assessment, len(lasts) - len(shown))
    _write_foot(figure, assessment)
    return figure


@dataclass(frozen=True, slots=True)
class Grid:
    """How maps of one size stand on a sheet."""

    columns: int
    """Maps side by side."""
    paper: Paper
    """Where places lie on each map."""
    page_width: float
    """Width of the sheet, points."""
    page_height: float
    """Height of the sheet, points: no more than the maps need."""


def _choose_grid(bounds: tuple[float, float, float, float], n: int) -> Grid:
    """Choose the sheet and the number of columns that draw the maps largest."""
    grids = []
    for (across, up), columns in product(((LONG, SHORT), (SHORT, LONG)), range(1, n + 1)):
        rows = -(-n // columns)
        width = (across - 2 * EDGE - (columns - 1) * BETWEEN) / columns
        rest = 2 * EDGE + HEAD + FOOT + (rows - 1) * BETWEEN + rows * CAPTION
        paper = fit_paper(bounds, width, (up - rest) / rows, INNER)
        needed = min(paper.height, (bounds[3] - bounds[1]) * paper.up + 2 * INNER)
        grids.append(Grid(columns, fit_paper(bounds, width, needed, INNER), across, rest + rows * needed))
    return max(grids, key=lambda grid: (round(grid.paper.up, 6), -grid.columns))


def _bounds(assessment: Assessment) -> tuple[float, float, float, float]:
    frames = [assessment.reaches, assessment.subwatersheds]
    bounds = np.array([frame.total_bounds for frame in frames if frame is not None and len(frame)])
    west, south = np.nanmin(bounds[:, :2], axis=0)
    east, north = np.nanmax(bounds[:, 2:], axis=0)
    return float(west), float(south), float(east), float(north)


def _draw_period(
    axes: Axes,
    assessment: Assessment,
    lines: Shapes,
    part: pd.DataFrame,
    *,
    paper: Paper,
    thin: tuple[float, float],
) -> None:
    """Draw one map; `thin` is the share of the full width for lines with a class and for the others."""
    k = len(assessment.index.classes)
    draw_frame(axes, paper.width, paper.height)
    _draw_outline(axes, assessment, paper)
    rank = dict(zip(part["reach_id"], rank_of(part, assessment.index).tolist(), strict=True))
    ranks = np.array([rank.get(name, -1) for name in assessment.reaches["reach_id"]])
    for n in range(-1, k):
        chains = join_lines(lines[ranks == n])
        for stroke in line_strokes(n, k, thin=thin[int(n < 0)]):
            zorder = LINES + 0.25 * stroke.level + 0.001 * n
            add_lines(axes, chains, stroke, zorder=zorder, dots=len(ranks) > DOTS_FROM)


def _draw_outline(axes: Axes, assessment: Assessment, paper: Paper) -> None:
    """Draw the borders of the sub-watersheds, and no tint: their class is of today."""
    areas = assessment.subwatersheds
    if areas is None:
        return
    rings = join_lines(paper.place_shapes(areas.geometry.boundary))
    axes.add_collection(
        LineCollection(rings, colors=page_colours()["rule"], linewidths=0.6, zorder=1), autolim=False
    )


def _write_caption(axes: Axes, assessment: Assessment, part: pd.DataFrame) -> None:
    height = axes.get_ylim()[1]
    first, last = int(part["first_year"].iloc[0]), int(part["last_year"].iloc[0])
    years = f"{first}\u2013{last}" if first < last else str(first)
    frame = assessment.reaches
    where = frame["reach_id"].isin(part["reach_id"])
    km, whole = float(frame.loc[where, "length_km"].sum()), len(frame)
    measured = int(where.sum())
    words = f"{measured:,} of {whole:,} reaches measured, {km:,.1f} km"
    add_text(axes, 0, height - 8, years, 10, weight="bold")
    add_text(
        axes, text_width(years, 10, weight="bold") + 7, height - 8, words, 7.2, colour=page_colours()["muted"]
    )


def _write_head(figure: Figure, assessment: Assessment, left_out: int) -> None:
    across, up = 72 * figure.get_size_inches()
    width = across - 2 * EDGE
    axes = add_sheet(figure, (EDGE, up - EDGE - HEAD, width, HEAD))
    settings, muted = assessment.survey.settings, page_colours()["muted"]
    title = f"{clean(settings.title, 200) or 'Untitled survey'}: condition by period"
    add_text(
        axes,
        0,
        HEAD - 9,
        wrap(title, width, 16, most_lines=1, weight="bold")[0],
        16,
        weight="bold",
        serif=True,
    )
    label = clean(assessment.index.label, 80)
    facts = f"{label} \u00b7 mean of the yearly scores of each period \u00b7 measured reaches only"
    if left_out:
        facts += f" \u00b7 the last {MOST_PERIODS} periods, {left_out:,} earlier left out"
    add_text(axes, 0, HEAD - 25, wrap(facts, width, 8.6, most_lines=1)[0], 8.6, colour=muted)
    for line in wrap(clean(settings.about, 600), width, 7.8, most_lines=1):
        add_text(axes, 0, HEAD - 37, line, 7.8)


def _write_foot(figure: Figure, assessment: Assessment) -> None:
    """Write what each line means, and what not to read from the maps."""
    width = 72 * figure.get_size_inches()[0] - 2 * EDGE
    axes = add_sheet(figure, (EDGE, EDGE, width, FOOT - 10))
    index, k = assessment.index, len(assessment.index.classes)
    columns = min(k + 1, int(width // 125))
    room = width / columns
    words = [
        f"{n + 1} {clean(band.label, MOST_LABEL)}, {limits}"
        for n, (band, limits) in enumerate(zip(index.classes, describe_limits(index), strict=True))
    ]
    for n, text in enumerate([*words, "not measured"]):
        x, y = n % columns * room, FOOT - 16 - 11 * (n // columns)
        line_sign(n if n < k else -1, k)(axes, x + 14, y)
        add_text(axes, x + 32, y, wrap(text, room - 37, 7, most_lines=1)[0], 7)
    note = (
        "The wider the line, the worse the class. Nothing is inferred. Sites that joined or left between "
        "periods can make a reach look changed, and the current condition of a site counts back from its own "
        "last year, so it can differ from the last period. The maps advise; they certify nothing."
    )
    for n, line in enumerate(wrap(note, width, 6.8, most_lines=3)):
        add_text(
            axes,
            0,
            FOOT - 20 - 11 * -(-(k + 1) // columns) - 8.6 * n,
            line,
            6.8,
            colour=page_colours()["muted"],
        )
