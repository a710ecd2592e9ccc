"""Days of field work as a calendar file, by the rules of RFC 5545 (from memory)."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from watershedmap.planning.reasons import CAUTION
from watershedmap.render.calendar import escape_text, fold_line, list_days, make_calendar


def visits(name: str = "Upper ford") -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "visit": [1, 2, 3],
            "day": [1, 1, 2],
            "place_id": ["S1", "S2", "new-R3"],
            "name": [name, "Lower", ""],
            "longitude": [-80.5, -80.4, -80.3],
            "latitude": [41.2, 41.1, 41.0],
            "reason": ["Old; unsure, too.", "Kept.", "Nobody was there."],
        }
    )
    return frame.assign(caution=CAUTION)


def unfold(text: str) -> list[str]:
    return text.replace("\r\n ", "").split("\r\n")[:-1]


def values(lines: list[str], name: str) -> list[str]:
    return [line.partition(":")[2] for line in lines if line.partition(":")[0].split(";")[0] == name]


def test_each_day_is_one_event_with_what_an_event_must_have() -> None:
    lines = unfold(make_calendar(visits(), start=date(2026, 5, 4), title="Demo"))
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    assert values(lines, "VERSION") == ["2.0"]
    assert len(values(lines, "PRODID")) == 1
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT") == 2
    assert len(set(values(lines, "UID"))) == 2
    assert len(values(lines, "DTSTAMP")) == 2
    assert values(lines, "DTSTART") == ["20260504", "20260505"]
    assert values(lines, "DTEND") == ["20260505", "20260506"]


def test_every_event_begins_with_the_caution_and_names_its_visits() -> None:
    told = values(unfold(make_calendar(visits(), start=date(2026, 5, 4), title="Demo")), "DESCRIPTION")
    assert all(text.startswith(escape_text(CAUTION)) for text in told)
    assert "S1" in told[0]
    assert "S2" in told[0]
    assert "new-R3" in told[1]
    assert "new-R3" not in told[0]


def test_days_leave_out_weekends() -> None:
    found = list_days(date(2026, 5, 1), 3)  # a Friday
    assert found == [date(2026, 5, 1), date(2026, 5, 4), date(2026, 5, 5)]
    assert list_days(date(2026, 5, 2), 1) == [date(2026, 5, 4)]


def test_no_line_is_longer_than_75_octets_and_no_character_is_cut() -> None:
    text = make_calendar(visits("ü\U0001f41f" * 60), start=date(2026, 5, 4), title="Demo")
    assert all(len(line.encode("utf-8")) <= 75 for line in text.split("\r\n"))
    assert "ü\U0001f41f" * 60 in "".join(unfold(text))
    assert "\n" not in text.replace("\r\n", "")


@pytest.mark.parametrize("length", [74, 75, 76, 149, 150, 400])
def test_a_folded_line_unfolds_to_itself(length: int) -> None:
    line = "abc:" + "x" * (length - 4)
    assert fold_line(line).replace("\r\n ", "") == line


@pytest.mark.parametrize(
    ("text", "escaped"),
    [
        ("a\\b", "a\\\\b"),
        ("a;b,c", "a\\;b\\,c"),
        ("a\r\nEND:VEVENT", "a\\nEND:VEVENT"),
        ("a\x85b", "a\\nb"),
        ("a\x07b", "a\N{REPLACEMENT CHARACTER}b"),
    ],
)
def test_text_cannot_leave_its_property(text: str, escaped: str) -> None:
    assert escape_text(text) == escaped


def test_a_hostile_name_makes_no_property_of_its_own() -> None:
    lines = unfold(make_calendar(visits("x\r\nATTENDEE:mailto:a"), start=date(2026, 5, 4), title="T\nX:Y"))
    assert not any(line.startswith(("ATTENDEE", "X:Y")) for line in lines)


def test_the_same_plan_gives_the_same_bytes() -> None:
    first, again = (make_calendar(visits(), start=date(2026, 5, 4), title="Demo") for _ in range(2))
    assert first == again
