"""Rules of the map page in a browser: it asks for nothing, draws all, and works without a mouse."""

from __future__ import annotations

import math
import os
import re
import shutil
from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING, Any

import pytest
from test_page import HOSTILE, PLAIN, SOUTH, WEST, build_assessment

from watershedmap.render.page import write_page
from watershedmap.render.palette import contrast

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path
    from types import SimpleNamespace

    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
CHROMIUM = os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
DESK = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}


@dataclass
class Opened:
    """A page that was opened, with all it asked for and complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("no Chromium: name one in the environment variable CHROMIUM")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture
def visit(browser: Browser, tmp_path: Path) -> Iterator[Callable[..., Opened]]:
    contexts = []

    def open_page(assessment: SimpleNamespace | None = None, **options: Any) -> Opened:  # noqa: ANN401
        path = tmp_path / "map.html"
        write_page(assessment or build_assessment(), path)
        context = browser.new_context(**{"viewport": DESK, "offline": True, **options})
        contexts.append(context)
        context.route(re.compile("^https?:"), lambda route: route.abort())
        opened = Opened(context.new_page())
        opened.page.on("request", lambda request: opened.requests.append(request.url))
        opened.page.on("console", lambda message: opened.complaints.append(message.text))
        opened.page.on("pageerror", lambda error: opened.complaints.append(str(error)))
        opened.page.goto(path.as_uri())
        opened.page.set_default_timeout(10_000)
        wait_until(opened.page, "document.documentElement.dataset.ready")
        return opened

    yield open_page
    for context in contexts:
        context.close()


def selected(page: Page) -> tuple[str, str] | None:
    place = page.evaluate("window.watershedmap.selected()")
    return (place["kind"], place["id"]) if place else None


def wait_until(page: Page, condition: str) -> None:
    """Wait for a condition; `wait_for_function` would need `eval`, which the page forbids."""
    for _ in range(50):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(100)
    pytest.fail(f"never came true: {condition}")


def click_reach(page: Page, reach: str, share: float = 0.2) -> None:
    point = page.evaluate("([id, share]) => window.watershedmap.reachPoint(id, share)", [reach, share])
    page.mouse.click(point["x"], point["y"])


def colour_at(page: Page, pane: str, reach: str, share: float, *, below: float = 0) -> str:
    """Colour of the pixel of a pane at a place along a reach, or some pixels below it, `#rrggbbaa`."""
    return page.evaluate(
        """([pane, id, share, below]) => {
          const point = window.watershedmap.reachPoint(id, share);
          const canvas = document.querySelector(`.leaflet-${pane}-pane canvas`);
          const box = canvas.getBoundingClientRect();
          const ratio = canvas.width / box.width;
          const at = [Math.round((point.x - box.left) * ratio), Math.round((point.y + below - box.top) * ratio)];
          const pixel = [...canvas.getContext("2d").getImageData(...at, 1, 1).data];
          return "#" + pixel.map((value) => value.toString(16).padStart(2, "0")).join("");
        }""",
        [pane, reach, share, below],
    )


def pixel_of(page: Page, pane: str, x: float, y: float) -> list[int]:
    """Red, green and blue of the pixel at a point of a pane's canvas."""
    return page.evaluate(
        """([pane, x, y]) => {
          const canvas = document.querySelector(`.leaflet-${pane}-pane canvas`);
          const ratio = canvas.width / canvas.getBoundingClientRect().width;
          return [...canvas.getContext("2d").getImageData(Math.round(x * ratio), Math.round(y * ratio), 1, 1).data].slice(0, 3);
        }""",
        [pane, x, y],
    )


def style_colour(page: Page, name: str) -> str:
    return page.evaluate(
        "(name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim()", name
    )


def style_of(page: Page, selector: str, name: str) -> str:
    return page.evaluate(
        "([selector, name]) => getComputedStyle(document.querySelector(selector))[name]", [selector, name]
    )


def overflowing(page: Page) -> list[str]:
    """Names of the tabs whose table is wider than its place."""
    tabs = []
    for kind in ("site", "reach", "area"):
        page.click(f"#tab-{kind}")
        if page.evaluate(
            "(({scrollWidth, clientWidth}) => scrollWidth > clientWidth)(document.getElementById('table-body'))"
        ):
            tabs.append(kind)
    return tabs


def test_page_asks_for_nothing_but_itself_and_complains_of_nothing(visit: Callable[..., Opened]) -> None:
    opened = visit()
    click_reach(opened.page, "R1")
    opened.page.click("#tab-reach")
    opened.page.mouse.wheel(0, -300)
    opened.page.wait_for_timeout(400)
    assert opened.complaints == []
    assert len(opened.requests) == 1
    assert opened.requests[0].startswith("file:")


def test_policy_of_the_page_stops_a_request_that_is_made_all_the_same(visit: Callable[..., Opened]) -> None:
    opened = visit()
    outcome = opened.page.evaluate("fetch('https://example.org/').then(() => 'sent', () => 'stopped')")
    assert outcome == "stopped"
    assert any("Content Security Policy" in text for text in opened.complaints)
    assert len(opened.requests) == 1


def test_reaches_are_drawn_in_the_colour_of_their_class(visit: Callable[..., Opened]) -> None:
    page = visit().page
    colours = page.evaluate("JSON.parse(document.getElementById('watershed-data').textContent).index.classes")
    assert colour_at(page, "lines", "R1", 0.1) == colours[0]["colour"] + "ff"
    assert colour_at(page, "lines", "R2", 0.8) == colours[1]["colour"] + "ff"
    unassessed = colour_at(page, "lines", "R4", 0.5)
    assert unassessed[-2:] != "00"
    assert unassessed[:-2] not in {band["colour"] for band in colours}


def test_inferred_reach_has_gaps_and_measured_has_none(visit: Callable[..., Opened]) -> None:
    page = visit().page
    shares = [0.2 + 0.005 * n for n in range(100)]
    assert any(colour_at(page, "lines", "R3", share)[-2:] == "00" for share in shares)
    assert all(colour_at(page, "lines", "R1", share)[-2:] == "ff" for share in shares)


def test_a_worse_class_is_a_wider_line(visit: Callable[..., Opened]) -> None:
    page = visit(build_assessment(k=7)).page
    widths = [
        float(line.get_attribute("stroke-width"))
        for line in page.query_selector_all(
            '[data-layer="reaches"] table:first-of-type svg line:last-of-type'
        )
    ][:7]
    assert len(widths) == 7
    assert widths == sorted(set(widths))


def test_layers_keep_their_order_whatever_is_switched(visit: Callable[..., Opened]) -> None:
    page = visit().page
    order = """[...document.querySelectorAll('.leaflet-map-pane > .leaflet-pane')]
      .filter((pane) => pane.querySelector('.pane-canvas'))
      .sort((a, b) => a.style.zIndex - b.style.zIndex)
      .map((pane) => pane.className.match(/leaflet-(\\w+)-pane/)[1])"""
    expected = ["areas", "lines", "badges", "sites", "focus", "labels"]
    assert page.evaluate(order) == expected
    for layer in ("areas", "reaches", "sites", "badges", "reaches", "areas"):
        page.click(f'[data-layer="{layer}"] input')
    assert page.evaluate(order) == expected


def test_switching_a_layer_off_takes_it_from_the_map_and_from_the_pointer(
    visit: Callable[..., Opened],
) -> None:
    page = visit(build_assessment(areas=False)).page
    page.click('[data-layer="reaches"] input')
    assert colour_at(page, "lines", "R1", 0.1)[-2:] == "00"
    click_reach(page, "R1", 0.1)
    assert selected(page) is None
    page.click('[data-layer="reaches"] input')
    click_reach(page, "R1", 0.1)
    assert selected(page) == ("reach", "R1")


def test_click_on_a_reach_opens_its_panel(visit: Callable[..., Opened]) -> None:
    page = visit().page
    assert page.is_hidden("#panel")
    click_reach(page, "R2", 0.8)
    assert selected(page) == ("reach", "R2")
    text = page.inner_text("#panel")
    reading = "The source of the index reads this class as: Meaning 2."
    for words in ("R2", "Band 2", reading, "2.25, 90 % interval 1.85 to 2.65", "Measured at S02"):
        assert words in text
    assert (
        "Condition worsening: Made-up index +0.400 a year (90 % interval +0.200 to +0.600), p = 0.012, 6 years."
        in text
    )
    assert page.get_attribute('#tables [aria-current="true"] .pick', "data-i") == "1"
    assert "Reach R2" in page.inner_text("#announcer")


def test_click_on_a_site_opens_its_panel(visit: Callable[..., Opened]) -> None:
    page = visit().page
    point = page.evaluate("window.watershedmap.sitePoint('S02')")
    page.mouse.click(point["x"], point["y"])
    assert selected(page) == ("site", "S02")
    text = page.inner_text("#panel")
    for words in (
        "fewer than 100 individuals",
        "2021-05-04",
        "kick <net>",
        "by the gate",
        "133 m from the line",
    ):
        assert words in text


def test_click_beside_all_streams_opens_the_sub_watershed(visit: Callable[..., Opened]) -> None:
    page = visit().page
    point = page.evaluate("window.watershedmap.reachPoint('R1', 0.5)")
    page.mouse.click(point["x"], point["y"] + 40)
    assert selected(page) == ("area", "W1")
    assert "100 %" in page.inner_text("#panel")


def test_inferred_says_from_where_and_why_it_has_no_interval(visit: Callable[..., Opened]) -> None:
    page = visit().page
    click_reach(page, "R3", 0.7)
    text = page.inner_text("#panel")
    assert text.index("Inferred, not measured") < text.index("Band 2") < text.index("Made-up index 2.25")
    assert "Inferred from S01" in text
    assert "the nearest is 4.1 km along the flow" in text
    assert "90 % interval unknown: too few sites" in text
    assert "8.2 km of stream, 85 % assessed, 2 sites" in text
    assert "Measured and inferred together." in page.inner_text("#panel .bar")
    assert page.query_selector("#panel .chart") is None


def test_inferred_class_is_an_open_tile_and_its_meaning_is_not_claimed(visit: Callable[..., Opened]) -> None:
    page = visit().page
    click_reach(page, "R3", 0.7)
    for tile in ("#panel .condition .tile", 'tr:has(.pick[data-i="2"]) .tile'):
        assert style_of(page, tile, "borderTopStyle") == "dashed"
        assert style_of(page, tile, "backgroundColor") == "rgb(252, 251, 247)"
    assert "Meaning" not in page.inner_text("#panel")
    assert style_of(page, 'tr:has(.pick[data-i="1"]) .tile', "borderTopStyle") == "solid"


def test_a_dash_of_an_inferred_reach_has_a_dark_edge_that_shows_any_class(
    visit: Callable[..., Opened],
) -> None:
    page = visit().page
    click_reach(page, "R5", 0.1)  # select another, so that no outline lies here
    half = 0.5 * (2.4 + 4 / 4)  # half the width of class 2 of 5
    edges = {
        colour_at(page, "lines", "R3", 0.2 + 0.005 * n, below=sign * (half + 0.5))
        for n in range(60)
        for sign in (-1, 1)
    }
    strongest = max(contrast(edge[:7], style_colour(page, "map")) for edge in edges if edge.endswith("ff"))
    assert strongest >= 3.0
    assert any(edge.endswith("00") for edge in edges)


def test_a_sub_watershed_without_a_site_says_inferred_only_everywhere(visit: Callable[..., Opened]) -> None:
    assessment = build_assessment(names=PLAIN)
    page = visit(assessment).page
    assert "Alder Run \u00b7 2\ninferred only" in page.evaluate("window.watershedmap.labels()")
    assert "Dun Water \u00b7 1" in page.evaluate("window.watershedmap.labels()")
    fill = {
        reach: {colour_at(page, "areas", reach, 0.3 + 0.02 * n, below=30) for n in range(20)}
        for reach in ("R1", "R3")
    }
    assert len(fill["R1"]) == 1
    assert len(fill["R3"]) > 1
    rows = page.inner_text('[data-layer="areas"] tbody').splitlines()
    assert [row.split("\t")[-1] for row in rows] == ["1", "1", "1"]
    assert "Inferred only" in rows[1]
    page.click("#tab-area")
    page.click('.pick[data-i="1"]')
    first = "#panel .condition p:first-child"
    assert page.inner_text(first) == "Inferred only: no stream inside is measured"
    row = page.inner_text('tr:has(.pick[data-i="1"])')
    assert "inferred only" in row
    assert row.split("\t")[-3:] == ["62 %", "0 %", "3.2"]
    assert "inferred" not in page.inner_text('tr:has(.pick[data-i="0"])')
    assessment.sites.loc[2, "subwatershed_id"] = None
    assessment.subwatersheds.loc[1, "n_sites"] = 0
    page = visit(assessment).page
    page.click("#tab-area")
    page.click('.pick[data-i="1"]')
    assert page.inner_text(first) == "Inferred only: no site inside"


def test_an_old_neighbour_is_not_shown_as_a_current_one(visit: Callable[..., Opened]) -> None:
    assessment = build_assessment()
    assessment.reaches.loc[2, "site_upstream"] = "S03"
    page = visit(assessment).page
    click_reach(page, "R3", 0.7)
    upstream = page.query_selector(".neighbours li")
    assert "(last sampled 2012)" in upstream.inner_text()
    assert "stale" in upstream.query_selector(".tile").get_attribute("class")
    assert style_of(page, ".neighbours .tile", "backgroundColor") == "rgb(252, 251, 247)"
    click_reach(page, "R2", 0.8)
    assert "last sampled" not in page.inner_text(".neighbours")


def test_unknown_is_said_and_never_shown_as_zero(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.click("#tab-reach")
    page.click('.pick[data-i="4"]')
    text = page.inner_text("#panel")
    assert "Unassessed" in text
    assert "Made-up index: unknown" in text
    row = page.inner_text('tr:has(.pick[data-i="4"])')
    assert "unassessed" in row
    assert "unknown" in row
    assert "not measured" in row
    assert "0.00" not in row
    page.click("#tab-site")
    page.click('.pick[data-i="2"]')
    assert "90 % interval unknown: one year only" in page.inner_text("#panel")
    assert "too long ago" in page.inner_text("#panel")


def test_unknown_direction_of_flow_is_said(visit: Callable[..., Opened]) -> None:
    page = visit(build_assessment(flow=False)).page
    click_reach(page, "R1")
    assert "the direction of flow of this layer is not known" in page.inner_text("#panel")


def test_chart_leaves_a_gap_for_a_missing_year(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.click('.pick[data-i="0"]')
    # Years 2015, 2016, 2018 to 2021: six points, and 2016 is not joined to 2018.
    assert len(page.query_selector_all("#panel .series-point")) == 6
    assert len(page.query_selector_all("#panel .series")) == 4


def test_trend_line_is_drawn_for_a_clear_trend_only(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.click('.pick[data-i="0"]')
    assert page.query_selector("#panel .trend-line") is None
    page.click('.pick[data-i="1"]')
    assert page.query_selector("#panel .trend-line") is not None


@pytest.mark.parametrize("better", ["low", "high"])
def test_better_is_up_in_the_chart_whichever_way_the_index_counts(
    visit: Callable[..., Opened], better: str
) -> None:
    page = visit(build_assessment(better=better)).page
    page.click('.pick[data-i="1"]')
    line = page.query_selector("#panel .trend-line")
    rises_on_screen = float(line.get_attribute("y2")) < float(line.get_attribute("y1"))
    # The score rises by 0.4 a year: worse where low is good, better where high is.
    assert rises_on_screen == (better == "high")
    assert "up is better" in page.inner_text("#panel .chart")


def test_badges_show_clear_trends_far_out_and_the_others_near(visit: Callable[..., Opened]) -> None:
    page = visit().page
    assert page.evaluate("window.watershedmap.badges()") == [{"reach": "R2", "trend": "worsening"}]
    point = page.evaluate("window.watershedmap.reachPoint('R1', 0.95)")
    page.mouse.move(point["x"], point["y"])
    page.mouse.wheel(0, -120)
    wait_until(page, "window.watershedmap.badges().length === 2")


def test_everything_works_from_the_keyboard(visit: Callable[..., Opened]) -> None:
    page = visit().page
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.classList.contains('pick')"):
            break
    page.keyboard.press("ArrowDown")
    wanted = page.evaluate("document.activeElement.querySelector('.row-id').textContent")
    page.keyboard.press("Enter")
    assert selected(page) == ("site", wanted)
    assert page.evaluate("document.activeElement.id") == "panel-title"
    page.keyboard.press("Escape")
    assert selected(page) is None
    assert page.is_hidden("#panel")
    assert page.evaluate("document.activeElement.querySelector('.row-id').textContent") == wanted


def test_tabs_are_walked_with_arrow_keys(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.focus("#tab-site")
    page.keyboard.press("ArrowRight")
    assert page.get_attribute("#tab-reach", "aria-selected") == "true"
    assert page.get_attribute("#tab-site", "aria-selected") == "false"
    assert len(page.query_selector_all(".pick")) == 5


def test_table_row_selects_on_the_map(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.click("#tab-reach")
    page.click('tr:has(.pick[data-i="1"]) td:nth-child(3)')
    assert selected(page) == ("reach", "R2")


def test_selection_is_a_hollow_outline_that_no_class_looks_like(visit: Callable[..., Opened]) -> None:
    # WCAG 2.1, success criterion 1.4.11: 3 to 1 for what marks a state.
    page = visit().page
    click_reach(page, "R1", 0.5)
    width = 2.4 + 7  # line of class 1, and the clear band about it
    edge = colour_at(page, "focus", "R1", 0.5, below=width / 2 + 1.3)
    assert edge == style_colour(page, "ink") + "ff"
    assert colour_at(page, "focus", "R1", 0.5)[-2:] == "00"
    bands = page.evaluate("JSON.parse(document.getElementById('watershed-data').textContent).index.classes")
    for ground in (style_colour(page, "map"), style_colour(page, "paper"), *(band["tint"] for band in bands)):
        assert contrast(edge[:7], ground) >= 3.0
    click_reach(page, "R2", 0.8)
    assert colour_at(page, "focus", "R1", 0.5, below=width / 2 + 1.3)[-2:] == "00"


def test_sorting_turns_round_and_says_so(visit: Callable[..., Opened]) -> None:
    page = visit().page
    ids = "[...document.querySelectorAll('.row-id')].map((cell) => cell.textContent)"
    assert page.evaluate(ids) == ["S03", "S02", "S01", "S04"]  # worst first, unknown last
    page.click(".places thead th:nth-child(1) button")
    assert page.evaluate(ids) == ["S01", "S02", "S03", "S04"]
    assert page.get_attribute(".places thead th:nth-child(1)", "aria-sort") == "ascending"
    page.click(".places thead th:nth-child(1) button")
    assert page.evaluate(ids) == ["S04", "S03", "S02", "S01"]
    assert page.get_attribute(".places thead th:nth-child(1)", "aria-sort") == "descending"
    page.click(".places thead th:nth-child(2) button")
    assert page.evaluate(ids) == ["S01", "S02", "S03", "S04"]
    page.click(".places thead th:nth-child(2) button")
    assert page.evaluate(ids) == ["S03", "S02", "S01", "S04"]  # unknown stays last


def test_search_keeps_what_matches_and_says_how_many(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.fill("#search", "o'brien")
    assert [cell.inner_text() for cell in page.query_selector_all(".row-id")] == ["S04"]
    assert page.inner_text(".found") == "1 of 4"
    page.fill("#search", "nowhere")
    assert "Nothing found" in page.inner_text("#table-body")


def test_selection_on_the_map_is_shown_in_a_table_that_was_searched(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.click("#tab-reach")
    page.fill("#search", "R5")
    click_reach(page, "R1", 0.1)
    assert page.inner_text('[aria-current="true"] .row-id') == "R1"


def test_escape_in_a_search_only_clears_the_search(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.click('.pick[data-i="1"]')
    page.fill("#search", "S0")
    page.press("#search", "Escape")
    assert page.input_value("#search") == ""
    assert page.inner_text(".found") == ""
    assert selected(page) == ("site", "S02")
    page.press("#search", "Escape")
    assert selected(page) is None


def test_worst_measured_reaches_leave_out_the_best_class(visit: Callable[..., Opened]) -> None:
    page = visit().page
    looks = page.query_selector_all(".look")
    assert [look.inner_text().split()[1] for look in looks] == ["R2"]
    looks[0].click()
    assert selected(page) == ("reach", "R2")


def test_no_reach_is_pointed_out_where_all_are_good_or_none_is_measured(visit: Callable[..., Opened]) -> None:
    assessment = build_assessment()
    assessment.reaches["class"] = assessment.reaches["class"].replace("Band 2", "Band 1")
    page = visit(assessment).page
    assert page.inner_text("#first-look-list") == "No measured reach is below class 1 Band 1."
    page = visit(build_assessment(placed=False)).page
    assert page.inner_text("#first-look-list") == "No reach is measured yet."


def test_neighbours_along_the_flow_can_be_followed(visit: Callable[..., Opened]) -> None:
    page = visit().page
    click_reach(page, "R3", 0.7)
    page.click(".neighbours .link")
    assert selected(page) == ("site", "S02")


def test_legend_counts_reaches_kilometres_and_trends(visit: Callable[..., Opened]) -> None:
    page = visit().page
    rows = [
        row.inner_text().split("\t") for row in page.query_selector_all('[data-layer="reaches"] tbody tr')
    ]
    cells = {row[1].strip(): [cell.strip() for cell in row[2:]] for row in rows}
    # Kilometres measured, then inferred: never in one figure.
    assert cells["1 Band 1"] == ["\u2264 2.00", "2.5", "0.0"]
    assert cells["2 Band 2"] == ["2.01\u20134.00", "2.5", "2.0"]
    assert cells["Measured: a site on it"] == ["2", "5.0"]
    assert cells["Inferred along the flow"] == ["1", "2.0"]
    assert cells["Unassessed"] == ["2", "4.2"]
    trends = page.inner_text('[data-layer="badges"]')
    assert "Condition worsening\t1" in trends
    assert "Condition improving\t0" in trends


def test_hostile_names_are_only_names(visit: Callable[..., Opened]) -> None:
    opened = visit()
    page = opened.page
    assert HOSTILE[1] in page.inner_text("h1")
    assert HOSTILE[2] in page.inner_text(".about")
    for kind, n in (("site", 4), ("reach", 5), ("area", 3)):
        page.click(f"#tab-{kind}")
        for i in range(n):
            page.click(f'.pick[data-i="{i}"]')
            page.mouse.move(300 + i, 500)
    assert HOSTILE[0] in page.inner_text("#panel")
    assert page.evaluate("window.hacked") is None
    assert opened.complaints == []
    assert page.query_selector("img") is None


@pytest.mark.parametrize(("lacking", "k"), [("areas", 2), ("flow", 10), ("placed", 10), ("counts", 2)])
def test_a_survey_that_lacks_something_can_be_walked_through(
    visit: Callable[..., Opened], lacking: str, k: int
) -> None:
    opened = visit(build_assessment(k=k, better="high", **{lacking: False}))
    for kind in ("site", "reach"):
        opened.page.click(f"#tab-{kind}")
        for i in range(4):
            opened.page.click(f'.pick[data-i="{i}"]')
            text = opened.page.inner_text("#panel")
            assert not any(word in text for word in ("undefined", "NaN", "null", "[object"))
    assert opened.complaints == []


def test_columns_that_no_sample_fills_are_left_out(visit: Callable[..., Opened]) -> None:
    heads = "[...document.querySelectorAll('.samples thead th')].map((head) => head.textContent)"
    page = visit(build_assessment(counts=False)).page
    page.click('.pick[data-i="0"]')
    assert page.evaluate(heads) == ["Date", "Method", "Score"]
    assert "unknown" not in page.inner_text(".samples")
    page = visit().page
    page.click('.pick[data-i="0"]')
    assert page.evaluate(heads) == ["Date", "Method", "Individuals", "Taxa", "EPT taxa", "Score"]


def test_tip_follows_a_mouse_and_never_stays_after_a_tap(visit: Callable[..., Opened]) -> None:
    page = visit().page
    point = page.evaluate("window.watershedmap.reachPoint('R1', 0.1)")
    page.mouse.move(point["x"], point["y"])
    assert "R1" in page.inner_text("#map-tip")
    page.mouse.click(point["x"], point["y"])
    assert page.is_hidden("#map-tip")
    page = visit(viewport=PHONE, has_touch=True, is_mobile=True).page
    point = page.evaluate("window.watershedmap.reachPoint('R5', 0.1)")
    for pointer, hidden in (("touch", True), ("mouse", False)):
        page.evaluate(
            """([pointerType, { x, y }]) => document.getElementById("watershed_map").dispatchEvent(
              new PointerEvent("pointermove", { pointerType, clientX: x, clientY: y, bubbles: true }))""",
            [pointer, point],
        )
        assert page.is_hidden("#map-tip") == hidden
    page.touchscreen.tap(point["x"], point["y"])
    page.wait_for_timeout(400)  # a tap is followed by made-up mouse events
    assert selected(page) == ("reach", "R5")
    assert page.is_hidden("#map-tip")


def test_sites_that_overlap_are_parted_and_the_worst_stays_in_its_place(visit: Callable[..., Opened]) -> None:
    assessment = build_assessment()
    assessment.sites["longitude"] = [WEST + 0.04, WEST + 0.0401, WEST + 0.0402, WEST + 0.0403]
    assessment.sites["latitude"] = SOUTH + 0.03
    page = visit(assessment, device_scale_factor=2).page
    sites = {site["id"]: site for site in page.evaluate("window.watershedmap.sites()")}
    for a, b in combinations(sites.values(), 2):
        assert math.hypot(a["x"] - b["x"], a["y"] - b["y"]) >= 1.8 * a["radius"]
    worst = sites["S03"]
    assert (worst["x"], worst["y"]) == (worst["trueX"], worst["trueY"])
    assert all(
        math.hypot(site["x"] - site["trueX"], site["y"] - site["trueY"]) <= 2.7 * site["radius"]
        for site in sites.values()
    )
    assert set(sites) <= set(page.evaluate("window.watershedmap.labels()"))
    # A dark line runs from the rim of each moved site towards its true place, into the light middle of S03.
    for site in sites.values():
        away = math.hypot(site["trueX"] - site["x"], site["trueY"] - site["y"])
        if away > site["radius"]:
            share = 1 - 6.5 / away
            at = [site[axis] + share * (site[f"true{axis.upper()}"] - site[axis]) for axis in ("x", "y")]
            assert sum(pixel_of(page, "sites", *at)) < 500
    assert sum(site["x"] != site["trueX"] for site in sites.values()) == 3


def test_a_site_alone_is_drawn_in_its_true_place(visit: Callable[..., Opened]) -> None:
    for site in visit().page.evaluate("window.watershedmap.sites()"):
        assert (site["x"], site["y"]) == (site["trueX"], site["trueY"])


@pytest.mark.parametrize("size", [(1440, 900), (1024, 768), (390, 844), (320, 700)])
def test_tables_fit_their_place_and_break_no_word(
    visit: Callable[..., Opened], size: tuple[int, int]
) -> None:
    names = ("Lower Bracken Creek", "Otterstream above Confluence", "Watercress Spring, lower", "Dun Water")
    page = visit(build_assessment(names=names), viewport={"width": size[0], "height": size[1]}).page
    assert overflowing(page) == []
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    for kind in ("site", "reach", "area"):
        page.click(f"#tab-{kind}")
        broken = page.evaluate(
            """[...document.querySelectorAll('.row-name, .places td')].flatMap((cell) => {
              const walker = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
              const broken = [];
              for (let node = walker.nextNode(); node; node = walker.nextNode()) {
                if (node.parentElement.offsetWidth <= 1) continue; // for a screen reader only
                for (const { index, 0: word } of node.data.matchAll(/[\\w.]+/g)) {
                  const range = document.createRange();
                  range.setStart(node, index);
                  range.setEnd(node, index + word.length);
                  if (range.getClientRects().length > 1) broken.push(word);
                }
              }
              return broken;
            })"""
        )
        assert broken == []
    if size[0] < 1100:
        map_box, tables = (page.query_selector(part).bounding_box() for part in (".map-box", "#tables"))
        assert tables["y"] >= map_box["y"] + map_box["height"]
        assert tables["width"] == pytest.approx(map_box["width"], abs=1)


@pytest.mark.parametrize("width", [320, 280])
def test_tabs_wrap_rather_than_run_off_a_narrow_screen(visit: Callable[..., Opened], width: int) -> None:
    page = visit(viewport={"width": width, "height": 700}).page
    tabs = [tab.bounding_box() for tab in page.query_selector_all(".tabs button")]
    assert all(tab["x"] + tab["width"] <= width for tab in tabs)
    assert len({tab["height"] for tab in tabs}) == 1  # the bar wraps, not a word in it


def test_colours_of_the_reader_leave_classes_and_the_open_tab_told_apart(
    visit: Callable[..., Opened],
) -> None:
    page = visit(forced_colors="active").page
    bands = page.evaluate("JSON.parse(document.getElementById('watershed-data').textContent).index.classes")
    red, green, blue = (int(bands[1]["colour"][n : n + 2], 16) for n in (1, 3, 5))
    assert style_of(page, ".look .tile", "backgroundColor") == f"rgb({red}, {green}, {blue})"
    edges = [style_of(page, f"#tab-{kind}", "borderBottomColor") for kind in ("site", "reach", "area")]
    assert edges[0] != edges[1] == edges[2] == style_of(page, "body", "backgroundColor")


def test_phone_shows_all_without_scrolling_sideways(visit: Callable[..., Opened]) -> None:
    page = visit(viewport=PHONE, has_touch=True, is_mobile=True).page
    wide = "document.documentElement.scrollWidth > window.innerWidth"
    assert not page.evaluate(wide)
    assert page.is_hidden("#legend")
    page.click("#legend-open")
    assert page.is_visible("#legend")
    page.click("#legend-open")
    page.click(".look")
    sheet = page.query_selector("#panel").bounding_box()
    assert sheet["y"] + sheet["height"] == pytest.approx(PHONE["height"], abs=1)
    point = page.evaluate("window.watershedmap.reachPoint('R2')")
    assert 0 < point["y"] < sheet["y"]
    assert not page.evaluate(wide)


def test_less_motion_is_respected(visit: Callable[..., Opened]) -> None:
    option = "typeof watershed_map === 'undefined' ? null : watershed_map.options.zoomAnimation"
    assert visit(reduced_motion="reduce").page.evaluate(option) is False
    assert visit().page.evaluate(option) is True


def test_text_has_the_contrast_that_wcag_asks_for(visit: Callable[..., Opened]) -> None:
    # WCAG 2.1, success criterion 1.4.3: 4.5 to 1 for text; 3 to 1 for edges of controls (1.4.11).
    page = visit().page
    read = "(name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim()"
    colour = {
        name: page.evaluate(read, name)
        for name in (
            "ground",
            "paper",
            "map",
            "ink",
            "muted",
            "accent",
            "edge",
            "caution",
            "caution-soft",
            "label-area",
            "water",
            "improving",
            "worsening",
            "nodata",
        )
    }
    for text in ("ink", "muted", "accent"):
        for ground in ("ground", "paper", "map"):
            assert contrast(colour[text], colour[ground]) >= 4.5, (text, ground)
    assert contrast(colour["caution"], colour["caution-soft"]) >= 4.5
    for text in ("label-area", "water"):
        assert contrast(colour[text], colour["map"]) >= 4.5, text
    for edge in ("edge", "improving", "worsening"):
        assert contrast(colour[edge], colour["paper"]) >= 3.0, edge
    assert contrast(colour["nodata"], colour["map"]) >= 3.0


def test_page_is_labelled_for_a_screen_reader(visit: Callable[..., Opened]) -> None:
    page = visit().page
    assert page.get_attribute("html", "lang") == "en"
    assert page.get_attribute("#announcer", "aria-live") == "polite"
    nameless = page.evaluate(
        """[...document.querySelectorAll('button, input, [role=img], [role=region], section')]
          .filter((node) => !node.textContent.trim() && !node.getAttribute('aria-label'))
          .filter((node) => !node.labels?.length)
          .map((node) => node.outerHTML)"""
    )
    assert nameless == []
