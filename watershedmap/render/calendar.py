"""Days of field work as a calendar file: one all-day event a day.

Format: iCalendar, RFC 5545 (rules of escaping, folding and line ends from memory): lines end with CR LF, none
is longer than 75 octets, a long one goes on after a line break and a space. The stamp of each event is the
first day of the plan, not the clock, so that the same plan gives the same bytes.
"""

from __future__ import annotations

import hashlib
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import pandas as pd

MOST_OCTETS: Final = 75
SATURDAY: Final = 5


def make_calendar(visits: pd.DataFrame, *, start: date, title: str) -> str:
    """Write the days of a plan as calendar events.

    Parameters
    ----------
    visits
        visit, day, place_id, name, longitude, latitude, reason, caution; in the order of visiting.
    start
        First day; the days follow on from it, Saturdays and Sundays left out.
    title
        Name of the survey.

    Returns
    -------
    str
        The file; lines end with CR LF.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//watershedmap//plan//EN", "CALSCALE:GREGORIAN"]
    days = list_days(start, int(visits["day"].max()) if len(visits) else 0)
    for number, own in visits.groupby("day", sort=True):
        lines += _make_event(own, int(str(number)), days[int(str(number)) - 1], start=start, title=title)
    lines.append("END:VCALENDAR")
    return "".join(f"{fold_line(line)}\r\n" for line in lines)


def list_days(start: date, count: int) -> list[date]:
    """List working days, Monday to Friday.

    Parameters
    ----------
    start
        First day that counts; where it falls on a weekend the first is the Monday after.
    count
        How many.

    Returns
    -------
    list of date
        Rising. Holidays are not known.
    """
    days: list[date] = []
    day = start
    while len(days) < count:
        if day.weekday() < SATURDAY:
            days.append(day)
        day += timedelta(days=1)
    return days


def _make_event(visits: pd.DataFrame, number: int, day: date, *, start: date, title: str) -> list[str]:
    rows = visits.to_dict("records")
    key = "|".join([title, day.isoformat(), *(str(row["place_id"]) for row in rows)])
    told = [
        f"{row['visit']}. {row['place_id']} {row['name']} ({row['latitude']:.6f}, {row['longitude']:.6f}): "
        f"{row['reason']}"
        for row in rows
    ]
    text = "\n".join([str(rows[0]["caution"]), *told])
    return [
        "BEGIN:VEVENT",
        f"UID:{hashlib.sha256(key.encode('utf-8')).hexdigest()[:32]}@watershedmap",
        f"DTSTAMP:{start:%Y%m%d}T000000Z",
        f"DTSTART;VALUE=DATE:{day:%Y%m%d}",
        f"DTEND;VALUE=DATE:{day + timedelta(days=1):%Y%m%d}",
        f"SUMMARY:{escape_text(f'{title}: field day {number}, {len(rows)} visit(s)')}",
        f"DESCRIPTION:{escape_text(text)}",
        "TRANSP:OPAQUE",
        "END:VEVENT",
    ]


def escape_text(text: str) -> str:
    r"""Escape text of a property.

    Parameters
    ----------
    text
        Any text.

    Returns
    -------
    str
        One line; control characters other than line breaks are the replacement character.

    Examples
    --------
    >>> escape_text("a, b; c")
    'a\\, b\\; c'
    """
    joined = "\n".join(text.splitlines())
    shown = "".join(
        character if character == "\n" or character.isprintable() else "\N{REPLACEMENT CHARACTER}"
        for character in joined
    )
    for plain, escaped in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        shown = shown.replace(plain, escaped)
    return shown


def fold_line(line: str) -> str:
    """Break a line that is too long, never within a character.

    Parameters
    ----------
    line
        One line.

    Returns
    -------
    str
        Parts of at most 75 octets, joined by CR LF and a space.
    """
    parts, part, size = [], "", 0
    for character in line:
        octets = len(character.encode("utf-8", errors="replace"))
        if size + octets > MOST_OCTETS:
            parts.append(part)
            part, size = "", 1  # the space that a continued line begins with
        part += character
        size += octets
    return "\r\n ".join([*parts, part])
