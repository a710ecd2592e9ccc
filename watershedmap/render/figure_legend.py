"""The legend of a figure: what each sign means, how many there are and how long they are together.

What found no room on the map is counted all the same, and the legend says how many arrows are drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import shapely

from watershedmap.render.figure_areas import add_areas
from watershedmap.render.figure_columns import (
    INFERRED,
    MEASURED,
    UNASSESSED,
    area_evidence,
    clear_steps,
    count_km,
    evidence_of,
    is_uncertain,
    rank_of,
    trend_of,
)
from watershedmap.render.figure_marks import (
    DASH,
    GAP,
    add_badge,
    add_lines,
    add_site,
    add_step,
    add_text,
    line_strokes,
    site_look,
)
from watershedmap.render.figure_style import clean, page_colours, wrap
from watershedmap.render.page_data import CERTAIN_FROM, describe_limits
from watershedmap.render.page_reaches import TRENDS
from watershedmap.render.page_steps import CLEAR

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.axes import Axes

    from watershedmap.assessment import Assessment
    from watershedmap.render.figure_map import Drawn
    from watershedmap.render.figure_marks import SiteLook

    Sign = Callable[[Axes, float, float], None]

TALLEST, LOWEST = 13.5, 8.0
"""Height of a row, points: where there is room, and at the least."""
ICON = 15.0
"""Middle of a sign, points from the left."""
WORDS = 34.0
"""Where words begin, points from the left."""
MOST_LABEL = 24
"""Longest class label, characters."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the legend."""

    words: str
    """What is said."""
    figures: tuple[str, ...] = ()
    """Figures of the last columns, right-aligned."""
    sign: Sign | None = None
    """Draws the sign; none for a heading or a note."""
    kind: str = "row"
    """`row`, `head` (columns of a section) or `note`."""


def draw_legend(axes: Axes, assessment: Assessment, drawn: Drawn) -> None:
    """Draw the legend.

    Parameters
    ----------
    axes
        A sheet in points, as large as the legend.
    assessment
        What the map shows.
    drawn
        What found room on it.
    """
    width, height = axes.get_xlim()[1], axes.get_ylim()[1]
    rows = _wrapped(collect_rows(assessment, drawn), width)
    step = min(TALLEST, height / sum(_weight(row) for row in rows))
    size = min(7.6, 0.6 * step)
    y = height
    for row in rows:
        y -= step * _weight(row)
        _draw_row(axes, row, y + step / 2, size, width)


def _weight(row: Row) -> float:
    return {"row": 1.0, "head": 1.55, "note": 0.85}[row.kind]


def _wrapped(rows: list[Row], width: float) -> list[Row]:
    """Break notes into lines."""
    return [
        Row(line, kind="note") if row.kind == "note" else row
        for row in rows
        for line in (wrap(row.words, width - 2, 6.2, most_lines=3) if row.kind == "note" else [row.words])
    ]


def _draw_row(axes: Axes, row: Row, y: float, size: float, width: float) -> None:
    colours = page_colours()
    if row.kind == "note":
        add_text(axes, 0, y, row.words, min(6.2, 0.82 * size), colour=colours["muted"])
        return
    head = row.kind == "head"
    if row.sign:
        row.sign(axes, ICON, y)
    add_text(axes, 0 if head else WORDS, y, row.words, size, weight="bold" if head else "normal")
    for n, text in enumerate(reversed(row.figures)):
        place = width - COLUMNS[min(n, len(COLUMNS) - 1)]
        letters = 0.85 * size if head else size
        add_text(axes, place, y, text, letters, align="right", colour=colours["muted"] if head else "")


COLUMNS = (0.0, 46.0, 100.0)
"""Right edges of the columns, points from the right."""


def collect_rows(assessment: Assessment, drawn: Drawn) -> list[Row]:
    """Collect what the legend says.

    Parameters
    ----------
    assessment
        What the map shows.
    drawn
        What found room on it.

    Returns
    -------
    list of Row
        From the top.
    """
    return [
        *_class_rows(assessment),
        *_evidence_rows(assessment),
        *_site_rows(assessment, drawn),
        *_trend_rows(assessment, drawn),
        *_step_rows(assessment, drawn),
        *_area_rows(assessment),
    ]


def _class_rows(assessment: Assessment) -> list[Row]:
    frame, index = assessment.reaches, assessment.index
    rank, evidence, k = rank_of(frame, index), evidence_of(frame), len(index.classes)
    rows = [Row("Class of reaches", ("score", "km measured", "km inferred"), kind="head")]
    for n, (band, limits) in enumerate(zip(index.classes, describe_limits(index), strict=True)):
        figures = [
            _length(count_km(frame, (rank == n) & (evidence == kind))[1]) for kind in (MEASURED, INFERRED)
        ]
        rows.append(Row(f"{n + 1} {clean(band.label, MOST_LABEL)}", (limits, *figures), line_sign(n, k)))
    better = "low" if index.better == "low" else "high"
    return [
        *rows,
        Row(f"{better.capitalize()} scores are good. The wider the line, the worse the class.", kind="note"),
    ]


def _evidence_rows(assessment: Assessment) -> list[Row]:
    frame, k = assessment.reaches, len(assessment.index.classes)
    evidence, uncertain = evidence_of(frame), is_uncertain(frame)
    ink, middle = page_colours()["ink"], k // 2
    signs = {
        MEASURED: line_sign(middle, k, colour=ink),
        INFERRED: line_sign(middle, k, colour=ink, inferred=True),
        UNASSESSED: line_sign(-1, k),
    }
    words = {
        MEASURED: "Measured: a site on it",
        INFERRED: "Inferred along the flow",
        UNASSESSED: "Unassessed: no class",
    }
    rows = [Row("Evidence", ("reaches", "km"), kind="head")]
    for kind, sign in signs.items():
        rows.append(Row(words[kind], _counts(count_km(frame, evidence == kind)), sign))
        unsure = uncertain & (evidence == kind)
        if unsure.any() or kind == MEASURED:
            broken = line_sign(middle, k, colour=ink, uncertain=True, inferred=kind == INFERRED)
            rows.append(Row("of these, class uncertain", _counts(count_km(frame, unsure)), broken))
    percent = f"{100 * CERTAIN_FROM:.0f} %"
    note = f"Uncertain (broken edge, ?): the class has a probability under {percent}, our own limit."
    return [*rows, Row(note, kind="note")]


def _site_rows(assessment: Assessment, drawn: Drawn) -> list[Row]:
    frame, k = assessment.sites, len(assessment.index.classes)
    rank, some = rank_of(frame, assessment.index), min(1, k - 1)
    current = frame["current"].fillna(value=False).to_numpy(dtype=bool)
    looks = [
        ("Current condition", (rank >= 0) & current, site_look(some, k)),
        ("Last sampled too long ago", (rank >= 0) & ~current, site_look(some, k, current=False)),
        ("of both, class uncertain", is_uncertain(frame), site_look(some, k, uncertain=True)),
        ("No class: no usable sample", rank < 0, site_look(-1, k)),
    ]
    title = "Sites (the number is the class)" if drawn.numbers else "Sites (too many for numbers)"
    rows = [Row(title, ("sites",), kind="head")]
    for words, where, look in looks:
        rows.append(Row(words, (f"{int(where.sum()):,}",), site_sign(look)))
    return rows


def _trend_rows(assessment: Assessment, drawn: Drawn) -> list[Row]:
    trend = trend_of(assessment.reaches)
    rows = [Row("Trend of condition", ("reaches", "drawn"), kind="head")]
    for n, word in enumerate(TRENDS):
        figures = (f"{int((trend == n).sum()):,}", f"{drawn.badges[n]:,}")
        rows.append(Row(word.capitalize(), figures, partial(add_badge, trend=n)))
    return [
        *rows,
        Row("Up is better. Arrows do not show the flow; those without room are left out.", kind="note"),
    ]


def _step_rows(assessment: Assessment, drawn: Drawn) -> list[Row]:
    steps = clear_steps(assessment)
    if steps is None:
        return []
    rows = [Row("Steps between neighbouring sites", ("pairs",), kind="head")]
    for word in CLEAR:
        count = int((steps["step"] == word).sum())
        sign = partial(add_step, worse=word == CLEAR[0])
        rows.append(Row(f"Clearly {word}", (f"{count:,}",), sign))
    pairs = len(getattr(assessment, "steps", ()))
    larger = int(steps["larger_joins"].sum()) if "larger_joins" in steps else 0
    note = (
        f"{pairs:,} pairs along the flow were compared; {drawn.steps:,} of {len(steps):,} steps found room."
    )
    if larger:
        note += f" In {larger:,} of them the lower site lies on a larger stream that the upper one's enters."
    return [*rows, Row(note, kind="note")]


def _area_rows(assessment: Assessment) -> list[Row]:
    areas = assessment.subwatersheds
    if areas is None:
        return []
    evidence = area_evidence(areas)
    words = {MEASURED: "Tint: class of its streams", INFERRED: "Inferred only", UNASSESSED: "Unassessed"}
    rows = [Row("Sub-watersheds", ("areas",), kind="head")]
    for kind, text in words.items():
        count = int((evidence == kind).sum())
        rows.append(Row(text, (f"{count:,}",), area_sign(kind, len(assessment.index.classes))))
    return rows


def site_sign(look: SiteLook) -> Sign:
    """Return what draws a site.

    Parameters
    ----------
    look
        As from `site_look`.

    Returns
    -------
    callable
        Draws it on a sheet about a place.
    """
    return partial(add_site, radius=4.9, look=look)


def line_sign(
    rank: int, k: int, *, colour: str = "", inferred: bool = False, uncertain: bool = False
) -> Sign:
    """Return what draws a short line.

    Parameters
    ----------
    rank, k, colour, inferred, uncertain
        As for `line_strokes`.

    Returns
    -------
    callable
        Draws it on a sheet about a place.
    """

    def draw(axes: Axes, x: float, y: float) -> None:
        half = DASH + GAP / 2 if inferred else 11.0  # two whole dashes, or the room there is
        way = np.array([[x - half, y], [x + half, y]])
        for stroke in line_strokes(rank, k, colour=colour, inferred=inferred, uncertain=uncertain):
            add_lines(axes, [way], stroke, zorder=2 + stroke.level, dots=False)

    return draw


def area_sign(kind: int, k: int) -> Sign:
    """Return what draws a small area.

    Parameters
    ----------
    kind
        Its evidence.
    k
        Number of classes.

    Returns
    -------
    callable
        Draws it on a sheet about a place.
    """

    def draw(axes: Axes, x: float, y: float) -> None:
        ranks = [0, k // 2, k - 1] if kind != UNASSESSED else [-1]
        share = 24 / len(ranks)
        for n, rank in enumerate(ranks):
            box = shapely.box(x - 12 + n * share, y - 4, x - 12 + (n + 1) * share, y + 4)
            add_areas(axes, np.array([box], dtype=object), kind=kind, rank=rank, k=k)

    return draw


def _counts(counted: tuple[int, float]) -> tuple[str, str]:
    return f"{counted[0]:,}", _length(counted[1])


def _length(km: float) -> str:
    return f"{km:,.1f}" if km < 1000 else f"{km:,.0f}"  # noqa: PLR2004 - beyond it a tenth says nothing
