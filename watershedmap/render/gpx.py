"""Visits as waypoints for a field receiver: GPX 1.1.

Format: GPX 1.1, https://www.topografix.com/GPX/1/1/ (elements and their order from memory). One `wpt` a visit
with its name, comment, description and type. No route is written: a straight line from visit to visit leads
through water and over fences. Text is escaped, and characters that XML does not know are replaced; no time is
written, so that the same plan gives the same bytes.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final
from xml.sax.saxutils import escape

if TYPE_CHECKING:
    import pandas as pd

GPX_NAMESPACE: Final = "http://www.topografix.com/GPX/1/1"
ANTIMERIDIAN: Final = 180.0

_UNKNOWN_TO_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def make_gpx(visits: pd.DataFrame, *, title: str, about: str) -> str:
    """Write visits as GPX.

    Parameters
    ----------
    visits
        visit, day, place_id, kind, name, longitude, latitude, reason, caution.
    title
        Name of the whole.
    about
        What is said of the whole: how the visits were chosen, and the caution.

    Returns
    -------
    str
        The file, each line ended by a newline.
    """
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx xmlns="{GPX_NAMESPACE}" version="1.1" creator="watershedmap">',
        f"  <metadata><name>{xml_text(title)}</name><desc>{xml_text(about)}</desc></metadata>",
    ]
    for visit in visits.to_dict("records"):
        lines += _make_waypoint(visit)
    return "\n".join([*lines, "</gpx>"]) + "\n"


def _make_waypoint(visit: dict[Any, Any]) -> list[str]:
    name = f"{visit['place_id']} {visit['name']}".strip()
    said = f"{visit['reason']} {visit['caution']}"
    latitude, longitude = (round(visit[name], 6) + 0.0 for name in ("latitude", "longitude"))
    if longitude >= ANTIMERIDIAN:  # the format's longitude is below 180
        longitude -= 2 * ANTIMERIDIAN
    return [
        f'  <wpt lat="{latitude:.6f}" lon="{longitude:.6f}">',
        f"    <name>{xml_text(name)}</name>",
        f"    <cmt>Visit {visit['visit']}, day {visit['day']}: {xml_text(str(visit['kind']))}</cmt>",
        f"    <desc>{xml_text(said)}</desc>",
        f"    <type>{xml_text(str(visit['kind']))}</type>",
        "  </wpt>",
    ]


def xml_text(text: str) -> str:
    """Make text fit to stand between two tags.

    Parameters
    ----------
    text
        Any text.

    Returns
    -------
    str
        Escaped; what XML 1.0 does not allow is the replacement character.

    Examples
    --------
    >>> xml_text("a < b & c")
    'a &lt; b &amp; c'
    """
    return escape(_UNKNOWN_TO_XML.sub("\N{REPLACEMENT CHARACTER}", text))
