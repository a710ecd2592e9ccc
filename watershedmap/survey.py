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

from watershedmap.errors import Fault, SurveyError, sort_faults
from watershedmap.network.reports import list_ids
from watershedmap.network.snapping import place_sites
from watershedmap.network.topology import Network, build_network
from watershedmap.readers.layers import read_reaches, read_subwatersheds
from watershedmap.readers.samples import read_counts, read_samples, read_scores
from watershedmap.readers.settings import read_settings
from watershedmap.readers.sites import read_sites
from watershedmap.readers.taxa import read_taxa
from watershedmap.scoring.affinity import MODEL_GROUPS
from watershedmap.scoring.choice import choose_index
from watershedmap.scoring.indices import BIOTIC_INDEX
from watershedmap.scoring.metrics import MetricSettings
from watershedmap.settings import SETTINGS_FILE, TOLERANCES, Settings
from watershedmap.taxa.lookup import make_lookup, resolve

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from watershedmap.errors import Severity
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
    placement: pd.DataFrame
    """On the rows of `sites`: reach, reach_id, offset_m, position_m, snapped_longitude, snapped_latitude."""
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
    reaches, more = read_reaches(folder, settings)
    subwatersheds, further = read_subwatersheds(folder, settings)
    sites, of_sites = read_sites(folder, settings, reach_ids=set(reaches["reach_id"]))
    samples, counts, taxa, of_samples = _read_collections(folder, settings, sites, own_taxa)
    faults += more + further + of_sites + of_samples + _check_methods(samples, settings)
    if any(fault.severity == "fault" for fault in more):
        raise SurveyError(faults)  # a network of a layer at fault would only add faults that are none
    network, of_network = build_network(
        reaches,
        direction=settings.options.direction,
        join_m=settings.options.join_m,
        file=settings.layers["reaches"].path,
    )
    faults += [_name_column(fault, "reaches", settings) for fault in of_network]
    faults += _report_lengths(reaches, network, settings)
    _stop_on(faults)
    log.info("Read %d sites, %d samples, %d reaches", len(sites), len(samples), len(reaches))
    placement, of_placement = place_sites(
        sites, reaches, network, within_m=settings.options.snap_m, file=settings.tables["sites"]
    )
    faults += [_name_column(fault, "sites", settings) for fault in of_placement]
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
        reaches=reaches,
        subwatersheds=subwatersheds,
        network=network,
        placement=placement,
        notices=sort_faults(faults),
        inputs=_list_inputs(folder, settings),
    )


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


def _list_inputs(folder: Path, settings: Settings) -> tuple[Path, ...]:
    """Name every file that was read; the parts of a shapefile lie beside it under the same stem."""
    named = [SETTINGS_FILE, *settings.tables.values(), *(layer.path for layer in settings.layers.values())]
    if settings.index.definition:
        named.append(settings.index.definition)
    files = {folder / name for name in named}
    for path in [path for path in files if path.suffix.lower() == ".shp"]:
        files |= {part for part in path.parent.glob(f"{glob.escape(path.stem)}.*") if part.is_file()}
    return tuple(sorted(files))
