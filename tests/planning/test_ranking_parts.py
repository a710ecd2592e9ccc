"""Parts of restoration need: where each begins, ends, and is missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from watershedmap.assessment import Assessment, assess
from watershedmap.network.topology import Network, build_network
from watershedmap.planning.ranking_parts import (
    PARTS,
    _find_good,
    _look_down,
    _measure_runs,
    rate_areas,
    rate_condition,
    rate_reaches,
    split_classes,
)
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX as INDEX
from watershedmap.settings_rank import RankColumn, RankSettings

DEMO = Path(__file__).parents[2] / "demo_data"

# Two headwaters, a and b, meet in c; c to d to e, the outlet; f joins at d. Lengths in kilometres.
DOWN = {"a": "c", "b": "c", "c": "d", "d": "e", "e": "", "f": "d"}
KM = {"a": 2.0, "b": 3.0, "c": 1.0, "d": 4.0, "e": 5.0, "f": 0.5}
IDS = list(DOWN)


@pytest.fixture(scope="module")
def network() -> Network:
    import geopandas as gpd  # noqa: PLC0415 - only here

    down = pd.Series([DOWN[name] or None for name in IDS], dtype=object)
    frame = gpd.GeoDataFrame(
        {"reach_id": IDS, "downstream_id": down, "length_km": [KM[name] for name in IDS]},
        geometry=[None] * len(IDS),
        crs="EPSG:4326",
    )
    found, faults = build_network(frame)
    assert not [fault for fault in faults if fault.severity == "fault"]
    return found


@pytest.fixture(scope="module")
def demo() -> Assessment:
    return assess(DEMO)


def flags(names: str) -> np.ndarray:
    return np.array([name in names for name in IDS])


def by_id(values: np.ndarray) -> dict[str, float]:
    return {name: float(value) for name, value in zip(IDS, values, strict=True) if not np.isnan(value)}


def test_condition_is_0_at_the_limit_of_the_best_class_and_1_at_that_of_the_worst() -> None:
    scores = np.array([2.0, INDEX.limits[0], (INDEX.limits[0] + INDEX.limits[-1]) / 2, 7.25, 9.0, np.nan])
    assert rate_condition(scores, INDEX).tolist()[:5] == pytest.approx([0, 0, 0.5, 1, 1])
    assert np.isnan(rate_condition(scores, INDEX)[5])


def test_condition_turns_with_the_direction_of_the_index() -> None:
    classes = tuple(
        replace(one, limit=limit) for one, limit in zip(INDEX.classes[:3], (60.0, 20.0, None), strict=True)
    )
    high = replace(INDEX, better="high", classes=classes, scale=(0.0, 100.0))
    assert rate_condition(np.array([80.0, 60.0, 40.0, 20.0, 5.0]), high).tolist() == [0, 0, 0.5, 1, 1]


def test_degraded_is_worse_than_the_middle_class_and_good_is_better() -> None:
    assert split_classes(INDEX, RankSettings()) == (3.0, 2.0)
    four = replace(INDEX, classes=(*INDEX.classes[:3], replace(INDEX.classes[3], limit=None)))
    limit, good = split_classes(four, RankSettings())
    assert [rank > limit for rank in range(4)] == [False, False, True, True]
    assert [rank <= good for rank in range(4)] == [True, True, False, False]


def test_settings_name_the_classes_by_label() -> None:
    assert split_classes(INDEX, RankSettings(worse_than="Good")) == (2.0, 2.0)
    assert split_classes(INDEX, RankSettings(worse_than="Poor", good_to="Excellent")) == (5.0, 0.0)


@pytest.mark.parametrize(
    ("settings", "word"),
    [
        (RankSettings(worse_than="Awful"), "none of the classes"),
        (RankSettings(worse_than="Very poor"), "no class is worse"),
        (RankSettings(worse_than="Good", good_to="Fair"), "at once"),
    ],
)
def test_limits_that_cannot_be_meant_are_refused(settings: RankSettings, word: str) -> None:
    with pytest.raises(ValueError, match=word):
        split_classes(INDEX, settings)


def test_length_is_what_hangs_together(network: Network) -> None:
    assert by_id(_measure_runs(network, flags("acf"))) == pytest.approx({"a": 3.0, "c": 3.0, "f": 0.5})


def test_downstream_counts_degraded_stream_on_the_way_and_cuts_the_last_reach(network: Network) -> None:
    bad, known = _look_down(network, flags("ace"), flags("abcdef"), within_km=7.0)
    assert by_id(bad) == pytest.approx({"a": 1.0 + 2.0, "c": 3.0, "e": 0.0})
    assert by_id(known) == pytest.approx({"a": 7.0, "c": 7.0, "e": 0.0})


def test_downstream_is_not_known_where_nothing_below_is_assessed(network: Network) -> None:
    bad, _ = _look_down(network, flags("ae"), flags("ae"), within_km=4.0)
    assert by_id(bad) == {"e": 0.0}


def test_connection_weighs_the_good_stream_on_either_side(network: Network) -> None:
    above, elsewhere = _find_good(network, flags("aef"), flags("bcd"))
    assert by_id(above) == pytest.approx({"b": 0.0, "c": 2.0, "d": 2.5})
    assert by_id(elsewhere) == pytest.approx({"b": 7.5, "c": 5.5, "d": 5.0})


def test_connection_ends_at_stream_that_is_not_assessed(network: Network) -> None:
    above, elsewhere = _find_good(network, flags("ae"), flags("c"))
    assert by_id(above) == pytest.approx({"c": 2.0})
    assert by_id(elsewhere) == pytest.approx({"c": 0.0})


def test_every_need_lies_between_0_and_1_or_is_missing(demo: Assessment) -> None:
    parts = rate_reaches(demo, RankSettings())
    needs = parts.loc[parts["degraded"], [f"need_{name}" for name in PARTS]]
    assert len(needs) > 5
    assert (needs.isna() | ((needs >= 0) & (needs <= 1))).all(axis=None)


def test_what_cannot_be_told_is_missing_and_not_zero(demo: Assessment) -> None:
    parts = rate_reaches(demo, RankSettings()).set_axis(demo.reaches["reach_id"])
    assert np.isnan(parts.loc["R077", "need_step"])  # a headwater: no site lies above its own
    assert np.isnan(parts.loc["R072", "need_trend"])  # inferred: it has no series
    assert parts.loc["R072", "need_evidence"] == 0.0  # and that is known


def test_a_step_is_that_of_the_table_of_steps(demo: Assessment) -> None:
    parts = rate_reaches(demo, RankSettings()).set_axis(demo.reaches["reach_id"])
    step = demo.steps.set_index(["site_upstream", "site_downstream"]).loc[("S06", "S07")]
    assert parts.loc["R010", "step_size"] == pytest.approx(abs(step["step_estimate"]))
    assert parts.loc["R011", "step_size"] == pytest.approx(abs(step["step_estimate"]))  # lies between


def test_a_step_for_the_better_counts_nothing_and_one_into_a_larger_stream_is_left_out(
    demo: Assessment,
) -> None:
    here = demo.steps["site_downstream"] == "S07"
    assert here.sum() >= 1
    for change, expected in (
        ({"step": "better downstream"}, 0.0),
        ({"step": "no clear step"}, 0.0),
        ({"step": "too few pairs"}, np.nan),
        ({"larger_joins": True}, np.nan),
    ):
        steps = demo.steps.copy()
        for column, value in change.items():
            steps.loc[here, column] = value
        parts = rate_reaches(replace(demo, steps=steps), RankSettings()).set_axis(demo.reaches["reach_id"])
        assert parts.loc["R010", "step_size"] == pytest.approx(expected, nan_ok=True)


def test_with_two_classes_the_end_of_the_scale_stands_for_the_worst_or_condition_is_missing() -> None:
    two = replace(INDEX, classes=(INDEX.classes[0], replace(INDEX.classes[1], limit=None)))
    middle = (INDEX.limits[0] + INDEX.scale[1]) / 2
    assert rate_condition(np.array([middle]), two).tolist() == pytest.approx([0.5])
    endless = replace(two, scale=(0.0, np.inf))
    assert np.isnan(rate_condition(np.array([middle]), endless)).all()


def test_certainty_is_the_probability_of_the_degraded_classes(demo: Assessment) -> None:
    parts, reaches = rate_reaches(demo, RankSettings()), demo.reaches
    chance = reaches[["probability_5", "probability_6", "probability_7"]].sum(axis=1)
    known = reaches["probability_5"].notna()
    assert parts.loc[known, "need_certainty"].to_numpy() == pytest.approx(chance[known].to_numpy())


def test_a_column_of_ones_own_runs_between_its_ends_and_turns(demo: Assessment) -> None:
    values = pd.DataFrame({"cost": np.linspace(0.0, 10.0, len(demo.reaches))})
    low = RankSettings(columns=(RankColumn(name="cost", need="low"),))
    need = rate_reaches(demo, low, values)["need_cost"]
    assert need.iloc[[0, -1]].tolist() == [1.0, 0.0]
    ends = RankSettings(columns=(RankColumn(name="cost", least=2.0, most=4.0),))
    need = rate_reaches(demo, ends, values)["need_cost"]
    assert need[values["cost"] >= 4].eq(1.0).all()
    assert need[values["cost"] <= 2].eq(0.0).all()


def test_a_column_that_does_not_vary_says_nothing(demo: Assessment) -> None:
    settings = RankSettings(columns=(RankColumn(name="cost"),))
    values = pd.DataFrame({"cost": np.ones(len(demo.reaches))})
    assert rate_reaches(demo, settings, values)["need_cost"].isna().all()


def test_a_sub_watershed_is_degraded_when_it_holds_degraded_stream(demo: Assessment) -> None:
    assert demo.subwatersheds is not None
    of_reaches = rate_reaches(demo, RankSettings())
    areas = rate_areas(demo, RankSettings(), of_reaches).set_axis(demo.subwatersheds["subwatershed_id"])
    total = demo.reaches.loc[of_reaches["degraded"], "length_km"].sum()
    assert areas["degraded_km"].sum() == pytest.approx(total, rel=1e-3)
    assert areas.index[areas["degraded"]].tolist() == areas.index[areas["degraded_km"] > 0].tolist()
    middle = demo.subwatersheds.set_index("subwatershed_id").loc["SW03"]
    share = middle["measured_km"] / middle["assessed_km"]
    assert areas.loc["SW03", "need_evidence"] == pytest.approx(share)


def test_the_error_of_a_sub_watershed_adds_measured_ones_as_independent(demo: Assessment) -> None:
    assert demo.subwatersheds is not None
    reaches = demo.reaches.assign(evidence=demo.reaches["evidence"].replace("inferred", "measured"))
    own = replace(demo, reaches=reaches)
    narrow = rate_areas(own, RankSettings(), rate_reaches(own, RankSettings()))["score_se"]
    wide = rate_areas(demo, RankSettings(), rate_reaches(demo, RankSettings()))["score_se"]
    assert (narrow[wide.notna()] < wide[wide.notna()]).any()
    assert not (narrow[wide.notna()] > wide[wide.notna()] + 1e-12).any()
