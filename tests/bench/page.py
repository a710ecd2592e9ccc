"""The map page at growing sizes, beside the plain folium GeoJson of the same reaches, in one run.

Each size is a survey of its own (see `page_survey`), assessed once. Figures: megabytes of the page; seconds
from the start of navigation until the page says that it is painted; median milliseconds of a pan and of a
zoom, until all is painted again; megabytes of the JavaScript heap after a collection. The plain page is
opened only up to the size given by --plain, because it grows slow.

Usage: python tests/bench/page.py [--plain MOST] [--keep FOLDER] [reaches ...]
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import folium
from page_survey import write_survey
from playwright.sync_api import sync_playwright

from watershedmap.assessment import assess
from watershedmap.render.page import write_page

if TYPE_CHECKING:
    import geopandas as gpd
    from playwright.sync_api import Browser, Page

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--enable-precise-memory-info",
    "--js-flags=--expose-gc",
]
SIZES = (1_000, 10_000, 100_000, 500_000)
PATIENCE = 300_000
"""Milliseconds that a page may take to be ready."""

OURS = "document.documentElement.dataset.ready ?? null"
MOVE = """async ([name, step]) => {
  const map = name ? window[name] : watershed_map;
  const before = performance.now();
  if (step === "zoom") map.setZoom(map.getZoom() + 1, { animate: false });
  else if (step === "back") map.setZoom(map.getZoom() - 1, { animate: false });
  else map.panBy(step === "pan" ? [150, 90] : [-150, -90], { animate: false });
  document.querySelectorAll(".pane-canvas").forEach((canvas) => canvas.getContext("2d").getImageData(0, 0, 1, 1));
  const painted = performance.now() - before;
  await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
  return document.querySelector(".pane-canvas") ? painted : performance.now() - before;
}"""
"""A canvas is made to finish by reading a pixel of it; a drawing in SVG, by waiting for the next frame but one."""
HEAP = "(globalThis.gc?.(), performance.memory.usedJSHeapSize / 1e6)"
PLAIN_READY = "document.querySelector('path.leaflet-interactive') ? performance.now() : null"
STEPS = ("zoom", "back", "zoom", "back", "zoom", "zoom", "back", "back")


def open_page(browser: Browser, path: Path, ready: str) -> tuple[Page, float]:
    """Open a page and wait until it is ready; return it and the seconds from the start of navigation."""
    context = browser.new_context(viewport={"width": 1440, "height": 900}, offline=True)
    page = context.new_page()
    page.on("pageerror", lambda error: print("page error:", error))
    page.set_default_timeout(PATIENCE)
    page.goto(path.as_uri(), timeout=PATIENCE)
    limit = time.perf_counter() + PATIENCE / 1000
    while (at := page.evaluate(ready)) is None:
        if time.perf_counter() > limit:
            sys.exit(f"{path} was never ready")
        page.wait_for_timeout(20)
    return page, float(at) / 1000


def measure(browser: Browser, path: Path, ready: str, name: str) -> dict[str, float]:
    """Measure a page."""
    page, seconds = open_page(browser, path, ready)
    heap = page.evaluate(HEAP)
    pans = [page.evaluate(MOVE, [name, step]) for step in ("pan", "return") * 3]
    zooms = [page.evaluate(MOVE, [name, step]) for step in STEPS]
    page.context.close()
    return {
        "MB": path.stat().st_size / 1e6,
        "ready s": seconds,
        "pan ms": statistics.median(pans),
        "zoom ms": statistics.median(zooms),
        "worst ms": max(*pans, *zooms),
        "heap MB": heap,
    }


def write_plain(reaches: gpd.GeoDataFrame, path: Path) -> str:
    """Write the same reaches as folium draws them, with what our page knows of each; return the map's name."""
    west, south, east, north = reaches.total_bounds
    plain = folium.Map([(south + north) / 2, (west + east) / 2], tiles=None, prefer_canvas=False)
    folium.GeoJson(reaches.to_json(), style_function=lambda _: {"weight": 2}).add_to(plain)
    plain.fit_bounds([[south, west], [north, east]])
    plain.save(path)
    text = path.read_text(encoding="utf-8")
    for kind, tag in ((".js", "script"), (".css", "style")):
        text = _stand_in(text, kind, tag)
    path.write_text(text, encoding="utf-8")
    return str(plain.get_name())


def _stand_in(text: str, kind: str, tag: str) -> str:
    """Put Leaflet itself where the plain page would load it: the bench has no network either."""
    from watershedmap.render.leaflet import read_script, read_style  # noqa: PLC0415 - only here

    content = read_script() if kind == ".js" else read_style()
    return text.replace("<head>", f"<head><{tag}>{content}</{tag}>", 1)


def show(what: str, size: int, figures: dict[str, Any]) -> None:
    """Print one line."""
    print(f"{what:6s} {size:8,d}", *(f"{name} {value:8.2f}" for name, value in figures.items()), flush=True)


def bench(browser: Browser, size: int, folder: Path, *, plain: bool) -> None:
    """Assess one size, write its pages, measure them."""
    survey = folder / f"survey-{size}"
    survey.mkdir()
    write_survey(size, survey)
    before = time.perf_counter()
    assessment = assess(survey)
    assessed = time.perf_counter()
    write_page(assessment, folder / f"map-{size}.html")
    seconds = {"assess s": assessed - before, "write s": time.perf_counter() - assessed}
    show("ours", size, measure(browser, folder / f"map-{size}.html", OURS, "") | seconds)
    if plain:
        path = folder / f"plain-{size}.html"
        name = write_plain(assessment.reaches, path)
        show("folium", size, measure(browser, path, PLAIN_READY, name))


def main() -> None:
    """Print one line a page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sizes", nargs="*", type=int, default=list(SIZES))
    parser.add_argument("--plain", type=int, default=10_000)
    parser.add_argument("--keep", type=Path)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        folder = chosen.keep or Path(scratch)
        folder.mkdir(exist_ok=True)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for size in chosen.sizes:
            bench(browser, size, folder, plain=size <= chosen.plain)
        browser.close()


if __name__ == "__main__":
    main()
