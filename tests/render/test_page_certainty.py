"""Rules of what the page holds about how sure a class is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from page_reading import collect, read_block
from test_page import NAN, PLAIN, build_assessment

from watershedmap.render.page import render_page
from watershedmap.render.page_data import CERTAIN_FROM
from watershedmap.scoring.classes import class_rank

if TYPE_CHECKING:
    from collections.abc import Sequence
    from types import SimpleNamespace

    import pandas as pd

    from watershedmap.scoring.indices import Index


def set_chances(frame: pd.DataFrame, certainty: Sequence[float], index: Index) -> None:
    """Give the stated class a probability and the rest to the next worse one, or better of the worst."""
    k = len(index.classes)
    stated = class_rank(frame["class"], index).to_numpy(dtype=float, na_value=NAN)
    other = np.where(stated == k - 1, k - 2, stated + 1)
    sure = np.where(np.isnan(stated), NAN, certainty)
    for rank in range(k):
        chance = np.where(stated == rank, sure, np.where(other == rank, 1 - sure, 0.0))
        frame[f"probability_{rank + 1}"] = np.where(np.isnan(sure), NAN, chance)
    frame["class_certainty"] = sure


def add_chances(assessment: SimpleNamespace, s02: float = 0.55) -> SimpleNamespace:
    """Make S01 and R1 sure, S02, R2 and W1 not, S03 known from the counts of one year, and 2019 unsure."""
    index, sites, samples = assessment.index, assessment.sites, assessment.samples
    sites.loc[2, ["score_low", "score_high"]] = [8.9, 9.12]
    sites["interval_basis"], sites["score_df"] = ["years", "years", "counts", ""], [2.0, 2.0, NAN, NAN]
    set_chances(sites, [0.95, s02, 0.8, NAN], index)
    set_chances(assessment.reaches, [0.95, s02, NAN, NAN, NAN], index)
    if assessment.subwatersheds is not None:
        set_chances(assessment.subwatersheds, [0.6, NAN, NAN], index)
    samples["score_low"], samples["score_high"] = samples["score"] - 0.3, samples["score"] + 0.3
    set_chances(samples, np.where(samples["year"] == 2019, 0.5, 0.9), index)
    return assessment


def test_class_probabilities_stand_best_class_first() -> None:
    sites = collect(add_chances(build_assessment()))["sites"]
    assert sites["chances"] == [[0.95, 0.05, 0, 0, 0], [0, 0.55, 0.45, 0, 0], [0, 0, 0, 0.2, 0.8], []]
    assert sites["certainty"] == [0.95, 0.55, 0.8, None]


def test_unknown_certainty_is_missing_and_never_zero() -> None:
    data = collect(build_assessment())
    for kind in ("sites", "reaches", "areas", "samples"):
        assert set(data[kind]["certainty"]) == {None}, kind
        assert [row for row in data[kind]["chances"] if row] == [], kind


def test_inferred_reach_has_no_certainty_beside_a_measured_one() -> None:
    reaches = collect(add_chances(build_assessment()))["reaches"]
    assert reaches["certainty"] == [0.95, 0.55, None, None, None]
    assert reaches["chances"][2] == []


def test_years_of_an_interval_are_those_it_rests_on_not_all_that_were_sampled() -> None:
    sites = collect(add_chances(build_assessment()))["sites"]
    assert sites["basis"] == ["years", "years", "counts", ""]
    assert sites["basisYears"] == [3, 3, None, None]
    assert sites["nYears"] == [6, 6, 1, 0]


def test_samples_carry_their_interval_rounded_as_their_score() -> None:
    samples = collect(add_chances(build_assessment()))["samples"]
    assert (samples["low"][0], samples["score"][0], samples["high"][0]) == (1.2, 1.5, 1.8)
    assert samples["certainty"][samples["date"].index("2019-05-04")] == 0.5


def test_page_text_states_the_limit_and_that_it_is_our_own() -> None:
    page = render_page(add_chances(build_assessment(names=PLAIN)))
    assert read_block(page)["certainFrom"] == CERTAIN_FROM == pytest.approx(0.7)
    assert "A class with a probability under 70 % is marked “?”" in page
    assert "the limit is our own choice" in page
