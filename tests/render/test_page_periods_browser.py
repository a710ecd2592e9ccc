"""Rules of the choice of a period on the map page, by mouse and by keyboard, at a desk and on a phone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import test_page_browser as on_screen
from test_page import build_assessment
from test_page_actions_browser import ROWS, TRACE, add_steps, press, quiet, save_rows, tick, violations
from test_page_browser import DESK, PHONE, Opened, click_reach, colour_at, selected, style_colour, wait_until
from test_page_periods import build_periods

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

pytestmark = pytest.mark.browser
browser, visit = on_screen.browser, on_screen.visit

LABEL = "Condition shown"
MIDDLE = "2016 to 2018"
BADGES = "window.watershedmap.badges()"
STEPS = "window.watershedmap.steps()"
MARKS = "Object.fromEntries(window.watershedmap.sites().map(({ id, mark }) => [id, mark]))"
LOOKS = "Object.fromEntries(['R1', 'R2', 'R3'].map((id) => [id, window.watershedmap.lookOf(id)]))"


def choose(page: Page, label: str = MIDDLE) -> None:
    page.get_by_label(LABEL, exact=True).select_option(label=label)


def class_colour(page: Page, rank: int) -> str:
    source = "JSON.parse(document.getElementById('watershed-data').textContent).index.classes.map(({ colour }) => colour)"
    return page.evaluate(source)[rank]


@pytest.mark.parametrize("keyboard", [False, True], ids=["mouse", "keyboard"])
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_a_period_shows_what_was_scored_in_it_and_nothing_else(
    visit: Callable[..., Opened], viewport: dict[str, int], *, keyboard: bool
) -> None:
    opened = visit(add_steps(build_periods()), viewport=viewport)
    page = opened.page
    control = page.get_by_label(LABEL, exact=True)
    assert control.locator("option").all_inner_texts() == [
        "Current condition (as of 2021)",
        "2019 to 2021",
        MIDDLE,
        "2013 to 2015",
        "2012",
    ]
    assert control.input_value() == "-1"
    assert page.inner_text("#period-banner") == ""
    assert page.evaluate(BADGES) != []
    assert page.evaluate(STEPS) != []
    if keyboard:
        control.focus()
        page.keyboard.press("ArrowDown")
        page.keyboard.press("ArrowDown")
    else:
        control.click()
        page.keyboard.press("Escape")  # the list of the browser itself is no part of the page
        choose(page)
    looks = page.evaluate(LOOKS)
    assert looks["R1"]["colour"] == class_colour(page, 3)
    assert looks["R1"]["dash"] == []
    nodata = style_colour(page, "nodata")
    assert [looks[reach]["colour"] for reach in ("R2", "R3")] == [nodata, nodata]
    assert page.evaluate(MARKS) == {"S01": "4", "S02": "\u2013", "S03": "\u2013", "S04": "\u2013"}
    assert (page.evaluate(BADGES), page.evaluate(STEPS)) == ([], [])
    banner = page.get_by_role("status").filter(has_text="Shown:")
    assert f"Shown: {MIDDLE}, not the current condition. Only the 1 reach with a site" in banner.inner_text()
    assert "inference is left out" in banner.inner_text()
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    assert opened.complaints == []
    assert len(opened.requests) == 1


def test_lines_of_the_map_are_painted_by_the_period(visit: Callable[..., Opened]) -> None:
    opened = visit(build_periods(areas=False))
    page = opened.page
    assert colour_at(page, "lines", "R1", 0.3) == class_colour(page, 0) + "ff"
    choose(page)
    assert colour_at(page, "lines", "R1", 0.3) == class_colour(page, 3) + "ff"
    assert quiet(opened)


def test_back_at_the_current_condition_all_is_as_before(visit: Callable[..., Opened]) -> None:
    page = visit(add_steps(build_periods())).page
    parts = "[...document.querySelectorAll('#legend, #table-body, h1, #first-look')].map((part) => part.innerText)"
    everything = (
        f"[{LOOKS}, {MARKS}, {BADGES}, {STEPS}, {parts}, window.watershedmap.labels(), document.title]"
    )
    before = page.evaluate(everything)
    choose(page)
    assert page.evaluate(everything) != before
    choose(page, "Current condition (as of 2021)")
    assert page.evaluate(everything) == before
    assert "period" not in page.evaluate("location.hash")
    assert page.inner_text("#period-banner") == ""


def test_legend_counts_the_period(visit: Callable[..., Opened]) -> None:
    page = visit(add_steps(build_periods())).page
    choose(page)
    reaches = page.inner_text('[data-layer="reaches"]')
    assert "inferred" not in reaches
    assert f"Measured: a site scored in {MIDDLE}\t1\t2.5" in reaches
    assert "No scored sample in it: no class\t4\t8.7" in reaches
    assert f"Scored in {MIDDLE}\t1" in page.inner_text('[data-layer="sites"]')
    for layer in ("badges", "steps"):
        assert "Not drawn while a period is shown" in page.inner_text(f'[data-layer="{layer}"]')
        assert page.is_disabled(f'[data-layer="{layer}"] input')
    assert "class and shares are current" in page.inner_text('[data-layer="areas"]')


def test_sub_watersheds_are_not_shaded_while_a_period_is_shown(visit: Callable[..., Opened]) -> None:
    page = visit(build_periods()).page
    above = -40  # pixels from R1, inside W1
    assert colour_at(page, "areas", "R1", 0.5, below=above)[-2:] != "00"
    assert any("\u00b7" in text for text in page.evaluate("window.watershedmap.labels()"))
    choose(page)
    assert colour_at(page, "areas", "R1", 0.5, below=above)[-2:] == "00"
    assert not any("\u00b7" in text for text in page.evaluate("window.watershedmap.labels()"))
    page.click("#tab-area")
    assert "Class, score (current)" in page.inner_text(".places thead")


def test_table_and_filters_follow_the_period(visit: Callable[..., Opened]) -> None:
    page = visit(build_periods()).page
    choose(page)
    assert f"Class, score in {MIDDLE}" in page.inner_text(".places thead")
    assert page.inner_text('tr:has(.pick[data-i="0"])').split() == [
        "S01",
        "Alder",
        "Run",
        "4",
        "Band",
        "4",
        "6.75",
        "no",
        "clear",
        "trend",
        "2",
    ]
    assert "no scored sample" in page.inner_text('tr:has(.pick[data-i="1"])')
    page.click("#tab-reach")
    tick(page, "c3", keyboard=True)
    assert page.evaluate(ROWS) == ["R1"]
    tick(page, "c3", keyboard=True)
    tick(page, "e1", keyboard=True)  # nothing is inferred
    assert page.evaluate(ROWS) == []
    choose(page, "Current condition (as of 2021)")
    assert page.evaluate(ROWS) == ["R3"]


def test_panel_says_the_score_of_the_period_beside_the_current_one(visit: Callable[..., Opened]) -> None:
    page = visit(build_periods()).page
    click_reach(page, "R1", 0.1)
    choose(page)
    block = page.inner_text(".period-block tbody")
    assert "Class\t\n4\nBand 4\n\t\n1\nBand 1\n" in block
    assert "Made-up index\t6.75\t1.50" in block
    assert "1 site, 2 years with a score\tmeasured" in block
    page.click("#tab-reach")
    page.click('.pick[data-i="2"]')
    block = page.inner_text(".period-block tbody")
    assert "no scored sample\n\t\n2\nBand 2" in block
    assert "none\t2.25" in block
    assert "no scored sample; nothing is inferred\tinferred" in block
    assert "Inferred, not measured" in page.inner_text("#panel")  # the current condition stands below it
    assert f"in {MIDDLE}: no scored sample, score unknown" in page.text_content("#announcer")
    page.click("#tab-area")
    page.click('.pick[data-i="0"]')
    assert "their current condition only" in page.inner_text(".period-block")
    choose(page, "Current condition (as of 2021)")
    assert page.query_selector(".period-block") is None
    assert selected(page) == ("area", "W1")


def test_a_trace_stays_one_of_the_current_condition_and_says_so(visit: Callable[..., Opened]) -> None:
    page = visit(build_periods()).page
    choose(page)
    click_reach(page, "R2", 0.8)
    press(page, "#trace-button")
    assert sorted(page.evaluate(TRACE)["up"]) == ["R1", "R2"]
    text = page.inner_text("#trace-summary")
    assert "5.0 km of it assessed" in text
    assert "The classes of the trace are those of the current condition." in text


def test_a_step_can_be_read_while_a_period_is_shown(visit: Callable[..., Opened]) -> None:
    opened = visit(add_steps(build_periods()))
    page = opened.page
    choose(page)
    page.click("#tab-step")
    page.click(".pick")
    assert "Steps are about all years" in page.inner_text(".period-block")
    assert quiet(opened)


def test_a_link_keeps_the_period(visit: Callable[..., Opened]) -> None:
    page = visit(build_periods()).page
    choose(page)
    assert "period=2018" in page.url
    other = page.context.new_page()
    other.goto(page.url)
    wait_until(other, "document.documentElement.dataset.ready")
    assert other.get_by_label(LABEL, exact=True).input_value() == "2"
    assert other.evaluate(MARKS)["S01"] == "4"
    assert other.url == page.url
    other.evaluate("location.hash = '#'")
    wait_until(other, "document.getElementById('period').value === '-1'")
    assert other.evaluate(MARKS)["S01"] == "1"


@pytest.mark.parametrize("period", ["1999", "x", "-1", "2018.5", "__proto__", ""])
def test_an_address_with_a_period_that_is_not_there_shows_the_current_condition(
    visit: Callable[..., Opened], period: str
) -> None:
    opened = visit(build_periods())
    page = opened.page.context.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{opened.page.url}#period={period}")
    wait_until(page, "document.documentElement.dataset.ready")
    assert page.get_by_label(LABEL, exact=True).input_value() == "-1"
    assert page.evaluate(MARKS)["S01"] == "1"
    assert complaints == []


def test_paper_names_the_period_in_its_title(visit: Callable[..., Opened]) -> None:
    page = visit(build_periods()).page
    title = page.title()
    choose(page)
    assert page.title() == f"{title}, {MIDDLE}"
    assert MIDDLE not in page.inner_text("h1")
    page.emulate_media(media="print")
    assert page.inner_text("h1").endswith(f", condition in {MIDDLE}")
    assert page.is_hidden("#period")
    assert "inference is left out" in page.inner_text("#period-banner")


def test_rows_downloaded_say_of_which_period_they_are(visit: Callable[..., Opened]) -> None:
    page = visit(build_periods()).page
    choose(page)
    name, rows = save_rows(page, keyboard=False)
    assert name == "sites_2016_2018.csv"
    found = {row["site_id"]: (row["period"], row["score"], row["class"], row["current"]) for row in rows}
    assert found["S01"] == (MIDDLE, "6.75", "Band 4", "true")
    assert found["S03"] == (MIDDLE, "", "", "false")
    page.click("#tab-area")
    name, rows = save_rows(page, keyboard=False)
    assert name == "subwatersheds.csv"
    assert "period" not in rows[0]


def test_a_change_of_theme_and_of_size_leaves_the_period(visit: Callable[..., Opened]) -> None:
    page = visit(build_periods()).page
    choose(page)
    page.click("#theme")
    assert page.evaluate(MARKS)["S01"] == "4"
    assert MIDDLE in page.inner_text('[data-layer="reaches"]')


def test_without_two_periods_there_is_no_choice(visit: Callable[..., Opened]) -> None:
    opened = visit(build_assessment())
    assert opened.page.query_selector("#period") is None
    assert quiet(opened)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_axe_finds_nothing_to_complain_of_in_a_period(
    visit: Callable[..., Opened], scheme: str, viewport: dict[str, int]
) -> None:
    package = pytest.importorskip("axe_playwright_python", reason="axe-playwright-python is not installed")
    source = (Path(package.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    page = visit(add_steps(build_periods()), viewport=viewport, color_scheme=scheme).page
    choose(page)
    assert violations(page, source) == []
    click_reach(page, "R1", 0.1)
    assert violations(page, source) == []
    if viewport is PHONE:
        box = page.locator("#period").bounding_box()
        assert box is not None
        assert box["height"] >= 44  # a finger's width
