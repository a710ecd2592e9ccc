"""Messages name a few ids and count the rest."""

from __future__ import annotations

import numpy as np

from watershedmap.network.nodes import DirectionCheck
from watershedmap.network.reports import list_ids, report_cycles, report_direction


def test_ten_ids_are_named_and_the_rest_is_counted() -> None:
    assert list_ids(range(10)) == "0, 1, 2, 3, 4, 5, 6, 7, 8, 9"
    assert list_ids(range(12)) == "0, 1, 2, 3, 4, 5, 6, 7, 8, 9 and 2 more"


def test_lines_that_never_meet_are_said_to_tell_no_direction() -> None:
    check = DirectionCheck(junctions=0, confluences=0)
    (notice,) = report_direction(check, asked="check", believed=False, file="lines.gpkg")
    assert "no junction of three or more lines" in notice.problem
    assert 'direction = "drawn"' in notice.fix


def test_a_cycle_is_a_fault_with_both_ways_out_of_it() -> None:
    ids = np.array(["a", "b", "c"], dtype=object)
    own, cycle = report_cycles(ids, np.array([2]), [[0, 1]], from_ends=False, file="r.gpkg")
    assert (own.severity, own.value, own.problem) == ("fault", "c", "this reach flows into itself")
    assert (cycle.severity, cycle.value, cycle.problem) == ("fault", "a > b", "2 reaches flow in a circle")
    assert all('cycles = "leave_out"' in fault.fix for fault in (own, cycle))
    assert "turn it round" in cycle.fix
