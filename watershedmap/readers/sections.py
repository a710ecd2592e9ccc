"""One section of a settings file: hands out checked values, and gathers faults under the section's name."""

from __future__ import annotations

import difflib
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from watershedmap.errors import Fault
from watershedmap.settings import SETTINGS_FILE

if TYPE_CHECKING:
    from collections.abc import Mapping

LARGEST = 1_000_000_000
"""No option or class limit is larger; what is, is a slip."""


class Section:
    """One section of the file: hands out checked values and gathers faults under the section's name.

    Parameters
    ----------
    values
        The parsed section; anything but a mapping is a fault.
    at
        Dotted name of the section; empty for the whole file.
    allowed
        The keys that it may hold.
    faults
        List that faults are added to, shared by all sections of a file.
    """

    def __init__(self, values: object, at: str, allowed: tuple[str, ...], faults: list[Fault]) -> None:
        self.at = at
        self.faults = faults
        self.values: Mapping[str, Any] = {}
        if not isinstance(values, dict):
            self.fault("", values, "this is not a section", f"write it as a section headed [{at}]")
            return
        self.values = values
        for name in sorted(values.keys() - set(allowed)):
            near = difflib.get_close_matches(name, allowed, n=1)
            hint = f"did you mean `{near[0]}`?" if near else f"known keys: {', '.join(allowed)}"
            self.fault(name, values[name], "unknown key", hint)

    def key(self, name: str) -> str:
        """Dotted name of a key in this section."""
        return ".".join(part for part in (self.at, name) if part)

    def fault(self, name: str, value: object, problem: str, fix: str) -> None:
        """Add one fault at a key of this section."""
        self.faults.append(Fault(SETTINGS_FILE, None, self.key(name), shown(value), problem, fix))

    def inner(self, name: str, allowed: tuple[str, ...]) -> Section:
        """Return the section under a key; an absent one is empty."""
        return Section(self.values.get(name, {}), self.key(name), allowed, self.faults)

    def text(self, name: str, *, default: str = "") -> str:
        """Return a text; anything else is a fault."""
        value = self.values.get(name, default)
        if not isinstance(value, str):
            self.fault(name, value, "this is not text", "put it in quotation marks")
            return default
        return value

    def choice(self, name: str, choices: tuple[str, ...]) -> str:
        """Return one of the choices, or nothing."""
        value = self.text(name)
        if value and value not in choices:
            self.fault(name, value, "not one of the choices", f"choose from: {', '.join(choices)}")
            return ""
        return value

    def path(self, name: str) -> str:
        """Return a path relative to the survey folder.

        A path of one machine makes the survey useless on another, and would show in the manifest.
        """
        path = self.text(name)
        if PurePosixPath(path).is_absolute() or path[1:2] == ":" or path.startswith("\\"):
            self.fault(name, path, "an absolute path", "name the file relative to the survey folder")
            return ""
        return path


def is_number(value: object) -> bool:
    """Tell whether a value is a number that can be meant."""
    # A bound also turns away nan, inf and whole numbers too long for a float.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= LARGEST


def has_kind_of(value: object, default: object) -> bool:
    """Tell whether a value is of the kind of the default: true or false, number, list of texts, text."""
    if isinstance(default, bool):
        return isinstance(value, bool)
    if isinstance(default, float):
        return is_number(value)
    if isinstance(default, int):
        return isinstance(value, int) and is_number(value)
    if isinstance(default, tuple):
        return isinstance(value, list) and all(isinstance(item, str) for item in value)
    return isinstance(value, str)


def match_kind(value: Any, default: object) -> Any:  # noqa: ANN401 - the kind was checked by has_kind_of
    """Turn a value that was checked by `has_kind_of` into the type of the default."""
    if isinstance(default, tuple):
        return tuple(value)
    return float(value) if isinstance(default, float) else value


def name_kind(default: object) -> str:
    """Say in words what kind of value is expected."""
    kinds = {bool: "true or false", int: "a whole number", float: "a number", tuple: "a list of texts"}
    return kinds.get(type(default), "text")


def shown(value: object) -> str:
    """Write a value as it is shown in the table of faults."""
    if isinstance(value, bool):
        return str(value).lower()
    text = ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."  # noqa: PLR2004 - a cell of the faults table
