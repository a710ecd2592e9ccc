"""Metrics and names against open data; skipped unless WATERSHEDMAP_OPENDATA names the folder.

`benthic/uk_383`: counts of 25 stream sites in England, one sample in spring a year, with the figures that
were published for each site (most and fewest taxa in a year). `benthic/mill_river`: counts of one river in
Massachusetts with a table of the taxa by its authors (Pratt 2024).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import pytest

from watershedmap.scoring.metrics import compute_metrics
from watershedmap.taxa import resolve

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.opendata
TABLES = {
    "uk_383": ("uk_383/counts.csv", "taxon", "abundance"),
    "mill_river": ("mill_river/macros.csv", "scientificName", "number"),
}
ABOVE_FAMILY = ("order", "class", "subclass", "phylum", "suborder")


def read_counts(opendata: Path, survey: str) -> pd.DataFrame:
    path, taxon, count = TABLES[survey]
    table = pd.read_csv(opendata / "benthic" / path)
    return table.assign(taxon=table[taxon], count=table[count])


def test_distinct_taxa_a_year_reproduce_the_published_extremes_of_every_uk_site(opendata: Path) -> None:
    counts = read_counts(opendata, "uk_383")
    years = counts.groupby("sample_id")[["site_id", "year"]].first()
    assert not years.duplicated().any()  # one sample a site and year, so a year's taxa are the sample's
    richness = compute_metrics(counts, resolve(counts["taxon"]))["taxa_richness"]
    extremes = richness.groupby(years["site_id"]).agg(["max", "min"])
    published = pd.read_csv(opendata / "benthic/uk_383/sites_published.csv").set_index("site")
    assert len(published) == 25
    assert extremes["max"].to_dict() == published["Max of spp_richness_perYr"].to_dict()
    assert extremes["min"].to_dict() == published["Min of spp_richness_perYr"].to_dict()


@pytest.mark.parametrize("survey", TABLES)
def test_of_individuals_named_to_family_or_finer_over_99_percent_find_their_family(
    opendata: Path, survey: str
) -> None:
    counts = read_counts(opendata, survey)
    individuals = counts.groupby("taxon")["count"].sum()
    found = resolve(counts["taxon"]).loc[individuals.index]
    fine = individuals[~found["rank"].isin(ABOVE_FAMILY)]
    with_family = individuals[found["family"] != ""]
    assert with_family.sum() / fine.sum() >= 0.99
    # measured: 0.905 (uk_383) and 0.918 (mill_river); the rest are named to a class or order only
    assert with_family.sum() / individuals.sum() >= 0.90
    assert individuals[found["known"]].sum() / individuals.sum() >= 0.99


def test_families_agree_with_the_taxon_table_of_the_mill_river_authors(opendata: Path) -> None:
    theirs = pd.read_csv(opendata / "benthic/mill_river/master.taxa.csv").dropna(subset=["scientificName"])
    family = theirs.drop_duplicates("scientificName").set_index("scientificName")["family"].dropna()
    ours = resolve(read_counts(opendata, "mill_river")["taxon"])
    ours = ours[(ours["family"] != "") & ours.index.isin(family.index)]
    differing = ours.index[ours["family"] != family.loc[ours.index]]
    # Lara is a genus of riffle beetles; their table has taken it for a wasp of that name
    assert list(differing) == ["Lara sp."]
    assert len(ours) > 200
