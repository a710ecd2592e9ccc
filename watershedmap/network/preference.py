"""Which of the reaches near a site it belongs to: offset, agreement of names, drainage area.

Each candidate costs its offset in metres and two penalties; the cheapest is taken:

- name: where the site gives the stream it lies on, and a candidate bears that name, the candidates that do
  not are charged half of the distance allowed. Where the site gives none, its own name is searched for the
  names of candidates as whole words; the longest one found counts, and is worth a tenth of the distance
  allowed, for a site is also called after a stream that it only lies near. Two streams in one name tell
  nothing. So a name can draw a site no farther than that beyond the nearest reach, and never beyond the
  distance allowed.
- drainage area: where the site gives its own and all its candidates have one, each is charged by the factor
  between the two: nothing when they are equal, a quarter of the distance allowed for a factor of two, half
  of it for four or more.

Candidates that cost the same, as at a shared node, go to the one with the most stream above it, and then to
the one that lies farthest west and south, so that the order of rows decides nothing but between copies of
one line.

These penalties are ours: common practice is to weigh offset, name and area, with no published figures.

Known bias: the area of a reach is that at its lower end, so a site high up on a long reach with a large
catchment of its own looks too small for it; and streams that share a name cannot be told apart by it.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from watershedmap.network.lines import find_ends
from watershedmap.network.tracing import accumulate

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from watershedmap.network.candidates import Candidates
    from watershedmap.network.topology import Network

STREAM_SHARE = 0.5
"""What the name of the stream that a site gives is worth, as a share of the distance allowed."""
SITE_NAME_SHARE = 0.1
"""What a stream's name within the site's name is worth, as a share of the distance allowed."""
AREA_SHARE = 0.5
"""What the wrong drainage area costs at most, as a share of the distance allowed."""
WRONG_FACTOR = 4.0
"""Factor between two drainage areas that costs the most."""
_MICROMETRES = 6


@dataclass(frozen=True, slots=True, eq=False)
class Preference:
    """What each candidate costs; one entry a pair of site and reach."""

    by_name_m: npt.NDArray[np.float64]
    """Charged for the name, metres."""
    by_area_m: npt.NDArray[np.float64]
    """Charged for the drainage area, metres."""
    rank: npt.NDArray[np.intp]
    """Place of the pair's reach among those that cost the same."""


def weigh_candidates(
    candidates: Candidates,
    sites: gpd.GeoDataFrame,
    reaches: gpd.GeoDataFrame,
    network: Network,
    *,
    within_m: float,
) -> Preference:
    """Charge each candidate for a name and a drainage area that do not agree with the site's.

    Parameters
    ----------
    candidates
        Pairs of a site and a reach, ordered by site.
    sites
        With stream, name and upstream_area_km2, each of which may be absent or empty.
    reaches
        With name, and upstream_area_km2 or area_km2, each of which may be absent or empty.
    network
        The stream network of the reaches.
    within_m
        Distance allowed, metres.

    Returns
    -------
    Preference
        One entry a pair.
    """
    return Preference(
        by_name_m=_charge_names(candidates, sites, reaches) * within_m,
        by_area_m=_charge_areas(candidates, sites, reaches, network) * within_m,
        rank=_rank_lines(candidates.line, reaches, network),
    )


def choose_cheapest(
    point: npt.NDArray[np.intp], cost: npt.NDArray[np.float64], rank: npt.NDArray[np.intp]
) -> npt.NDArray[np.intp]:
    """Return the pair that costs least of each site.

    Parameters
    ----------
    point
        Row of the site of each pair.
    cost
        Metres; compared to the micrometre.
    rank
        Decides between equals.

    Returns
    -------
    numpy.ndarray
        Rows of the pairs chosen, one a site that has any, ordered by site.
    """
    order = np.lexsort([rank, cost.round(_MICROMETRES), point])
    _, first = np.unique(point[order], return_index=True)
    return order[first]


def normalise_name(name: object) -> str:
    """Write a name in lower-case words without accents or punctuation.

    Parameters
    ----------
    name
        Text; missing values count as empty.

    Returns
    -------
    str
        Words with one blank between two.
    """
    if not isinstance(name, str):
        return ""
    plain = unicodedata.normalize("NFKD", name.casefold().replace("'", "").replace("\u2019", ""))
    letters = (c if c.isalnum() else " " for c in plain if not unicodedata.combining(c))
    return " ".join("".join(letters).split())


def read_names(frame: pd.DataFrame, column: str) -> npt.NDArray[np.object_]:
    """Return the normalised names of a column, empty where the column is absent.

    Parameters
    ----------
    frame
        Any table.
    column
        Name of the column.

    Returns
    -------
    numpy.ndarray
        Text, one entry a row.
    """
    if column not in frame:
        return np.full(len(frame), "", dtype=object)
    codes, distinct = pd.factorize(frame[column].astype(object))
    words = np.array([*(normalise_name(name) for name in distinct), ""], dtype=object)
    return words[codes]


def drainage_area_km2(reaches: pd.DataFrame, network: Network) -> npt.NDArray[np.float64]:
    """Return the drainage area at the lower end of each reach.

    Parameters
    ----------
    reaches
        With upstream_area_km2, or else area_km2, which is totalled along the flow.
    network
        The stream network.

    Returns
    -------
    numpy.ndarray
        Square kilometres; NaN where unknown.
    """
    if "upstream_area_km2" in reaches:
        return reaches["upstream_area_km2"].to_numpy(dtype=float)
    if "area_km2" in reaches:
        return accumulate(network, reaches["area_km2"].to_numpy(dtype=float))
    return np.full(len(reaches), np.nan)


def area_factor(one: npt.NDArray[np.float64], other: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the factor, 1 or more, between pairs of areas; NaN where one is unknown or not above 0."""
    known = (one > 0) & (other > 0)
    ratio = np.divide(one, other, out=np.full(len(one), np.nan), where=known)
    return np.asarray(np.fmax(ratio, 1.0 / ratio), dtype=float)


def _charge_names(
    candidates: Candidates, sites: gpd.GeoDataFrame, reaches: gpd.GeoDataFrame
) -> npt.NDArray[np.float64]:
    """Return the share of the distance allowed that each pair is charged for its name."""
    if "name" not in reaches:
        return np.zeros(len(candidates.point))
    lines, of_line = np.unique(candidates.line, return_inverse=True)
    of_reach = read_names(reaches.iloc[lines], "name")[of_line]
    stream = read_names(sites, "stream")[candidates.point]
    agrees = (of_reach == stream) & (stream != "")
    charge = np.where(_others_agree(candidates.point, agrees), STREAM_SHARE, 0.0)
    rows = np.flatnonzero((stream == "") & (of_reach != ""))
    point = candidates.point[rows]
    within = _find_within(point, read_names(sites, "name"), of_reach[rows])
    charge[rows] = np.where(_others_agree(point, within), SITE_NAME_SHARE, 0.0)
    return charge


def _others_agree(point: npt.NDArray[np.intp], agrees: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Tell which pairs do not agree though another of the same site does."""
    others: npt.NDArray[np.bool_] = np.isin(point, point[agrees]) & ~agrees
    return others


def _find_within(
    point: npt.NDArray[np.intp], site_names: npt.NDArray[np.object_], of_reach: npt.NDArray[np.object_]
) -> npt.NDArray[np.bool_]:
    """Tell which reaches bear the one stream name, the longest, that stands in the name of their site."""
    found = np.array(
        [f" {name} " in f" {site_names[row]} " for row, name in zip(point, of_reach, strict=True)], dtype=bool
    )
    names: dict[int, set[str]] = {}
    for row, name in zip(point[found].tolist(), of_reach[found], strict=True):
        names.setdefault(row, set()).add(name)
    one = {row: _pick_longest(given) for row, given in names.items()}
    wanted = [one.get(row) == name for row, name in zip(point.tolist(), of_reach, strict=True)]
    return np.asarray(np.array(wanted, dtype=bool) & found)


def _pick_longest(names: set[str]) -> str | None:
    """Return the name that all others are part of, None when there is no such."""
    longest = max(names, key=lambda name: (len(name), name))
    return longest if all(f" {name} " in f" {longest} " for name in names) else None


def _charge_areas(
    candidates: Candidates, sites: gpd.GeoDataFrame, reaches: gpd.GeoDataFrame, network: Network
) -> npt.NDArray[np.float64]:
    """Return the share of the distance allowed that each pair is charged for its drainage area."""
    if "upstream_area_km2" not in sites or sites["upstream_area_km2"].isna().all():
        return np.zeros(len(candidates.point))
    of_site = sites["upstream_area_km2"].to_numpy(dtype=float)[candidates.point]
    factor = area_factor(drainage_area_km2(reaches, network)[candidates.line], of_site)
    comparable = ~np.isin(candidates.point, candidates.point[np.isnan(factor)])
    charge = AREA_SHARE * np.minimum(np.log(factor) / np.log(WRONG_FACTOR), 1.0)
    return np.where(comparable, charge, 0.0)


def _rank_lines(
    line: npt.NDArray[np.intp], reaches: gpd.GeoDataFrame, network: Network
) -> npt.NDArray[np.intp]:
    """Rank the reaches of pairs: those with the most stream above them first, then by where they lie."""
    if not len(line):
        return np.zeros(0, dtype=np.intp)
    lines, of_line = np.unique(line, return_inverse=True)
    above_km = np.nan_to_num(accumulate(network, network.length_km)[lines]).round(6)
    shapes = np.asarray(reaches.geometry, dtype=object)[lines]
    where = np.column_stack([shapely.bounds(shapes), *find_ends(shapes).reshape(len(lines), 4).T])
    rank = np.empty(len(lines), dtype=np.intp)
    rank[np.lexsort([lines, *where.T[::-1], -above_km])] = np.arange(len(lines))
    return rank[of_line]
