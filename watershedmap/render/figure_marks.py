"""The signs of a figure, on the map and in its legend: lines, sites, trend arrows, steps.

Lines: measured ones run through, inferred ones are dashed, unassessed ones are thin and grey; the worse
the class, the wider. A dark edge keeps pale classes visible; where the class is uncertain it is broken. Sites
carry the number of their class, with a question mark where it is uncertain. A trend arrow stands upright in a
circle: up is better, and it never points along the flow. A step is a stair in a box.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, FancyBboxPatch
from matplotlib.patheffects import Stroke as Halo

from watershedmap.render.figure_style import POINT, class_width, page_colours
from watershedmap.render.palette import class_colours, text_on

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes

    from watershedmap.render.figure_paper import Floats

AREAS, LINES, BADGES, STEPS, TIES, POINTS, LABELS = (float(n) for n in range(1, 8))
"""What lies above what, from the ground up."""
DASH, GAP = 9 * POINT, 5 * POINT
"""Light and dark of an inferred reach, points."""
BREAK = 2.5 * POINT, 5 * POINT
"""Light and dark along the edge of a measured reach of uncertain class, points."""
BADGE = 5.6
"""Radius of a trend arrow, points."""
BADGE_RADII = (BADGE, BADGE, 4.0, 2.6)
"""Radius by the place of a trend in the list: what is not clear is smaller."""
IMPROVING, WORSENING, NO_CLEAR_TREND, TOO_FEW_YEARS = range(4)


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke of a line."""

    colour: str
    """`#rrggbb`."""
    width: float
    """Points."""
    pattern: Any
    """As matplotlib has it: `solid`, or an offset and lengths."""
    level: int
    """0 the edge, 1 the breaks in it, 2 the line itself."""


def line_strokes(
    rank: int, k: int, *, inferred: bool = False, uncertain: bool = False, thin: float = 1.0, colour: str = ""
) -> list[Stroke]:
    """Say how a line is drawn.

    Parameters
    ----------
    rank
        Of its class, 0 the best; below 0 for an unassessed one.
    k
        Number of classes.
    inferred
        Whether it was inferred.
    uncertain
        Whether its class is uncertain.
    thin
        Share of the full width.
    colour
        In place of that of the class.

    Returns
    -------
    list of Stroke
        From the lowest to the topmost.
    """
    colours, width = page_colours(), thin * class_width(rank, k)
    if rank < 0:
        return [Stroke(colours["nodata"], max(width, 0.25), "solid", 2)]
    edge = thin * POINT * (0.9 if inferred else 2.2 if uncertain else 1.1)
    whole, (dash, gap) = width + 2 * edge, dash_lengths(thin)
    outer: Any = (0.0, (dash, gap)) if inferred else "solid"
    inner: Any = (dash + gap - edge, (dash - 2 * edge, gap + 2 * edge)) if inferred else "solid"
    strokes = [Stroke(colours["casing"], whole, outer, 0)]
    if uncertain:
        strokes.append(Stroke(colours["map"], whole, _broken(thin, inferred=inferred), 1))
    return [*strokes, Stroke(colour or class_colours(k)[rank], width, inner, 2)]


def dash_lengths(thin: float) -> tuple[float, float]:
    """Return light and dark of an inferred reach.

    Parameters
    ----------
    thin
        Share of the full width that lines are drawn with.

    Returns
    -------
    tuple of float
        Points; shorter where lines are thin, but never so short that they run together.
    """
    share = min(1.0, max(0.4, thin))
    return share * DASH, share * GAP


def _broken(thin: float, *, inferred: bool) -> Any:  # noqa: ANN401 - as matplotlib has it
    """Break the edge all along a line, or once in the middle of each dash."""
    dash, gap = dash_lengths(thin)
    if not inferred:
        share = dash / DASH
        return (0.0, (share * BREAK[0], share * BREAK[1]))
    light, cycle = dash / 2.2, dash + gap
    return (cycle - (dash - light) / 2, (light, cycle - light))


def add_lines(axes: Axes, chains: Sequence[Floats], stroke: Stroke, *, zorder: float, dots: bool) -> None:
    """Draw lines of one look as one piece.

    Parameters
    ----------
    axes
        A sheet in points.
    chains
        Vertices of each.
    stroke
        Their look.
    zorder
        What they lie above.
    dots
        Whether they are turned into dots in SVG and PDF, for there are very many.
    """
    solid = stroke.pattern == "solid"
    axes.add_collection(
        LineCollection(
            list(chains),
            colors=stroke.colour,
            linewidths=stroke.width,
            linestyles=[stroke.pattern],
            capstyle="round" if solid else "butt",
            joinstyle="round",
            zorder=zorder,
            rasterized=dots,
        ),
        autolim=False,
    )


@dataclass(frozen=True, slots=True)
class SiteLook:
    """How a site is drawn."""

    fill: str
    """`#rrggbb`."""
    edge: str
    """`#rrggbb`."""
    text: str
    """Colour of what stands in it."""
    label: str
    """What stands in it."""
    ring: float
    """Width of its edge, points."""


def site_look(rank: int, k: int, *, current: bool = True, uncertain: bool = False) -> SiteLook:
    """Say how a site is drawn.

    Parameters
    ----------
    rank
        Of its class, 0 the best; below 0 for a site without one.
    k
        Number of classes.
    current
        Whether it was sampled lately; a ring if not.
    uncertain
        Whether its class is uncertain; a question mark if so.

    Returns
    -------
    SiteLook
        Hollow and grey, with a dash in it, where there is no class.
    """
    colours = page_colours()
    if rank < 0:
        return SiteLook("#ffffff", colours["nodata"], colours["muted"], "\u2013", 1.4)
    colour, label = class_colours(k)[rank], f"{rank + 1}?" if uncertain else f"{rank + 1}"
    if not current:
        return SiteLook("#ffffff", colour, colours["ink"], label, 2.2)
    return SiteLook(colour, colours["ink"], text_on(colour), label, 0.9)


def add_site(axes: Axes, x: float, y: float, radius: float, look: SiteLook, *, label: bool = True) -> None:
    """Draw a site.

    Parameters
    ----------
    axes
        A sheet in points.
    x, y
        Middle.
    radius
        Points.
    look
        As from `site_look`.
    label
        Whether there is room for what stands in it.
    """
    axes.add_patch(Circle((x, y), radius + 1, facecolor="#ffffff", linewidth=0, zorder=POINTS))
    ring = min(look.ring, radius / 2)
    axes.add_patch(
        Circle(
            (x, y), radius - ring / 2, facecolor=look.fill, edgecolor=look.edge, linewidth=ring, zorder=POINTS
        )
    )
    if label:
        size = radius * (1.28, 1.28, 1.1, 0.85)[len(look.label)]
        add_text(axes, x, y, look.label, size, colour=look.text, weight="bold", zorder=POINTS, align="center")


def add_badge(axes: Axes, x: float, y: float, trend: int, *, scale: float = 1.0) -> None:
    """Draw a trend arrow.

    Parameters
    ----------
    axes
        A sheet in points.
    x, y
        Middle.
    trend
        Its place in the list of trends.
    scale
        Share of the full size.
    """
    colours = page_colours()
    names = {IMPROVING: "improving", WORSENING: "worsening"}
    colour, radius = colours[names.get(trend, "muted")], scale * BADGE_RADII[trend]
    axes.add_patch(
        Circle((x, y), radius, facecolor="#ffffff", edgecolor=colour, linewidth=scale, zorder=BADGES)
    )
    if trend == TOO_FEW_YEARS:
        axes.add_patch(Circle((x, y), scale, facecolor=colour, linewidth=0, zorder=BADGES))
    for xs, ys in _badge_lines(trend):
        way = [(x + scale * dx, y + scale * dy) for dx, dy in zip(xs, ys, strict=True)]
        add_path(axes, way, colour=colour, width=1.5 * scale, zorder=BADGES)


def _badge_lines(trend: int) -> list[tuple[list[float], list[float]]]:
    if trend == TOO_FEW_YEARS:
        return []
    if trend == NO_CLEAR_TREND:
        return [([-2.0, 2.0], [0, 0])]
    up = 1 if trend == IMPROVING else -1
    return [([0, 0], [-3.4 * up, 3.2 * up]), ([-2.5, 0, 2.5], [0.8 * up, 3.4 * up, 0.8 * up])]


def add_step(axes: Axes, x: float, y: float, *, worse: bool, scale: float = 1.0) -> None:
    """Draw a step: a stair in a box, going down where condition is worse downstream and up where better.

    Parameters
    ----------
    axes
        A sheet in points.
    x, y
        Middle.
    worse
        Whether condition is worse downstream.
    scale
        Share of the full size.
    """
    colour, unit = page_colours()["worsening" if worse else "improving"], scale * BADGE / 8
    left, low, round_by = x - 8 * unit, y - 7 * unit, 3 * unit
    axes.add_patch(
        FancyBboxPatch(
            (left, low),
            16 * unit,
            14 * unit,
            boxstyle=f"round,pad=0,rounding_size={round_by}",
            facecolor="#ffffff",
            edgecolor=colour,
            linewidth=scale,
            zorder=STEPS,
        )
    )
    fall = -3 * unit if worse else 3 * unit
    corners = [(-5 * unit, -fall), (-unit, -fall), (-unit, fall), (5 * unit, fall)]
    way = [(x + dx, y + dy) for dx, dy in corners]
    add_path(axes, way, colour=colour, width=1.7 * scale, zorder=STEPS)


def add_path(
    axes: Axes, way: Sequence[tuple[float, float]], *, colour: str, width: float, zorder: float
) -> None:
    """Draw one plain line.

    Parameters
    ----------
    axes
        A sheet in points.
    way
        Its vertices.
    colour
        `#rrggbb`.
    width
        Points.
    zorder
        What it lies above.
    """
    xs, ys = zip(*way, strict=True)
    axes.add_line(
        Line2D(
            xs,
            ys,
            color=colour,
            linewidth=width,
            solid_capstyle="round",
            solid_joinstyle="round",
            zorder=zorder,
        )
    )


def add_text(
    axes: Axes,
    x: float,
    y: float,
    text: str,
    size: float,
    *,
    colour: str = "",
    weight: str = "normal",
    style: str = "normal",
    align: str = "left",
    angle: float = 0.0,
    halo: float = 0.0,
    zorder: float = LABELS,
    serif: bool = False,
) -> None:
    """Write text about the middle of its height.

    Parameters
    ----------
    axes
        A sheet in points.
    x, y
        Where.
    text
        Clean text.
    size
        Points.
    colour
        `#rrggbb`; ink where none is given.
    weight, style, align, angle
        As matplotlib has them.
    halo
        Width of a pale edge that keeps it readable above lines, points.
    zorder
        What it lies above.
    serif
        Whether it is set in the letters of titles.
    """
    colours = page_colours()
    # Text with an effect is turned into outlines, so the edge is written by itself and the text stays text.
    for edge in [True, False] if halo else [False]:
        written = axes.text(
            x,
            y,
            text,
            fontsize=size,
            color=colour or colours["ink"],
            fontweight=weight,
            fontstyle=style,
            ha=align,
            va="center_baseline",
            rotation=angle,
            rotation_mode="anchor",
            zorder=zorder,
            family=["serif", "sans-serif"] if serif else "sans-serif",
        )
        if edge:
            written.set_path_effects([Halo(linewidth=halo, foreground=colours["map"])])
