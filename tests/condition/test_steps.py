"""Steps: neighbouring sites along the flow, compared year by year."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from watershedmap.condition.steps import (
    BETTER,
    NO_CLEAR_STEP,
    STEP_WORDS,
    TOO_FEW_PAIRS,
    WORSE,
    find_steps,
    follow_steps,
    number_seasons,
)
from watershedmap.network.topology import Network, build_network
from watershedmap.scoring.bmwp import ASPT
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX
from watershedmap.settings import Options
from watershedmap.trends.false_discovery import adjust_p_values
from watershedmap.trends.paired import hodges_lehmann, sign_test, signed_rank_test

# a flows into b, b into c, c into d; t joins at the top of c, u at the top of d.
DOWN = {"a": "b", "b": "c", "c": "d", "d": None, "t": "c", "u": "d"}
A, B, C, D, T, U = range(6)
LENGTH_KM = [1.0, 2.0, 3.0, 4.0, 1.5, 9.0]
YEARS = range(2010, 2018)
CLEAR = [0.9, 1.1, 1.0, 1.2, 0.8, 1.3, 0.7, 1.4]


def _network(down: dict[str, str | None] = DOWN, length_km: list[float] = LENGTH_KM) -> Network:
    columns = {"reach_id": list(down), "downstream_id": pd.Series(list(down.values()), dtype="str")}
    frame = gpd.GeoDataFrame(columns, geometry=np.full(len(down), None), crs="EPSG:4326")
    return replace(build_network(frame)[0], length_km=np.array(length_km))


def _sites(**places: tuple[int, float]) -> pd.DataFrame:
    rows = [(name, reach, position) for name, (reach, position) in places.items()]
    return pd.DataFrame(rows, columns=["site_id", "reach", "position_m"])


def _samples(scores: dict[str, list[float]], years: range = YEARS, day: str = "05-10") -> pd.DataFrame:
    rows = [
        (f"{site}{year}", site, pd.Timestamp(f"{year}-{day}"), year, "kick", score, True)
        for site, series in scores.items()
        for year, score in zip(years, series, strict=False)
    ]
    columns = ["sample_id", "site_id", "date", "year", "method", "score", "used"]
    return pd.DataFrame(rows, columns=columns)


BASE = [4.0, 4.2, 3.9, 4.1, 4.0, 4.3, 4.15, 4.05]
RAISED = [score + step for score, step in zip(BASE, CLEAR, strict=True)]
TWO = _sites(up=(A, 400.0), low=(C, 1000.0))
SAMPLES = _samples({"up": BASE, "low": RAISED})


def _find(sites: pd.DataFrame = TWO, samples: pd.DataFrame = SAMPLES, **options: object) -> pd.DataFrame:
    return find_steps(
        _network(),
        sites,
        samples,
        index=FAMILY_BIOTIC_INDEX,
        options=Options(**options),  # type: ignore[arg-type]
    )


def test_a_clear_step_carries_its_figures() -> None:
    (row,) = _find().to_dict("records")
    shift = hodges_lehmann(np.round(CLEAR, 9), confidence=0.90)
    assert (row["site_upstream"], row["site_downstream"], row["n_pairs"]) == ("up", "low", 8)
    assert (row["first_year"], row["last_year"]) == (2010, 2017)
    assert row["median_difference"] == pytest.approx(np.median(CLEAR))
    assert row["step_estimate"] == pytest.approx(shift.estimate)
    assert (row["step_low"], row["step_high"]) == pytest.approx((shift.low, shift.high))
    assert row["p_value"] == row["p_adjusted"] == signed_rank_test(CLEAR).p_value == 2 / 2**8
    assert (row["test"], row["step"]) == ("signed-rank", WORSE)


def test_better_or_worse_is_read_through_the_direction_of_the_index() -> None:
    found = find_steps(_network(), TWO, SAMPLES, index=ASPT, options=Options())
    assert found["step"].tolist() == [BETTER]
    assert found["step_estimate"].tolist() == _find()["step_estimate"].tolist()


def test_distance_is_along_the_flow_from_site_to_site() -> None:
    # 400 m down reach a, 2 km of b, and c from its top to 1000 m above its lower end
    assert _find()["distance_km"].tolist() == pytest.approx([0.4 + 2.0 + 2.0])


def test_neighbours_have_no_sampled_site_between_them() -> None:
    sites = _sites(a=(A, 100.0), c=(C, 100.0), d=(D, 100.0), t=(T, 100.0), unsampled=(B, 100.0))
    found = _find(sites, _samples({"a": BASE, "c": RAISED, "d": BASE, "t": BASE}))
    pairs = found[["site_upstream", "site_downstream"]].to_numpy().tolist()
    assert pairs == [["a", "c"], ["c", "d"], ["t", "c"]]


def test_sites_of_one_reach_stand_in_the_order_of_their_positions() -> None:
    sites = _sites(x=(C, 500.0), y=(C, 2500.0), z=(C, 1500.0), top=(A, 0.0), end=(D, 0.0))
    found = _find(sites, _samples(dict.fromkeys(sites["site_id"], BASE)))
    pairs = dict(zip(found["site_upstream"], found["site_downstream"], strict=True))
    assert pairs == {"top": "y", "y": "z", "z": "x", "x": "end"}
    assert dict(zip(found["site_upstream"], found["distance_km"], strict=True)) == pytest.approx(
        {"top": 2.5, "y": 1.0, "z": 1.0, "x": 4.5}
    )
    assert (found["tributaries"][found["site_upstream"] == "y"] == "").all()


def test_where_the_order_of_sites_on_a_reach_is_not_known_no_pair_ends_there_or_passes() -> None:
    sites = _sites(x=(C, np.nan), y=(C, 500.0), top=(A, 0.0), end=(D, 0.0))
    found = _find(sites, _samples(dict.fromkeys(sites["site_id"], BASE)))
    assert found.empty  # x may lie above y or below it


def test_what_lies_between_and_what_joins_is_named_with_its_score() -> None:
    reaches = pd.DataFrame(
        {
            "reach_id": list(DOWN),
            "name": ["Main", "Main", "Main", "Main", "Side <b>", ""],
            "score": [4.0, 4.0, 5.0, 5.0, 6.345, np.nan],
            "evidence": ["measured"] * 3 + ["inferred", "inferred", "unassessed"],
        }
    )
    sites = _sites(up=(A, 400.0), low=(D, 1000.0))
    row = find_steps(
        _network(), sites, SAMPLES, index=FAMILY_BIOTIC_INDEX, options=Options(), reaches=reaches
    ).iloc[0]
    assert row["reaches_between"] == "b; c"
    assert row["tributaries"] == "t; u"
    assert row["tributary_names"] == "Side <b>; unnamed"
    assert row["tributary_scores"] == "6.35 (inferred); unknown"


def test_without_reaches_tributaries_have_neither_name_nor_score() -> None:
    row = _find().iloc[0]
    assert (row["tributaries"], row["tributary_names"], row["tributary_scores"]) == (
        "t",
        "unnamed",
        "unknown",
    )


def test_a_larger_stream_that_joins_is_told() -> None:
    # t is 1.5 km against 3 km of a and b; u is 9 km against 7.5 km down to c
    assert _find()["larger_joins"].tolist() == [False]
    sites = _sites(up=(C, 400.0), low=(D, 1000.0))
    assert _find(sites)["larger_joins"].tolist() == [True]


def test_a_side_branch_that_comes_back_is_no_tributary_but_what_joins_it_is() -> None:
    nodes = [("1", "2"), ("2", "3"), ("2", "4"), ("4", "3"), ("9", "4"), ("3", "5"), ("2", "8")]
    frame = gpd.GeoDataFrame(
        {
            "reach_id": ["top", "main", "side1", "side2", "joins", "end", "away"],
            "from_node": [pair[0] for pair in nodes],
            "to_node": [pair[1] for pair in nodes],
        },
        geometry=np.full(len(nodes), None),
        crs="EPSG:4326",
    )
    network = replace(build_network(frame)[0], length_km=np.ones(len(nodes)))
    sites = _sites(up=(0, 500.0), low=(5, 500.0))
    found = find_steps(network, sites, SAMPLES, index=FAMILY_BIOTIC_INDEX, options=Options())
    assert found["reaches_between"].tolist() == ["main"]
    assert found["tributaries"].tolist() == ["joins"]


def test_only_used_samples_with_a_score_count() -> None:
    odd = _samples({"low": [9.0] * 8}).assign(used=False)
    lost = _samples({"low": [np.nan] * 8})
    found = _find(samples=pd.concat([SAMPLES, odd, lost], ignore_index=True))
    pd.testing.assert_frame_equal(found, _find())
    unused = SAMPLES.assign(used=SAMPLES["site_id"] != "low")
    assert _find(samples=unused).empty
    pd.testing.assert_frame_equal(_find(samples=SAMPLES.drop(columns="used")), _find())


def test_samples_of_a_year_are_averaged_before_they_are_paired() -> None:
    autumn = _samples({"up": [score + 1 for score in BASE]}, day="09-20")
    found = _find(samples=pd.concat([SAMPLES, autumn], ignore_index=True))
    assert found["n_pairs"].tolist() == [8]
    assert found["median_difference"].tolist() == pytest.approx([np.median(CLEAR) - 0.5])


def test_years_that_only_one_site_has_make_no_pair() -> None:
    found = _find(samples=_samples({"up": BASE, "low": [np.nan, *RAISED[1:6]]}))
    assert found["n_pairs"].tolist() == [5]
    assert found[["first_year", "last_year"]].iloc[0].tolist() == [2011, 2015]


def test_too_few_pairs_are_not_tested() -> None:
    found = _find(samples=_samples({"up": BASE[:4], "low": RAISED[:4]})).iloc[0]
    assert (found["step"], found["test"], found["n_pairs"]) == (TOO_FEW_PAIRS, "none", 4)
    assert np.isnan(found["p_value"])
    assert np.isnan(found["p_adjusted"])
    assert np.isnan(found["step_low"])
    assert found["median_difference"] == pytest.approx(np.median(CLEAR[:4]))


def test_sites_without_a_common_year_are_a_pair_of_sites_without_figures() -> None:
    apart = pd.concat([_samples({"up": BASE}), _samples({"low": RAISED}, years=range(2000, 2008))])
    found = _find(samples=apart).iloc[0]
    assert (found["n_pairs"], found["step"]) == (0, TOO_FEW_PAIRS)
    assert pd.isna(found["first_year"])
    assert np.isnan(found["median_difference"])


def test_five_pairs_are_tested_but_can_never_be_clear() -> None:
    found = _find(samples=_samples({"up": BASE[:5], "low": RAISED[:5]}), min_step_pairs=5).iloc[0]
    assert (found["p_value"], found["step"]) == (0.0625, NO_CLEAR_STEP)


def test_differences_that_are_mostly_tied_get_the_sign_test() -> None:
    tied = _samples({"up": [3.0] * 8, "low": [4, 4, 4, 4, 4, 4, 4, 5]})
    found = _find(samples=tied).iloc[0]
    assert found["test"] == "sign"
    assert found["p_value"] == sign_test([1.0] * 8).p_value
    assert found["step"] == WORSE


def test_no_difference_at_all_is_no_step() -> None:
    found = _find(samples=_samples({"up": BASE, "low": BASE})).iloc[0]
    assert (found["step"], found["p_value"], found["step_estimate"]) == (NO_CLEAR_STEP, 1.0, 0.0)


def test_false_discovery_is_held_over_all_pairs_that_are_tested() -> None:
    sites = _sites(a=(A, 100.0), b=(B, 100.0), c=(C, 100.0), d=(D, 100.0), t=(T, 100.0))
    scores = {"a": BASE, "b": RAISED, "c": RAISED[::-1], "d": BASE, "t": BASE[:3]}
    found = _find(sites, _samples(scores))
    assert found["p_adjusted"].tolist() == pytest.approx(
        adjust_p_values(found["p_value"]).tolist(), nan_ok=True
    )
    assert found["p_adjusted"].isna().tolist() == [False, False, False, True]
    assert (found["p_adjusted"] >= found["p_value"]).sum() == 3
    strict = _find(sites, _samples(scores), false_discovery=0.001)
    assert set(strict["step"]) == {NO_CLEAR_STEP, TOO_FEW_PAIRS}
    assert set(found["step"]) <= set(STEP_WORDS)


def test_a_step_that_is_clear_by_itself_may_not_be_among_many() -> None:
    sites = _sites(up=(A, 100.0), low=(B, 100.0), end=(D, 100.0))
    flat = [3.0, 4.2, 5.1, 3.3, 4.4, 2.9]
    found = _find(sites, _samples({"up": BASE[:6], "low": RAISED[:6], "end": flat})).set_index(
        "site_upstream"
    )
    assert found.loc["up", "p_value"] == 2 / 2**6
    assert found.loc["up", "p_adjusted"] == 4 / 2**6
    assert found.loc["up", "step"] == NO_CLEAR_STEP
    alone = _find(samples=_samples({"up": BASE[:6], "low": RAISED[:6]}))
    assert alone["step"].tolist() == [WORSE]


def test_seasons_make_pairs_of_their_own() -> None:
    autumn = _samples({"up": [9.0] * 8, "low": [9.5, 9.6, 9.4] + [9.0] * 5}, day="10-02")
    both = pd.concat([SAMPLES, autumn], ignore_index=True)
    found = _find(samples=both, seasons=("03-01", "08-01")).iloc[0]
    assert found["n_pairs"] == 16
    # spring at one site and autumn at the other make no pair
    split = pd.concat([SAMPLES[SAMPLES["site_id"] == "up"], autumn[autumn["site_id"] == "low"]])
    assert _find(samples=split, seasons=("03-01", "08-01")).iloc[0]["n_pairs"] == 0
    assert _find(samples=split).iloc[0]["n_pairs"] == 8


def test_a_season_that_crosses_the_new_year_belongs_to_the_year_it_began_in() -> None:
    dates = pd.Series(pd.to_datetime(["2019-10-31", "2019-11-01", "2020-02-29", "2020-03-31", "2020-04-01"]))
    year, season = number_seasons(dates, ("11-01", "04-01"))
    assert year.tolist() == [2019, 2019, 2019, 2019, 2020]
    assert season.tolist() == [0, 1, 1, 1, 0]
    winter = pd.concat(
        [_samples({"up": BASE}, day="12-20"), _samples({"low": RAISED}, years=range(2011, 2019), day="01-15")]
    )
    found = _find(samples=winter, seasons=("11-01", "04-01")).iloc[0]
    assert (found["n_pairs"], found["first_year"], found["last_year"]) == (8, 2010, 2017)


def test_without_seasons_a_period_is_a_calendar_year() -> None:
    year, season = number_seasons(pd.Series(pd.to_datetime(["2019-01-01", "2019-12-31"])), ())
    assert (year.tolist(), season.tolist()) == ([2019, 2019], [0, 0])


def test_sites_on_no_reach_and_an_unknown_direction_of_flow_give_no_steps() -> None:
    assert _find(_sites(up=(-1, np.nan), low=(C, 10.0))).empty
    frame = gpd.GeoDataFrame({"reach_id": ["a"]}, geometry=[LineString([(0, 0), (0, 1)])], crs="EPSG:4326")
    network, _ = build_network(frame, direction="unknown")
    found = find_steps(
        network, _sites(up=(0, 9.0), low=(0, 1.0)), SAMPLES, index=FAMILY_BIOTIC_INDEX, options=Options()
    )
    assert found.empty
    assert found.columns.tolist() == _find().columns.tolist()
    assert found.dtypes.tolist() == _find().dtypes.tolist()


def test_the_order_of_rows_does_not_matter_and_input_is_unchanged() -> None:
    sites = _sites(a=(A, 100.0), b=(B, 100.0), c=(C, 100.0), d=(D, 100.0), t=(T, 100.0))
    samples = _samples({"a": BASE, "b": RAISED, "c": BASE[::-1], "d": BASE, "t": BASE})
    before = samples.copy(), sites.copy()
    mixed = _find(sites.sample(frac=1, random_state=2), samples.sample(frac=1, random_state=3))
    pd.testing.assert_frame_equal(mixed, _find(sites, samples))
    pd.testing.assert_frame_equal(samples, before[0])
    pd.testing.assert_frame_equal(sites, before[1])


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_pairs_are_those_of_a_walk_down_from_every_site(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size = int(rng.integers(1, 25))
    down = {
        f"r{row}": f"r{rng.integers(0, row)}" if row and rng.random() < 0.95 else None for row in range(size)
    }
    network = _network(down, rng.integers(1, 9, size).astype(float).tolist())
    reach = rng.integers(0, size, int(rng.integers(1, 12)))
    position = rng.random(reach.size) * network.length_km[reach] * 1000
    sites = pd.DataFrame(
        {"site_id": [f"s{n}" for n in range(reach.size)], "reach": reach, "position_m": position}
    )
    found = _find_on(network, sites)
    to_outlet = dict.fromkeys(range(size), 0.0)
    for row in network.order[::-1].tolist():
        lower = int(network.main_down[row])
        to_outlet[row] = 0.0 if lower < 0 else to_outlet[lower] + network.length_km[lower]
    height = np.array([to_outlet[row] for row in reach]) + position / 1000
    expected = {}
    for upper in range(reach.size):
        way, row = {int(reach[upper])}, int(reach[upper])
        while network.main_down[row] >= 0:
            row = int(network.main_down[row])
            way.add(row)
        below = [s for s in range(reach.size) if reach[s] in way and height[s] < height[upper]]
        if below:
            lower = max(below, key=lambda s: height[s])
            expected[f"s{upper}"] = (f"s{lower}", height[upper] - height[lower])
    pairs = dict(zip(found["site_upstream"], found["site_downstream"], strict=True))
    assert pairs == {upper: lower for upper, (lower, _) in expected.items()}
    distances = dict(zip(found["site_upstream"], found["distance_km"], strict=True))
    assert distances == pytest.approx({upper: far for upper, (_, far) in expected.items()})
    ways = follow_steps(network, found, sites)
    assert [way[1:-1] for way in ways] == [
        [int(np.flatnonzero(network.ids == name)[0]) for name in text.split("; ") if name]
        for text in found["reaches_between"]
    ]


def _find_on(network: Network, sites: pd.DataFrame) -> pd.DataFrame:
    samples = _samples({site: [4.0] for site in sites["site_id"]})
    return find_steps(network, sites, samples, index=FAMILY_BIOTIC_INDEX, options=Options())


def test_a_step_whose_lower_site_is_not_downstream_cannot_be_followed() -> None:
    turned = _find().rename(columns={"site_upstream": "site_downstream", "site_downstream": "site_upstream"})
    with pytest.raises(ValueError, match="reach a is not downstream of c"):
        follow_steps(_network(), turned, TWO)
