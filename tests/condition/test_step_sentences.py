"""Steps in words: only figures, measured words, and silence where nothing is clear."""

from __future__ import annotations

import numpy as np
import pandas as pd

from watershedmap.condition.step_sentences import describe_steps
from watershedmap.condition.steps import BETTER, NO_CLEAR_STEP, TOO_FEW_PAIRS, WORSE
from watershedmap.scoring.bmwp import ASPT
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX

ROW = {
    "distance_km": 3.24,
    "n_pairs": 9,
    "first_year": 2012,
    "last_year": 2020,
    "step_estimate": 1.105,
    "step_low": 0.8,
    "step_high": 1.4,
    "p_adjusted": 0.012,
    "test": "signed-rank",
    "tributaries": "r7",
    "tributary_names": "Mill Run",
    "tributary_scores": "6.20",
    "larger_joins": False,
}


def _steps(*rows: dict[str, object]) -> pd.DataFrame:
    named = [
        {"site_upstream": f"A{n}", "site_downstream": f"B{n}", **ROW, **row} for n, row in enumerate(rows)
    ]
    return pd.DataFrame(named)


def _say(*rows: dict[str, object], **options: object) -> list[str]:
    return describe_steps(_steps(*rows), FAMILY_BIOTIC_INDEX, **options)  # type: ignore[arg-type]


def test_the_largest_drop_is_told_with_its_figures_and_what_joins() -> None:
    said = _say({"step": WORSE}, {"step": WORSE, "step_estimate": 0.9}, names={"A0": "Ford", "B0": "Weir"})
    assert said[0] == (
        "Of 2 pairs of neighbouring sites along the flow: 2 worse downstream, 0 better downstream, 0 no clear "
        "step, 0 too few pairs (false discovery rate 5 % over all pairs tested)."
    )
    assert said[1] == (
        "The largest drop of condition along a stream lies between Ford (A0) and Weir (B0), 3.2 km: Family biotic "
        "index 1.11 higher downstream (90 % interval 0.80 to 1.40; 9 pairs of samples, 2012 to 2020, adjusted p "
        "0.012). Between them joins Mill Run (score 6.20)."
    )
    assert said[2:] == ["No clear recovery of condition lies between two neighbouring sites of one stream."]


def test_limits_on_both_sides_of_zero_carry_their_signs_and_missing_ones_are_left_out() -> None:
    said = _say({"step": WORSE, "step_low": -0.125, "step_high": 1.4})
    assert "(90 % interval -0.13 to +1.40;" in said[1]
    said = _say({"step": WORSE, "step_low": np.nan, "step_high": np.nan})
    assert "downstream (9 pairs of samples" in said[1]


def test_the_largest_recovery_is_told_apart() -> None:
    said = _say(
        {"step": BETTER, "step_estimate": -0.5, "step_low": -0.9, "step_high": -0.2, "p_adjusted": 0.0004}
    )
    assert said[1] == "No clear drop of condition lies between two neighbouring sites of one stream."
    assert said[2].startswith(
        "The largest recovery of condition along a stream lies between A0 and B0, 3.2 km:"
    )
    assert "0.50 lower downstream (90 % interval 0.20 to 0.90;" in said[2]
    assert "adjusted p below 0.001" in said[2]


def test_where_nothing_is_clear_the_largest_is_told_as_not_told_from_chance() -> None:
    said = _say({"step": NO_CLEAR_STEP, "p_adjusted": 0.148}, {"step": NO_CLEAR_STEP, "step_estimate": 0.4})
    assert said[1].startswith(
        "No clear drop of condition lies between two neighbouring sites of one stream; the largest that cannot be "
        "told from chance lies between A0 and B0, 3.2 km:"
    )
    assert "adjusted p 0.148" in said[1]
    assert said[2] == "No clear recovery of condition lies between two neighbouring sites of one stream."


def test_what_was_not_tested_is_not_told_as_the_largest() -> None:
    said = _say({"step": TOO_FEW_PAIRS, "test": "none", "n_pairs": 3})
    assert said[1] == "No clear drop of condition lies between two neighbouring sites of one stream."


def test_drop_and_recovery_are_read_through_the_direction_of_the_index() -> None:
    said = describe_steps(_steps({"step": BETTER}, {"step": NO_CLEAR_STEP, "step_estimate": -0.3}), ASPT)
    assert "cannot be told from chance lies between A1 and B1" in said[1]
    assert said[2].startswith("The largest recovery of condition along a stream lies between A0 and B0")


def test_where_a_larger_stream_joins_the_step_is_no_drop_along_a_stream() -> None:
    said = _say({"step": WORSE, "step_estimate": 9.0, "larger_joins": True}, {"step": WORSE})
    assert "between A1 and B1" in said[1]
    assert said[2].startswith(
        "In 1 more pair a larger stream joins between the two sites, and condition is clearly worse"
    )
    assert "between A0 and B0" in said[2]


def test_pairs_without_an_answer_are_counted() -> None:
    few = {"step": TOO_FEW_PAIRS, "test": "none", "n_pairs": 2, "p_adjusted": np.nan}
    said = _say(few, few, {"step": NO_CLEAR_STEP, "n_pairs": 5})
    assert said[-2] == "2 pairs of sites have too few common years to be tested."
    assert said[-1].startswith("1 pair of sites is tested on so few samples that no difference")
    assert len(_say({"step": NO_CLEAR_STEP, "n_pairs": 6})) == 3
    assert len(_say({"step": NO_CLEAR_STEP, "n_pairs": 5}, rate=0.1)) == 3


def test_pairs_in_which_a_lone_step_could_not_be_clear_are_counted() -> None:
    # six pairs can give 0.03125, which is above 0.05 when doubled for two tests
    six = {"step": NO_CLEAR_STEP, "n_pairs": 6}
    assert _say(six, six)[-1].startswith(
        "2 pairs of sites are tested on so few samples that one step alone, however large, could not be clear among "
        "2 tests;"
    )
    assert len(_say({**six, "n_pairs": 7}, {**six, "n_pairs": 7})) == 3
    assert len(_say({**six, "step": WORSE}, {**six, "step": WORSE})) == 3  # clear all the same, being two


def test_no_pairs_at_all_are_said_to_be_none() -> None:
    assert describe_steps(_steps().reindex(columns=list(ROW)), FAMILY_BIOTIC_INDEX) == [
        "No two sampled sites lie one below the other along the flow, so no step can be told."
    ]


def test_tributaries_without_a_name_are_counted_and_many_are_cut_short() -> None:
    several = {
        "step": WORSE,
        "tributaries": "1; 2; 3; 4; 5; 6; 7",
        "tributary_names": "P; unnamed; Q; R; S; T; unnamed",
        "tributary_scores": "5.00 (inferred); unknown; 4.00; 3.00; 2.00; 1.00; unknown",
    }
    assert _say(several)[1].endswith(
        "Between them join P (score 5.00, inferred), Q (score 4.00), R (score 3.00), S (score 2.00), 1 more and "
        "2 tributaries without a name."
    )
    assert _say({**several, "tributaries": ""})[1].endswith("No tributary of the layer joins there.")
    single = {"step": WORSE, "tributary_names": "unnamed", "tributary_scores": "unknown"}
    assert _say(single)[1].endswith("Between them joins 1 tributary without a name.")


def test_a_name_with_the_separator_in_it_falls_back_to_ids() -> None:
    odd = {"step": WORSE, "tributary_names": "Mill; Run", "tributary_scores": "6.20"}
    assert _say(odd)[1].endswith("Between them joins r7 (score unknown).")


def test_names_come_as_they_are_written() -> None:
    assert "<b>Ford</b> (A0)" in _say({"step": WORSE}, names={"A0": "<b>Ford</b>"})[1]
