"""Sections of a definition file: checked values out, faults gathered."""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from watershedmap.errors import Fault, Severity

if TYPE_CHECKING:
    from collections.abc import Mapping

KEYS: Final = {
    "": ("index", "percentiles", "metrics", "classes"),
    "index": ("name", "label", "combination", "decimals", "source"),
    "percentiles": ("type", "samples"),
    "metrics": ("metric", "scale", "better", "cut_points", "at_cut_points", "floor", "ceiling"),
    "classes": ("label", "limit", "closed", "meaning"),
}
"""Keys of each kind of section; the file itself has no name."""
_LARGEST: Final = 1e9


@dataclass(frozen=True, slots=True)
class Reader:
    """Hands out checked values of one file, and gathers its faults."""

    file: str
    """Name of the file."""
    faults: list[Fault] = field(default_factory=list)
    """What was found so far."""

    def fault(self, key: str, value: object, problem: str, fix: str, severity: Severity = "fault") -> None:
        """Add one fault.

        Parameters
        ----------
        key
            Where in the file, dotted.
        value
            What stands there; None when nothing does.
        problem, fix
            As in `Fault`.
        severity
            As in `Fault`.
        """
        shown = "" if value is None else str(value)
        self.faults.append(Fault(self.file, None, key, shown, problem, fix, severity))

    def table(self, value: object, at: str, kind: str) -> Mapping[str, Any]:
        """Return a section; say which of its keys are unknown.

        Parameters
        ----------
        value
            What stands under the heading; anything but a section is a fault.
        at
            Where it stands; empty for the whole file.
        kind
            Key of `KEYS`.

        Returns
        -------
        Mapping
            The section; empty when it is none.
        """
        if not isinstance(value, dict):
            self.fault(at, value, "this is not a section", f"write it as a section headed [{kind}]")
            return {}
        for key in sorted(value.keys() - set(KEYS[kind])):
            near = difflib.get_close_matches(key, KEYS[kind], n=1)
            fix = f"did you mean {near[0]}?" if near else f"known keys: {', '.join(KEYS[kind])}"
            self.fault(_join(at, key), value[key], "unknown key", fix)
        return value

    def tables(self, document: Mapping[str, Any], kind: str) -> list[tuple[str, Mapping[str, Any]]]:
        """Return the blocks of one kind, each with where it stands.

        Parameters
        ----------
        document
            The whole file.
        kind
            Key of `KEYS`.

        Returns
        -------
        list of tuple
            Where each stands (`metrics 2`), and the block.
        """
        blocks = document.get(kind, [])
        if not isinstance(blocks, list):
            self.fault(kind, blocks, "this is not a list", f"write one [[{kind}]] block for each")
            return []
        places = [f"{kind} {number}" for number in range(1, len(blocks) + 1)]
        return [(place, self.table(block, place, kind)) for place, block in zip(places, blocks, strict=True)]

    def text(self, section: Mapping[str, Any], at: str, key: str) -> str:
        """Return a text.

        Parameters
        ----------
        section
            Where to look.
        at
            Where the section stands.
        key
            The key.

        Returns
        -------
        str
            Without spaces around it; empty when it is absent or no text.
        """
        value = section.get(key, "")
        if isinstance(value, str):
            return value.strip()
        self.fault(_join(at, key), value, "this is not text", "put it in quotation marks")
        return ""

    def choice(self, section: Mapping[str, Any], at: str, key: str, choices: tuple[str, ...]) -> str:
        """Return one of the choices.

        Parameters
        ----------
        section
            Where to look.
        at
            Where the section stands.
        key
            The key, which must be there.
        choices
            What it may be.

        Returns
        -------
        str
            The choice; empty when it is none of them.
        """
        value = section.get(key)
        if value in choices:
            return str(value)
        problem = "this is missing" if value is None else "not one of the choices"
        self.fault(_join(at, key), value, problem, f"choose from: {', '.join(choices)}")
        return ""

    def number(self, value: object, key: str) -> float:
        """Return a number.

        Parameters
        ----------
        value
            What stands in the file; None when nothing does.
        key
            Where in the file.

        Returns
        -------
        float
            The number; NaN when it is none.
        """
        if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= _LARGEST:
            return float(value)
        problem = "this is missing" if value is None else "not a number"
        self.fault(key, value, problem, "write a plain number without quotation marks or unit")
        return math.nan


def _join(at: str, key: str) -> str:
    return f"{at}.{key}" if at else key
