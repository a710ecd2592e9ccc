"""Rules of the legend of the map page: it says what the classes mean to a reader who does not know the index."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
import test_page_browser as on_screen
from test_page import HOSTILE, PLAIN, build_assessment
from test_page_actions_browser import quiet
from test_page_browser import DESK, PHONE

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import SimpleNamespace

    from test_page_browser import Opened

pytestmark = pytest.mark.browser
browser, visit = on_screen.browser, on_screen.visit

MEANINGS = '[data-layer="reaches"] .meanings'


def with_meanings(*meanings: str) -> SimpleNamespace:
    assessment = build_assessment(names=PLAIN)
    classes = tuple(
        replace(band, meaning=meaning)
        for band, meaning in zip(assessment.index.classes, meanings, strict=True)
    )
    assessment.index = replace(assessment.index, classes=classes)
    return assessment


@pytest.mark.parametrize("keyboard", [False, True], ids=["mouse", "keyboard"])
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_the_legend_tells_the_meaning_of_each_class_that_has_one(
    visit: Callable[..., Opened], viewport: dict[str, int], *, keyboard: bool
) -> None:
    opened = visit(with_meanings("clean water", HOSTILE[0], "", "", "foul water"), viewport=viewport)
    page = opened.page
    if viewport is PHONE:
        page.click("#legend-open")
    assert not page.is_visible(f"{MEANINGS} dl")
    if keyboard:
        page.focus(f"{MEANINGS} summary")
        page.keyboard.press("Enter")
    else:
        page.click(f"{MEANINGS} summary")
    text = " ".join(page.inner_text(f"{MEANINGS} dl").split())
    assert text == f"1 Band 1 clean water 2 Band 2 {' '.join(HOSTILE[0].split())} 5 Band 5 foul water"
    page.evaluate("document.getElementById('theme').click()")  # the legend is made anew
    assert page.is_visible(f"{MEANINGS} dl")
    assert page.evaluate("window.hacked") is None
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    assert quiet(opened)


def test_an_index_without_meanings_has_none_in_its_legend(visit: Callable[..., Opened]) -> None:
    assert visit(with_meanings("", "", "", "", "")).page.query_selector(".meanings") is None
