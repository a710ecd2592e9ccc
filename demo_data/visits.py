"""
The invented visits: when each site was sampled, and what its samples held.

Most of it is plain. The oddities that real tables carry (a blank sample, a misspelt name, a row given twice)
are put in one by one at the end, so that the checks of a survey have something to find.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import pandas as pd
from animals import TAXA, draw_counts, find_community, make_habit
from story import FIRST_YEAR, LAST_YEAR, MISSED, REPLICATED, SITES

if TYPE_CHECKING:
    import numpy as np
    from story import Site

Visit = tuple[str, int, str]
"""Site, year and season."""

SEASONS = {"spring": (4, 10), "autumn": (9, 8)}
"""Month and day on which a season's round begins at the earliest."""

SCARCE = {
    ("S01", 2019, "spring"): 83,
    ("S03", 2017, "autumn"): 91,
    ("S08", 2018, "spring"): 64,
    ("S11", 2022, "spring"): 77,
    ("S17", 2021, "autumn"): 58,
    ("S21", 2023, "autumn"): 69,
    ("S25", 2024, "autumn"): 95,
}
"""Visits at which fewer than 100 individuals were found, and how many."""

BLANK = ("S17", 2019, "autumn")
"""The visit at which nothing was found: one row with a count of 0."""

LOST = ("S22", 2020, "autumn")
"""The visit of which no count was written down."""

RENAMED = (
    (("S05", 2017, "spring"), "Hydropsychidae", "Hydropsycidae"),
    (("S16", 2021, "spring"), "Hydropsychidae", "Hydropsycidae"),
    (("S20", 2017, "autumn"), "Oligochaeta", "Tubificidae"),
    (("S07", 2016, "autumn"), "Oligochaeta", "Tubificidae"),
    (("S08", 2016, "spring"), "Oligochaeta", "Tubificidae"),
    (("S08", 2016, "autumn"), "Oligochaeta", "Tubificidae"),
    (("S20", 2016, "autumn"), "Oligochaeta", "Tubificidae"),
    (("S13", 2016, "autumn"), "Pteronarcyidae", "Pteronarcidae"),
    (("S12", 2016, "autumn"), "Pteronarcyidae", "Pteronarcidae"),
    (("S15", 2016, "autumn"), "Pteronarcyidae", "Pteronarcidae"),
    (("S13", 2019, "autumn"), "Baetidae", " Baetidae"),
    (("S10", 2018, "autumn"), "Elmidae", "Elmidae "),
    (("S04", 2020, "autumn"), "Heptageniidae", "heptageniidae"),
    (("S09", 2021, "autumn"), "Simuliidae", "simuliidae"),
)
"""Names written in another way: misspelt, older, with a stray space, in lower case."""

TWICE = (("S06", 2018, "autumn"), "Hydropsychidae")
"""A row given twice: the same taxon in the same sample, its individuals shared between two rows."""

ADDED = (
    (("S02", 2018, "autumn"), "Asellidae", 0),
    (("S12", 2021, "autumn"), "Chironomidae (blood-red)", 0),
    (("S15", 2022, "autumn"), "Psychodidae", 0),
    (("S08", 2021, "autumn"), "Pteronarcyidae", 0),
    (("S21", 2020, "autumn"), "Perlidae", 0),
    (("S24", 2019, "autumn"), "Blue wriggler", 3),
)
"""Rows written beside the rest: looked for and none found, and an animal that no table knows."""

KEPT = {*REPLICATED, *SCARCE, BLANK, LOST, TWICE[0], *(row[0] for row in RENAMED), *(row[0] for row in ADDED)}
"""Visits that are never missed."""


def list_visits(rng: np.random.Generator) -> pd.DataFrame:
    """Return one row per sample with its site, date, year, season, method and replicate, by site and date."""
    rows = []
    for year in range(FIRST_YEAR, LAST_YEAR + 1):
        for season, (month, day) in SEASONS.items():
            start = dt.date(year, month, day) + dt.timedelta(days=int(rng.random() * 10))
            for place, site in enumerate(SITES):
                date = start + dt.timedelta(days=3 * (place // 3) + int(rng.random() * 3))
                visit = (site.site_id, year, season)
                missed = rng.random() < MISSED and visit not in KEPT
                if not missed and site.seasons in ("both", season) and site.years[0] <= year <= site.years[1]:
                    for replicate in range(1, REPLICATED.get(visit, 1) + 1):
                        name = f"{site.site_id}-{date:%Y%m%d}-{replicate}"
                        rows.append((name, site.site_id, date, year, season, site.method, replicate))
    columns = ["sample_id", "site_id", "date", "year", "season", "method", "replicate"]
    return pd.DataFrame(rows, columns=columns).sort_values("sample_id", ignore_index=True)


def aim_score(site: Site, year: int, season: str) -> float:
    """Return the score the site is meant to show: on its line over the years, a little better in spring."""
    share = (year - FIRST_YEAR) / (LAST_YEAR - FIRST_YEAR)
    return site.start + share * (site.end - site.start) + (-0.06 if season == "spring" else 0.06)


def fill_samples(rng: np.random.Generator, visits: pd.DataFrame) -> pd.DataFrame:
    """Return the counts of every sample, one row per taxon found: 105 to 260 individuals unless scarce."""
    sites = {site.site_id: site for site in SITES}
    habits = {site.site_id: make_habit(rng) for site in SITES}
    rounds = [(year, season) for year in range(FIRST_YEAR, LAST_YEAR + 1) for season in SEASONS]
    weather = {key: 0.2 * rng.random() - 0.1 for key in rounds}
    frames = []
    for row in visits.itertuples():
        visit = (str(row.site_id), int(str(row.year)), str(row.season))
        aim = aim_score(sites[visit[0]], *visit[1:]) + weather[visit[1:]] + 0.3 * (rng.random() - 0.5)
        community = find_community(aim, visit[2], habits[visit[0]])
        total = SCARCE.get(visit, 105 + int(156 * rng.random()))
        counts = draw_counts(rng, community, total)
        if visit not in (BLANK, LOST):
            frames.append(pd.DataFrame({"sample_id": row.sample_id, "taxon": TAXA, "count": counts}))
    found = pd.concat(frames, ignore_index=True)
    return found.loc[found["count"] > 0]


def spoil_tables(visits: pd.DataFrame, counts: pd.DataFrame) -> pd.DataFrame:
    """Return the counts with every oddity of this file put in, in order of sample and taxon."""
    first = visits.loc[visits["replicate"] == 1]
    keys = zip(first["site_id"], first["year"], first["season"], strict=True)
    sample = dict(zip(keys, first["sample_id"], strict=True))
    spoilt: pd.DataFrame = counts.copy()
    for visit, right, written in RENAMED:
        row = spoilt.index[(spoilt["sample_id"] == sample[visit]) & (spoilt["taxon"] == right)]
        if len(row) != 1:
            raise ValueError(f"the sample of {visit} holds no {right} to be written as {written!r}")
        spoilt.loc[row, "taxon"] = written
    twice = spoilt[(spoilt["sample_id"] == sample[TWICE[0]]) & (spoilt["taxon"] == TWICE[1])]
    part = twice["count"] // 3
    spoilt.loc[twice.index, "count"] -= part
    rows = [(sample[visit], taxon, count) for visit, taxon, count in (*ADDED, (BLANK, "Chironomidae", 0))]
    added = pd.DataFrame(rows, columns=["sample_id", "taxon", "count"])
    spoilt = pd.concat([spoilt, twice.assign(count=part), added])
    return spoilt.sort_values(["sample_id", "taxon", "count"], ignore_index=True)
