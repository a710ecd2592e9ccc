"""The map itself: sub-watersheds, reaches, trend arrows, steps, sites and names, from the ground up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
from matplotlib.patches import Circle

from watershedmap.render.figure_areas import draw_areas
from watershedmap.render.figure_columns import (
    INFERRED,
    UNASSESSED,
    clear_steps,
    evidence_of,
    is_uncertain,
    rank_of,
    trend_of,
)
from watershedmap.render.figure_layout import Box, Mark, Occupancy, Spot, box_about, part_sites, place_marks
from watershedmap.render.figure_marks import (
    BADGE,
    BADGE_RADII,
    BADGES,
    IMPROVING,
    LINES,
    NO_CLEAR_TREND,
    TIES,
    TOO_FEW_YEARS,
    WORSENING,
    add_badge,
    add_lines,
    add_path,
    add_site,
    add_step,
    dash_lengths,
    line_strokes,
    site_look,
)
from watershedmap.render.figure_names import SiteNames, write_names
from watershedmap.render.figure_paper import LEAST_CLASSED, Paper, crowding, join_lines, shorten_chains
from watershedmap.render.figure_style import page_colours
from watershedmap.render.page_columns import texts
from watershedmap.render.page_reaches import TRENDS
from watershedmap.render.page_steps import CLEAR

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from matplotlib.axes import Axes

    from watershedmap.assessment import Assessment
    from watershedmap.render.figure_paper import Shapes

CLEAR_TRENDS = (IMPROVING, WORSENING)
SMALLEST_RADIUS = 2.0
"""Radius of sites without a number, points."""
MOST_NAMED = 120
"""Sites that carry their id on the map."""
AWAY = 5.0
"""How far from its reach a clear trend or a step may stand where there is no room beside it, in its radii."""
DOTS_FROM = 5_000
"""Reaches from which lines are dots inside SVG and PDF, which would be slow to open otherwise."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """What found room on the map, for the legend."""

    badges: tuple[int, ...]
    """Trend arrows drawn, by the place of their trend in the list."""
    steps: int
    """Steps drawn."""
    numbers: bool
    """Whether sites carry the number of their class."""


def draw_survey(axes: Axes, assessment: Assessment, paper: Paper, *, reserved: Sequence[Box] = ()) -> Drawn:
    """Draw the whole map.

    Parameters
    ----------
    axes
        A sheet in points.
    assessment
        What is drawn.
    paper
        Where places lie on the sheet.
    reserved
        Where no arrow and no name may stand.

    Returns
    -------
    Drawn
        What found room.
    """
    lines = paper.place_shapes(assessment.reaches.geometry)
    draw_areas(axes, assessment, paper)
    draw_reaches(axes, assessment, lines)
    radius = site_radius(len(assessment.sites))
    taken = Occupancy(paper.width, paper.height)
    for box in reserved:
        taken.take(box)
    spots = _place_sites(assessment, paper, radius)
    for spot in spots:
        taken.take(box_about(spot.x, spot.y, radius))
    steps = _draw_steps(axes, assessment, paper, lines, taken)
    badges = _draw_badges(axes, assessment, lines, taken)
    numbers = radius > SMALLEST_RADIUS
    _draw_sites(axes, assessment, paper, spots, radius=radius, numbers=numbers)
    names = SiteNames(spots, radius, shown=len(spots) <= MOST_NAMED)
    write_names(axes, assessment, taken, names=names, paper=paper, lines=lines)
    return Drawn(badges, steps, numbers)


def site_radius(n: int) -> float:
    """Return the radius of sites.

    Parameters
    ----------
    n
        How many there are.

    Returns
    -------
    float
        Points; at the smallest there is no room for the number of the class.
    """
    steps = ((40, 6.6), (MOST_NAMED, 5.2), (400, 3.3))
    return next((radius for most, radius in steps if n <= most), SMALLEST_RADIUS)


def draw_reaches(axes: Axes, assessment: Assessment, lines: Shapes) -> None:
    """Draw all reaches: the unassessed below, the measured on top, the worst class last.

    Parameters
    ----------
    axes
        A sheet in points.
    assessment
        Whose reaches they are.
    lines
        Their lines, in points. They are drawn thinner where they are crowded; those with a class only as
        far as they crowd each other.
    """
    frame, k = assessment.reaches, len(assessment.index.classes)
    rank, evidence, uncertain = rank_of(frame, assessment.index), evidence_of(frame), is_uncertain(frame)
    dots = len(frame) > DOTS_FROM
    shares = crowding(lines[evidence != UNASSESSED], least=LEAST_CLASSED), crowding(lines)
    place = np.where(evidence == UNASSESSED, -1, rank)
    looks = np.column_stack([-evidence, place, uncertain])
    for n, look in enumerate(np.unique(looks, axis=0)):
        kind, worst, unsure = look.tolist()
        chains = join_lines(lines[(looks == look).all(axis=1)])
        inferred, thin = -kind == INFERRED, shares[int(worst < 0)]
        if inferred and chains:
            chains = shorten_chains(chains, *dash_lengths(thin))
        for stroke in line_strokes(worst, k, inferred=inferred, uncertain=bool(unsure), thin=thin):
            zorder = LINES + 0.25 * stroke.level + 0.001 * n
            add_lines(axes, chains, stroke, zorder=zorder, dots=dots)


def _place_sites(assessment: Assessment, paper: Paper, radius: float) -> list[Spot]:
    frame = assessment.sites
    x, y = paper.place(frame["longitude"], frame["latitude"])
    return part_sites(x, y, rank_of(frame, assessment.index).tolist(), radius)


def _draw_steps(axes: Axes, assessment: Assessment, paper: Paper, lines: Shapes, taken: Occupancy) -> int:
    steps = clear_steps(assessment)
    if steps is None or steps.empty:
        return 0
    ways = _step_ways(assessment, steps, paper, lines)
    order = steps["step_estimate"].abs().sort_values(ascending=False, kind="stable").index.tolist()
    scale = mark_scale(len(assessment.sites))
    size = scale * (BADGE + 1)
    marks = place_marks(order, ways, taken, radius=size, gap=0.0, most_away=AWAY * size)
    for mark in marks:
        _draw_leader(axes, mark, size)
        add_step(axes, mark.x, mark.y, worse=steps["step"].iloc[mark.row] == CLEAR[0], scale=scale)
    return len(marks)


def _step_ways(assessment: Assessment, steps: pd.DataFrame, paper: Paper, lines: Shapes) -> list[Any]:
    """Return the line between the two sites of each step: as it was computed, or from the reaches between."""
    if "geometry" in steps:
        placed: list[Any] = paper.place_shapes(gpd.GeoSeries(steps["geometry"])).tolist()
        return placed
    rows = {name: row for row, name in enumerate(assessment.reaches["reach_id"])}
    own = dict(zip(assessment.sites["site_id"], assessment.sites["reach_id"], strict=True))
    ways = []
    for between, site in zip(texts(steps, "reaches_between"), steps["site_downstream"], strict=True):
        names = [name for name in between.split("; ") if name in rows] or [str(own.get(site))]
        parts = [lines[rows[name]] for name in names if name in rows]
        ways.append(parts[len(parts) // 2] if parts else None)
    return ways


def _draw_badges(axes: Axes, assessment: Assessment, lines: Shapes, taken: Occupancy) -> tuple[int, ...]:
    """Draw trend arrows: clear trends first, and of those the clearest."""
    frame = assessment.reaches
    trend, scale = trend_of(frame), mark_scale(len(assessment.sites))
    p = np.nan_to_num(frame["p_value"].to_numpy(dtype=float, na_value=np.nan), nan=1.0)
    order = np.lexsort((np.arange(len(frame)), p))
    marks: list[Mark] = []
    for kinds in (CLEAR_TRENDS, (NO_CLEAR_TREND,), (TOO_FEW_YEARS,)):
        size = scale * (BADGE_RADII[kinds[0]] + 0.8)
        marks += place_marks(
            order[np.isin(trend[order], kinds)].tolist(),
            lines.tolist(),
            taken,
            radius=size,
            gap=size + 2.4,
            most_away=AWAY * size if kinds is CLEAR_TRENDS else 0.0,
        )
    for mark in marks:
        _draw_leader(axes, mark, scale * BADGE + 3.2)
        add_badge(axes, mark.x, mark.y, int(trend[mark.row]), scale=scale)
    drawn = np.array([trend[mark.row] for mark in marks], dtype=np.int64)
    return tuple(np.bincount(drawn, minlength=len(TRENDS)).tolist())


def mark_scale(n: int) -> float:
    """Return the size of trend arrows and steps.

    Parameters
    ----------
    n
        How many sites there are.

    Returns
    -------
    float
        Share of their full size.
    """
    return max(0.55, site_radius(n) / site_radius(1))


def _draw_leader(axes: Axes, mark: Mark, least: float) -> None:
    """Draw a fine line from a mark to its reach where it does not stand beside it."""
    if np.hypot(mark.at_x - mark.x, mark.at_y - mark.y) <= least + 2:
        return
    for colour, width in ((page_colours()["map"], 1.8), (page_colours()["muted"], 0.7)):
        way = [(mark.x, mark.y), (mark.at_x, mark.at_y)]
        add_path(axes, way, colour=colour, width=width, zorder=BADGES - 0.1)


def _draw_sites(
    axes: Axes, assessment: Assessment, paper: Paper, spots: list[Spot], *, radius: float, numbers: bool
) -> None:
    frame, k = assessment.sites, len(assessment.index.classes)
    rank, uncertain = rank_of(frame, assessment.index), is_uncertain(frame)
    current = frame["current"].fillna(value=False).to_numpy(dtype=bool)
    snapped = paper.place(frame["snapped_longitude"], frame["snapped_latitude"])
    for spot in spots:
        _draw_tie(axes, spot, (float(snapped[0][spot.row]), float(snapped[1][spot.row])), radius)
    for spot in spots:
        look = site_look(
            int(rank[spot.row]), k, current=bool(current[spot.row]), uncertain=bool(uncertain[spot.row])
        )
        add_site(axes, spot.x, spot.y, radius, look, label=numbers)


def _draw_tie(axes: Axes, spot: Spot, snapped: tuple[float, float], radius: float) -> None:
    """Draw a fine line from a site to its place on the reach, and to its true place where it was moved."""
    ends = [(spot.true_x, spot.true_y), snapped]
    for (x, y), (to_x, to_y) in ([(spot.x, spot.y), ends[0]], ends):
        if not np.hypot(to_x - x, to_y - y) > radius:
            continue
        for colour, width in ((page_colours()["map"], 2.0), (page_colours()["ink"], 0.8)):
            add_path(axes, [(x, y), (to_x, to_y)], colour=colour, width=width, zorder=TIES)
        dot = Circle((to_x, to_y), 1.3, facecolor=page_colours()["ink"], linewidth=0, zorder=TIES)
        axes.add_patch(dot)
