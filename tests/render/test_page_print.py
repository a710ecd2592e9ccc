"""Rules of the map page on paper: title, map and legend on the first sheet, nothing that only works on a screen."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import test_page_browser as on_screen
from test_page import PLAIN, build_assessment
from test_page_actions_browser import add_steps
from test_page_browser import DESK, Opened, wait_until
from test_page_certainty import add_chances
from test_page_explanations import build_counted

from watershedmap.assessment import assess

if TYPE_CHECKING:
    from collections.abc import Callable

DEMO = Path(__file__).parents[2] / "demo_data"

pytestmark = pytest.mark.browser
browser, visit = on_screen.browser, on_screen.visit


def test_print_shows_map_and_legend_whole_and_no_controls(visit: Callable[..., Opened]) -> None:
    page = visit(viewport={"width": 720, "height": 1000}).page
    page.click(".look")
    page.emulate_media(media="print")
    page.wait_for_timeout(200)
    paper = 186 / 25.4 * 96  # A4 less margins of 12 mm, in pixels
    for part in ("#watershed_map", "#legend", "#panel", "#tables", "h1"):
        assert page.is_visible(part), part
        box = page.query_selector(part).bounding_box()
        assert box["x"] + box["width"] <= max(paper, 720), part
    assert page.query_selector("#watershed_map").bounding_box()["width"] <= paper
    for part in (".leaflet-control-zoom", ".search", ".tabs", ".close", ".legend-open", ".skip"):
        assert page.is_hidden(part), part
    corners = page.evaluate("['R1', 'R3', 'R5'].map((id) => window.watershedmap.reachPoint(id))")
    box = page.query_selector("#watershed_map").bounding_box()
    for point in corners:
        assert box["x"] < point["x"] < box["x"] + box["width"]
        assert box["y"] < point["y"] < box["y"] + box["height"]


@pytest.mark.parametrize("height", [297.0, 279.4], ids=["A4", "Letter"])
def test_title_map_and_legend_share_the_first_sheet(visit: Callable[..., Opened], height: float) -> None:
    assessment = add_chances(build_assessment(k=7, names=PLAIN))
    page = visit(assessment, viewport={"width": 720, "height": 1000}).page
    page.emulate_media(media="print")
    page.wait_for_timeout(200)
    legend = page.query_selector("#legend").bounding_box()
    assert legend["y"] + legend["height"] <= (height - 24) / 25.4 * 96
    tables = page.query_selector("#tables").bounding_box()
    assert tables["y"] >= legend["y"] + legend["height"]


def test_print_says_that_the_table_was_searched(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.fill("#search", "S04")
    words = "1 of 4 shown: search \u201cS04\u201d"
    assert page.is_hidden(f"text={words}")
    page.emulate_media(media="print")
    assert page.is_visible(f"text={words}")


def test_print_unfolds_notices_and_adds_the_sub_watersheds(visit: Callable[..., Opened]) -> None:
    page = visit().page
    unfolded = "document.querySelector('#notices details').open"
    assert not page.evaluate(unfolded)
    page.emulate_media(media="print")
    wait_until(page, unfolded)
    printed = page.inner_text("#tables > .only-print")
    assert all(name in printed for name in ("W1", "W2", "W3", "inferred only"))
    page.emulate_media(media="screen")
    wait_until(page, f"!{unfolded}")
    assert page.query_selector("#tables > .only-print table") is None
    page.click("#tab-area")
    page.emulate_media(media="print")
    wait_until(page, unfolded)
    assert page.query_selector("#tables > .only-print table") is None  # it is printed already


@pytest.mark.parametrize("height", [297.0, 279.4], ids=["A4", "Letter"])
def test_a_trace_and_steps_leave_map_and_legend_on_the_first_sheet(
    visit: Callable[..., Opened], height: float
) -> None:
    assessment = add_steps(add_chances(build_assessment(k=7, names=PLAIN)))
    page = visit(assessment, viewport={"width": 720, "height": 1000}).page
    page.click(".look")
    page.click("#trace-button")
    page.emulate_media(media="print")
    page.wait_for_timeout(200)
    assert page.is_visible("#legend-trace")
    assert "ending at R3" in page.inner_text("#trace-summary")
    legend = page.query_selector("#legend").bounding_box()
    assert legend["y"] + legend["height"] <= (height - 24) / 25.4 * 96
    for part in ("#theme", "#save-rows", ".filters", "#trace-button"):
        assert page.is_hidden(part), part


def test_a_filter_is_said_on_paper(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.click("#filters summary")
    page.click('[data-filter="c0"]')
    page.emulate_media(media="print")
    assert page.is_visible("text=Filtered. Class: 1 Band 1.")


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="no pdftoppm")
def test_a_printed_selection_stalls_no_program_that_shows_the_pdf(
    visit: Callable[..., Opened], tmp_path: Path
) -> None:
    # The outline cuts out parts of itself; as a drawing, not a picture, it kept a PDF reader busy for minutes.
    page = visit(assess(DEMO), viewport=DESK).page
    page.click(".look")
    page.pdf(path=tmp_path / "page.pdf", format="A4")
    command = ["pdftoppm", "-r", "40", "-f", "1", "-l", "1", "-png", "page.pdf", "page"]
    subprocess.run(command, cwd=tmp_path, timeout=30, check=True)
    assert list(tmp_path.glob("page-*.png"))


def test_pdf_is_made(visit: Callable[..., Opened]) -> None:
    page = visit().page
    pdf = page.pdf(format="A4")
    assert pdf.startswith(b"%PDF")
    assert b"/MediaBox [0 0 594" in pdf or b"/MediaBox [0 0 595" in pdf


def test_print_keeps_an_opened_sample_and_leaves_the_closed_ones_out(visit: Callable[..., Opened]) -> None:
    page = visit(build_counted()).page
    page.click('.pick[data-i="0"]')
    page.locator(".open-sample").first.click()
    page.emulate_media(media="print")
    page.wait_for_timeout(200)
    assert page.is_visible("text=Mean: 13 / 4")
    assert page.locator(".explanation:visible").count() == 1
