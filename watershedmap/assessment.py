"""The pipeline: from a survey folder to an assessment, one step after the other.

::

    Survey -> scores of samples -> condition of sites -> of reaches -> of sub-watersheds
                                -> trends of sites and reaches
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from watershedmap.condition.notices import notice_methods, notice_uncovered, notice_unused, notice_years
from watershedmap.condition.reaches import MEASURED, assess_reaches, combine_series
from watershedmap.condition.sites import CONFIDENCE, assess_sites, average_years
from watershedmap.condition.subwatersheds import assess_subwatersheds, main_area
from watershedmap.condition.upstream import (
    find_nearest_sites,
    find_neighbours,
    is_sampled,
    summarise_upstream,
)
from watershedmap.errors import Fault, sort_faults
from watershedmap.network.areas import area_km2, area_of_points, share_reaches
from watershedmap.network.order import strahler_order
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
    site_area, shares = _join_areas(survey)
    sites = _assess_sites(survey, yearly, site_area, as_of_year)
    reaches = _assess_reaches(survey, yearly, sites, shares)
    evidence = reaches["evidence"].value_counts()
    log.info("Assessed reaches: %s", ", ".join(f"{count} {word}" for word, count in evidence.items()))
    notices = [
        *notice_unused(samples, checks, survey),
        *notice_methods(samples, survey),
        *notice_years(yearly, sites, survey, as_of_year=as_of_year),
        *notice_uncovered(shares, site_area, reaches, survey),
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
        subwatersheds=_assess_areas(survey, shares, reaches, site_area),
        taxa=survey.taxa,
        notices=sort_faults([*survey.notices, *notices]),
    )


def _join_areas(survey: Survey) -> tuple[np.ndarray, pd.DataFrame]:
    """Return the sub-watershed of each site, and the shares of each reach in each sub-watershed."""
    areas = survey.subwatersheds
    if areas is None:
        shares = pd.DataFrame({"reach": [], "area": [], "share": [], "length_km": []}, dtype=float)
        return np.full(len(survey.sites), -1), shares.astype({"reach": int, "area": int})
    return area_of_points(survey.sites.geometry, areas), share_reaches(survey.reaches, areas)


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


def _assess_reaches(
    survey: Survey, yearly: pd.DataFrame, sites: gpd.GeoDataFrame, shares: pd.DataFrame
) -> gpd.GeoDataFrame:
    """Join condition, class, trend and what lies along the flow for each reach."""
    network, index = survey.network, survey.index
    condition = assess_reaches(network, sites, options=survey.settings.options, index=index)
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
        length_km=network.length_km,
        strahler_order=_orders(survey),
        subwatershed_id=main_area(shares, _ids_of_areas(survey), len(condition)),
    )
    joined = gpd.GeoDataFrame(place.join(condition.assign(**{"class": label})))
    joined = _with_trends(joined, trends, present=condition["evidence"] == MEASURED)
    return gpd.GeoDataFrame(joined.join(find_nearest_sites(network, sites)).join(upstream))


def _assess_areas(
    survey: Survey, shares: pd.DataFrame, reaches: gpd.GeoDataFrame, site_area: np.ndarray
) -> gpd.GeoDataFrame | None:
    """Join size, condition and class of each sub-watershed."""
    areas = survey.subwatersheds
    if areas is None:
        return None
    condition = assess_subwatersheds(areas, shares, reaches, site_area=site_area, index=survey.index)
    frame = areas[["subwatershed_id", "name"]].assign(area_km2=area_km2(areas.geometry)).join(condition)
    frame["class"] = classify(frame["score"], survey.index)
    return gpd.GeoDataFrame(frame, geometry=areas.geometry, crs=areas.crs)


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


def _downstream_ids(survey: Survey) -> np.ndarray:
    """Return the id of the next reach downstream, None at an outlet."""
    ids = np.append(survey.network.ids.astype(object), [None])
    return ids[survey.network.main_down]


def _orders(survey: Survey) -> pd.Series:
    if not survey.network.has_flow:
        return pd.Series(pd.NA, index=survey.reaches.index, dtype="Int64")
    return pd.Series(strahler_order(survey.network), index=survey.reaches.index, dtype="Int64")
