"""Rules of how the page shows what is sure and what is not, in a browser."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
import test_page_browser as on_screen
from test_page import PLAIN, build_assessment
from test_page_browser import Opened, click_reach, colour_at, selected, style_colour
from test_page_certainty import add_chances
from test_page_explanations import STRANGER, build_counted

from watershedmap.render import page_explanations
from watershedmap.render.palette import contrast

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

pytestmark = pytest.mark.browser
browser, visit = on_screen.browser, on_screen.visit

SHARES = [0.3 + 0.004 * n for n in range(60)]
"""Places along a reach, away from its site."""


def marks(page: Page) -> dict[str, str]:
    return {site["id"]: site["mark"] for site in page.evaluate("window.watershedmap.sites()")}


def painted(page: Page, site: str) -> list[int]:
    """Pixels of the canvas of sites about one site."""
    return page.evaluate(
        """(id) => {
          const { x, y } = window.watershedmap.sites().find((site) => site.id === id);
          const canvas = document.querySelector(".leaflet-sites-pane canvas");
          const ratio = canvas.width / canvas.getBoundingClientRect().width;
          return [...canvas.getContext("2d").getImageData((x - 11) * ratio, (y - 11) * ratio, 22 * ratio, 22 * ratio).data];
        }""",
        site,
    )


def edge_of(page: Page, reach: str) -> set[str]:
    """Colours just below the line of a reach, where the edge of an uncertain one lies."""
    half = 0.5 * {"R1": 2.4, "R2": 3.4, "R3": 3.4}[reach]
    return {colour_at(page, "lines", reach, share, below=half + 1.1) for share in SHARES}


def open_row(page: Page, kind: str, i: int) -> str:
    page.click(f"#tab-{kind}")
    page.click(f'.pick[data-i="{i}"]')
    return page.inner_text("#panel")


def test_an_uncertain_site_carries_a_question_mark_beside_its_number(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment())).page
    assert marks(page) == {"S01": "1", "S02": "2?", "S03": "5", "S04": "\u2013"}
    unsure, sure = painted(page, "S02"), painted(page, "S01")
    page = visit(add_chances(build_assessment(), s02=0.95)).page
    assert marks(page)["S02"] == "2"
    assert painted(page, "S01") == sure
    assert painted(page, "S02") != unsure


def test_unknown_certainty_is_not_marked_as_uncertain(visit: Callable[..., Opened]) -> None:
    page = visit().page
    assert not any("?" in mark for mark in marks(page).values())
    assert "uncertain" not in page.inner_text("#table-body")


@pytest.mark.parametrize(("certainty", "mark"), [(0.6949, "2?"), (0.6951, "2"), (0.7, "2")])
def test_the_limit_is_compared_with_the_percentage_that_is_shown(
    visit: Callable[..., Opened], certainty: float, mark: str
) -> None:
    page = visit(add_chances(build_assessment(), s02=certainty)).page
    assert marks(page)["S02"] == mark
    shown = "69 %" if mark == "2?" else "70 %"
    assert f"2 Band 2 {shown}" in open_row(page, "site", 1)


def test_an_uncertain_reach_has_a_broken_edge_and_an_unbroken_line(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment()), device_scale_factor=2).page
    click_reach(page, "R5", 0.1)
    light, dark = (style_colour(page, name) + "ff" for name in ("paper", "casing"))
    assert {light, dark} <= edge_of(page, "R2")
    assert contrast(light[:7], dark[:7]) >= 3.0  # WCAG 2.1, success criterion 1.4.11: seen without any hue
    assert len({colour_at(page, "lines", "R2", share) for share in SHARES}) == 1
    assert light not in edge_of(page, "R1")
    assert light not in edge_of(page, "R3")  # inferred: its certainty is unknown, its gaps are clear


def test_a_sure_reach_has_an_edge_without_a_break(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment(), s02=0.95), device_scale_factor=2).page
    click_reach(page, "R5", 0.1)
    assert style_colour(page, "paper") + "ff" not in edge_of(page, "R2")


def test_an_uncertain_sub_watershed_has_the_mark_at_its_name(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment(names=PLAIN))).page
    labels = page.evaluate("window.watershedmap.labels()")
    assert "Dun Water \u00b7 1?" in labels
    assert "Alder Run \u00b7 2\ninferred only" in labels


def test_legend_counts_what_is_uncertain_and_states_the_limit(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment())).page
    reaches, sites = (page.inner_text(f'[data-layer="{layer}"]') for layer in ("reaches", "sites"))
    assert "of both, class uncertain\t1\t2.5" in reaches
    assert "of both, class uncertain\t1" in sites
    assert "a probability under 70 %, a limit of our own choice" in sites
    icon = page.query_selector('[data-layer="reaches"] tr:has-text("uncertain") svg')
    assert len(icon.query_selector_all("line")) == 3  # casing, its breaks, the line
    assert page.text_content('[data-layer="sites"] tr:has-text("uncertain") svg text') == "2?"


def test_table_and_announcement_say_uncertain_in_words(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment())).page
    for kind, unsure, sure in (("site", 1, 0), ("reach", 1, 0), ("area", 0, 1)):
        page.click(f"#tab-{kind}")
        row = page.query_selector(f'tr:has(.pick[data-i="{unsure}"])')
        assert "uncertain" in row.inner_text()
        assert row.query_selector(".tile").inner_text().endswith("?")
        assert "uncertain" not in page.inner_text(f'tr:has(.pick[data-i="{sure}"])')
        page.click(f'.pick[data-i="{unsure}"]')
        assert "class uncertain" in page.inner_text("#announcer")
    assert "uncertain" in page.inner_text(".look")


def test_panel_gives_class_probabilities_as_a_bar_and_in_figures(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment())).page
    text = open_row(page, "site", 1)
    assert "Class probabilities: 2 Band 2 55 %, 3 Band 3 45 %" in text
    assert "Uncertain class: its probability is 55 %" in text
    assert "our own choice" in text
    bar = page.query_selector("#panel .chance-bar")
    assert bar.get_attribute("aria-label") == "Class probabilities: 2 Band 2 55 %, 3 Band 3 45 %"
    parts = [part.bounding_box()["width"] for part in bar.query_selector_all(".chance")]
    assert parts[0] / sum(parts) == pytest.approx(0.55, abs=0.01)
    assert [part.inner_text() for part in bar.query_selector_all(".chance")] == ["2", "3"]
    assert "Uncertain class" not in open_row(page, "site", 0)


def test_an_estimated_probability_is_never_shown_as_full_or_none(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment(), s02=0.9999)).page
    assert "Class probabilities: 2 Band 2 over 99 %, any other under 1 %" in open_row(page, "site", 1)


def test_interval_says_on_what_it_rests(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment())).page
    years = "90 % interval 1.85 to 2.65 from 3 years"
    assert years in open_row(page, "site", 1)
    assert years in open_row(page, "reach", 1)
    counts = (
        "90 % interval 8.90 to 9.12 from the counts of one year only: differences between years are not in it"
    )
    assert counts in open_row(page, "site", 2)


def test_certainty_of_what_is_inferred_is_said_to_be_unknown(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment())).page
    for kind, i in (("reach", 2), ("area", 1)):
        text = open_row(page, kind, i)
        assert "Certainty of the class: unknown, because it is inferred" in text
        assert page.query_selector("#panel .chance-bar") is None
    assert "Certainty" not in open_row(page, "reach", 4)  # unassessed: there is no class


def test_samples_show_their_interval_and_an_uncertain_class(visit: Callable[..., Opened]) -> None:
    page = visit(add_chances(build_assessment())).page
    open_row(page, "site", 0)
    assert page.inner_text(".samples thead th:last-child") == "Score, 90 % interval"
    cells = {
        row.query_selector("th").inner_text()[:4]: row.query_selector("td:last-child")
        .inner_text()
        .split("\n")
        for row in page.query_selector_all(".samples tbody tr:has(.open-sample)")
    }
    assert cells["2021"] == ["1.50", "1.20 to 1.80"]
    assert cells["2019"] == ["1.50", "1.20 to 1.80", "uncertain"]


def test_a_sample_is_opened_and_closed_from_the_keyboard(visit: Callable[..., Opened]) -> None:
    page = visit(build_counted()).page
    open_row(page, "site", 0)
    button = page.locator(".open-sample").first
    button.focus()
    assert button.get_attribute("aria-expanded") == "false"
    block = page.locator(f"#{button.get_attribute('aria-controls')}")
    assert block.is_hidden()
    page.keyboard.press("Enter")
    assert button.get_attribute("aria-expanded") == "true"
    assert block.is_visible()
    assert "S01-2021" in button.inner_text()
    assert selected(page) == ("site", "S01")
    page.keyboard.press("Space")
    assert button.get_attribute("aria-expanded") == "false"
    assert block.is_hidden()


def test_an_opened_sample_shows_taxa_arithmetic_and_checks(visit: Callable[..., Opened]) -> None:
    opened = visit(build_counted())
    page = opened.page
    open_row(page, "site", 0)
    page.click('.open-sample:has-text("2019")')
    taxa = {
        row.split("\t")[0].split("\n")[0]: row
        for row in page.inner_text(".taxa tbody").splitlines()
        if "\t" in row
    }
    assert taxa["Baetidae"].split("\t")[1:3] == ["the same", "3"]
    text = page.inner_text(".explanation:not([hidden])")
    for words in (
        STRANGER,
        "no table knows this name",
        "none found",
        "Baetidae: 3 x 4\t12",
        "Mean: 13 / 4\t3.25",
        "Class: Excellent (up to 3.75)",
        "under 100 individuals <b>; found 4 individuals; limit 100 individuals; severity high; noted",
        "Class probabilities: 1 Excellent 50 %, 2 Very good 50 %",
    ):
        assert words in text, words
    assert "does not come to the score" not in text
    page.click('.open-sample:has-text("2021")')
    assert "No check of quality was hit." in page.inner_text(".explained >> nth=0")
    assert opened.complaints == []
    assert page.evaluate("window.hacked") is None
    assert page.query_selector("#panel img") is None


def test_arithmetic_that_does_not_come_to_the_score_is_said(visit: Callable[..., Opened]) -> None:
    page = visit(build_counted()).page
    open_row(page, "site", 1)
    page.locator(".open-sample").first.click()
    assert "This arithmetic does not come to the score of the sample." in page.inner_text(".explained")


@pytest.mark.parametrize("size", [(1440, 900), (390, 844)])
def test_an_opened_sample_is_not_wider_than_the_panel(
    visit: Callable[..., Opened], size: tuple[int, int]
) -> None:
    page = visit(build_counted(), viewport={"width": size[0], "height": size[1]}).page
    open_row(page, "site", 0)
    page.locator(".open-sample").first.click()
    panel, block = (page.query_selector(part).bounding_box() for part in (".scroll", ".explained"))
    assert block["x"] + block["width"] <= panel["x"] + panel["width"] + 1
    assert page.evaluate("((n) => n.scrollWidth <= n.clientWidth)(document.querySelector('.explained'))")


def test_where_explanations_are_left_out_the_page_names_the_command(
    visit: Callable[..., Opened], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(page_explanations, "MOST_EXPLAINED", 1)
    page = visit(build_counted()).page
    assert "watershedmap score FOLDER --explain SAMPLE shows it" in open_row(page, "site", 0)
    assert page.query_selector(".open-sample") is None
