"""What can be seen along the flow: the sites that an unsampled reach, or a site, looks upon.

A place looks up the flow and down the flow, never round a confluence, and no farther than the nearest reach
that has sites: all sites of that reach are seen, nothing beyond it. A reach looks from its midpoint.

Barriers end a view. A barrier at a point lets what lies on the near side of it be seen; of a reach that is a
barrier as a whole (a lake, say) nothing is seen, and nothing from it. A barrier at the very place of a site
hides nothing that lies on either side of the site.

Known bias: a site on a reach without a line is taken to lie at its middle. Where streams divide, a view goes
down every branch as if all the water took it.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from itertools import takewhile
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from watershedmap.network.tracing import place_on_reaches
from watershedmap.network.ways import spread

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from watershedmap.network.edges import Neighbours
    from watershedmap.network.topology import Network


@dataclass(frozen=True, slots=True, eq=False)
class Barriers:
    """Where views end."""

    reach: npt.NDArray[np.intp]
    """Row of the reach that each barrier at a point lies on, -1 for none."""
    position_m: npt.NDArray[np.float64]
    """Its distance up from the lower end of that reach, metres."""
    closed: npt.NDArray[np.bool_]
    """By reach: whether it is a barrier as a whole; empty when none is."""

    def __post_init__(self) -> None:
        """Check that the arrays belong together."""
        if len(self.reach) != len(self.position_m):
            raise ValueError("each barrier needs a reach and a position")


NO_BARRIERS = Barriers(
    reach=np.zeros(0, dtype=np.intp), position_m=np.zeros(0), closed=np.zeros(0, dtype=np.bool_)
)


def sites_in_view(
    network: Network,
    site_reach: npt.NDArray[np.intp],
    site_position_m: npt.NDArray[np.float64],
    *,
    within_km: float,
    barriers: Barriers = NO_BARRIERS,
) -> pd.DataFrame:
    """Find the sites that each reach without a site of its own sees along the flow.

    Parameters
    ----------
    network
        The stream network.
    site_reach
        Row of the reach that each site lies on, -1 for none.
    site_position_m
        Distance of each site up from the lower end of its reach, metres.
    within_km
        Sites farther than this are not seen, kilometres.
    barriers
        Where views end.

    Returns
    -------
    pandas.DataFrame
        reach (row), site (number), distance_km from the midpoint of the reach, upstream (whether the site
        lies upstream of the reach); ordered by reach, distance and site.
    """
    ground = _survey(network, site_reach, site_position_m, barriers)
    rows: list[tuple[int, int, float, bool]] = []
    for site, (reach, position) in enumerate(zip(ground.reach, ground.position, strict=True)):
        for up in (True, False):
            for step in ground.look(reach, position, up=up, sampled=ground.sampled, within_km=within_km):
                distance = step.distance + ground.length[step.reach] / 2.0
                if distance <= within_km and not ground.hides_middle(step.reach, from_below=up):
                    rows.append((step.reach, site, distance, not up))
    rows.sort(key=lambda row: (row[0], row[2], row[1]))
    return _frame(rows, "reach")


def sites_seen_by_sites(
    network: Network,
    site_reach: npt.NDArray[np.intp],
    site_position_m: npt.NDArray[np.float64],
    *,
    within_km: float,
    barriers: Barriers = NO_BARRIERS,
) -> pd.DataFrame:
    """Find the other sites that each site sees, as if it had not been sampled itself.

    Parameters
    ----------
    network, site_reach, site_position_m, within_km, barriers
        As for `sites_in_view`.

    Returns
    -------
    pandas.DataFrame
        from_site (number of the one that looks), site (the one seen), distance_km between the two, upstream
        (whether the one seen lies upstream); ordered by from_site, distance and site.
    """
    ground = _survey(network, site_reach, site_position_m, barriers)
    rows: list[tuple[int, int, float, bool]] = []
    for site, (reach, position) in enumerate(zip(ground.reach, ground.position, strict=True)):
        for up in (True, False):
            seen = ground.find_from(site, reach, position, up=up, within_km=within_km)
            rows.extend((site, other, distance, up) for other, distance in seen)
    rows.sort(key=lambda row: (row[0], row[2], row[1]))
    return _frame(rows, "from_site")


def _frame(rows: list[tuple[int, int, float, bool]], key: str) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=[key, "site", "distance_km", "upstream"])
    return frame.astype({key: int, "site": int, "distance_km": float, "upstream": bool})


class _Step(NamedTuple):
    """A reach that is come upon, and how far its nearer end is, kilometres."""

    distance: float
    reach: int


@dataclass(frozen=True, slots=True)
class _Ground:
    """What the walks go over; kilometres, and lists, which are fast to walk one by one."""

    length: list[float]
    above: Neighbours
    below: Neighbours
    reach: list[int]
    position: list[float]
    sampled: dict[int, list[int]]
    points: dict[int, list[float]]
    closed: frozenset[int]

    def look(
        self, reach: int, position: float, *, up: bool, sampled: dict[int, list[int]], within_km: float
    ) -> Iterator[_Step]:
        """Leave a place in one direction and give each reach come upon, up to the first sampled ones."""
        if (
            reach < 0
            or reach in self.closed
            or self.blocks(reach, self.length[reach] if up else 0.0, position)
        ):
            return
        links = self.above if up else self.below
        start = max(0.0, self.length[reach] - position if up else position)

        def step(place: int) -> Iterator[tuple[int, float]]:
            if place in self.points:
                return
            for other in links.of(place):
                if other not in sampled and other not in self.closed:
                    yield other, self.length[place]

        first = [
            (start, other) for other in links.of(reach) if other not in sampled and other not in self.closed
        ]
        for place, _, distance in takewhile(lambda found: found[2] <= within_km, spread(first, step)):
            yield _Step(distance, place)

    def find_from(
        self, site: int, reach: int, position: float, *, up: bool, within_km: float
    ) -> list[tuple[int, float]]:
        """Give the sites that one site sees in one direction, on the first sampled reaches."""
        if reach < 0 or reach in self.closed:
            return []
        others = [other for other in self.sampled[reach] if other != site]
        ahead = [o for o in others if (self.position[o] > position if up else self.position[o] < position)]
        level = [o for o in others if self.position[o] == position]
        if not ahead and not level:
            return self._find_beyond(reach, position, up=up, within_km=within_km)
        near = {other: abs(self.position[other] - position) for other in [*ahead, *(level if up else [])]}
        return [
            (other, gap)
            for other, gap in near.items()
            if gap <= within_km and not self.parts(reach, position, self.position[other])
        ]

    def _find_beyond(
        self, reach: int, position: float, *, up: bool, within_km: float
    ) -> list[tuple[int, float]]:
        if self.blocks(reach, self.length[reach] if up else 0.0, position):
            return []
        links = self.above if up else self.below
        start = max(0.0, self.length[reach] - position if up else position)
        found: dict[int, float] = {}
        passed = [(start, reach)]
        walk = self.look(reach, position, up=up, sampled=self.sampled, within_km=within_km)
        passed += [
            (step.distance + self.length[step.reach], step.reach)
            for step in walk
            if step.reach not in self.points
        ]
        for beyond, place in passed:
            for other in links.of(place):
                if other in self.closed:
                    continue
                for site in self.sampled.get(other, ()):
                    into = self.position[site] if up else self.length[other] - self.position[site]
                    end = 0.0 if up else self.length[other]
                    distance = beyond + max(0.0, into)
                    if distance <= within_km and not self.blocks(other, end, self.position[site]):
                        found[site] = min(distance, found.get(site, np.inf))
        return list(found.items())

    def hides_middle(self, reach: int, *, from_below: bool) -> bool:
        """Tell whether a barrier lies between an end of a reach and its middle, or at either."""
        end, middle = 0.0 if from_below else self.length[reach], self.length[reach] / 2.0
        return self.blocks(reach, end, middle) or middle in self.points.get(reach, ())

    def blocks(self, reach: int, end: float, place: float) -> bool:
        """Tell whether a barrier lies at an end of a reach, or between it and a place on the reach."""
        return self.parts(reach, end, place) or end in self.points.get(reach, ())

    def parts(self, reach: int, one: float, other: float) -> bool:
        """Tell whether a barrier lies between two places of a reach, at neither of them."""
        low, high = min(one, other), max(one, other)
        return any(low < point < high for point in self.points.get(reach, ()))


def _survey(
    network: Network,
    site_reach: npt.NDArray[np.intp],
    site_position_m: npt.NDArray[np.float64],
    barriers: Barriers,
) -> _Ground:
    sampled: dict[int, list[int]] = defaultdict(list)
    for site, reach in enumerate(site_reach.tolist()):
        if reach >= 0:
            sampled[reach].append(site)
    points: dict[int, list[float]] = defaultdict(list)
    for reach, position in zip(barriers.reach.tolist(), barriers.position_m.tolist(), strict=True):
        if reach >= 0:
            points[reach].append(position / 1000.0)
    return _Ground(
        length=network.length_km.tolist(),
        above=network.above,
        below=network.below,
        reach=site_reach.tolist(),
        position=place_on_reaches(network, site_reach, site_position_m).tolist(),
        sampled=dict(sampled),
        points=dict(points),
        closed=frozenset(np.flatnonzero(barriers.closed).tolist()),
    )
