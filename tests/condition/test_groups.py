"""Common trends of the sites of a sub-watershed and of a group of reaches."""

from __future__ import annotations

import pandas as pd
import pytest

from watershedmap.condition.groups import combine_trends


def series(site: str, slope: float) -> list[dict[str, object]]:
    return [{"site_id": site, "year": 2010 + n, "score": 4.0 + slope * n + 0.01 * (n % 3)} for n in range(12)]


@pytest.fixture(name="found")
def combine() -> pd.DataFrame:
    yearly = pd.DataFrame([*series("a", 0.2), *series("b", 0.3), *series("c", -0.2)])
    sites = pd.DataFrame(
        {
            "site_id": ["a", "b", "c", "d"],
            "reach": [0, 1, 2, -1],
            "subwatershed_id": ["W1", "W1", None, None],
        }
    )
    reaches = pd.DataFrame({"group": ["main", "main", ""]})
    return combine_trends(
        yearly, sites, reaches, better="low", min_years=5, alpha=0.05, confidence=0.9
    ).set_index(["kind", "group"])


def test_sites_are_gathered_by_sub_watershed_and_by_the_group_of_their_reach(found: pd.DataFrame) -> None:
    assert found.index.tolist() == [("sub-watershed", "W1"), ("reach group", "main")]
    assert found["n_sites"].tolist() == [2, 2]


def test_the_word_speaks_of_condition(found: pd.DataFrame) -> None:
    assert set(found["trend"]) == {"worsening"}  # scores rise where low is good


def test_p_values_are_adjusted_over_all_groups(found: pd.DataFrame) -> None:
    assert (found["p_adjusted"] >= found["p_value"]).all()
    assert found["p_adjusted"].tolist() == pytest.approx(found["p_value"].tolist())  # two equal ones


def test_a_layer_without_groups_has_sub_watersheds_alone() -> None:
    sites = pd.DataFrame({"site_id": ["a"], "reach": [0], "subwatershed_id": ["W1"]})
    found = combine_trends(
        pd.DataFrame(series("a", 0.2)),
        sites,
        pd.DataFrame({"reach_id": ["r"]}),
        better="low",
        min_years=5,
        alpha=0.05,
        confidence=0.9,
    )
    assert found["kind"].tolist() == ["sub-watershed"]
    assert found["trend"].tolist() == ["too few years"]  # one site is no group
