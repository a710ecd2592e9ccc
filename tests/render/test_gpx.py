"""Waypoints, checked against the structure of the published schema: GPX 1.1 (topografix.com), from memory."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pandas as pd
import pytest

from watershedmap.planning.reasons import CAUTION
from watershedmap.render.gpx import GPX_NAMESPACE, make_gpx, xml_text

METADATA = ("name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions")
WAYPOINT = (
    *("ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix"),
    *("sat", "hdop", "vdop", "pdop", "ageofdgpsdata", "dgpsid", "extensions"),
)
WHOLE = ("metadata", "wpt", "rte", "trk", "extensions")
"""Children of each element in the order that the schema's sequences ask for."""

HOSTILE = "Ford <b>&\"' ]]> \x00\x1b \U0001f41f"


def visits(name: str = "Upper ford") -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "visit": [1, 2],
            "day": [1, 1],
            "place_id": ["S1", "new-R2"],
            "kind": ["revisit", "new place"],
            "name": [name, ""],
            "longitude": [-80.5, 179.9999999],
            "latitude": [41.25, -0.0000001],
            "reason": ["Old & unsure.", "Nobody was there."],
        }
    )
    return frame.assign(caution=CAUTION)


def tags(element: ET.Element) -> list[str]:
    prefix = f"{{{GPX_NAMESPACE}}}"
    assert all(child.tag.startswith(prefix) for child in element)
    return [child.tag.removeprefix(prefix) for child in element]


def assert_in_sequence(found: list[str], sequence: tuple[str, ...], *, once: bool) -> None:
    places = [sequence.index(tag) for tag in found]
    assert places == sorted(places)
    if once:
        assert len(set(found)) == len(found)


def test_the_file_has_the_structure_of_the_schema() -> None:
    root = ET.fromstring(make_gpx(visits(), title="Demo", about="About"))  # noqa: S314 - our own text
    assert root.tag == f"{{{GPX_NAMESPACE}}}gpx"
    assert root.attrib["version"] == "1.1"
    assert root.attrib["creator"]
    assert_in_sequence(tags(root), WHOLE, once=False)
    assert_in_sequence(tags(root[0]), METADATA, once=True)
    points = root.findall(f"{{{GPX_NAMESPACE}}}wpt")
    assert len(points) == 2
    for point in points:
        assert set(point.attrib) == {"lat", "lon"}
        assert -90 <= float(point.attrib["lat"]) <= 90
        assert -180 <= float(point.attrib["lon"]) <= 180
        assert_in_sequence(tags(point), WAYPOINT, once=True)


def test_a_longitude_never_rounds_to_180_degrees_east() -> None:
    # The schema's longitude is below 180; 180 itself is -180.
    root = ET.fromstring(make_gpx(visits(), title="Demo", about=""))  # noqa: S314 - our own text
    points = root.findall(f"{{{GPX_NAMESPACE}}}wpt")
    assert [float(point.attrib["lon"]) for point in points] == [-80.5, -180]
    assert points[1].attrib["lat"] == "0.000000"


def test_every_waypoint_carries_the_caution_and_its_reason() -> None:
    text = make_gpx(visits(), title="Demo", about="About")
    root = ET.fromstring(text)  # noqa: S314 - our own text
    for point, reason in zip(
        root.findall(f"{{{GPX_NAMESPACE}}}wpt"), ("Old & unsure.", "Nobody was there."), strict=True
    ):
        said = point.findtext(f"{{{GPX_NAMESPACE}}}desc")
        assert said == f"{reason} {CAUTION}"


@pytest.mark.parametrize("title", ["Demo", HOSTILE])
def test_hostile_text_stays_text(title: str) -> None:
    root = ET.fromstring(make_gpx(visits(HOSTILE), title=title, about=HOSTILE))  # noqa: S314 - our own text
    name = root.findtext(f"{{{GPX_NAMESPACE}}}wpt/{{{GPX_NAMESPACE}}}name")
    assert name is not None
    assert name.startswith("S1 Ford <b>&\"' ]]> ")
    assert "\x00" not in name
    assert name.endswith("\U0001f41f")


def test_what_xml_does_not_know_is_replaced() -> None:
    for character in ("\x0b", "\x00", "\ud800", "\ufffe"):
        assert xml_text(f"a{character}b") == "a\N{REPLACEMENT CHARACTER}b"


def test_no_visits_are_a_file_without_waypoints() -> None:
    root = ET.fromstring(make_gpx(visits().iloc[:0], title="Demo", about=""))  # noqa: S314 - our own text
    assert tags(root) == ["metadata"]
