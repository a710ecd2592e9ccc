"""What the page shows, as one block of JSON: a list per column, not an object per feature.

Reaches, of which there may be very many, stand in a block of bytes of their own (see `page_reaches`).

Nothing is computed here but the wording of class limits and the two ends of a trend line. Text goes in as it
stands in the tables; `page_json.to_json` makes it safe inside `<script>`, and the page's script puts it into
the document as text only.

Missing numbers are null, missing text is empty, a missing pick from a list is -1; the page says "unknown".
Scores are rounded half away from zero to the decimals of the index, as for classes, so that a figure never
contradicts the class beside it.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from watershedmap.render.coordinates import encode_points, encode_polygons
from watershedmap.render.page_columns import (
    column,
    numbers,
    picks,
    plain,
    positions,
    ranks,
    texts,
)
from watershedmap.render.page_explanations import collect_explanations
from watershedmap.render.page_periods import collect_periods
from watershedmap.render.page_reaches import EVIDENCE, TRENDS, area_positions, collect_branches, pack_reaches
from watershedmap.render.page_steps import collect_steps
from watershedmap.render.palette import class_colours, text_on, tint_of

if TYPE_CHECKING:
    import geopandas as gpd

    from watershedmap.assessment import Assessment
    from watershedmap.scoring.indices import Index

LAST_SAMPLES = 12
"""Samples of a site that its panel lists; how many there are is stated beside them."""
CERTAIN_FROM = 0.7
"""Probability of its stated class from which a place counts as certain; our own choice, no source."""
LABEL_TOLERANCE = 1e-4
"""How well the place of a name is found, degrees."""


def collect(assessment: Assessment) -> dict[str, Any]:
    """Collect everything the page shows.

    Parameters
    ----------
    assessment
        What was computed.

    Returns
    -------
    dict
        Plain JSON types; but `reaches` is a `Pack`, since there may be very many of them.
    """
    index, settings = assessment.index, assessment.survey.settings
    years = assessment.yearly["year"]
    return {
        "title": str(settings.title),
        "about": str(settings.about),
        "span": [int(years.min()), int(years.max())] if len(years) else [],
        "files": sorted({path.name for path in getattr(assessment.survey, "inputs", ())}),
        "asOf": int(assessment.as_of_year),
        "index": _collect_index(index),
        "certainFrom": CERTAIN_FROM,
        "evidence": EVIDENCE,
        "trends": TRENDS,
        "reaches": pack_reaches(assessment),
        "branches": collect_branches(assessment),
        "steps": collect_steps(assessment),
        "periods": collect_periods(assessment),
        "sites": _collect_sites(assessment),
        "samples": _collect_samples(assessment),
        "areas": _collect_areas(assessment),
        "notices": [f"{n.file}: {n.problem} {n.value}".strip() for n in assessment.notices],
    }


def describe_limits(index: Index) -> tuple[str, ...]:
    """Put the limits of each class into words.

    Parameters
    ----------
    index
        The index that stands for condition.

    Returns
    -------
    tuple of str
        Best class first, such as `≤ 3.75`, `3.76 to 4.25` (the two joined by a dash) or
        `≥ 7.26`.
    """
    decimals, step = index.decimals, 10.0**-index.decimals
    first, beyond = ("≤ {}", "≥ {}") if index.better == "low" else ("≥ {}", "≤ {}")
    sign = 1 if index.better == "low" else -1
    worse_ends = [band.limit for band in index.classes if band.limit is not None]
    words = [first.format(_fixed(worse_ends[0], decimals))]
    for better, worse in pairwise(worse_ends):
        ends = sorted((better + sign * step, worse))
        between = "\u2013" if ends[0] >= 0 else " to "  # a dash before a minus sign cannot be read
        words.append(between.join(_fixed(end, decimals) for end in ends))
    words.append(beyond.format(_fixed(worse_ends[-1] + sign * step, decimals)))
    return tuple(words)


def _collect_index(index: Index) -> dict[str, Any]:
    colours = class_colours(len(index.classes))
    bands = [
        {
            "label": band.label,
            "meaning": band.meaning,
            "limit": band.limit,
            "limits": words,
            "colour": colour,
            "text": text_on(colour),
            "tint": tint_of(colour),
            "shade": tint_of(colour, dark=True),
        }
        for band, words, colour in zip(index.classes, describe_limits(index), colours, strict=True)
    ]
    kept = {key: getattr(index, key) for key in ("label", "unit", "better", "decimals", "source")}
    return {**kept, "classes": bands}


def _collect_sites(assessment: Assessment) -> dict[str, Any]:
    frame, decimals = assessment.sites, assessment.index.decimals
    return {
        **_condition(frame, assessment),
        "id": texts(frame, "site_id"),
        "name": texts(frame, "name"),
        "notes": texts(frame, "notes"),
        "at": encode_points(frame["longitude"], frame["latitude"]),
        "on": encode_points(frame["snapped_longitude"], frame["snapped_latitude"]),
        "reach": picks(frame, "reach_id", positions(assessment.reaches["reach_id"])),
        "offsetM": numbers(frame, "offset_m", 0),
        "positionM": numbers(frame, "position_m", 0),
        "area": picks(frame, "subwatershed_id", area_positions(assessment)),
        "nSamples": numbers(frame, "n_samples", 0),
        "nYears": numbers(frame, "n_years", 0),
        "basis": texts(frame, "interval_basis"),
        "basisYears": plain(column(frame, "score_df") + 1, 0),
        "firstYear": numbers(frame, "first_year", 0),
        "lastYear": numbers(frame, "last_year", 0),
        "current": [bool(value) for value in frame["current"].fillna(value=False)],
        **_neighbours(frame, positions(frame["site_id"])),
        "rankLow": picks(frame, "class_low", ranks(assessment.index)),
        "rankHigh": picks(frame, "class_high", ranks(assessment.index)),
        **_collect_series(assessment.yearly, frame, decimals),
    }


def _neighbours(frame: pd.DataFrame, sites: dict[str, int]) -> dict[str, Any]:
    """Nearest sampled sites along the flow, from the ends of a reach or from a site itself."""
    return {
        "upSite": picks(frame, "site_upstream", sites),
        "upSiteKm": numbers(frame, "site_upstream_km", 1),
        "downSite": picks(frame, "site_downstream", sites),
        "downSiteKm": numbers(frame, "site_downstream_km", 1),
    }


def _condition(frame: pd.DataFrame, assessment: Assessment) -> dict[str, Any]:
    """Columns that sites and reaches have in common."""
    decimals = assessment.index.decimals
    return {
        **_scored(frame, assessment.index),
        "trend": picks(frame, "trend", {word: i for i, word in enumerate(TRENDS)}),
        "slope": numbers(frame, "slope_per_year", decimals + 1),
        "slopeLow": numbers(frame, "slope_low", decimals + 1),
        "slopeHigh": numbers(frame, "slope_high", decimals + 1),
        "p": numbers(frame, "p_value", 4),
        "trendYears": numbers(frame, "trend_years", 0),
    }


def _scored(frame: pd.DataFrame, index: Index) -> dict[str, Any]:
    """Collect score, interval, class and how sure the class is."""
    names = [f"probability_{n}" for n in range(1, len(index.classes) + 1)]
    chances = zip(*(numbers(frame, name, 4) for name in names), strict=True)
    return {
        "score": numbers(frame, "score", index.decimals),
        "low": numbers(frame, "score_low", index.decimals),
        "high": numbers(frame, "score_high", index.decimals),
        "rank": picks(frame, "class", ranks(index)),
        "certainty": numbers(frame, "class_certainty", 4),
        "chances": [[] if None in row else list(row) for row in chances],
    }


def _collect_series(yearly: pd.DataFrame, sites: pd.DataFrame, decimals: int) -> dict[str, Any]:
    """Collect the yearly scores of each site, and the ends of its trend line."""
    groups = dict(list(yearly.sort_values(["site_id", "year"]).groupby("site_id")))
    collected: dict[str, Any] = {"years": [], "scores": [], "yearSamples": [], "fit": []}
    slopes, intercepts = (column(sites, name) for name in ("slope_per_year", "intercept"))
    for site_id, slope, intercept in zip(sites["site_id"], slopes, intercepts, strict=True):
        series = groups.get(site_id, yearly.iloc[:0])
        ends = series["year"].iloc[[0, -1]].to_numpy(dtype=float) if len(series) else np.empty(0)
        collected["years"].append(numbers(series, "year", 0))
        collected["scores"].append(numbers(series, "score", decimals))
        collected["yearSamples"].append(numbers(series, "n_samples", 0))
        known = pd.notna(slope) and pd.notna(intercept)
        collected["fit"].append(plain(float(intercept) + float(slope) * ends, decimals + 2) if known else [])
    return collected


def _collect_samples(assessment: Assessment) -> dict[str, Any]:
    """Collect the last samples of each site, newest first, and how many there are."""
    sites = positions(assessment.sites["site_id"])
    ordered = assessment.samples.sort_values(
        ["site_id", "date", "sample_id"], ascending=[True, False, True]
    ).reset_index(drop=True)
    last = ordered.groupby("site_id").head(LAST_SAMPLES)
    counts = ordered["site_id"].map(sites).dropna().astype(int)
    return {
        "site": picks(last, "site_id", sites),
        "id": texts(last, "sample_id"),
        "date": [f"{date:%Y-%m-%d}" if pd.notna(date) else "" for date in last["date"]],
        "method": texts(last, "method"),
        "replicate": texts(last, "replicate"),
        "individuals": numbers(last, "total_individuals", 0),
        "richness": numbers(last, "taxa_richness", 0),
        "ept": numbers(last, "ept_richness", 0),
        **_scored(last, assessment.index),
        "flags": texts(last, "flags"),
        "explained": collect_explanations(assessment, texts(last, "sample_id")),
        "perSite": np.bincount(counts, minlength=len(sites)).tolist(),
    }


def _collect_areas(assessment: Assessment) -> dict[str, Any] | None:
    frame = assessment.subwatersheds
    if frame is None:
        return None
    return {
        "id": texts(frame, "subwatershed_id"),
        "name": texts(frame, "name"),
        "areaKm2": numbers(frame, "area_km2", 1),
        "streamKm": numbers(frame, "stream_km", 3),
        "assessedKm": numbers(frame, "assessed_km", 3),
        "measuredKm": numbers(frame, "measured_km", 3),
        "assessedShare": numbers(frame, "assessed_share", 3),
        "evidence": _area_evidence(frame),
        **_scored(frame, assessment.index),
        "nSites": numbers(frame, "n_sites", 0),
        "ring": encode_polygons(frame.geometry),
        "label": _label_points(frame.geometry),
    }


def _area_evidence(frame: gpd.GeoDataFrame) -> list[int]:
    """Say of each sub-watershed whether any of its streams is measured; places in `EVIDENCE`."""
    measured, inferred, unassessed = range(len(EVIDENCE))
    known = np.where(frame["measured_km"] > 0, measured, inferred)
    evidence: list[int] = np.where(frame["class"].isna(), unassessed, known).tolist()
    return evidence


def _label_points(shapes: gpd.GeoSeries) -> dict[str, list[int | None]]:
    """Return the middle of the largest circle that fits in each polygon: the best place for a name."""
    polygons = np.array(shapes.array, dtype=object)
    polygons[~(shapely.area(polygons) > 0)] = None  # an empty one has no such circle
    centres = shapely.get_point(shapely.maximum_inscribed_circle(polygons, tolerance=LABEL_TOLERANCE), 0)
    return encode_points(shapely.get_x(centres), shapely.get_y(centres))


def _fixed(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}"
