"""
The invented stream network: reaches drawn from the flow of water over the invented terrain.

A stream runs where enough cells drain through; a reach runs from a head or a confluence down to the next
confluence. The plane is bent by one smooth displacement and each stem is smoothed with its tributaries kept
joined, so that streams do not look like staircases and no two of them cross.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from terrain import CELL_M, make_noise

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from terrain import Floats, Flow, Ints

ORIGIN = "+proj=aeqd +lat_0=41.0 +lon_0=-80.5 +ellps=WGS84 +units=m"
"""The plane in which the invented watershed is drawn, and so the invented place it is given."""

STREAM_CELLS = 165
"""Cells that must drain through a cell before it carries a stream."""

SHORTEST_HEAD = 5
"""A head reach of fewer cells is left out."""

PLANE_TO_DEGREES = pyproj.Transformer.from_crs(ORIGIN, "EPSG:4326", always_xy=True)


@dataclass(frozen=True, slots=True)
class Reach:
    """One reach, drawn downstream."""

    reach_id: str
    """`R001` is the outlet; the numbers run up the main stem first, then up each tributary."""
    cells: Ints
    """Cells from the upper to the lower node; the lower node belongs to the reach below."""
    downstream: int
    """Place of the reach below in the list of reaches, or -1 at the outlet."""
    stem: int
    """Place of the lowest reach of the stem it belongs to: the stem follows the longer way up."""
    line: Floats
    """Vertices on the plane, metres."""


def to_degrees(points: Floats) -> Floats:
    """Turn points on the plane into longitude and latitude with six decimals (about 0.1 m)."""
    lon, lat = PLANE_TO_DEGREES.transform(points[:, 0], points[:, 1])
    return np.round(np.column_stack([lon, lat]), 6)


def find_streams(flow: Flow, basin: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the stream cells of the basin, without head reaches too short to draw."""
    stream = basin & (flow.area >= STREAM_CELLS)
    cells = np.flatnonzero(stream)
    joins = np.bincount(flow.receiver[cells[flow.receiver[cells] != cells]], minlength=stream.size)
    for head in cells[joins[cells] == 0]:
        path = [int(head)]
        while joins[below := int(flow.receiver[path[-1]])] == 1 and below != path[-1]:
            path.append(below)
        if len(path) < SHORTEST_HEAD:
            stream[path] = False
    return stream


def trace_reaches(flow: Flow, stream: NDArray[np.bool_]) -> list[Ints]:
    """Return the cells of each reach: from a head or confluence down to the next confluence or the outlet."""
    cells = np.flatnonzero(stream)
    moving = cells[flow.receiver[cells] != cells]
    joins = np.bincount(flow.receiver[moving], minlength=stream.size)
    starts = cells[joins[cells] != 1]
    reaches = []
    for start in starts:
        path = [int(start)]
        while (below := int(flow.receiver[path[-1]])) != path[-1]:
            path.append(below)
            if joins[below] != 1:
                break
        if len(path) > 1:
            reaches.append(np.array(path))
    return reaches


def order_reaches(reaches: list[Ints]) -> tuple[list[Ints], list[int], list[int]]:
    """Return the reaches, each stem after the stem it joins, with the place below and the stem of each."""
    above: dict[int, list[Ints]] = {}
    for cells in reaches:
        above.setdefault(int(cells[-1]), []).append(cells)

    def measure(cells: Ints) -> int:
        return len(cells) + max((measure(other) for other in above.get(int(cells[0]), [])), default=0)

    starts = {int(cells[0]) for cells in reaches}
    outlet = next(cells for cells in reaches if int(cells[-1]) not in starts)
    ordered: list[Ints] = []
    below: list[int] = []
    stems: list[int] = []
    waiting = [(outlet, -1, -1)]
    while waiting:
        cells, down, stem = waiting.pop()
        place = len(ordered)
        ordered.append(cells)
        below.append(down)
        stems.append(place if stem < 0 else stem)
        longest_last = sorted(above.get(int(cells[0]), []), key=lambda up: (measure(up), -int(up[0])))
        waiting += [(up, place, -1) for up in longest_last[:-1]]
        waiting += [(up, place, stems[place]) for up in longest_last[-1:]]
    return ordered, below, stems


def bend(points: Floats, rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Return the points of the grid moved, metres, by smooth fields: broad bends and smaller ones."""
    broad = [make_noise(rng, shape, 26, 2) for _ in range(2)]
    fine = [make_noise(rng, shape, 7, 1) for _ in range(2)]
    east, north = (2.2 * broad[axis] + 0.75 * fine[axis] for axis in (0, 1))
    return points + CELL_M * np.column_stack([east.ravel(), north.ravel()])


def place_cells(flow: Flow, basin: NDArray[np.bool_], rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Return where each cell's north-west corner and its centre lie on the bent plane, metres."""
    rows, cols = np.divmod(np.arange(flow.area.size), flow.shape[1])
    middle = [rows[basin].mean(), cols[basin].mean()]
    plain = CELL_M * np.column_stack([cols - middle[1], middle[0] - rows])
    centre = bend(plain, rng, flow.shape)
    grid = centre.reshape(*flow.shape, 2)
    corner = grid.copy()
    corner[1:, 1:] = (grid[1:, 1:] + grid[:-1, 1:] + grid[1:, :-1] + grid[:-1, :-1]) / 4
    return corner.reshape(-1, 2), centre


def smooth_network(ordered: list[Ints], centre: Floats, rounds: int) -> Floats:
    """Pull each stream cell towards the cells above and below it on its stem; heads and outlet stay."""
    up = np.arange(len(centre))
    down = np.arange(len(centre))
    for place in reversed(range(len(ordered))):  # the longer way up comes first, so it is written last
        cells = ordered[place]
        down[cells[:-1]] = cells[1:]
        up[cells[1:]] = cells[:-1]
    fixed = (up == np.arange(len(up))) | (down == np.arange(len(down)))
    spot = centre.copy()
    for _ in range(rounds):
        spot = np.where(fixed[:, None], spot, 0.25 * spot[up] + 0.5 * spot + 0.25 * spot[down])
    return spot


def draw_line(points: Floats) -> Floats:
    """Round the corners of a line between its fixed ends and space 9 to 40 vertices evenly."""
    for _ in range(2):
        near, far = points[:-1], points[1:]
        cut = np.stack([0.75 * near + 0.25 * far, 0.25 * near + 0.75 * far], axis=1).reshape(-1, 2)
        points = np.vstack([points[:1], cut, points[-1:]])
    step = np.sqrt((np.diff(points, axis=0) ** 2).sum(axis=1))
    along = np.concatenate([[0.0], np.cumsum(step)])
    vertices = int(np.clip(round(along[-1] / 70), 9, 40))
    marks = np.linspace(0, along[-1], vertices)
    drawn = np.column_stack([np.interp(marks, along, points[:, axis]) for axis in (0, 1)])
    drawn[[0, -1]] = points[[0, -1]]
    return drawn


def make_reaches(flow: Flow, basin: NDArray[np.bool_], centre: Floats) -> list[Reach]:
    """Return every reach of the basin, the outlet first."""
    ordered, below, stems = order_reaches(trace_reaches(flow, find_streams(flow, basin)))
    spot = smooth_network(ordered, centre, rounds=4)
    return [
        Reach(f"R{place + 1:03d}", cells, down, stem, draw_line(spot[cells]))
        for place, (cells, down, stem) in enumerate(zip(ordered, below, stems, strict=True))
    ]
