"""The methods page: every option, class, taxon and notice stands on it, and nothing on it runs."""

from __future__ import annotations

from dataclasses import fields, replace
from html.parser import HTMLParser
from typing import TYPE_CHECKING

from watershedmap.assessment import assess
from watershedmap.errors import Fault
from watershedmap.render.methods import render_methods
from watershedmap.settings import MapSettings, Options

if TYPE_CHECKING:
    from pathlib import Path

    from conftest import SurveyFolder

HOSTILE = "<script>alert('x')</script>\"`"


class Reader(HTMLParser):
    """Collects the tags and the visible text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag; an attribute that runs script may stand on none."""
        assert not [name for name, _ in attrs if name.startswith("on")]
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        """Note a piece of text."""
        self.text += data


def test_every_option_class_and_taxon_of_the_demo_is_listed(demo_folder: Path) -> None:
    assessment = assess(demo_folder)
    page = Reader(render_methods(assessment))
    for option in fields(Options):
        assert option.name in page.text
    for item in assessment.index.classes:
        assert item.label in page.text
    assert assessment.taxa is not None
    for name in assessment.taxa.index:
        assert name in page.text
    for notice in assessment.notices:
        assert notice.problem in page.text


def test_class_limits_are_written_as_they_are_applied(demo_folder: Path) -> None:
    text = Reader(render_methods(assess(demo_folder))).text
    # The limits are those of Hilsenhoff 1988 (second-hand, see tests/standards); 3.75 itself is Excellent.
    for span in ("3.75 or less", "over 3.75 to 4.25", "over 6.50 to 7.25", "over 7.25"):
        assert span in text


def test_text_from_the_tables_is_only_text(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", 'title = "Small"', f"title = '''{HOSTILE}'''")
    survey_folder.change("counts.csv", "2,Baetidae", '2,"<img src=x onerror=alert(1)>"')
    assessment = assess(survey_folder.path)
    notice = Fault(HOSTILE, 1, HOSTILE, HOSTILE, HOSTILE, HOSTILE, "notice")
    page = Reader(render_methods(replace(assessment, notices=(*assessment.notices, notice))))
    assert "script" not in page.tags
    assert "img" not in page.tags
    assert HOSTILE in page.text


def test_an_unknown_direction_of_flow_is_said(survey_folder: SurveyFolder) -> None:
    survey_folder.change("survey.toml", "[tables]", '[options]\ndirection = "unknown"\n[tables]')
    text = (survey_folder.path / "reaches.geojson").read_text()
    survey_folder.write("reaches.geojson", text.replace("downstream_id", "other"))
    page = Reader(render_methods(assess(survey_folder.path)))
    assert "could not be established" in page.text


def test_the_page_asks_for_nothing_outside_itself(demo_folder: Path) -> None:
    page = render_methods(assess(demo_folder))
    assert "http://" not in page
    assert "https://" not in page
    assert "default-src 'none'" in page


def test_a_background_map_is_told_of_and_said_to_be_no_part_of_the_results(demo_folder: Path) -> None:
    assessment = assess(demo_folder)
    assert "background map" not in Reader(render_methods(assessment)).text
    offered = MapSettings("https://tiles.example.org/{z}/{x}/{y}.png", "Makers of maps")
    settings = replace(assessment.survey.settings, map=offered)
    told = replace(assessment, survey=replace(assessment.survey, settings=settings))
    page = Reader(render_methods(told)).text
    assert "A background map from tiles.example.org on the map page, off until" in page
    assert "no result rests on it" in page
