"""The layer report: every kind once with its ids, text only as text, and no request for anything outside."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, Point, Polygon

from watershedmap.network.topology import build_network
from watershedmap.render.layer_report import (
    KINDS,
    MOST_NAMED,
    MOST_ROWS,
    count_layers,
    render_layer_report,
    write_layer_report,
)
from watershedmap.streams import Streams

if TYPE_CHECKING:
    from pathlib import Path

HOSTILE = "<script>alert(1)</script>`'\"&🐟"


def findings(*rows: tuple[str, str, str, str, str, Point | None]) -> gpd.GeoDataFrame:
    names = ("finding", "severity", "ids", "note", "fix")
    columns = {name: [row[n] for row in rows] for n, name in enumerate(names)}
    points = np.array([row[5] for row in rows], dtype=object)
    return gpd.GeoDataFrame(columns, geometry=points, crs="EPSG:4326")


def outlet(ids: str, place: Point | None = None) -> tuple[str, str, str, str, str, Point | None]:
    return ("outlet", "notice", ids, "nothing lies downstream", "nothing", place or Point(10, 50))


CYCLE = ("cycle", "fault", "a; b", "these 2 flow in a circle", "turn one", Point(10.5, 50.5))


@pytest.fixture
def reaches() -> gpd.GeoDataFrame:
    lines = [LineString([(10, 50), (10.5, 50.5)]), None, LineString([(10.5, 50.5), (11, 50.2)])]
    return gpd.GeoDataFrame({"reach_id": ["a", "b", "c"]}, geometry=lines, crs="EPSG:4326")


class Reader(HTMLParser):
    """Collects the tags and the text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep a tag and its attributes."""
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Keep what is text."""
        self.text += data


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    return reader


def test_kinds_that_stop_a_run_stand_first_with_their_counts(reaches: gpd.GeoDataFrame) -> None:
    page = render_layer_report(findings(outlet("c"), CYCLE, outlet("x")), title="T", reaches=reaches)
    headings = re.findall(r"<h2>(.*?)</h2>", page)
    assert headings == ["cycle: 1", "outlet: 2"]
    assert "1 of 3 findings stops a run" in page
    assert page.count('class="stops"') == 1


def test_what_all_rows_have_in_common_is_said_once(reaches: gpd.GeoDataFrame) -> None:
    page = render_layer_report(findings(outlet("c"), outlet("x"), outlet("y")), title="T", reaches=reaches)
    assert page.count("nothing lies downstream") == 1
    assert KINDS["outlet"] in read(page).text


def test_rows_that_differ_have_their_own_note_and_fix(reaches: gpd.GeoDataFrame) -> None:
    other = ("outlet", "notice", "x", "another note", "another fix", None)
    text = read(render_layer_report(findings(outlet("c"), other), title="T", reaches=reaches)).text
    assert all(words in text for words in ("another note", "another fix", "nothing lies downstream"))
    assert "1 without a place" in text


def test_text_of_a_layer_is_only_text(reaches: gpd.GeoDataFrame) -> None:
    row = (HOSTILE, "notice", HOSTILE, HOSTILE, HOSTILE, Point(10, 50))
    page = render_layer_report(
        findings(row), title=HOSTILE, counts={HOSTILE: HOSTILE}, reaches=reaches, points_in=HOSTILE
    )
    reader = read(page)
    assert {tag for tag, _ in reader.tags}.isdisjoint({"script", "img", "iframe", "link", "object"})
    assert reader.text.count(HOSTILE) >= 7


def test_the_page_asks_for_nothing_and_runs_nothing(reaches: gpd.GeoDataFrame) -> None:
    page = render_layer_report(findings(CYCLE), title="T", reaches=reaches, back="map.html")
    tags = read(page).tags
    policy = next(attrs["content"] for tag, attrs in tags if tag == "meta" and "http-equiv" in attrs)
    assert policy == "default-src 'none'; style-src 'unsafe-inline'"
    assert not any("src" in attrs or any(name.startswith("on") for name in attrs) for _, attrs in tags)
    links = [value for _, attrs in tags for name, value in attrs.items() if name == "href"]
    assert set(links) == {"map.html", "#kind-1", "#layers"}


def test_marks_carry_the_numbers_of_the_list_and_make_room_for_each_other(reaches: gpd.GeoDataFrame) -> None:
    rows = [outlet("p", Point(10, 50)), outlet("q", Point(10.0001, 50)), outlet("r", Point(11, 50.2))]
    page = render_layer_report(findings(*rows), title="T", reaches=reaches)
    assert "None of the 3 findings stops a run" in page
    assert re.findall(r"<text>(\d+)</text>", page) == ["1", "3"]
    dots = re.search(r'class="dots" d="([^"]*)"', page)
    assert dots is not None
    assert dots.group(1).count("M") == 2  # the first two fall together
    assert re.findall(r'<span class="ids">(\w)</span>', page) == ["p", "q", "r"]


def test_long_lists_are_cut_and_the_rest_is_counted(reaches: gpd.GeoDataFrame) -> None:
    rows = [outlet(f"r{number}") for number in range(MOST_ROWS + 7)]
    page = render_layer_report(findings(*rows), title="T", reaches=reaches, points_in="c.gpkg")
    assert page.count('<span class="ids">') == MOST_ROWS
    assert "And 7 more, in the layer layer_findings of c.gpkg." in page
    many = "; ".join(f"n{number}" for number in range(MOST_NAMED + 3))
    assert f"n{MOST_NAMED - 1} and 3 more" in render_layer_report(findings(outlet(many)), title="T")


def test_a_layer_without_findings_says_so(reaches: gpd.GeoDataFrame) -> None:
    page = render_layer_report(findings(), title="T", counts={"reaches": 12345, "km": 2.5}, reaches=reaches)
    assert "Nothing was found" in page
    assert "<section" not in page
    assert "<dd>12,345</dd>" in page
    assert "<dd>2.5</dd>" in page


def test_a_table_without_a_map_has_a_report_without_a_sketch() -> None:
    nowhere = gpd.GeoDataFrame({"reach_id": ["a"]}, geometry=[None], crs="EPSG:4326")
    row = ("outlet", "notice", "a", "note", "fix", None)
    page = render_layer_report(findings(row), title="T", reaches=nowhere)
    assert "<svg" not in page
    assert ">a</span>" in page


def test_borders_are_drawn_below_the_lines(reaches: gpd.GeoDataFrame) -> None:
    areas = gpd.GeoDataFrame(geometry=[Polygon([(10, 50), (11, 50), (11, 51)])], crs="EPSG:4326")
    page = render_layer_report(findings(CYCLE), title="T", reaches=reaches, areas=areas)
    assert 0 < page.index('<path class="border"') < page.index('<path class="stream"')


def test_the_same_findings_give_the_same_page(reaches: gpd.GeoDataFrame, tmp_path: Path) -> None:
    found = findings(CYCLE, outlet("c"), ("no line", "notice", "b", "n", "f", None))
    pages = [
        write_layer_report(found, tmp_path / name, title="T", reaches=reaches).read_bytes()
        for name in ("one.html", "two.html")
    ]
    assert pages[0] == pages[1]


def test_the_figures_of_the_layers_are_those_of_the_network(reaches: gpd.GeoDataFrame) -> None:
    layer = reaches.assign(downstream_id=pd.Series(["b", None, "gone"], dtype="str"))
    network, _ = build_network(layer)
    areas = gpd.GeoDataFrame(geometry=[Polygon([(10, 50), (11, 50), (11, 51)])], crs="EPSG:4326")
    parts = {"shares": pd.DataFrame(), "findings": findings(), "faults": ()}
    streams = Streams(reaches=layer, subwatersheds=areas, network=network, **parts)  # type: ignore[arg-type]
    counts = count_layers(streams)
    assert list(counts) == ["reaches", "km of stream", "outlets", "leaving the layer", "sub-watersheds"]
    assert [counts[word] for word in ("reaches", "outlets", "leaving the layer", "sub-watersheds")] == [
        3,
        1,
        1,
        1,
    ]
    assert counts["km of stream"] == pytest.approx(network.length_km.sum())
    unread = Streams(reaches=layer, subwatersheds=None, network=None, **parts)  # type: ignore[arg-type]
    assert count_layers(unread) == {"reaches": 3}
