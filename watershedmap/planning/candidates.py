"""What could be visited next season, and how much it is needed, part by part.

Definition
    Candidates are all sites that are not excluded, and the middle of each reach without a measured condition.
    Each part is a number from 0 to 1:

    trend       1 where the trend of a site has a clear direction; else half of the share of `min_trend_years`
                that it has, so that a series near its first test is not broken off.
    stale       years since the last sample over `stale_after_years`, at most 1; 1 for a site without any.
    border      1 less the probability of the class that the score lies in (`class_certainty`).
    unsampled   kilometres of the unsampled length that the reach belongs to, over `gap_km`, at most 1; 0
                outside of any; unknown for a site on no reach.
    step        size of the largest clear step that ends at the site, or runs over the reach, over the largest
                clear step of the survey; 0 where the steps tested are not clear; unknown where none was.
    reference   1 for a reference site named in [plan], 0 for another site.

    The need is the weighted mean of the parts that are known; the weight of an unknown part is shared among
    the others, and the part stays empty. A new place has neither trend, age of data nor reference.
    An unsampled length is a set of reaches that flow one into the other, each of them unassessed, or without
    a measured reach at it or upstream of it: a branch without a site is one, even where condition is inferred
    from below. Where the direction of flow is unknown each reach stands alone.

Source
    None: the parts and their scales are conventions of this package.

Known bias
    Parts on different scales are added up; what comes out orders candidates and measures nothing. The middle
    of a reach is that of the drawn line in degrees; whether one can get there is unknown.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from watershedmap.condition.reaches import MEASURED, UNASSESSED
from watershedmap.condition.steps import BETTER, TOO_FEW_PAIRS, WORSE
from watershedmap.network.nodes import to_sphere
from watershedmap.network.tracing import accumulate
from watershedmap.settings_plan import PARTS
from watershedmap.trends.direction import IMPROVING, WORSENING

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.assessment import Assessment
    from watershedmap.network.topology import Network
    from watershedmap.settings_plan import PlanSettings

REVISIT: Final = "revisit"
NEW: Final = "new place"

_FROM_SITE: Final = (
    *("name", "notes", "n_years", "last_year", "trend", "p_value", "p_adjusted", "score", "class"),
    *("class_certainty",),
)
_FROM_REACH: Final = ("name", "score", "class", "class_certainty", "evidence", "length_km")


def list_candidates(assessment: Assessment, plan: PlanSettings) -> pd.DataFrame:
    """List what could be visited, with the parts of its need.

    Parameters
    ----------
    assessment
        The survey as assessed.
    plan
        Weights, and what is left out.

    Returns
    -------
    pandas.DataFrame
        One row a candidate, sites first: place_id, kind, site_id (NA for a new place), reach_id (NA when on
        none), name, longitude, latitude, last_year, n_years, trend, p_value, p_adjusted, score,
        class, class_certainty, evidence (of the reach), length_km, gap (number of the unsampled length, -1
        for none), gap_km, step_size and step_sites (of the largest clear step), part_<name> for each part,
        need.
    """
    gaps, gap_km = find_gaps(assessment.reaches, assessment.survey.network)
    steps = _find_largest_steps(assessment.steps)
    sites = _list_sites(assessment, plan)
    places = _list_places(assessment, plan)
    shared = [name for name in sites.columns if name in places.columns]
    frame = pd.concat([sites, places[shared + [c for c in places if c not in shared]]], ignore_index=True)
    on = pd.Index(assessment.reaches["reach_id"]).get_indexer(pd.Index(frame["reach_id"]))
    frame["gap"] = np.where(on >= 0, gaps[on], -1)
    frame["gap_km"] = np.where(frame["gap"] >= 0, gap_km[frame["gap"].to_numpy()] if len(gap_km) else 0, 0.0)
    key = frame["site_id"].where(frame["kind"] == REVISIT, "reach " + frame["reach_id"].astype("str"))
    frame["step_size"] = key.map(steps["size"]).astype(float)
    frame["step_sites"] = key.map(steps["sites"])
    return _rate(frame, assessment, plan)


def place_on_map(frame: pd.DataFrame) -> npt.NDArray[np.float64]:
    """Return coordinates in which straight distance is metres.

    Parameters
    ----------
    frame
        longitude, latitude, degrees.

    Returns
    -------
    numpy.ndarray
        x, y, z, one row each.
    """
    return to_sphere(frame[["longitude", "latitude"]].to_numpy(dtype=float))


def find_gaps(
    reaches: pd.DataFrame, network: Network
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float64]]:
    """Gather connected reaches that no site of today speaks for.

    Parameters
    ----------
    reaches
        evidence and length_km, in the order of the network.
    network
        The stream network.

    Returns
    -------
    tuple of arrays
        Number of the unsampled length of each reach, -1 for none; and how long each is, kilometres.
    """
    size = len(reaches)
    measured = (reaches["evidence"] == MEASURED).to_numpy()
    bare = (reaches["evidence"] == UNASSESSED).to_numpy()
    if network.has_flow:
        bare = bare | (accumulate(network, measured.astype(float)) == 0)
    inside = bare[network.edge_up] & bare[network.edge_down]
    ends = (network.edge_up[inside], network.edge_down[inside])
    graph = coo_array((np.ones(int(inside.sum())), ends), shape=(size, size))
    label = connected_components(graph, directed=False)[1]
    gaps = np.full(size, -1, dtype=np.intp)
    names, gaps[bare] = np.unique(label[bare], return_inverse=True)
    lengths = np.bincount(
        gaps[bare], weights=reaches["length_km"].to_numpy(dtype=float)[bare], minlength=len(names)
    )
    return gaps, lengths.astype(np.float64)


def _list_sites(assessment: Assessment, plan: PlanSettings) -> pd.DataFrame:
    sites = assessment.sites
    out = sites["site_id"].isin(plan.excluded_sites) | sites["reach_id"].isin(plan.excluded_reaches)
    kept = pd.DataFrame(sites.loc[~out].drop(columns="geometry"))
    of_reach = assessment.reaches.set_index("reach_id")
    frame = kept[["site_id", "reach_id", "longitude", "latitude", *_FROM_SITE]].copy()
    frame.insert(0, "place_id", frame["site_id"])
    frame.insert(1, "kind", REVISIT)
    for name in ("evidence", "length_km"):
        frame[name] = frame["reach_id"].map(of_reach[name])
    return frame


def _list_places(assessment: Assessment, plan: PlanSettings) -> pd.DataFrame:
    reaches = assessment.reaches
    lines = reaches.geometry.to_numpy()
    able = ~(shapely.is_missing(lines) | shapely.is_empty(lines)) & (reaches["length_km"] > 0).to_numpy()
    able &= (reaches["evidence"] != MEASURED).to_numpy()
    # A reach with a site of old is revisited there, not given another site.
    able &= ~reaches["reach_id"].isin(assessment.sites["reach_id"]).to_numpy()
    able &= ~reaches["reach_id"].isin(plan.excluded_reaches).to_numpy()
    kept = pd.DataFrame(reaches.drop(columns="geometry").loc[able])
    middle = _find_middles(lines[able])
    return pd.DataFrame(
        {
            "place_id": "new-" + kept["reach_id"].astype("str"),
            "kind": NEW,
            "site_id": pd.Series(pd.NA, index=kept.index, dtype="str"),
            "reach_id": kept["reach_id"],
            "longitude": shapely.get_x(middle).round(6),
            "latitude": shapely.get_y(middle).round(6),
            "n_years": pd.Series(0, index=kept.index, dtype="Int64"),
            **{name: kept[name] for name in _FROM_REACH},
        }
    )


def _find_middles(lines: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Return the middle of each line; of one in parts, the middle of its longest part."""
    single = np.array(
        [
            max(shapely.get_parts(line), key=lambda part: part.length)
            if line.geom_type.startswith("Multi")
            else line
            for line in lines
        ],
        dtype=object,
    )
    return np.asarray(shapely.line_interpolate_point(shapely.force_2d(single), 0.5, normalized=True))


def _find_largest_steps(steps: pd.DataFrame) -> pd.DataFrame:
    """Find the largest step at each site and over each reach (`reach <id>`); 0 for one that is not clear."""
    tested = steps[steps["step"] != TOO_FEW_PAIRS]
    sizes = tested["step_estimate"].abs().where(tested["step"].isin([WORSE, BETTER]), 0.0)
    columns = ("site_upstream", "site_downstream", "reaches_between")
    rows = []
    texts = zip(*(tested[name].astype(str) for name in columns), strict=True)
    for size, (up, down, passed) in zip(sizes.tolist(), texts, strict=True):
        between = [f"reach {reach}" for reach in passed.split("; ") if reach]
        rows += [(key, size, f"{up} and {down}") for key in (up, down, *between)]
    frame = pd.DataFrame(rows, columns=["key", "size", "sites"])
    frame = frame.sort_values(["size", "sites"], ascending=[False, True], kind="stable")
    return frame.drop_duplicates("key").set_index("key")


def _rate(frame: pd.DataFrame, assessment: Assessment, plan: PlanSettings) -> pd.DataFrame:
    """Add the parts and the need."""
    options = assessment.survey.settings.options
    site = (frame["kind"] == REVISIT).to_numpy()
    years = frame["n_years"].fillna(0).to_numpy(dtype=float)
    directed = frame["trend"].isin([IMPROVING, WORSENING]).to_numpy()
    age = assessment.as_of_year - frame["last_year"].to_numpy(dtype=float, na_value=np.nan)
    stale = np.clip(age / max(options.stale_after_years, 1), 0, 1)
    largest = frame["step_size"].max()
    on_reach = frame["reach_id"].notna().to_numpy()
    gap_km = frame["gap_km"].to_numpy(dtype=float)
    parts = {
        "trend": np.where(directed, 1.0, 0.5 * np.minimum(years / options.min_trend_years, 1)),
        "stale": np.where(np.isnan(age), 1.0, stale),
        "border": 1 - frame["class_certainty"].to_numpy(dtype=float, na_value=np.nan),
        "unsampled": np.where(on_reach, np.minimum(gap_km / plan.gap_km, 1), np.nan),
        "step": frame["step_size"].to_numpy(dtype=float) / (largest if largest > 0 else 1.0),
        "reference": frame["site_id"].isin(plan.reference_sites).to_numpy(dtype=float),
    }
    for name in ("trend", "stale", "reference"):
        parts[name] = np.where(site, parts[name], np.nan)
    if not plan.reference_sites:
        parts["reference"] = np.full(len(frame), np.nan)
    weights = plan.weights()
    stacked = np.stack([parts[name] for name in PARTS], axis=1)
    weight = np.array([weights[name] for name in PARTS]) * ~np.isnan(stacked)
    total = weight.sum(axis=1)
    need = np.nansum(stacked * weight, axis=1) / np.where(total > 0, total, np.nan)
    return frame.assign(**{f"part_{name}": parts[name] for name in PARTS}, need=need)
