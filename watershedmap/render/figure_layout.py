"""Where marks and names go on a figure so that they do not cover each other: the weightier one goes first.

All measures are points. What finds no room is left out, never drawn over something else; how many trend marks
that hits is said in the legend.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from shapely import LineString, MultiLineString

    from watershedmap.render.figure_paper import Floats

Box = tuple[float, float, float, float]
"""Left, bottom, right, top."""
Place = tuple[float, float, float, float]
"""Middle of a mark, and the place on the line that it belongs to."""

SQUARE = 40.0
"""Side of the squares that boxes are kept in, points."""
MOST_TO_PART = 400
"""Sites that are moved apart; more of them are drawn where they are."""
ROOM = 1.8
"""Distance that sites keep between their middles, in radii."""
STRAIGHT = 0.94
"""Straightness of a stretch of stream that carries a name: the chord by the way."""


class Occupancy:
    """Boxes that are taken, kept in squares so that a look-up does not visit all of them.

    Parameters
    ----------
    width, height
        Of the sheet; what reaches beyond it is never free.
    """

    def __init__(self, width: float, height: float) -> None:
        self.size = width, height
        self._cells: dict[tuple[int, int], list[Box]] = {}

    def take(self, box: Box) -> None:
        """Take a box, free or not.

        Parameters
        ----------
        box
            What is covered.
        """
        for cell in _cells_of(box):
            self._cells.setdefault(cell, []).append(box)

    def claim(self, boxes: Sequence[Box]) -> bool:
        """Take all boxes when every one of them is free.

        Parameters
        ----------
        boxes
            What would be covered.

        Returns
        -------
        bool
            Whether they were free.
        """
        if not all(self._is_free(box) for box in boxes):
            return False
        for box in boxes:
            self.take(box)
        return True

    def _is_free(self, box: Box) -> bool:
        left, bottom, right, top = box
        if left < 0 or bottom < 0 or right > self.size[0] or top > self.size[1]:
            return False
        return not any(
            left < other[2] and other[0] < right and bottom < other[3] and other[1] < top
            for cell in _cells_of(box)
            for other in self._cells.get(cell, ())
        )


def _cells_of(box: Box) -> Iterator[tuple[int, int]]:
    left, bottom, right, top = (math.floor(value / SQUARE) for value in box)
    return ((column, row) for column in range(left, right + 1) for row in range(bottom, top + 1))


def box_about(x: float, y: float, half_width: float, half_height: float | None = None) -> Box:
    """Return a box by its middle.

    Parameters
    ----------
    x, y
        Middle.
    half_width, half_height
        Half its sizes; a square where there is only one.

    Returns
    -------
    tuple of float
        The box.
    """
    tall = half_width if half_height is None else half_height
    return x - half_width, y - tall, x + half_width, y + tall


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a mark stands, and where its place really is."""

    row: int
    """Row of what is marked."""
    x: float
    """Points from the left."""
    y: float
    """Points from below."""
    true_x: float
    """Points from the left, of the place itself."""
    true_y: float
    """Points from below, of the place itself."""


def part_sites(x: Floats, y: Floats, weights: Sequence[int], radius: float) -> list[Spot]:
    """Move sites that would cover a weightier one to the nearest free spot.

    Parameters
    ----------
    x, y
        Places; a site without one is left out.
    weights
        The larger, the later drawn and the sooner placed.
    radius
        Of a site.

    Returns
    -------
    list of Spot
        In the order they are drawn; not moved at all when there are more than `MOST_TO_PART`.
    """
    rows = [
        row
        for row in np.lexsort((np.arange(len(x)), np.asarray(weights))).tolist()
        if np.isfinite(x[row] + y[row])
    ]
    homes = [Spot(row, float(x[row]), float(y[row]), float(x[row]), float(y[row])) for row in rows]
    if len(homes) > MOST_TO_PART:
        return homes
    placed: list[Spot] = []
    for n in range(len(homes) - 1, -1, -1):
        placed.insert(0, _part_site(homes[n], placed, homes[:n], radius))
    return placed


def _part_site(home: Spot, placed: list[Spot], rest: list[Spot], radius: float) -> Spot:
    if _is_clear(home.x, home.y, placed, ROOM * radius):
        return home
    for far in (1.0, 1.5, 2.0, 2.6, 3.4):
        for n in range(16):
            angle = n * math.pi / 8
            x, y = home.x + far * radius * math.cos(angle), home.y + far * radius * math.sin(angle)
            if _is_clear(x, y, [*placed, *rest], ROOM * radius):
                return Spot(home.row, x, y, home.true_x, home.true_y)
    return home


def _is_clear(x: float, y: float, others: list[Spot], room: float) -> bool:
    return all(math.hypot(other.x - x, other.y - y) >= room for other in others)


@dataclass(frozen=True, slots=True)
class Mark:
    """A trend arrow or a step on its place."""

    row: int
    """Row of what it says something of."""
    x: float
    """Points from the left."""
    y: float
    """Points from below."""
    at_x: float
    """Points from the left, of the place on the line that it belongs to."""
    at_y: float
    """Points from below, of that place."""


def place_marks(
    order: Sequence[int],
    lines: Sequence[LineString | MultiLineString | None],
    taken: Occupancy,
    *,
    radius: float,
    gap: float,
    most_away: float = 0.0,
) -> list[Mark]:
    """Place marks along lines, beside them, where there is room.

    Parameters
    ----------
    order
        Rows that want a mark, the weightiest first.
    lines
        Line of each row, in points.
    taken
        What is covered; marks are added to it.
    radius
        Of a mark.
    gap
        From the line to the middle of the mark.
    most_away
        How far from the middle of its line a mark may stand where there is no room beside it.

    Returns
    -------
    list of Mark
        One for each row that found room; no two overlap.
    """
    marks = []
    for row in order:
        line = lines[row]
        if line is None or shapely.is_empty(line) or not shapely.length(line):
            continue
        spots = [*_spots_beside(line, gap), *_spots_away(line, max(gap, radius), most_away)]
        found = next((spot for spot in spots if taken.claim([box_about(spot[0], spot[1], radius)])), None)
        if found:
            marks.append(Mark(row, *found))
    return marks


def _spots_beside(line: LineString | MultiLineString, gap: float) -> Iterator[Place]:
    """Try the middle of the line first, then both ways along it, on one side and on the other."""
    shares = np.array([0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9])
    reach = min(0.02, 0.5 / float(shapely.length(line)))
    middle, before, after = (
        shapely.get_coordinates(
            shapely.line_interpolate_point(line, np.clip(shares + way, 0, 1), normalized=True)
        )
        for way in (0.0, -reach, reach)
    )
    for (x, y), (dx, dy) in zip(middle.tolist(), (after - before).tolist(), strict=True):
        length = math.hypot(dx, dy) or 1.0
        for side in (gap, -gap):
            yield x - side * dy / length, y + side * dx / length, x, y


def _spots_away(line: LineString | MultiLineString, step: float, most: float) -> Iterator[Place]:
    """Try rings about the middle of the line, each farther out."""
    if most < step:
        return
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(line, 0.5, normalized=True))[0].tolist()
    for far in np.arange(step, most, step / 2).tolist():
        for n in range(16):
            angle = n * math.pi / 8
            yield x + far * math.cos(angle), y + far * math.sin(angle), x, y


@dataclass(frozen=True, slots=True)
class Label:
    """A name on its place."""

    text: str
    """What is written."""
    x: float
    """Middle, points from the left."""
    y: float
    """Middle, points from below."""
    angle: float = 0.0
    """Degrees, anticlockwise."""


def label_spots(
    spots: Sequence[Spot], texts: Sequence[str], widths: Sequence[float], taken: Occupancy, *, radius: float
) -> list[Label]:
    """Place the name of each site beside it.

    Parameters
    ----------
    spots
        As from `part_sites`; the last gets its name first.
    texts, widths
        Name of each row and its width.
    taken
        What is covered; names are added to it.
    radius
        Of a site.

    Returns
    -------
    list of Label
        Those that found room.
    """
    found = []
    for spot in reversed(spots):
        half, tall = widths[spot.row] / 2 + 0.5, 3.2
        side, away = half + radius + 1.5, radius + tall + 1.2
        for dx, dy in (
            (0, -away),
            (side, 0),
            (-side, 0),
            (0, away),
            (half, -away),
            (-half, -away),
            (half, away),
            (-half, away),
        ):
            if taken.claim([box_about(spot.x + dx, spot.y + dy, half, tall)]):
                found.append(Label(texts[spot.row], spot.x + dx, spot.y + dy))
                break
    return found


def label_lines(
    chains: dict[str, list[Floats]], widths: dict[str, float], taken: Occupancy, *, lift: float, tall: float
) -> list[Label]:
    """Set one name along each stream, on the longest of its chains that has room for it.

    Parameters
    ----------
    chains
        Chains of each stream by its name.
    widths
        Width of each name.
    taken
        What is covered; names are added to it.
    lift
        From the line to the middle of the name.
    tall
        Half the height of a name.

    Returns
    -------
    list of Label
        Those that found room; longer streams first.
    """
    lengths = {name: sum(_length(chain) for chain in parts) for name, parts in chains.items()}
    found = []
    for name in sorted(chains, key=lambda name: (-lengths[name], name)):
        for chain in sorted(chains[name], key=_length, reverse=True)[:3]:
            label = _label_chain(name, chain, widths[name], taken, lift=lift, tall=tall)
            if label:
                found.append(label)
                break
    return found


def _length(chain: Floats) -> float:
    return float(np.hypot(*np.diff(chain, axis=0).T).sum())


def _label_chain(
    text: str, chain: Floats, width: float, taken: Occupancy, *, lift: float, tall: float
) -> Label | None:
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(chain, axis=0).T)))
    spare = along[-1] - width
    if spare < 0:
        return None
    starts = np.linspace(0, spare, max(1, min(15, int(spare / 12) + 1)))
    for start in sorted(starts.tolist(), key=lambda start: (abs(start - spare / 2), start)):
        ends = np.array([start, start + width / 2, start + width])
        x, y = np.interp(ends, along, chain[:, 0]), np.interp(ends, along, chain[:, 1])
        if math.hypot(x[2] - x[0], y[2] - y[0]) < STRAIGHT * width:
            continue
        way = -1 if x[2] < x[0] else 1
        angle = math.atan2(way * (y[2] - y[0]), way * (x[2] - x[0]))
        for side in (lift, -lift):
            middle = float(x[1]) - side * math.sin(angle), float(y[1]) + side * math.cos(angle)
            if _crosses(chain, (*middle, angle), width, lift - 2.5):
                continue
            if taken.claim(_boxes_along(*middle, angle, width, tall)):
                return Label(text, *middle, math.degrees(angle))
    return None


def _crosses(chain: Floats, spot: tuple[float, float, float], width: float, least: float) -> bool:
    """Say whether the chain bends into a name beside it."""
    x, y, angle = spot
    dx, dy = width / 2 * math.cos(angle), width / 2 * math.sin(angle)
    middle = shapely.LineString([(x - dx, y - dy), (x + dx, y + dy)])
    return bool(shapely.dwithin(shapely.LineString(chain), middle, least))


def _boxes_along(x: float, y: float, angle: float, width: float, tall: float) -> list[Box]:
    n = max(2, math.ceil(width / (2 * tall)))
    steps = (np.arange(n + 1) / n - 0.5) * width
    return [
        box_about(x + step * math.cos(angle), y + step * math.sin(angle), tall) for step in steps.tolist()
    ]
