"""What the page knows of each reach, packed (see `page_pack`), and the branches where a stream divides."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from watershedmap.render.page_columns import column, pick_lists, picks, positions, ranks, texts
from watershedmap.render.page_pack import Pack

if TYPE_CHECKING:
    import geopandas as gpd

    from watershedmap.assessment import Assessment

EVIDENCE = ("measured", "inferred", "unassessed")
TRENDS = ("improving", "worsening", "no clear trend", "too few years")


def pack_reaches(assessment: Assessment) -> Pack:
    """Pack the reaches.

    Parameters
    ----------
    assessment
        What was computed.

    Returns
    -------
    Pack
        A row a reach, in the order of the layer.
    """
    frame = assessment.reaches
    pack = Pack(len(frame))
    sites = positions(assessment.sites["site_id"])
    down = picks(frame, "downstream_id", positions(frame["reach_id"]))
    pack.add_ids("id", texts(frame, "reach_id"))
    pack.add_texts("name", texts(frame, "name"))
    pack.add_near("down", down)
    for name, of, places in (
        ("area", "subwatershed_id", area_positions(assessment)),
        ("evidence", "evidence", {word: i for i, word in enumerate(EVIDENCE)}),
        ("trend", "trend", {word: i for i, word in enumerate(TRENDS)}),
        ("rank", "class", ranks(assessment.index)),
        ("upSite", "site_upstream", sites),
        ("downSite", "site_downstream", sites),
    ):
        pack.add_picks(name, picks(frame, of, places))
    pack.add_lists("sites", pick_lists(frame, "site_ids", sites))
    pack.add_lists("from", pick_lists(frame, "inferred_from", sites))
    _add_numbers(pack, frame, assessment)
    pack.add_shapes("shapes", frame.geometry, down=np.asarray(down, dtype=np.int64))
    return pack


def collect_branches(assessment: Assessment) -> dict[str, list[int]]:
    """Collect where a stream divides: what flows into another reach than its main next one.

    Parameters
    ----------
    assessment
        What was computed.

    Returns
    -------
    dict
        `up` and `down`, positions of reaches, one pair a branch; empty lists where streams never divide.
    """
    network = getattr(assessment.survey, "network", None)
    if network is None:
        return {"up": [], "down": []}
    aside = network.main_down[network.edge_up] != network.edge_down
    return {"up": network.edge_up[aside].tolist(), "down": network.edge_down[aside].tolist()}


def area_positions(assessment: Assessment) -> dict[str, int]:
    """Return the position of each sub-watershed.

    Parameters
    ----------
    assessment
        What was computed.

    Returns
    -------
    dict
        Position, from 0, by id; empty where there is no such layer.
    """
    areas = assessment.subwatersheds
    return {} if areas is None else positions(areas["subwatershed_id"])


def _add_numbers(pack: Pack, frame: gpd.GeoDataFrame, assessment: Assessment) -> None:
    decimals, k = assessment.index.decimals, len(assessment.index.classes)
    for name, of, kept in (
        ("lengthKm", "length_km", 3),
        ("order", "strahler_order", 0),
        ("score", "score", decimals),
        ("low", "score_low", decimals),
        ("high", "score_high", decimals),
        ("certainty", "class_certainty", 4),
        ("slope", "slope_per_year", decimals + 1),
        ("slopeLow", "slope_low", decimals + 1),
        ("slopeHigh", "slope_high", decimals + 1),
        ("p", "p_value", 4),
        ("trendYears", "trend_years", 0),
        ("fromKm", "inferred_km", 1),
        ("upSiteKm", "site_upstream_km", 1),
        ("downSiteKm", "site_downstream_km", 1),
        ("upKm", "upstream_km", 1),
        ("upAssessedKm", "upstream_assessed_km", 1),
        ("upScore", "upstream_score", decimals),
        ("upSites", "upstream_sites", 1),
    ):
        pack.add_numbers(name, column(frame, of), kept)
    for n in range(k):
        pack.add_numbers(f"chances.{n}", column(frame, f"probability_{n + 1}"), 4)
    for n in range(k):
        pack.add_numbers(f"upClassKm.{n}", column(frame, f"upstream_km_{n + 1}"), 1)
    rest = column(frame, "upstream_km_unassessed")
    pack.add_numbers(f"upClassKm.{k}", rest, 1, less=("upKm", "upAssessedKm"))
