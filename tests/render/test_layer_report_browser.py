"""The layer report in a browser: nothing is asked for, nothing sticks out on a phone or on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import test_page_browser as on_screen
from test_layer_report import CYCLE, HOSTILE, findings, outlet, reaches

from watershedmap.render.layer_report import write_layer_report

if TYPE_CHECKING:
    from pathlib import Path

    import geopandas as gpd
    from playwright.sync_api import Browser
    from shapely.geometry import Point

pytestmark = pytest.mark.browser
browser = on_screen.browser
reaches = reaches  # noqa: PLW0127 - pytest finds the fixture by its name here


@pytest.fixture
def written(reaches: gpd.GeoDataFrame, tmp_path: Path) -> Path:
    long = "f" * 300
    rows: list[tuple[str, str, str, str, str, Point | None]] = [
        CYCLE,
        outlet(long),
        outlet(HOSTILE),
        ("near miss", "notice", long, f"{HOSTILE} one", "fix one", None),
        ("near miss", "notice", "x", "two", long, None),
    ]
    return write_layer_report(
        findings(*rows), tmp_path / "layers.html", title=long, counts={long: long}, reaches=reaches
    )


@pytest.mark.parametrize(("width", "media"), [(1280, "screen"), (360, "screen"), (700, "print")])
def test_nothing_sticks_out_and_nothing_is_asked_for(
    browser: Browser,
    written: Path,
    width: int,
    media: str,
) -> None:
    page = browser.new_page(viewport={"width": width, "height": 800})
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("dialog", lambda dialog: complaints.append(dialog.message))
    page.goto(written.as_uri())
    page.emulate_media(media=media)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert asked == [written.as_uri()]
    assert complaints == []
    page.close()


def test_marks_stand_on_the_lines_and_are_numbered(browser: Browser, written: Path) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto(written.as_uri())
    boxes = [
        page.query_selector(f"#kind-1 {part}").bounding_box() for part in ("figure svg", ".mark rect", "use")
    ]
    sketch, mark, lines = boxes
    middle = np.array([mark["x"] + mark["width"] / 2, mark["y"] + mark["height"] / 2])
    assert sketch["x"] < middle[0] < sketch["x"] + sketch["width"]
    assert sketch["y"] < middle[1] < sketch["y"] + sketch["height"]
    # The cycle lies where the two lines of the layer meet: half way across, and at their upper end.
    assert middle[0] == pytest.approx(lines["x"] + lines["width"] / 2, abs=2)
    assert middle[1] == pytest.approx(lines["y"], abs=2)
    assert page.text_content("#kind-1 .mark text") == "1"
    page.close()
