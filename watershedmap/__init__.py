"""From stream macroinvertebrate samples to condition maps, trends and decisions.

The names below are what the package offers; each is imported only when it is first used, so that importing
the package, and `watershedmap --help`, stay quick.

Examples
--------
>>> import watershedmap
>>> assessment = watershedmap.assess("demo_data")
>>> worst = assessment.reaches.nlargest(3, "score")
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from watershedmap.assessment import Assessment, assess, assess_survey
    from watershedmap.errors import Fault, OutputError, SurveyError, SurveyNotFoundError, WatershedMapError
    from watershedmap.network.order import shreve_magnitude, strahler_order
    from watershedmap.network.topology import Network, build_network
    from watershedmap.network.tracing import accumulate, downstream_of, upstream_of
    from watershedmap.network.ways import flow_distance_km, path_between
    from watershedmap.render.results import write_results
    from watershedmap.scoring.classes import Index, IndexClass, classify
    from watershedmap.scoring.explain import explain_sample
    from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX, INDICES, family_biotic_index, score_index
    from watershedmap.scoring.metrics import METRICS, compute_metrics
    from watershedmap.scoring.multimetric import read_definition
    from watershedmap.scoring.uncertainty import score_intervals
    from watershedmap.settings import Options, Settings
    from watershedmap.streams import Streams, read_streams
    from watershedmap.survey import Survey, read_survey
    from watershedmap.taxa.lookup import make_lookup, resolve
    from watershedmap.taxa.tables import load_taxa
    from watershedmap.trends.kendall import mann_kendall
    from watershedmap.trends.regional import regional_kendall
    from watershedmap.trends.slopes import sen_slope

__all__ = [
    "FAMILY_BIOTIC_INDEX",
    "INDICES",
    "METRICS",
    "Assessment",
    "Fault",
    "Index",
    "IndexClass",
    "Network",
    "Options",
    "OutputError",
    "Settings",
    "Streams",
    "Survey",
    "SurveyError",
    "SurveyNotFoundError",
    "WatershedMapError",
    "accumulate",
    "assess",
    "assess_survey",
    "build_network",
    "classify",
    "compute_metrics",
    "downstream_of",
    "explain_sample",
    "family_biotic_index",
    "flow_distance_km",
    "load_taxa",
    "make_lookup",
    "mann_kendall",
    "path_between",
    "read_definition",
    "read_streams",
    "read_survey",
    "regional_kendall",
    "resolve",
    "score_index",
    "score_intervals",
    "sen_slope",
    "shreve_magnitude",
    "strahler_order",
    "upstream_of",
    "write_results",
]

_ROOMS = {
    "assessment": ("Assessment", "assess", "assess_survey"),
    "errors": ("Fault", "OutputError", "SurveyError", "SurveyNotFoundError", "WatershedMapError"),
    "network.order": ("shreve_magnitude", "strahler_order"),
    "network.topology": ("Network", "build_network"),
    "network.tracing": ("accumulate", "downstream_of", "upstream_of"),
    "network.ways": ("flow_distance_km", "path_between"),
    "render.results": ("write_results",),
    "scoring.classes": ("Index", "IndexClass", "classify"),
    "scoring.explain": ("explain_sample",),
    "scoring.indices": ("FAMILY_BIOTIC_INDEX", "INDICES", "family_biotic_index", "score_index"),
    "scoring.metrics": ("METRICS", "compute_metrics"),
    "scoring.multimetric": ("read_definition",),
    "scoring.uncertainty": ("score_intervals",),
    "settings": ("Options", "Settings"),
    "streams": ("Streams", "read_streams"),
    "survey": ("Survey", "read_survey"),
    "taxa.lookup": ("make_lookup", "resolve"),
    "taxa.tables": ("load_taxa",),
    "trends.kendall": ("mann_kendall",),
    "trends.regional": ("regional_kendall",),
    "trends.slopes": ("sen_slope",),
}
_HOME = {name: room for room, names in _ROOMS.items() for name in names}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - the names are of many kinds
    if name not in _HOME:
        raise AttributeError(f"module 'watershedmap' has no attribute {name!r}")
    return getattr(importlib.import_module(f"watershedmap.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
