"""The map layers of a survey, read and checked against each other: reaches, sub-watersheds, and the network.

They are a room of their own because they can be looked at before there is any sample: a layer with a cycle
stops a survey, and what lies where is seen best on a page of its own (`watershedmap check --page`).
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd

from watershedmap.errors import Fault
from watershedmap.network.area_inspection import CYCLE_OF_CODES, inspect_areas
from watershedmap.network.areas import share_reaches
from watershedmap.network.inspection import inspect_reaches
from watershedmap.network.reports import list_ids
from watershedmap.network.topology import Network, build_network
from watershedmap.readers.layers import read_reaches, read_subwatersheds

if TYPE_CHECKING:
    from pathlib import Path

    from watershedmap.settings import Options, Settings

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Streams:
    """The layers as read, the network made of them, and what is to be said of both."""

    reaches: gpd.GeoDataFrame
    """One row a reach; see `watershedmap.readers.layers.read_reaches`."""
    subwatersheds: gpd.GeoDataFrame | None
    """One row a sub-watershed; None when the survey has no such layer."""
    network: Network | None
    """The reaches as a network; None when the layer itself is at fault."""
    shares: pd.DataFrame
    """One row a reach and sub-watershed that meet: reach, area (rows of the layers), share, length_km."""
    findings: gpd.GeoDataFrame
    """One row a place in the layers to look at: finding, severity, ids, note, fix, and a point."""
    faults: tuple[Fault, ...]
    """Faults and notices of the layers."""


def read_streams(folder: Path, settings: Settings) -> Streams:
    """Read the layers of a survey and check them.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings.

    Returns
    -------
    Streams
        With all faults; where the layer of reaches has faults of its own there is no network.
    """
    reaches, faults = read_reaches(folder, settings)
    subwatersheds, of_areas = read_subwatersheds(folder, settings)
    stopped, faults = _has_fault(faults), [*faults, *of_areas]
    if stopped:
        # A network made of a layer at fault would only add faults that are none.
        return Streams(
            reaches=reaches,
            subwatersheds=subwatersheds,
            network=None,
            shares=_no_shares(),
            findings=_no_findings(),
            faults=tuple(faults),
        )
    options = settings.options
    network, of_network = build_network(
        reaches,
        direction=options.direction,
        join_m=options.join_m,
        cycles=options.cycles,
        divergence=options.divergence,
        file=settings.layers["reaches"].path,
    )
    faults += [
        replace(fault, column=settings.column("reaches", fault.column)) for fault in of_network
    ] + _report_lengths(reaches, network, settings)
    log.info("Read %d reaches", len(reaches))
    of_layers = [_inspect(reaches, network, options)]
    shares = _no_shares()
    if subwatersheds is not None and not _has_fault(of_areas):
        shares = share_reaches(reaches, subwatersheds)
        of_layers.append(inspect_areas(reaches, subwatersheds, network, shares))
    findings = gpd.GeoDataFrame(pd.concat(of_layers, ignore_index=True), crs=reaches.crs)
    return Streams(
        reaches=reaches,
        subwatersheds=subwatersheds,
        network=network,
        shares=shares,
        findings=findings,
        faults=(*faults, *_report_findings(findings, settings)),
    )


def _has_fault(faults: list[Fault]) -> bool:
    return any(fault.severity == "fault" for fault in faults)


def _no_shares() -> pd.DataFrame:
    shares = pd.DataFrame({"reach": [], "area": [], "share": [], "length_km": []}, dtype=float)
    return shares.astype({"reach": int, "area": int})


def _no_findings() -> gpd.GeoDataFrame:
    columns = {name: pd.Series(dtype=str) for name in ("finding", "severity", "ids", "note", "fix")}
    return gpd.GeoDataFrame(columns, geometry=[], crs="EPSG:4326")


def _inspect(reaches: gpd.GeoDataFrame, network: Network, options: Options) -> gpd.GeoDataFrame:
    return inspect_reaches(
        reaches,
        network,
        near_miss_m=options.near_miss_m,
        join_m=options.join_m,
        direction=options.direction,
        cycles=options.cycles,
    )


def _report_findings(findings: gpd.GeoDataFrame, settings: Settings) -> list[Fault]:
    """Say in one line how many places of each kind there are to look at, and fault codes that go round."""
    if findings.empty:
        return []
    counts = findings["finding"].value_counts().sort_index()
    problem = f"places to look at in the layers: {', '.join(f'{kind} {n}' for kind, n in counts.items())}"
    fix = "see layers.html of a run, or: watershedmap check FOLDER --page layers.html"
    found = [Fault(settings.layers["reaches"].path, None, "", "", problem, fix, "notice")]
    column = settings.column("subwatersheds", "downstream_id")
    for code in findings[findings["finding"] == CYCLE_OF_CODES].itertuples():
        file = settings.layers["subwatersheds"].path
        found.append(Fault(file, None, column, str(code.ids), str(code.note), str(code.fix)))
    return found


def _report_lengths(reaches: gpd.GeoDataFrame, network: Network, settings: Settings) -> list[Fault]:
    """Notice reaches that have a line without any length: they weigh nothing anywhere."""
    flat = (network.length_km == 0) & ~reaches.geometry.isna().to_numpy()
    if not flat.any():
        return []
    ids = list_ids(list(reaches.loc[flat, "reach_id"]))
    column = settings.column("reaches", "reach_id")
    problem = f"{int(flat.sum())} reach(es) have a line of no length"
    return [
        Fault(settings.layers["reaches"].path, None, column, ids, problem, "mend or remove them", "notice")
    ]
