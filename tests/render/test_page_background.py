"""Rules of the background map in a page's text: one more host where it is asked for, and nothing at all else."""

from __future__ import annotations

import logging
import re
from typing import TYPE_CHECKING

from test_page import build_assessment, without_leaflet

from watershedmap.render.page import render_page, write_page
from watershedmap.settings import MapSettings

if TYPE_CHECKING:
    from pathlib import Path
    from types import SimpleNamespace

    import pytest

TILES = "https://tiles.example.org/{z}/{x}/{y}.png"
HOSTILE = '</script><img src=x onerror="window.hacked = true"> & {{ 7 * 7 }}'
CLOSED = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'"
)


def with_background(attribution: str = HOSTILE) -> SimpleNamespace:
    assessment = build_assessment()
    assessment.survey.settings.map = MapSettings(TILES, attribution)
    return assessment


def policy_of(page: str) -> str:
    return re.search(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">', page)[1]


def test_a_page_without_the_option_is_closed_and_cannot_even_ask() -> None:
    page = render_page(build_assessment())
    assert policy_of(page) == CLOSED
    own = without_leaflet(page)
    assert "tileLayer" not in own
    assert "class Background" not in own
    assert '"background"' not in own
    assert re.search(r"kB, works offline\. ", own)


def test_the_option_opens_pictures_of_its_host_and_nothing_else() -> None:
    page = render_page(with_background())
    wanted = CLOSED.replace("img-src data:", "img-src data: https://tiles.example.org")
    assert policy_of(page) == wanted
    assert page.count("https://tiles.example.org") == 2  # the policy, and the address in the data
    assert "works offline but for the background map, which is off until you switch it on." in page


def test_the_attribution_is_escaped() -> None:
    own = without_leaflet(render_page(with_background()))
    assert "<img" not in own
    assert len(re.findall(r"</script", own)) == len(
        re.findall(r"</script", without_leaflet(render_page(build_assessment())))
    )


def test_the_run_says_that_the_page_offers_a_background_map(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, logger="watershedmap"):
        write_page(build_assessment(), tmp_path / "map.html")
        assert not caplog.records
        write_page(with_background(), tmp_path / "map.html")
    assert "map.html offers a background map from tiles.example.org, off until" in caplog.text
