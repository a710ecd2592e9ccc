"""Errors carry every fault, in order, and are caught as the builtin they resemble."""

from __future__ import annotations

import pytest

from watershedmap.errors import (
    Fault,
    OutputError,
    SurveyError,
    SurveyNotFoundError,
    WatershedMapError,
    sort_faults,
)

FIRST = Fault("a.csv", 2, "x", "1", "bad", "mend it")
SECOND = Fault("a.csv", 10, "x", "2", "bad", "mend it")
WHOLE = Fault("b.csv", None, "", "", "not there", "put it there", "notice")


def test_faults_are_sorted_by_file_then_row_as_a_number_and_each_stands_once() -> None:
    assert sort_faults([WHOLE, SECOND, FIRST, SECOND]) == (FIRST, SECOND, WHOLE)


def test_the_message_counts_faults_but_not_notices() -> None:
    error = SurveyError([WHOLE, SECOND, FIRST])
    assert error.faults == (FIRST, SECOND, WHOLE)
    assert str(error) == "2 fault(s) in the survey; the first: a.csv: bad"


@pytest.mark.parametrize(
    ("kind", "builtin"),
    [(SurveyError, ValueError), (SurveyNotFoundError, FileNotFoundError), (OutputError, OSError)],
)
def test_each_error_is_also_its_builtin(kind: type[Exception], builtin: type[Exception]) -> None:
    assert issubclass(kind, builtin)
    assert issubclass(kind, WatershedMapError)
