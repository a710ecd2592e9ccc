"""A survey: all that was read, checked, and put on the network.

Reading finds every fault of every file before it gives up, so that a user mends a survey once and not
fault by fault. Cycles in the network and sites far from every stream are found here too: they are
faults of the input, not of a later step.
"""

from __future__ import annotations

import glob
import logging
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from watershedmap.errors import Fault, SurveyError, sort_faults
from watershedmap.network.snapping import place_sites
from watershedmap.readers.barriers import read_barriers
from watershedmap.readers.samples import read_counts, read_samples, read_scores
from watershedmap.readers.settings import read_settings
from watershedmap.readers.sites import read_sites
from watershedmap.readers.taxa import read_taxa
from watershedmap.scoring.affinity import MODEL_GROUPS
from watershedmap.scoring.choice import choose_index
from watershedmap.scoring.indices import BIOTIC_INDEX
from watershedmap.scoring.metrics import MetricSettings
from watershedmap.settings import SETTINGS_FILE, TOLERANCES, Settings
from watershedmap.streams import Streams, read_streams
from watershedmap.taxa.lookup import make_lookup, resolve

if TYPE_CHECKING:
    import geopandas as gpd

    from watershedmap.errors import Severity
    from watershedmap.network.topology import Network
    from watershedmap.scoring.indices import Index


log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """Everything a survey folder holds, free of faults."""

    folder: Path
    """The survey folder."""
    settings: Settings
    """What `survey.toml` says."""
    index: Index
    """The index that stands for condition."""
    metric_settings: MetricSettings
    """What metrics are computed to."""
    sites: gpd.GeoDataFrame
    """One row a site: site_id, name, longitude, latitude, reach_id, notes, point in WGS 84."""
    samples: pd.DataFrame
    """One row a sample: sample_id, site_id, date, year, method, replicate, and score when brought in."""
    counts: pd.DataFrame | None
    """One row a sample and taxon: sample_id, taxon as written, count; None when scores are brought in."""
    taxa: pd.DataFrame | None
    """One row a name as written, with what it was resolved to; None when scores are brought in."""
    reaches: gpd.GeoDataFrame
    """One row a reach: reach_id, name, the line in WGS 84, and the layer's columns of topology."""
    subwatersheds: gpd.GeoDataFrame | None
    """One row a sub-watershed: subwatershed_id, name, polygon in WGS 84; None when there is no such layer."""
    network: Network
    """The reaches as a network."""
    shares: pd.DataFrame
    """One row a reach and sub-watershed that meet: reach, area (rows of the layers), share, length_km."""
    findings: gpd.GeoDataFrame
    """One row a place in the layers to look at: finding, severity, ids, note, fix, and a point."""
    placement: pd.DataFrame
    """On the rows of `sites`: reach, reach_id, offset_m, position_m, snapped_longitude, snapped_latitude,
    and how the reach was chosen: placement, candidates, ambiguity."""
    barriers: gpd.GeoDataFrame
    """One row a barrier: barrier_id, name, kind, reach (row, -1 for none), reach_id, position_m, point."""
    notices: tuple[Fault, ...]
    """All that was noticed and does not stop a run."""
    inputs: tuple[Path, ...]
    """Every file that was read."""


def read_survey(folder: str | Path) -> Survey:
    """Read a survey folder and check all of it.

    Parameters
    ----------
    folder
        Folder that holds `survey.toml`.

    Returns
    -------
    Survey
        With the notices, and without faults.

    Raises
    ------
    SurveyNotFoundError
        When there is no such folder, or no `survey.toml` in it.
    SurveyError
        When anything in it is at fault; it carries all faults and notices.
    """
    folder = Path(folder)
    settings, faults = read_settings(folder)
    if faults:
        raise SurveyError(faults)
    index, faults = choose_index(settings.index, folder)
    metric_settings, of_model = _read_model(settings)
    own_taxa, of_taxa = read_taxa(folder, settings)
    faults += of_model + of_taxa + _check_values(index, settings)
    streams = read_streams(folder, settings)
    sites, of_sites = read_sites(folder, settings, reach_ids=set(streams.reaches["reach_id"]))
    barriers, of_barriers = read_barriers(folder, settings, reach_ids=set(streams.reaches["reach_id"]))
    samples, counts, taxa, of_samples = _read_collections(folder, settings, sites, own_taxa)
    faults += [*streams.faults, *of_sites, *of_barriers, *of_samples, *_check_methods(samples, settings)]
    _stop_on(faults)
    assert streams.network is not None  # noqa: S101 - there is one where the layers have no fault
    log.info("Read %d sites, %d samples", len(sites), len(samples))
    placement, of_placement = _place(sites, "sites", streams, settings)
    barriers, more = _place_barriers(barriers, streams, settings)
    faults += of_placement + more
    _stop_on(faults)
    assert index is not None  # noqa: S101 - choose_index returns None only with a fault, and there is none
    return Survey(
        folder=folder,
        settings=settings,
        index=index,
        metric_settings=metric_settings,
        sites=sites,
        samples=samples,
        counts=counts,
        taxa=taxa,
        reaches=streams.reaches,
        subwatersheds=streams.subwatersheds,
        network=streams.network,
        shares=streams.shares,
        findings=streams.findings,
        placement=placement,
        barriers=barriers,
        notices=sort_faults(faults),
        inputs=list_inputs(folder, settings),
    )


def _place(
    points: gpd.GeoDataFrame, table: str, streams: Streams, settings: Settings
) -> tuple[pd.DataFrame, list[Fault]]:
    """Put points on reaches, and name columns in reports as the user's own file does."""
    assert streams.network is not None  # noqa: S101 - as above
    placement, found = place_sites(
        points,
        streams.reaches,
        streams.network,
        within_m=settings.options.snap_m,
        file=settings.tables.get(table, table),
    )
    return placement, [_name_column(fault, table, settings) for fault in found]


def _place_barriers(
    barriers: gpd.GeoDataFrame, streams: Streams, settings: Settings
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    if barriers.empty:
        return barriers.assign(reach=pd.Series(dtype=int), position_m=pd.Series(dtype=float)), []
    points = barriers.rename(columns={"barrier_id": "site_id"})
    placement, found = _place(points, "barriers", streams, settings)
    placed = barriers.drop(columns="reach_id").join(placement[["reach", "reach_id", "position_m"]])
    return placed, [_speak_of_barrier(fault, settings) for fault in found]


def _speak_of_barrier(fault: Fault, settings: Settings) -> Fault:
    """Word a notice about a placed point for a barrier, which ends inference only where it is on a reach."""
    column = settings.column("barriers", "barrier_id") if fault.column == "site_id" else fault.column
    problem = fault.problem.replace("this site", "this barrier").replace("the site", "the barrier")
    return replace(fault, column=column, problem=problem.replace("site ", "barrier ", 1))


def _stop_on(faults: list[Fault]) -> None:
    if any(fault.severity == "fault" for fault in faults):
        raise SurveyError(faults)


def _name_column(fault: Fault, table: str, settings: Settings) -> Fault:
    """Name the column as the user's own file does; the network knows ours only."""
    return replace(fault, column=settings.column(table, fault.column))


def _check_values(index: Index | None, settings: Settings) -> list[Fault]:
    """Notice an index that is meant for values of genera and species beside a list of family values."""
    if index is None or index.name != BIOTIC_INDEX.name or settings.options.tolerance not in TOLERANCES:
        return []
    problem = "this index is meant for genera and species, and the list of tolerance holds values of families"
    fix = "bring values in a table of taxa and name their column as tolerance under [options]"
    return [Fault(SETTINGS_FILE, None, "index.use", index.name, problem, fix, "notice")]


def _read_model(settings: Settings) -> tuple[MetricSettings, list[Fault]]:
    """Return what metrics are computed to; a model of percent model affinity that is none is a fault."""
    given = settings.affinity_model
    try:
        if given:
            return MetricSettings(rarefy_to=settings.options.rarefy_to, model=given), []
    except ValueError as error:
        fix = f"give a percentage to each of {', '.join(MODEL_GROUPS)}; together 100"
        return MetricSettings(), [Fault(SETTINGS_FILE, None, "affinity_model", "", str(error), fix)]
    return MetricSettings(rarefy_to=settings.options.rarefy_to), []


def _read_collections(
    folder: Path, settings: Settings, sites: gpd.GeoDataFrame, own_taxa: pd.DataFrame | None
) -> tuple[pd.DataFrame, pd.DataFrame | None, pd.DataFrame | None, list[Fault]]:
    """Read samples with counts and resolve their taxa, or read scores."""
    site_ids = set(sites["site_id"])
    if "scores" in settings.tables:
        scores, faults = read_scores(folder, settings, site_ids=site_ids)
        return scores, None, None, faults
    samples, faults = read_samples(folder, settings, site_ids=site_ids)
    counts, more = read_counts(folder, settings, samples=samples)
    taxa = _resolve(counts.loc[counts["taxon"] != "", "taxon"], own_taxa, settings)
    faults += (
        more + _report_unknown_taxa(counts, taxa, settings) + _report_uncounted(samples, counts, settings)
    )
    return samples, counts.drop(columns="row"), taxa, faults


def _resolve(names: pd.Series, own_taxa: pd.DataFrame | None, settings: Settings) -> pd.DataFrame:
    """Look names up in our tables with the survey's own rows over them.

    Where the survey's table is at fault (it lacks the column of tolerance values that is asked for), ours
    stand alone, so that the faults of the other tables are found all the same.
    """
    tolerance = settings.options.tolerance
    try:
        return resolve(names, lookup=make_lookup(own_taxa, tolerance=tolerance), tolerance=tolerance)
    except ValueError:
        return resolve(names)


def _report_unknown_taxa(counts: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> list[Fault]:
    """Report each unknown name once, at the first row that has it."""
    severity: Severity = "fault" if settings.options.unknown_taxa == "stop" else "notice"
    file, column = settings.tables["counts"], settings.column("counts", "taxon")
    faults = []
    for name, suggestions in taxa.loc[~taxa["known"], "suggestions"].items():
        rows = counts.loc[counts["taxon"] == name, "row"]
        problem = f"no table knows this taxon ({len(rows)} row(s)); it counts in totals and richness only"
        fix = f"did you mean {suggestions}?" if suggestions else "see the spelling, or keep it as it is"
        faults.append(Fault(file, int(rows.iloc[0]), column, str(name), problem, fix, severity))
    return faults


def _report_uncounted(samples: pd.DataFrame, counts: pd.DataFrame, settings: Settings) -> list[Fault]:
    """Report samples without any row of counts: they are unknown, not empty."""
    missing = samples.loc[~samples["sample_id"].isin(counts["sample_id"].unique()), "sample_id"]
    file, column = settings.tables["samples"], settings.column("samples", "sample_id")
    problem = "this sample has no counts"
    fix = "enter its counts; if nothing was found, enter a taxon that was looked for with count 0"
    return [Fault(file, None, column, str(name), problem, fix, "notice") for name in missing]


def _check_methods(samples: pd.DataFrame, settings: Settings) -> list[Fault]:
    """Fault a method under [options] that no sample was taken with: a slip there would use nothing."""
    known = sorted(set(samples["method"]) - {""})
    fix = f"the samples have: {', '.join(known)}" if known else "the samples name no method"
    return [
        Fault(SETTINGS_FILE, None, "options.methods", method, "no sample was taken with this method", fix)
        for method in settings.options.methods
        if method not in known
    ]


def list_inputs(folder: Path, settings: Settings) -> tuple[Path, ...]:
    """List every file that a survey reads; the parts of a shapefile lie beside it under the same stem.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings.

    Returns
    -------
    tuple of pathlib.Path
        Sorted; a file that is not there is named all the same.
    """
    named = [SETTINGS_FILE, *settings.tables.values(), *(layer.path for layer in settings.layers.values())]
    if settings.index.definition:
        named.append(settings.index.definition)
    files = {folder / name for name in named}
    for path in [path for path in files if path.suffix.lower() == ".shp"]:
        files |= {part for part in path.parent.glob(f"{glob.escape(path.stem)}.*") if part.is_file()}
    return tuple(sorted(files))
