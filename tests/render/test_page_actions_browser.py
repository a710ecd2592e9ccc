"""Rules of what can be done on the map page, by mouse and by keyboard, at a desk and on a phone."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd
import pytest
import test_page_browser as on_screen
from shapely.geometry import LineString
from test_page import PLAIN, SOUTH, WEST, build_assessment
from test_page_browser import DESK, PHONE, Opened, click_reach, colour_at, selected, style_colour, wait_until

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import SimpleNamespace

    from playwright.sync_api import Page

pytestmark = pytest.mark.browser
browser, visit = on_screen.browser, on_screen.visit

ROWS = "[...document.querySelectorAll('.row-id')].map((cell) => cell.textContent)"
TRACE = "window.watershedmap.trace()"


def press(page: Page, selector: str) -> None:
    """Use a control from the keyboard."""
    page.focus(selector)
    page.keyboard.press("Enter")


def tick(page: Page, name: str, *, keyboard: bool) -> None:
    if not page.evaluate("document.getElementById('filters').open"):
        page.click("#filters summary")
    if keyboard:
        page.focus(f'[data-filter="{name}"]')
        page.keyboard.press("Space")
    else:
        page.click(f'[data-filter="{name}"]')


def quiet(opened: Opened) -> bool:
    """Nothing was asked for and nothing complained of, but of the pixels that the test itself reads."""
    complaints = [text for text in opened.complaints if "willReadFrequently" not in text]
    return complaints == [] and len(opened.requests) == 1


@pytest.mark.parametrize("way", ["mouse", "button", "key"])
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_trace_draws_all_upstream_and_the_way_down(
    visit: Callable[..., Opened], way: str, viewport: dict[str, int]
) -> None:
    opened = visit(viewport=viewport)
    page = opened.page
    click_reach(page, "R2", 0.8)
    before = colour_at(page, "lines", "R1", 0.5, below=5)
    if way == "mouse":
        page.click("#trace-button")
    elif way == "button":
        press(page, "#trace-button")
    else:
        page.focus("#panel-title")
        page.keyboard.press("t")
    found = page.evaluate(TRACE)
    assert (sorted(found["up"]), found["way"]) == (["R1", "R2"], ["R3"])
    assert before.endswith("00")
    band = colour_at(page, "lines", "R1", 0.5, below=5)
    assert band == style_colour(page, "trace-up") + "ff"
    down = {colour_at(page, "lines", "R3", 0.3 + 0.01 * n, below=5) for n in range(40)}
    assert style_colour(page, "trace-down") + "ff" in down
    assert any(colour.endswith("00") for colour in down)  # in strokes: told apart without its hue
    text = page.inner_text("#trace-summary")
    assert "5.0 km in 2 reaches, 5.0 km of it assessed, 2 sites" in text
    assert "1 Band 1 2.5 km · 2 Band 2 2.5 km" in text
    assert "Way down to the outlet: 2.0 km over 1 reach, ending at R3" in text
    assert "Trace from reach R2: 5.0 km upstream" in page.inner_text("#announcer")
    assert "Everything upstream" in page.text_content("#legend-trace")
    assert quiet(opened)


def test_escape_takes_back_the_trace_before_the_selection(visit: Callable[..., Opened]) -> None:
    page = visit().page
    click_reach(page, "R2", 0.8)
    press(page, "#trace-button")
    page.keyboard.press("Escape")
    assert page.evaluate(TRACE) is None
    assert page.query_selector("#legend-trace") is None
    assert page.inner_text("#trace-summary") == ""
    assert selected(page) == ("reach", "R2")
    page.keyboard.press("Escape")
    assert selected(page) is None


def test_a_site_is_traced_from_its_reach_and_the_trace_can_be_cleared_by_its_button(
    visit: Callable[..., Opened],
) -> None:
    page = visit().page
    page.click('.pick[data-i="1"]')
    page.click("#trace-button")
    assert sorted(page.evaluate(TRACE)["up"]) == ["R1", "R2"]
    press(page, ".trace button.quiet")
    assert page.evaluate(TRACE) is None
    assert page.evaluate("document.activeElement.id") == "trace-button"


def test_a_letter_typed_in_a_search_traces_nothing(visit: Callable[..., Opened]) -> None:
    page = visit().page
    click_reach(page, "R2", 0.8)
    page.focus("#search")
    page.keyboard.type("t")
    assert page.evaluate(TRACE) is None


def test_no_trace_is_offered_where_the_direction_of_flow_is_unknown(visit: Callable[..., Opened]) -> None:
    page = visit(build_assessment(flow=False)).page
    click_reach(page, "R1")
    assert page.query_selector("#trace-button") is None


def test_trace_follows_every_branch_up_and_the_main_one_down(visit: Callable[..., Opened]) -> None:
    assessment = build_assessment(names=PLAIN)

    class Network:
        """R1 flows into R2, its main branch, and into R4."""

        main_down = pd.Series([1, 2, -1, 2, -1]).to_numpy()
        edge_up = pd.Series([0, 0, 1, 3]).to_numpy()
        edge_down = pd.Series([1, 3, 2, 2]).to_numpy()

    assessment.survey.network = Network
    page = visit(assessment).page
    click_reach(page, "R4", 0.3)
    page.click("#trace-button")
    assert sorted(page.evaluate(TRACE)["up"]) == ["R1", "R4"]
    assert "Streams divide in this layer" in page.inner_text("#trace-summary")
    click_reach(page, "R1", 0.1)
    page.click("#trace-button")
    assert page.evaluate(TRACE)["way"] == ["R2", "R3"]


@pytest.mark.parametrize("keyboard", [False, True], ids=["mouse", "keyboard"])
def test_filters_leave_out_rows_and_fade_reaches(visit: Callable[..., Opened], *, keyboard: bool) -> None:
    opened = visit(build_assessment(names=PLAIN))
    page = opened.page
    page.click("#tab-reach")
    click_reach(page, "R5", 0.1)
    page.keyboard.press("Escape")
    tick(page, "c0", keyboard=keyboard)
    assert page.evaluate(ROWS) == ["R1"]
    assert page.inner_text(".found") == "1 of 5"
    assert page.inner_text(".filter-state") == "Filtered. Class: 1 Band 1."
    assert page.evaluate("window.watershedmap.lookOf('R2')")["colour"] == style_colour(page, "faded")
    assert colour_at(page, "lines", "R2", 0.8)[-2:] != "00"
    assert page.evaluate("window.watershedmap.sites().map(({ id }) => id)") == ["S01"]
    tick(page, "c1", keyboard=keyboard)
    assert sorted(page.evaluate(ROWS)) == ["R1", "R2", "R3"]
    tick(page, "e1", keyboard=keyboard)
    assert page.evaluate(ROWS) == ["R3"]
    page.click("#tab-site")
    assert sorted(page.evaluate(ROWS)) == ["S01", "S02"]
    press(page, ".filters .quiet") if keyboard else page.click(".filters .quiet")
    assert len(page.evaluate(ROWS)) == 4
    assert page.inner_text(".found") == ""
    assert page.is_disabled(".filters .quiet")
    assert quiet(opened)


def test_filters_by_trend_and_by_no_class(visit: Callable[..., Opened]) -> None:
    page = visit().page
    tick(page, "t1", keyboard=False)
    assert page.evaluate(ROWS) == ["S02"]
    tick(page, "t1", keyboard=False)
    tick(page, "cnone", keyboard=False)
    assert page.evaluate(ROWS) == ["S04"]
    page.click("#tab-area")
    assert page.evaluate(ROWS) == ["W3"]


def test_a_filtered_reach_is_not_under_the_pointer_and_counts_of_the_legend_stay(
    visit: Callable[..., Opened],
) -> None:
    page = visit(build_assessment(areas=False)).page
    before = page.inner_text('[data-layer="reaches"]')
    tick(page, "c0", keyboard=False)
    click_reach(page, "R2", 0.8)
    assert selected(page) is None
    assert page.inner_text('[data-layer="reaches"]') == before


def test_search_finds_a_site_by_the_name_of_its_stream(visit: Callable[..., Opened]) -> None:
    assessment = build_assessment(names=PLAIN)
    assessment.sites["name"] = ["one", "two", "three", "four"]
    page = visit(assessment).page
    page.fill("#search", "brindle")
    assert page.evaluate(ROWS) == ["S02"]


def test_row_and_map_show_each_other_under_the_pointer(visit: Callable[..., Opened]) -> None:
    page = visit().page
    page.click("#tab-reach")
    page.hover('tr:has(.pick[data-i="1"]) td:nth-child(3)')
    assert page.evaluate("window.watershedmap.hovered()") == {"kind": "reach", "id": "R2"}
    point = page.evaluate("window.watershedmap.reachPoint('R1', 0.1)")
    page.mouse.move(point["x"], point["y"])
    assert page.inner_text("tr.hovered .row-id") == "R1"
    page.mouse.move(5, 5)
    page.focus('.pick[data-i="2"]')
    assert page.evaluate("window.watershedmap.hovered()") == {"kind": "reach", "id": "R3"}
    page.focus("#search")
    assert page.evaluate("window.watershedmap.hovered()") is None


def test_a_link_brings_the_same_view_back(visit: Callable[..., Opened]) -> None:
    page = visit(build_assessment(names=PLAIN)).page
    assert page.evaluate("location.hash") == ""  # nothing is written before anything is done
    page.click(".leaflet-control-zoom-in")
    page.wait_for_timeout(500)
    tick(page, "c1", keyboard=False)
    click_reach(page, "R2", 0.8)
    press(page, "#trace-button")
    view = "[watershed_map.getZoom(), watershed_map.getCenter().lat, watershed_map.getCenter().lng]"
    wanted, address = page.evaluate(view), page.url
    assert "place=reach%3AR2" in address
    assert "show=c1" in address
    other = page.context.new_page()
    other.goto(address)
    wait_until(other, "document.documentElement.dataset.ready")
    assert selected(other) == ("reach", "R2")
    assert other.evaluate(view) == pytest.approx(wanted, abs=0.01)
    assert sorted(other.evaluate(TRACE)["up"]) == ["R1", "R2"]
    assert other.is_checked('[data-filter="c1"]')
    assert other.url == address


@pytest.mark.parametrize(
    "address",
    [
        "#at=1,2",
        "#at=x,y,z&place=reach:nowhere",
        "#place=<img src=x onerror=alert(1)>:R1",
        "#show=c99,zz&trace=1",
        "#tables",
        "#at=95,1,3",
        "#place=__proto__:x",
    ],
)
def test_an_address_that_means_nothing_changes_nothing(visit: Callable[..., Opened], address: str) -> None:
    opened = visit()
    page = opened.page.context.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(opened.page.url + address)
    wait_until(page, "document.documentElement.dataset.ready")
    assert selected(page) is None
    assert len(page.evaluate(ROWS)) == 4
    assert page.evaluate("window.watershedmap.badges()") == [{"reach": "R2", "trend": "worsening"}]
    assert complaints == []


def save_rows(page: Page, *, keyboard: bool) -> tuple[str, list[dict[str, str]]]:
    with page.expect_download() as event:
        press(page, "#save-rows") if keyboard else page.click("#save-rows")
    text = Path(event.value.path()).read_text(encoding="utf-8-sig")
    return event.value.suggested_filename, list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.parametrize("keyboard", [False, True], ids=["mouse", "keyboard"])
def test_rows_shown_are_downloaded_as_csv(visit: Callable[..., Opened], *, keyboard: bool) -> None:
    opened = visit(build_assessment(names=PLAIN))
    page = opened.page
    page.click("#tab-reach")
    page.fill("#search", "R")
    tick(page, "e0", keyboard=False)
    name, rows = save_rows(page, keyboard=keyboard)
    assert name == "reaches.csv"
    assert [row["reach_id"] for row in rows] == page.evaluate(ROWS) == ["R2", "R1"]
    assert (rows[0]["class"], rows[0]["score"], rows[0]["trend"], rows[0]["evidence"]) == (
        "Band 2",
        "2.25",
        "worsening",
        "measured",
    )
    assert rows[1]["class_certainty"] == ""  # missing, not zero
    assert quiet(opened)


@pytest.mark.parametrize(
    ("name", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+cmd", "'+cmd"),
        ("-2", "'-2"),
        ("@x", "'@x"),
        ('say "no", twice', 'say "no", twice'),
        ("two\nlines", "two\nlines"),
        ("\t=1", "'\t=1"),
    ],
)
def test_a_cell_that_begins_like_a_formula_is_text(
    visit: Callable[..., Opened], name: str, cell: str
) -> None:
    assessment = build_assessment()
    assessment.sites["name"] = [name, "b", "c", "d"]
    rows = {row["site_id"]: row for row in save_rows(visit(assessment).page, keyboard=False)[1]}
    assert rows["S01"]["name"] == cell
    assert rows["S04"]["score"] == ""


def add_steps(assessment: SimpleNamespace) -> SimpleNamespace:
    assessment.steps = pd.DataFrame(
        {
            "site_upstream": ["S01", "S02"],
            "site_downstream": ["S02", "S01"],
            "distance_km": [3.2, 3.2],
            "n_pairs": [6, 2],
            "median_difference": [0.75, 0.1],
            "step_estimate": [0.75, 0.1],
            "step_low": [0.4, -0.2],
            "step_high": [1.1, 0.4],
            "p_value": [0.01, 0.5],
            "p_adjusted": [0.02, 0.5],
            "step": ["worse downstream", "no clear step"],
            "reaches_between": ["R1; R2", ""],
            "tributaries": ["R4", ""],
            "tributary_names": ["Cold <b>Run</b>", ""],
            "tributary_scores": ["", ""],
        }
    )
    return assessment


def test_a_clear_step_is_marked_between_its_sites_and_explained(visit: Callable[..., Opened]) -> None:
    opened = visit(add_steps(build_assessment()))
    page = opened.page
    assert page.evaluate("window.watershedmap.steps()") == ["S01"]
    legend = page.inner_text('[data-layer="steps"]')
    assert "Worse below\t1" in legend
    assert "2 pairs looked at" in legend
    page.click("#tab-site")
    page.click('.pick[data-i="1"]')
    text = page.inner_text("#panel")
    assert "Worse here than at S01" in text
    assert "+0.75 going downstream, 90 % interval +0.40 to +1.10, p = 0.020 (adjusted), 6 pairs" in text
    assert "Joining in between: Cold <b>Run</b>." in text
    page.click('[data-layer="steps"] input')
    assert page.evaluate("window.watershedmap.steps()") == []
    assert quiet(opened)


def test_a_survey_without_steps_has_no_section_for_them(visit: Callable[..., Opened]) -> None:
    assert visit().page.query_selector('[data-layer="steps"]') is None


@pytest.mark.parametrize("keyboard", [False, True], ids=["mouse", "keyboard"])
def test_the_page_turns_dark_and_light_and_keeps_its_state(
    visit: Callable[..., Opened], *, keyboard: bool
) -> None:
    opened = visit(build_assessment(names=PLAIN))
    page = opened.page
    light = style_colour(page, "paper")
    page.click('[data-layer="badges"] input')
    click_reach(page, "R2", 0.8)
    page.click("#trace-button")
    press(page, "#theme") if keyboard else page.click("#theme")
    assert style_colour(page, "paper") != light
    assert page.inner_text("#theme") == "Light page"
    assert selected(page) == ("reach", "R2")
    assert "Trace from reach R2" in page.inner_text("#panel")
    assert not page.is_checked('[data-layer="badges"] input')
    assert colour_at(page, "lines", "R1", 0.5, below=5) == style_colour(page, "trace-up") + "ff"
    page.emulate_media(media="print")
    wait_until(page, "document.documentElement.dataset.theme === 'light'")
    page.emulate_media(media="screen")
    wait_until(page, "document.documentElement.dataset.theme === 'dark'")
    assert quiet(opened)


def test_the_page_is_dark_where_the_system_is(visit: Callable[..., Opened]) -> None:
    page = visit(color_scheme="dark").page
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    page.emulate_media(color_scheme="light")
    wait_until(page, "document.documentElement.dataset.theme === 'light'")


@pytest.mark.parametrize("keyboard", [False, True], ids=["mouse", "keyboard"])
def test_sub_watersheds_can_be_shaded_by_how_much_is_known(
    visit: Callable[..., Opened], *, keyboard: bool
) -> None:
    opened = visit(build_assessment(names=PLAIN))
    page = opened.page
    before = [colour_at(page, "areas", reach, 0.5, below=30) for reach in ("R1", "R3")]
    if keyboard:
        page.focus("#area-measure")
        page.keyboard.press("ArrowDown")
    else:
        page.select_option("#area-measure", "assessed")
    wait_until(page, "location.hash.includes('shade=assessed')")
    assert "Share assessed, of stream length" in page.text_content('[data-layer="areas"]')
    all_assessed, partly = (colour_at(page, "areas", reach, 0.5, below=30) for reach in ("R1", "R3"))
    assert before[0] != all_assessed != partly
    assert int(all_assessed[-2:], 16) > int(partly[-2:], 16) > 0  # 100 and 62 %: the more, the stronger
    other = page.context.new_page()
    other.goto(page.url)
    wait_until(other, "document.documentElement.dataset.ready")
    assert other.input_value("#area-measure") == "assessed"
    page.select_option("#area-measure", "class")
    assert colour_at(page, "areas", "R1", 0.5, below=30) == before[0]
    assert quiet(opened)


def test_a_browser_that_cannot_unpack_the_reaches_says_so(visit: Callable[..., Opened]) -> None:
    opened = visit()
    page = opened.page.context.new_page()
    page.add_init_script("delete window.DecompressionStream")
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(opened.page.url)
    assert "This browser is too old for the map" in page.inner_text("[role=alert]")
    assert complaints == []


def build_crowd(sites: int) -> SimpleNamespace:
    """Build many sites in a small place, on a reach of their own each."""
    assessment = build_assessment(names=PLAIN, areas=False)
    one = assessment.sites.iloc[[1]]
    crowd = pd.concat([one] * sites, ignore_index=True)
    crowd["site_id"] = [f"C{n}" for n in range(sites)]
    crowd["longitude"] = [WEST + 0.004 * (n % 25) for n in range(sites)]
    crowd["latitude"] = [SOUTH + 0.002 * (n // 25) for n in range(sites)]
    crowd["reach_id"] = None
    assessment.sites = pd.concat([assessment.sites, crowd], ignore_index=True)
    return assessment


def test_many_sites_shrink_so_that_streams_are_seen_and_grow_as_one_goes_near(
    visit: Callable[..., Opened],
) -> None:
    page = visit(build_crowd(500)).page
    radii = "[...new Set(window.watershedmap.sites().map(({ radius }) => radius))]"
    far = page.evaluate(radii)
    assert "go nearer for their numbers" in page.inner_text('[data-layer="sites"]')
    assert max(far) < 7
    ranked = page.evaluate(
        "window.watershedmap.sites().map(({ mark, radius }) => [parseInt(mark) || 0, radius])"
    )
    sizes = {rank: {radius for number, radius in ranked if number == rank} for rank, _ in ranked if rank}
    assert all(len(one) == 1 for one in sizes.values())
    ordered = [sizes[rank].pop() for rank in sorted(sizes)]
    assert len(ordered) > 1
    assert ordered == sorted(ordered)  # a second cue: larger where condition is worse
    page.evaluate("watershed_map.setZoom(watershed_map.getZoom() + 4, { animate: false })")
    assert page.evaluate(radii) == [11]


def build_many(reaches: int) -> SimpleNamespace:
    assessment = build_assessment(names=PLAIN, areas=False)
    extra = pd.concat([assessment.reaches.iloc[[4]]] * reaches, ignore_index=True)
    extra["reach_id"] = [f"X{n}" for n in range(reaches)]
    extra["name"] = ""
    extra.geometry = [
        LineString(
            [
                (WEST + 0.001 * (n % 90), SOUTH + 0.06 + 0.0005 * (n // 90)),
                (WEST + 0.001 * (n % 90) + 0.0008, SOUTH + 0.06 + 0.0005 * (n // 90)),
            ]
        )
        for n in range(reaches)
    ]
    assessment.reaches = pd.concat([assessment.reaches, extra], ignore_index=True)
    return assessment


def test_the_table_of_very_many_reaches_holds_few_rows_wherever_it_is_opened(
    visit: Callable[..., Opened],
) -> None:
    page = visit(build_many(6000)).page
    page.click("#tab-reach")
    assert page.locator(".pick").count() == 250
    click_reach(page, "X5000", 0.5)
    assert selected(page) == ("reach", "X5000")
    assert page.locator(".pick").count() <= 500
    assert page.inner_text('[aria-current="true"] .row-id') == "X5000"
    page.click(".more .quiet >> nth=0")
    assert page.inner_text('[aria-current="true"] .row-id') == "X5000"
    page.click(".places thead th:nth-child(1) button")
    assert page.evaluate(ROWS)[5:9] == ["X0", "X1", "X2", "X3"]  # in the order of the figures in them


def test_far_out_lines_are_thinner_and_an_inferred_one_never_looks_measured(
    visit: Callable[..., Opened],
) -> None:
    look = "['R1', 'R3'].map((id) => window.watershedmap.lookOf(id))"
    far_measured, far_inferred = visit(build_many(6000)).page.evaluate(look)
    measured, inferred = visit(build_assessment(names=PLAIN, areas=False)).page.evaluate(look)
    assert far_measured["width"] < measured["width"]
    assert far_inferred["width"] < inferred["width"]
    assert measured["casing"] > 0
    assert far_measured["casing"] > 0
    assert inferred["dash"]
    assert far_inferred["casing"] == 0  # where gaps are too small to be seen, the edge tells them apart


LONG = "long " * 1000
HOSTILE_NAMES = (
    '<img src=x onerror="window.hacked = true">',
    "`${window.hacked = true}` ' \" \\ </script><script>window.hacked = true</script>",
    "\u202egnihtyna \u0627\u0644\u0646\u0647\u0631 \U0001f41b\u200d\U0001f30a",
    LONG,
)


def test_hostile_names_only_show_whatever_is_done_with_them(visit: Callable[..., Opened]) -> None:
    assessment = add_steps(build_assessment(names=HOSTILE_NAMES))
    opened = visit(assessment)
    page = opened.page
    for kind, n in (("site", 4), ("reach", 5), ("area", 3)):
        page.click(f"#tab-{kind}")
        for i in range(n):
            page.click(f'.pick[data-i="{i}"]')
            if page.query_selector("#trace-button"):
                page.click("#trace-button")
        save_rows(page, keyboard=False)
    page.fill("#search", HOSTILE_NAMES[0])
    page.click("#theme")
    assert HOSTILE_NAMES[0] in page.evaluate("document.body.innerText")
    assert page.evaluate("window.hacked") is None
    assert page.query_selector("img") is None
    assert not page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
    assert opened.complaints == []
    assert len(opened.requests) == 1


def violations(page: Page, source: str) -> list[Any]:
    page.evaluate(source + ";0")
    found = page.evaluate("axe.run()")
    assert len(found["passes"]) > 30  # it did look
    return [(rule["id"], [node["html"][:200] for node in rule["nodes"]]) for rule in found["violations"]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_axe_finds_nothing_to_complain_of(
    visit: Callable[..., Opened], scheme: str, viewport: dict[str, int]
) -> None:
    package = pytest.importorskip("axe_playwright_python", reason="axe-playwright-python is not installed")
    source = (Path(package.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    page = visit(add_steps(build_assessment(names=PLAIN)), viewport=viewport, color_scheme=scheme).page
    assert violations(page, source) == []
    click_reach(page, "R2", 0.8)
    press(page, "#trace-button")
    tick(page, "c1", keyboard=True)
    tick(page, "cnone", keyboard=True)
    assert violations(page, source) == []
    if viewport is PHONE:  # the panel covers the lower half until it is closed
        page.keyboard.press("Escape")
        page.keyboard.press("Escape")
    page.click("#tab-site")
    page.click('.pick[data-i="1"]')
    if viewport is PHONE:
        page.click("#legend-open")
    assert violations(page, source) == []


def test_a_trace_stays_that_of_its_own_reach_in_a_link_whatever_is_chosen_next(
    visit: Callable[..., Opened],
) -> None:
    page = visit(build_assessment(names=PLAIN)).page
    click_reach(page, "R2", 0.8)
    press(page, "#trace-button")
    traced = page.evaluate("window.watershedmap.trace()")
    click_reach(page, "R1", 0.2)
    other = page.context.new_page()
    other.goto(page.url)
    wait_until(other, "document.documentElement.dataset.ready")
    assert selected(other) == selected(page) != ("reach", "R2")
    assert other.evaluate("window.watershedmap.trace()") == traced


def test_an_id_of_any_length_is_cut_on_the_map_alone(visit: Callable[..., Opened]) -> None:
    assessment = build_assessment(names=PLAIN)
    long = "S" + "0" * 300
    assessment.sites["site_id"] = assessment.sites["site_id"].replace("S01", long)
    assessment.samples["site_id"] = assessment.samples["site_id"].replace("S01", long)
    assessment.yearly["site_id"] = assessment.yearly["site_id"].replace("S01", long)
    page = visit(assessment).page
    assert max(len(text) for text in page.evaluate("window.watershedmap.labels()")) <= 60
    assert long in page.inner_text("#table-body")
