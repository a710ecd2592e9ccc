"""Rules of steps along the flow on the map page: a mark, a tab and a panel of its own, by mouse and keyboard."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

import pytest
import test_page_browser as on_screen
from test_page import PLAIN, build_assessment
from test_page_actions_browser import HOSTILE_NAMES, add_steps, press, quiet
from test_page_browser import DESK, PHONE, selected, wait_until

from watershedmap.render.page_steps import collect_steps

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page
    from test_page_browser import Opened

pytestmark = pytest.mark.browser
browser, visit = on_screen.browser, on_screen.visit

STEP = ("step", "S01 \u2192 S02")
MARK = "window.watershedmap.stepPoint('S01')"
FOUND = ["worse downstream", "no clear step"]


def with_steps(*, larger: bool = False, joins: str = "R4") -> SimpleNamespace:
    """Build a survey with one clear step, between S01 and S02."""
    assessment = add_steps(build_assessment(names=PLAIN))
    assessment.steps = assessment.steps.assign(
        first_year=[2016, 2016],
        last_year=[2021, 2017],
        tributaries=[joins, ""],
        tributary_names=["unnamed" if joins else "", ""],
        tributary_scores=["unknown" if joins else "", ""],
        larger_joins=[larger, False],
    )
    return assessment


def open_by(page: Page, way: str) -> None:
    if way == "mouse":
        point = page.evaluate(MARK)
        page.mouse.click(point["x"], point["y"])
    elif way == "row":
        page.click("#tab-step")
        page.click('.pick[data-i="0"]')
    else:
        page.focus("#tab-site")
        page.keyboard.press("ArrowLeft")
        assert page.evaluate("document.activeElement.id") == "tab-step"
        press(page, ".pick")


@pytest.mark.parametrize("way", ["mouse", "row", "keyboard"])
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_a_step_opens_a_panel_of_its_own(
    visit: Callable[..., Opened], way: str, viewport: dict[str, int]
) -> None:
    opened = visit(with_steps(), viewport=viewport)
    page = opened.page
    open_by(page, way)
    assert selected(page) == STEP
    text = page.inner_text("#panel")
    assert "S01 \u2192 S02" in page.inner_text("#panel-title")
    assert "Worse downstream: " in text
    assert "+0.75 going downstream (90 % interval +0.40 to +1.10), p = 0.020, adjusted for all pairs" in text
    assert "Upper site: S01" in text
    assert "Lower site: S02" in text
    assert "3.2 km along the flow" in text
    assert "6 pairs of samples, 2016 to 2021" in text
    joining = page.inner_text("#panel .neighbours >> nth=1")
    assert joining.startswith("R4")
    assert "unknown" in joining
    assert "tributary that enters" not in text
    assert "worse below" in page.inner_text("#announcer")
    focus = page.evaluate("document.activeElement.id")
    assert (focus == "panel-title") == (way != "mouse")
    page.keyboard.press("Escape")
    assert selected(page) is None
    assert quiet(opened)


def test_a_step_that_enters_a_larger_stream_is_said_to(visit: Callable[..., Opened]) -> None:
    page = visit(with_steps(larger=True)).page
    open_by(page, "keyboard")
    text = page.inner_text("#panel .caution")
    assert "A larger stream joins between the two sites" in text
    assert "compares the tributary with the stream that it enters" in text


def test_a_step_that_nothing_joins_says_so(visit: Callable[..., Opened]) -> None:
    page = visit(with_steps(joins="")).page
    open_by(page, "row")
    assert "No stream of this layer." in page.inner_text("#panel")


def test_from_a_step_one_gets_to_its_sites_and_back(visit: Callable[..., Opened]) -> None:
    page = visit(with_steps()).page
    open_by(page, "row")
    press(page, "#panel .link >> nth=1")
    assert selected(page) == ("site", "S02")
    page.focus("text=More on this step")
    page.keyboard.press("Enter")
    assert selected(page) == STEP


def test_the_pointer_on_a_mark_tells_of_the_step_and_marks_its_row(visit: Callable[..., Opened]) -> None:
    page = visit(with_steps()).page
    page.click("#tab-step")
    point = page.evaluate(MARK)
    page.mouse.move(point["x"], point["y"])
    assert "worse below" in page.inner_text("#map-tip")
    assert page.inner_text("tr.hovered .row-id") == STEP[1]


def test_a_link_brings_a_step_back(visit: Callable[..., Opened]) -> None:
    page = visit(with_steps()).page
    open_by(page, "row")
    page.wait_for_timeout(400)
    other = page.context.new_page()
    other.goto(page.url)
    wait_until(other, "document.documentElement.dataset.ready")
    assert selected(other) == STEP


def test_steps_are_downloaded_under_the_names_of_their_table(visit: Callable[..., Opened]) -> None:
    page = visit(with_steps(larger=True)).page
    page.click("#tab-step")
    with page.expect_download() as event:
        press(page, "#save-rows")
    assert event.value.suggested_filename == "steps.csv"
    text = Path(event.value.path()).read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(rows) == 1
    wanted = {"site_upstream": "S01", "step": FOUND[0], "larger_joins": "true", "last_year": "2021"}
    assert {name: rows[0][name] for name in wanted} == wanted
    known = with_steps().steps.columns
    assert set(rows[0]) <= set(known)


def test_without_a_clear_step_there_is_no_tab_of_steps(visit: Callable[..., Opened]) -> None:
    assessment = with_steps()
    assessment.steps = assessment.steps.assign(step=FOUND[1])
    page = visit(assessment).page
    assert page.query_selector("#tab-step") is None
    assert "2 pairs looked at" in page.inner_text('[data-layer="steps"]')


def test_only_clear_steps_are_collected_and_a_missing_answer_is_not_yes() -> None:
    assessment = with_steps()
    found = collect_steps(assessment)
    assert (found["pairs"], found["kind"], found["from"], found["to"]) == (2, [0], [0], [1])
    assert (found["joins"], found["scores"], found["larger"]) == ([[3]], ["unknown"], [False])
    assessment.steps = assessment.steps.drop(columns="larger_joins")
    assert collect_steps(assessment)["larger"] == [False]


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_hostile_names_only_show_in_the_panel_of_a_step(
    visit: Callable[..., Opened], viewport: dict[str, int]
) -> None:
    assessment = with_steps(larger=True)
    assessment.sites["name"] = HOSTILE_NAMES
    assessment.steps["tributaries"] = HOSTILE_NAMES[:2]
    assessment.steps["tributary_names"] = HOSTILE_NAMES[:2]
    assessment.steps["tributary_scores"] = HOSTILE_NAMES[:2]
    opened = visit(assessment, viewport=viewport)
    page = opened.page
    open_by(page, "row")
    assert page.inner_text("#panel").count(HOSTILE_NAMES[0]) > 1
    assert page.evaluate("window.hacked") is None
    assert page.query_selector("img") is None
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    assert quiet(opened)


def test_a_step_has_the_same_figures_while_a_period_is_shown(visit: Callable[..., Opened]) -> None:
    assessment = with_steps()
    assessment.survey.settings.options = SimpleNamespace(recent_years=3)
    opened = visit(assessment)
    page = opened.page
    open_by(page, "row")
    figures = page.inner_text("#panel").partition("\u00d7")[2].strip()
    assert figures.startswith("Worse downstream")
    page.locator("#periods select").select_option(index=1)
    assert page.evaluate("window.watershedmap.steps()") == []  # a period was chosen
    assert figures in page.inner_text("#panel")
    assert quiet(opened)
