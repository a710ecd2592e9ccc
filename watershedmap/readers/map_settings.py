"""Reads and checks what `survey.toml` says of the map page.

The address of the tiles goes into a page that others open, and its host into the rule of that page that says
what a browser may load. So it is read strictly: https, a host name of letters, digits and hyphens, no port,
no user, and braces for the place of a tile only.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from watershedmap.settings import MapSettings

if TYPE_CHECKING:
    from watershedmap.readers.sections import Section

MOST_LETTERS: Final = 500
"""Longest address that is taken; what is longer is a slip."""

_PLACES: Final = ("{z}", "{x}", "{y}")
_LABEL = r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?"
_HOST = re.compile(rf"{_LABEL}(?:\.{_LABEL})+", re.IGNORECASE)
_AFTER_HOST = re.compile(r"[A-Za-z0-9._~/?&=%@:+!$*,{}-]*")
_EXAMPLE: Final = "https://tiles.example.org/{z}/{x}/{y}.png"


def read_map(section: Section) -> MapSettings:
    """Read the section on the map page.

    Parameters
    ----------
    section
        `[map]` of the file, with the keys `tiles` and `attribution`.

    Returns
    -------
    MapSettings
        Without tiles when there are none, or when anything about them is at fault.
    """
    tiles, attribution = section.text("tiles"), section.text("attribution").strip()
    if not tiles:
        if attribution:
            fix = "name the tiles too, or leave it out"
            section.fault("attribution", attribution, "there are no tiles that it could be of", fix)
        return MapSettings()
    problem = _find_problem(tiles)
    if problem:
        section.fault("tiles", tiles, problem, f"write it like {_EXAMPLE}")
    if not attribution:
        fix = "say who made the background map, in the words that its maker asks for"
        section.fault("attribution", "", "no attribution is given for the tiles", fix)
    return MapSettings() if problem or not attribution else MapSettings(tiles, attribution)


def _find_problem(tiles: str) -> str:
    """Say what is wrong with the address of tiles; nothing when it is right."""
    scheme, separator, rest = tiles.partition("://")
    if scheme != "https" or not separator:
        return "not an https address"
    host, slash, after = rest.partition("/")
    if not _HOST.fullmatch(host) or not slash:
        return "its host is not a plain host name"
    if not _AFTER_HOST.fullmatch(after) or len(tiles) > MOST_LETTERS:
        return "not an address that can be used"
    if any(place not in after for place in _PLACES):
        return "it does not hold {z}, {x} and {y}"
    left = re.sub(r"\{[xyz]\}", "", after)
    return "it holds braces other than {z}, {x} and {y}" if {"{", "}"} & set(left) else ""
