"""Rules of the background map in a browser: nothing is asked for before it is on, then only its host."""

from __future__ import annotations

import base64
import re
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest
import test_page_browser as on_screen
from test_page_actions_browser import violations
from test_page_background import HOSTILE, with_background
from test_page_browser import DESK, PHONE, click_reach, selected, wait_until

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page, Route
    from test_page_browser import Opened

pytestmark = pytest.mark.browser
browser, visit = on_screen.browser, on_screen.visit

SWITCH = "#background-switch"
CREDIT = ".background-credit"
PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


def switch(page: Page, *, keyboard: bool) -> None:
    if not page.is_visible(SWITCH):
        page.click("#legend-open")
    if keyboard:
        page.focus(SWITCH)
        page.keyboard.press("Space")
    else:
        page.click(SWITCH)


def hosts(opened: Opened) -> set[str]:
    return {urlsplit(address).netloc for address in opened.requests[1:]}


@pytest.mark.parametrize("keyboard", [False, True], ids=["mouse", "keyboard"])
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_nothing_is_asked_for_until_it_is_switched_on_and_then_only_its_host(
    visit: Callable[..., Opened], viewport: dict[str, int], *, keyboard: bool
) -> None:
    opened = visit(with_background(), viewport=viewport)
    page = opened.page
    page.route(re.compile("^https?:"), lambda route: route.abort())
    click_reach(page, "R1")
    page.click("#theme")
    page.wait_for_timeout(300)
    assert len(opened.requests) == 1
    assert page.query_selector(CREDIT) is None
    page.keyboard.press("Escape")
    switch(page, keyboard=keyboard)
    wait_until(page, "!document.querySelector('.background [role=status]').hidden")
    assert hosts(opened) == {"tiles.example.org"}
    assert "is there a network?" in page.inner_text(".background")
    assert page.inner_text(CREDIT) == f"Background: {HOSTILE}"
    assert page.evaluate("window.hacked") is None
    asked = len(opened.requests)
    switch(page, keyboard=keyboard)
    assert page.query_selector(CREDIT) is None
    page.evaluate("watershed_map.setZoom(watershed_map.getZoom() + 2, { animate: false })")
    page.wait_for_timeout(300)
    assert len(opened.requests) == asked


def test_no_link_switches_it_on(visit: Callable[..., Opened]) -> None:
    opened = visit(with_background())
    page = opened.page
    switch(page, keyboard=False)
    page.evaluate("watershed_map.setZoom(watershed_map.getZoom() + 1, { animate: false })")
    wait_until(page, "location.hash !== ''")
    other = page.context.new_page()
    asked: list[str] = []
    other.on("request", lambda request: asked.append(request.url))
    other.goto(page.url)
    wait_until(other, "document.documentElement.dataset.ready")
    other.wait_for_timeout(300)
    assert len(asked) == 1
    assert not other.is_checked(SWITCH)


def test_the_policy_stops_pictures_of_any_other_host(visit: Callable[..., Opened]) -> None:
    opened = visit(with_background())
    outcome = opened.page.evaluate(
        """() => new Promise((done) => {
          document.addEventListener("securitypolicyviolation", (event) => done(event.effectiveDirective));
          new Image().src = "https://other.example.org/1.png";
        })"""
    )
    assert outcome == "img-src"
    assert any("Content Security Policy" in text for text in opened.complaints)


def test_tiles_lie_below_all_that_is_known_and_are_no_thing_to_click(
    visit: Callable[..., Opened],
) -> None:
    opened = visit(with_background("Makers of maps"), offline=False)
    page = opened.page

    def answer(route: Route) -> None:
        route.fulfill(body=PIXEL, content_type="image/png")

    page.route("https://tiles.example.org/**", answer)
    switch(page, keyboard=True)
    wait_until(page, "document.querySelector('.leaflet-tile-loaded')")
    below = page.evaluate(
        """() => {
          const order = (pane) => Number(getComputedStyle(document.querySelector(`.leaflet-${pane}-pane`)).zIndex);
          return window.watershedmap.panes.every((pane) => order(pane) > order("tile"));
        }"""
    )
    assert below
    assert page.inner_text(".background [role=status]") == ""
    page.click("#theme")  # the legend is made anew
    assert page.is_checked(SWITCH)
    click_reach(page, "R2", 0.8)
    assert selected(page) == ("reach", "R2")
    assert hosts(opened) == {"tiles.example.org"}


def test_axe_finds_nothing_to_complain_of_in_a_page_with_a_background_map(
    visit: Callable[..., Opened],
) -> None:
    package = pytest.importorskip("axe_playwright_python", reason="axe-playwright-python is not installed")
    source = (Path(package.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    page = visit(with_background("Makers of maps")).page
    switch(page, keyboard=False)
    assert violations(page, source) == []
