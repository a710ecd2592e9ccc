"""The pipeline: from a survey folder to an assessment, one step after the other.

::

    Survey -> scores of samples -> condition of sites -> of reaches -> of sub-watersheds
                                -> trends of sites, of reaches and of groups of sites
                                -> steps between sites that follow each other along the flow
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from watershedmap.condition.groups import combine_trends
from watershedmap.condition.leave_out import InferenceCheck, compare_inference
from watershedmap.condition.notices import (
    notice_methods,
    notice_uncovered,
    notice_unordered,
    notice_unused,
    notice_years,
)
from watershedmap.condition.reaches import MEASURED, assess_reaches, combine_series
from watershedmap.condition.sites import CONFIDENCE, assess_sites, average_years
from watershedmap.condition.step_lines import step_lines
from watershedmap.condition.steps import find_steps
from watershedmap.condition.subwatersheds import assess_subwatersheds, main_area
from watershedmap.condition.upstream import (
    find_nearest_sites,
    find_neighbours,
    is_sampled,
    summarise_upstream,
)
from watershedmap.errors import Fault, sort_faults
from watershedmap.network.area_chain import chain_areas
from watershedmap.network.areas import area_km2, area_of_points
from watershedmap.network.order import shreve_magnitude, strahler_order
from watershedmap.network.tracing import distance_to_outlet_km
from watershedmap.network.views import Barriers
from watershedmap.scoring.classes import class_rank, classify
from watershedmap.scoring.replicates import ReplicateComparison, compare_replicates
from watershedmap.scoring.samples import score_samples
from watershedmap.survey import Survey, read_survey
from watershedmap.trends.direction import TOO_FEW_YEARS, trends_by

if TYPE_CHECKING:
    from pathlib import Path

    from watershedmap.scoring.indices import Index


log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """Everything that was computed from a survey; what `render` draws."""

    survey: Survey
    """What was read."""
    index: Index
    """The index that stands for condition."""
    as_of_year: int
    """Year that condition is stated for: the last with a sample that is used."""
    samples: pd.DataFrame
    """One row a sample: metrics, score, class, flags, and whether it was used."""
    checks: pd.DataFrame
    """One row for each check of sample quality that a sample failed: what was found and what was done."""
    replicates: ReplicateComparison
    """What replicates show of the error of a sample, beside what the counts predict."""
    yearly: pd.DataFrame
    """One row a site and year: site_id, year, score, n_samples, score_se."""
    sites: gpd.GeoDataFrame
    """One row a site: place on its reach, condition, class, trend."""
    reaches: gpd.GeoDataFrame
    """One row a reach: condition, evidence, class, trend, upstream summary, neighbours along the flow."""
    subwatersheds: gpd.GeoDataFrame | None
    """One row a sub-watershed: length-weighted condition; None when the survey has no such layer."""
    inference: InferenceCheck
    """How far inference along the flow is off at sites left out, beside simpler guesses."""
    steps: gpd.GeoDataFrame
    """One row a pair of sites that follow each other along the flow: the change of score, its test, and what
    lies between; with the line between the two."""
    combined_trends: pd.DataFrame
    """One row a sub-watershed or group of reaches: the common trend of its sites."""
    taxa: pd.DataFrame | None
    """One row a taxon name as written, with what it was taken for; None for scores brought in."""
    notices: tuple[Fault, ...]
    """All that was noticed on the way."""


def assess(folder: str | Path) -> Assessment:
    """Read a survey folder and compute everything.

    Parameters
    ----------
    folder
        Folder that holds `survey.toml`.

    Returns
    -------
    Assessment
        Plain frames; nothing is written.

    Raises
    ------
    SurveyNotFoundError
        When there is no such folder, or no `survey.toml` in it.
    SurveyError
        When anything in it is at fault; it carries all faults and notices.

    Examples
    --------
    >>> import watershedmap
    >>> assessment = watershedmap.assess("demo_data")
    >>> assessment.reaches[["reach_id", "class", "evidence"]]  # doctest: +SKIP
    """
    return assess_survey(read_survey(folder))


def assess_survey(survey: Survey) -> Assessment:
    """Compute everything from a survey that was read.

    Parameters
    ----------
    survey
        As from `read_survey`.

    Returns
    -------
    Assessment
        Plain frames; nothing is written.
    """
    options, index = survey.settings.options, survey.index
    samples, checks = score_samples(
        survey.samples,
        survey.counts,
        survey.taxa,
        index=index,
        options=options,
        quality=survey.settings.quality,
        metric_settings=survey.metric_settings,
    )
    used = samples[samples["used"]]
    as_of_year = int((samples if used.empty else used)["year"].max())
    yearly = average_years(used)
    log.info("Scored %d of %d samples", int(samples["score"].notna().sum()), len(samples))
    site_area = _find_areas(survey)
    sites = _assess_sites(survey, yearly, site_area, as_of_year)
    reaches = _assess_reaches(survey, yearly, sites)
    evidence = reaches["evidence"].value_counts()
    log.info("Assessed reaches: %s", ", ".join(f"{count} {word}" for word, count in evidence.items()))
    notices = [
        *notice_unused(samples, checks, survey),
        *notice_methods(samples, survey),
        *notice_years(yearly, sites, survey, as_of_year=as_of_year),
        *notice_unordered(sites, survey),
        *notice_uncovered(survey.shares, site_area, reaches, survey),
    ]
    return Assessment(
        survey=survey,
        index=index,
        as_of_year=as_of_year,
        samples=samples,
        checks=checks,
        replicates=compare_replicates(samples),
        yearly=yearly,
        sites=sites.drop(columns="reach"),
        reaches=reaches,
        subwatersheds=_assess_areas(survey, reaches, site_area),
        inference=_check_inference(survey, sites),
        steps=_find_steps(survey, sites, samples, reaches),
        combined_trends=_combine_trends(survey, yearly, sites),
        taxa=survey.taxa,
        notices=sort_faults([*survey.notices, *notices]),
    )


def _find_areas(survey: Survey) -> np.ndarray:
    """Return the row of the sub-watershed of each site, -1 for none."""
    if survey.subwatersheds is None:
        return np.full(len(survey.sites), -1)
    return area_of_points(survey.sites.geometry, survey.subwatersheds)


def _ids_of_areas(survey: Survey) -> pd.Series:
    areas = survey.subwatersheds
    return pd.Series(dtype=object) if areas is None else areas["subwatershed_id"]


def _assess_sites(
    survey: Survey, yearly: pd.DataFrame, site_area: np.ndarray, as_of_year: int
) -> gpd.GeoDataFrame:
    """Join place, condition, class and trend of each site."""
    options = survey.settings.options
    sites = survey.sites.drop(columns="reach_id").join(survey.placement)
    sites["subwatershed_id"] = _ids_of_areas(survey).reindex(site_area).to_numpy()
    condition = assess_sites(
        sites["site_id"],
        yearly,
        options=options,
        as_of_year=as_of_year,
        scale=survey.index.scale,
        index=survey.index,
    )
    sites = sites.join(condition)
    sites = sites.join(find_neighbours(survey.network, sites))
    for column, of in (("class", "score"), ("class_low", "score_low"), ("class_high", "score_high")):
        sites[column] = classify(sites[of], survey.index)
    trends = _trends(survey, yearly, "site_id")
    sampled = sites["site_id"].isin(survey.samples["site_id"].unique())
    return _with_trends(sites, trends.reindex(sites["site_id"]), present=sampled)


def _assess_reaches(survey: Survey, yearly: pd.DataFrame, sites: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Join condition, class, trend and what lies along the flow for each reach."""
    network, index = survey.network, survey.index
    condition = assess_reaches(
        network, sites, options=survey.settings.options, index=index, barriers=_stack_barriers(survey)
    )
    label = classify(condition["score"], index)
    sampled = sites.loc[is_sampled(sites), "reach"]
    upstream = summarise_upstream(
        network,
        condition["score"],
        class_rank=class_rank(label, index),
        n_classes=len(index.classes),
        n_sites=np.bincount(sampled, minlength=len(condition)),
    )
    trends = _trends(survey, combine_series(yearly, sites), "reach").reindex(condition.index)
    place = survey.reaches[["reach_id", "name", "geometry"]].assign(
        downstream_id=_downstream_ids(survey),
        length_km=_known_lengths(survey),
        **_orders(survey),
        subwatershed_id=main_area(survey.shares, _ids_of_areas(survey), len(condition)),
    )
    joined = gpd.GeoDataFrame(place.join(condition.assign(**{"class": label})))
    joined = _with_trends(joined, trends, present=condition["evidence"] == MEASURED)
    return gpd.GeoDataFrame(joined.join(find_nearest_sites(network, sites)).join(upstream))


def _assess_areas(
    survey: Survey, reaches: gpd.GeoDataFrame, site_area: np.ndarray
) -> gpd.GeoDataFrame | None:
    """Join size, chain, condition and class of each sub-watershed."""
    areas, shares = survey.subwatersheds, survey.shares
    if areas is None:
        return None
    condition = assess_subwatersheds(areas, shares, reaches, site_area=site_area, index=survey.index)
    frame = areas[["subwatershed_id", "name"]].assign(area_km2=area_km2(areas.geometry)).join(condition)
    frame["class"] = classify(frame["score"], survey.index)
    chain = chain_areas(areas, survey.network, shares)
    frame = frame.join(chain[["downstream_id", "source", "agrees", "upstream_area_km2"]])
    frame = frame.rename(columns={"source": "chain_source", "agrees": "chain_agrees"})
    return gpd.GeoDataFrame(frame, geometry=areas.geometry, crs=areas.crs)


def _stack_barriers(survey: Survey) -> Barriers:
    """Gather what ends inference: barriers at points, and reaches that are barriers as a whole."""
    points, reaches = survey.barriers, survey.reaches
    closed = reaches["barrier"] != "" if "barrier" in reaches else pd.Series(dtype=bool)
    return Barriers(
        reach=points["reach"].to_numpy(dtype=np.intp),
        position_m=points["position_m"].to_numpy(dtype=float),
        closed=closed.to_numpy(dtype=bool),
    )


def _check_inference(survey: Survey, sites: gpd.GeoDataFrame) -> InferenceCheck:
    return compare_inference(
        survey.network,
        sites,
        options=survey.settings.options,
        index=survey.index,
        barriers=_stack_barriers(survey),
    )


def _find_steps(
    survey: Survey, sites: gpd.GeoDataFrame, samples: pd.DataFrame, reaches: gpd.GeoDataFrame
) -> gpd.GeoDataFrame:
    """Compare sites that follow each other along the flow, and draw the way between them."""
    network = survey.network
    steps = find_steps(
        network, sites, samples, index=survey.index, options=survey.settings.options, reaches=reaches
    )
    return gpd.GeoDataFrame(steps, geometry=step_lines(network, survey.reaches, sites, steps))


def _combine_trends(survey: Survey, yearly: pd.DataFrame, sites: gpd.GeoDataFrame) -> pd.DataFrame:
    options = survey.settings.options
    return combine_trends(
        yearly,
        sites,
        survey.reaches,
        better=survey.index.better,
        min_years=options.min_trend_years,
        alpha=options.trend_alpha,
        confidence=CONFIDENCE,
    )


def _trends(survey: Survey, series: pd.DataFrame, key: str) -> pd.DataFrame:
    options = survey.settings.options
    return trends_by(
        series,
        key,
        better=survey.index.better,
        min_years=options.min_trend_years,
        alpha=options.trend_alpha,
        confidence=CONFIDENCE,
    )


def _with_trends(frame: gpd.GeoDataFrame, trends: pd.DataFrame, *, present: pd.Series) -> gpd.GeoDataFrame:
    """Add trends; a place that was sampled but never scored has too few years, any other has no trend."""
    aligned = trends.set_axis(frame.index)
    joined = gpd.GeoDataFrame(frame.join(aligned.where(present)))
    joined["trend"] = joined["trend"].mask(present & joined["trend"].isna(), TOO_FEW_YEARS)
    joined["trend_years"] = joined["trend_years"].fillna(0).astype(int)
    return joined


def _known_lengths(survey: Survey) -> np.ndarray:
    """Return the length of each reach, missing for one without a line and without a given length."""
    reaches, length = survey.reaches, survey.network.length_km
    unknown = reaches.geometry.isna()
    if "length_km" in reaches:
        unknown &= reaches["length_km"].isna()
    return np.where(unknown, np.nan, length)


def _downstream_ids(survey: Survey) -> np.ndarray:
    """Return the id of the next reach downstream, None at an outlet."""
    ids = np.append(survey.network.ids.astype(object), [None])
    return ids[survey.network.main_down]


def _orders(survey: Survey) -> dict[str, pd.Series]:
    """Return order, magnitude and distance to the outlet of each reach; missing where flow is unknown."""
    network, rows = survey.network, survey.reaches.index
    if not network.has_flow:
        missing = pd.Series(pd.NA, index=rows, dtype="Int64")
        return {
            "strahler_order": missing,
            "shreve_magnitude": pd.Series(np.nan, index=rows),
            "outlet_km": pd.Series(np.nan, index=rows),
        }
    order = pd.Series(strahler_order(network), index=rows, dtype="Int64")
    return {
        "strahler_order": order.where(order > 0),
        "shreve_magnitude": pd.Series(shreve_magnitude(network), index=rows, dtype=float),
        "outlet_km": pd.Series(distance_to_outlet_km(network), index=rows),
    }
