"""
The invented story: what the streams are called, where the sites are, and how each site fares over the years.

A score here is the family-level biotic index a site is meant to show: low is good. `start` holds in 2016,
`end` in 2025, and the years between lie on the straight line. Everything in this file is invented.
"""

from __future__ import annotations

from dataclasses import dataclass

FIRST_YEAR = 2016
LAST_YEAR = 2025

STREAM_NAMES = {
    "R001": "Lark River",
    "R034": "Wren Brook",
    "R036": "Stony Fork",
    "R043": "Heron Run",
    "R047": "Alder Run",
    "R053": "Sedge Brook",
    "R055": "Thistle Run",
    "R059": "Fallow Creek",
    "R063": "Barley Brook",
    "R066": "Mill Brook",
    "R070": "Tannery Brook",
    "R077": "Market Drain",
    "R078": "Otter Branch",
    "R085": "Little Otter Branch",
    "R089": "Linnet Brook",
    "R093": "Bracken Creek",
    "R112": "Rowan Run",
    "R118": "Hazel Fork",
    "R123": "Willow Creek",
    "R131": "Marsh Run",
    "R138": "Quarry Brook",
    "R141": "Juniper Creek",
}
"""The name of each stem by its lowest reach; the other stems are too small to have one."""

SUBWATERSHED_NAMES = (
    "Juniper Creek",
    "Lower Lark River",
    "Middle Lark River",
    "Mill Brook",
    "Fallow Creek",
    "Alder Run",
    "Stony Fork",
    "Upper Lark River",
    "Otter Branch",
    "Willow Creek",
    "Lower Bracken Creek",
    "Upper Bracken Creek",
)
"""From SW01 on; SW12 has no site."""


@dataclass(frozen=True, slots=True)
class Site:
    """One invented site and the plan by which it is sampled."""

    site_id: str
    """`S01` to `S28`: down the main stem first, then the tributaries from the top of the watershed down."""
    name: str
    """Where it is, in words."""
    reach_id: str
    """The reach it was set beside."""
    along: float
    """Share of the reach above it, 0 at the upper end and 1 at the lower."""
    offset_m: float
    """Metres off the line, to the left looking downstream if above zero."""
    start: float
    """The score it is meant to show in 2016."""
    end: float
    """The score it is meant to show in 2025."""
    seasons: str = "both"
    """`both`, `spring` or `autumn`."""
    method: str = "kick seine"
    """How it is sampled."""
    years: tuple[int, int] = (FIRST_YEAR, LAST_YEAR)
    """First and last year with a sample."""
    notes: str = ""
    """What the field crew wrote."""


SITES = (
    Site("S01", "Lark River at Spring Hollow", "R030", 0.45, 18, 3.2, 3.2, notes="wooded headwater"),
    Site("S02", "Lark River at Birch Bend", "R026", 0.5, -27, 3.5, 3.5, notes="wooded"),
    Site(
        "S03", "Lark River below Stony Fork", "R024", 0.6, 33, 3.8, 3.8, "autumn", notes="edge of the woods"
    ),
    Site("S04", "Lark River at Long Meadow", "R020", 0.5, -41, 4.45, 4.45, notes="pasture on both banks"),
    Site("S05", "Lark River at Plough Bridge", "R016", 0.5, 12, 4.75, 4.75, notes="ploughed fields"),
    Site("S06", "Lark River above the town", "R012", 0.35, -22, 5.05, 5.05, notes="last riffle above town"),
    Site("S07", "Lark River in the town", "R010", 0.55, 15, 6.75, 6.75, notes="walled banks, storm drains"),
    Site("S08", "Lark River below the town", "R009", 0.5, -30, 7.0, 7.0, notes="below the town's outfall"),
    Site("S09", "Lark River below Otter Branch", "R007", 0.45, 24, 5.45, 5.45, notes="bank trees return"),
    Site("S10", "Lark River below Bracken Creek", "R005", 0.5, -36, 4.78, 4.78, notes="wide riffle"),
    Site("S11", "Lark River at Last Ford", "R002", 0.4, 52, 4.7, 4.7, notes="lowest site on the river"),
    Site("S12", "Stony Fork, upper", "R038", 0.5, -14, 3.1, 3.1, "autumn", notes="wooded headwater"),
    Site("S13", "Stony Fork, lower", "R036", 0.5, 29, 3.55, 3.55, "autumn", notes="wooded"),
    Site("S14", "Heron Run", "R043", 0.6, 165, 3.95, 3.95, "autumn", notes="position taken at the road"),
    Site("S15", "Alder Run, upper", "R049", 0.4, -19, 3.45, 3.45, "autumn", notes="wooded"),
    Site("S16", "Alder Run, lower", "R048", 0.5, 23, 3.85, 5.65, notes="bank trees cut since 2016"),
    Site("S17", "Fallow Creek", "R059", 0.5, 38, 5.35, 5.35, "autumn", "D-net", notes="ditched, soft bed"),
    Site("S18", "Mill Brook", "R066", 0.6, -26, 5.2, 5.2, notes="fields to the bank"),
    Site("S19", "Barley Brook", "R063", 0.6, 17, 4.6, 4.6, years=(2022, 2025), notes="new site in 2022"),
    Site("S20", "Tannery Brook", "R070", 0.5, -21, 6.1, 6.1, notes="yards and car parks"),
    Site("S21", "Market Drain", "R077", 0.5, 9, 7.5, 7.5, "autumn", "D-net", notes="lined channel in town"),
    Site("S22", "Otter Branch, upper", "R082", 0.5, 31, 3.3, 3.3, "autumn", notes="wooded headwater"),
    Site("S23", "Otter Branch, lower", "R078", 0.5, -16, 3.55, 3.55, notes="clean water to the river"),
    Site("S24", "Hazel Fork", "R120", 0.6, 44, 3.95, 3.95, "autumn", notes="woods and hay meadow"),
    Site("S25", "Bracken Creek, lower", "R096", 0.5, -58, 4.4, 4.4, "autumn", "D-net", notes="slow water"),
    Site("S26", "Willow Creek", "R124", 0.5, 20, 6.35, 4.55, notes="restored from 2016: fenced, replanted"),
    Site("S27", "Juniper Creek", "R142", 0.6, -33, 4.15, 4.15, years=(2023, 2025), notes="new site in 2023"),
    Site("S28", "Quarry Brook", "R138", 0.5, 28, 5.3, 5.3, years=(2016, 2018), notes="no access since 2018"),
)

MISSED = 0.07
"""Share of planned visits that floods and illness took."""

REPLICATED = {
    ("S01", 2018, "autumn"): 3,
    ("S02", 2021, "spring"): 2,
    ("S05", 2019, "autumn"): 2,
    ("S07", 2017, "autumn"): 3,
    ("S08", 2020, "autumn"): 2,
    ("S08", 2024, "autumn"): 3,
    ("S10", 2022, "spring"): 2,
    ("S13", 2023, "autumn"): 2,
    ("S16", 2019, "spring"): 2,
    ("S16", 2025, "autumn"): 3,
    ("S23", 2018, "spring"): 2,
    ("S26", 2016, "autumn"): 2,
    ("S26", 2025, "autumn"): 3,
}
"""Visits at which two or three samples were taken side by side, by site, year and season; never missed."""
