"""Take the README's picture of the demo map: `python demo_data/picture.py output/demo_data/map.html`.

Needs the extra `test` and a Chromium (named by CHROMIUM where it is not on the path).
"""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

TARGET = Path(__file__).with_name("map.png")


def main(page_file: Path) -> None:
    """Open the page with the network off, choose the restored site, and save what is seen."""
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_context(viewport={"width": 1440, "height": 880}, offline=True).new_page()
        page.goto(page_file.resolve().as_uri())
        page.locator("table").get_by_text("S26").first.click()
        page.wait_for_timeout(500)  # the map glides to the site
        page.screenshot(path=TARGET)
        browser.close()
    print(f"wrote {TARGET.name}, {TARGET.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
