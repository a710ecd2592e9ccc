"""Take the README's pictures: of the demo, of an open network, and of a large invented one.

Usage: python demo_data/picture.py demo | large | open FOLDER

`open` needs the folder of open data (its networks/hydrorivers_ceara.gpkg); sites and scores on it are made
up, and the page says so. Needs the extra `test` and a Chromium (named by CHROMIUM where it is not on the
path).
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import Image
from playwright.sync_api import sync_playwright

import watershedmap

if TYPE_CHECKING:
    from playwright.sync_api import Page

HERE = Path(__file__).parent
TESTS = HERE.parent / "tests"
WIDTH = 1100
"""Width of a picture in the README, pixels."""


def take(survey: Path, target: Path, *, choose: str = "") -> None:
    """Write the map of a survey, open it with the network off, choose a site, and save what is seen."""
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as driver:
        page_file = watershedmap.write_results(watershedmap.assess(survey), Path(scratch) / "out")
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_context(viewport={"width": 1440, "height": 880}, offline=True).new_page()
        page.goto(page_file.resolve().as_uri())
        page.wait_for_selector("html[data-ready]")
        if choose:
            select(page, choose)
        page.screenshot(path=target)
        browser.close()
    shrink(target)
    print(f"wrote {target.name}, {target.stat().st_size / 1000:.0f} kB")


def select(page: Page, site: str) -> None:
    """Choose a site in the table."""
    page.locator("table").get_by_text(site).first.click()
    page.wait_for_timeout(500)  # the map glides to the site


def shrink(target: Path) -> None:
    """Make a picture smaller: fewer pixels, and a palette of its own."""
    with Image.open(target) as picture:
        height = round(picture.height * WIDTH / picture.width)
        small = picture.convert("RGB").resize((WIDTH, height), Image.Resampling.LANCZOS)
    small.quantize(128, dither=Image.Dither.NONE).save(target, optimize=True)


def main(what: str, opendata: Path | None) -> None:
    """Take one of the pictures."""
    if what == "demo":
        take(HERE, HERE / "map.png", choose="S26")
        return
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        if what == "large":
            sys.path.insert(0, str(TESTS / "bench"))
            from page_survey import write_survey  # noqa: PLC0415 - found once the path is set

            write_survey(100_000, folder)
            take(folder, HERE / "map_large.png")
        elif what == "open" and opendata is not None:
            write_open(folder, opendata)
            take(folder, HERE / "map_open.png")
        else:
            sys.exit(__doc__)


def write_open(folder: Path, opendata: Path) -> None:
    """Write made-up sites and scores on the rivers of Ceará, Brazil (HydroRIVERS and HydroBASINS)."""
    import geopandas as gpd  # noqa: PLC0415 - only here

    sys.path.insert(0, str(TESTS))
    from test_opendata import SCORED, layer, make_up_sites  # noqa: PLC0415 - found once the path is set

    rivers = opendata / "networks" / "hydrorivers_ceara.gpkg"
    make_up_sites(folder, gpd.read_file(rivers), size=300)
    about = "Open river lines of HydroRIVERS (HydroSHEDS); sites and scores are made up, to show the map."
    text = SCORED + layer(folder, "reaches", rivers)
    text += layer(folder, "subwatersheds", opendata / "subwatersheds" / "hydrobasins_l12_ceara.gpkg")
    head = f'[survey]\ntitle = "Made-up scores on open lines"\nabout = "{about}"\n'
    body = text.split("[survey]", 1)[1].split("[tables]", 1)[1] if "[survey]" in text else text
    (folder / "survey.toml").write_text(f"{head}[tables]{body}", encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "", Path(sys.argv[2]) if len(sys.argv) > 2 else None)
