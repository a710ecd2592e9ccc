"""
The invented terrain: a surface worn down by its own streams.

A noisy plateau is flooded once so that every cell can drain, and then rises slowly while streams cut into it
by the stream power rule: erosion grows with the root of the area drained and with the slope. The implicit
scheme keeps every cell above the cell it drains to, so no pit can form. The largest basin is the watershed.

Known bias: one rock, one climate, no lakes, no splits of the flow. Only ``Generator.random`` and plain
arithmetic with square roots are used, so that the same seed gives the same terrain on any machine.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

CELL_M = 80.0
"""Side of one cell, metres."""

STEPS = np.array([(-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1)])
"""Rows and columns from a cell to its eight neighbours."""


@dataclass(frozen=True, slots=True)
class Flow:
    """Where the water of every cell goes. Cells are numbered row by row from the north-west."""

    shape: tuple[int, int]
    """Rows and columns of the grid."""
    receiver: Ints
    """The cell each cell drains to; an edge cell drains to itself."""
    levels: tuple[Ints, ...]
    """The cells by number of steps to the edge, from the edge up."""
    area: Ints
    """Cells drained by each cell, itself included."""


def make_noise(rng: np.random.Generator, shape: tuple[int, int], wavelength: float, octaves: int) -> Floats:
    """Return smooth fractal noise between about -1 and 1; each octave halves wavelength and height."""
    total = np.zeros(shape)
    for octave in range(octaves):
        size = wavelength / 2**octave
        lattice = 2 * rng.random((int(shape[0] / size) + 3, int(shape[1] / size) + 3)) - 1
        row, col = np.arange(shape[0]) / size, np.arange(shape[1]) / size
        i, j = row.astype(np.int64)[:, None], col.astype(np.int64)[None, :]
        u, v = (row % 1)[:, None], (col % 1)[None, :]
        u, v = u * u * (3 - 2 * u), v * v * (3 - 2 * v)
        upper = lattice[i, j] * (1 - v) + lattice[i, j + 1] * v
        lower = lattice[i + 1, j] * (1 - v) + lattice[i + 1, j + 1] * v
        total += (upper * (1 - u) + lower * u) / 2**octave
    return total


def find_neighbours(shape: tuple[int, int]) -> Ints:
    """Return the eight neighbours of every cell, one row a cell; an edge cell has only itself."""
    rows, cols = np.divmod(np.arange(shape[0] * shape[1]), shape[1])
    inside = (rows > 0) & (rows < shape[0] - 1) & (cols > 0) & (cols < shape[1] - 1)
    shift = STEPS[:, 0] * shape[1] + STEPS[:, 1]
    own = np.arange(rows.size)[:, None]
    return np.where(inside[:, None], own + shift[None, :], own)


def fill_pits(height: Floats, neighbours: Ints, edge: NDArray[np.bool_], rise: Floats) -> Floats:
    """Raise every pit until it spills, flooding inwards from the edge; each cell ends above one neighbour.

    A filled cell lies `rise` above the cell that flooded it: uneven rises make flow across old pits wind.
    """
    filled = height.copy()
    done = edge.copy()
    queue = [(float(filled[cell]), int(cell)) for cell in np.flatnonzero(edge)]
    heapq.heapify(queue)
    touching: list[list[int]] = [[] for _ in range(height.size)]
    for cell, around in enumerate(neighbours.tolist()):
        for other in around:
            touching[other].append(cell)
    while queue:
        level, cell = heapq.heappop(queue)
        for other in touching[cell]:
            if not done[other]:
                done[other] = True
                filled[other] = max(float(filled[other]), level + float(rise[other]))
                heapq.heappush(queue, (float(filled[other]), other))
    return filled


def route_flow(height: Floats, neighbours: Ints, wander: Floats, shape: tuple[int, int]) -> Flow:
    """Send each cell to its steepest lower neighbour; `wander` lets streams stray a little from it."""
    length = np.sqrt((STEPS**2).sum(axis=1))
    slope = (height[:, None] - height[neighbours]) / length * wander
    own = np.arange(height.size)
    receiver = neighbours[own, slope.argmax(axis=1)]
    steps = (receiver != own).astype(np.int64)
    ahead = receiver.copy()
    while np.any(ahead != ahead[ahead]):
        steps, ahead = steps + steps[ahead], ahead[ahead]
    order = np.argsort(steps, kind="stable")
    levels = tuple(np.split(order, np.cumsum(np.bincount(steps))[:-1]))
    area = np.ones(height.size, dtype=np.int64)
    for cells in reversed(levels[1:]):
        np.add.at(area, receiver[cells], area[cells])
    return Flow(shape, receiver, levels, area)


def erode(height: Floats, flow: Flow, hardness: Floats, uplift: Floats) -> Floats:
    """Return the surface one time step later: raised by `uplift`, cut by the streams."""
    cut = np.sqrt(flow.area.astype(np.float64)) / hardness
    worn = height.copy()
    for cells in flow.levels[1:]:
        below = worn[flow.receiver[cells]]
        worn[cells] = (height[cells] + uplift[cells] + cut[cells] * below) / (1 + cut[cells])
    return worn


def make_flow(rng: np.random.Generator, shape: tuple[int, int], steps: int) -> Flow:
    """Grow the terrain for a number of time steps and return its flow."""
    neighbours = find_neighbours(shape)
    edge = neighbours[:, 0] == np.arange(neighbours.shape[0])
    tilt = np.linspace(1.0, 0.0, shape[0])[:, None] * np.ones(shape)
    start = 60 * tilt + 40 * make_noise(rng, shape, 70, 6)
    height = np.where(edge, 0.0, start.ravel() + 100)
    hardness = 2.0 + 1.2 * make_noise(rng, shape, 40, 4).ravel()
    hardness = np.maximum(hardness, 0.5)
    uplift = 2.0 * (1 + 0.4 * make_noise(rng, shape, 90, 2)).ravel()
    wander = 0.75 + 0.5 * rng.random(neighbours.shape)
    height = fill_pits(height, neighbours, edge, 0.01 + 0.3 * rng.random(edge.size))
    flow = route_flow(height, neighbours, wander, shape)
    for _ in range(steps):
        height = erode(height, flow, hardness, uplift)
        flow = route_flow(height, neighbours, wander, shape)
    return flow


def find_basin(flow: Flow, outlet: int) -> NDArray[np.bool_]:
    """Return which cells drain through `outlet`."""
    inside = np.zeros(flow.area.size, dtype=bool)
    inside[outlet] = True
    for cells in flow.levels[1:]:
        inside[cells] |= inside[flow.receiver[cells]]
    return inside


def end_at_outlet(flow: Flow) -> tuple[Flow, NDArray[np.bool_]]:
    """Return the flow ended at the foot of the largest basin, one cell short of the edge, and that basin."""
    outlet = int(np.argmax(np.where(np.isin(np.arange(flow.area.size), flow.levels[1]), flow.area, 0)))
    receiver = flow.receiver.copy()
    receiver[outlet] = outlet
    ended = replace(flow, receiver=receiver)
    return ended, find_basin(ended, outlet)
