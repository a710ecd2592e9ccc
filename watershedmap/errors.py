"""Errors of the package, and the faults they carry.

::

    WatershedMapError
    ├── SurveyNotFoundError   (also FileNotFoundError)  no survey folder, or no survey.toml in it
    ├── SurveyError           (also ValueError)         what was read has faults; carries all of them
    └── OutputError           (also OSError)            the results cannot be written where asked

A fault is one row of the table a user gets: where it is, what is wrong, and how to mend it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

Severity = Literal["fault", "notice"]


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing found while checking the input."""

    file: str
    """File as named in survey.toml, relative to the survey folder."""
    row: int | None
    """Row as a spreadsheet counts it (the heading is row 1); None when the fault is not in one row."""
    column: str
    """Column or key as the file itself names it; empty when the fault is in no single column."""
    value: str
    """The offending text as it stands in the file."""
    problem: str
    """What is wrong, in plain words."""
    fix: str
    """What to do about it."""
    severity: Severity = "fault"
    """`fault` stops the run; `notice` is reported and the run goes on."""


class WatershedMapError(Exception):
    """Base of all errors that the package raises on purpose."""


class SurveyNotFoundError(WatershedMapError, FileNotFoundError):
    """There is no survey folder, or it holds no `survey.toml`."""


class SurveyError(WatershedMapError, ValueError):
    """The input has faults.

    Parameters
    ----------
    faults
        Everything found, faults and notices, in any order.

    Attributes
    ----------
    faults : tuple of Fault
        All of it, sorted by file, then row, then column.
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = sort_faults(faults)
        stopping = [fault for fault in self.faults if fault.severity == "fault"]
        first = stopping[0] if stopping else None
        where = f"; the first: {first.file}: {first.problem}" if first else ""
        super().__init__(f"{len(stopping)} fault(s) in the survey{where}")


class OutputError(WatershedMapError, OSError):
    """The results cannot be written; what was there before is untouched."""


def sort_faults(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    """Order faults by file, row and column, each once.

    Parameters
    ----------
    faults
        Any faults and notices.

    Returns
    -------
    tuple of Fault
        Without repeats; those that belong to no row come first in their file.
    """
    unique = dict.fromkeys(faults)
    return tuple(sorted(unique, key=lambda f: (f.file, f.row or 0, f.column, f.problem, f.value)))
