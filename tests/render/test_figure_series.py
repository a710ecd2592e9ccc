"""Charts of a site and maps by period: words where nothing is claimed, gaps where nothing is known."""

from __future__ import annotations

from dataclasses import fields
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from watershedmap.assessment import assess
from watershedmap.render.figure_periods import MOST_PERIODS, build_periods, draw_periods
from watershedmap.render.figure_series import (
    MOST_SERIES,
    build_series,
    choose_sites,
    draw_series,
    series_names,
    trend_words,
)
from watershedmap.render.figure_style import drawing_rules, page_colours

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes

    from watershedmap.assessment import Assessment


@pytest.fixture(scope="module")
def demo(demo_folder: Path) -> Assessment:
    return assess(demo_folder)


def copy_of(assessment: Assessment, **changes: Any) -> Any:  # noqa: ANN401 - stands in for an assessment
    kept = {field.name: getattr(assessment, field.name) for field in fields(assessment)}
    return SimpleNamespace(**{**kept, **changes})


def words_of(path: Path) -> str:
    root = ET.fromstring(path.read_text(encoding="utf-8"))  # noqa: S314 - we wrote it
    return " ".join("".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text"))


def plot_of(assessment: Assessment, site_id: str) -> Axes:
    site = assessment.sites[assessment.sites["site_id"] == site_id].iloc[0]
    with drawing_rules():
        return next(axes for axes in build_series(assessment, site).axes if axes.axison)


def trend_lines(axes: Axes) -> list[Any]:
    colours = {page_colours()[name] for name in ("improving", "worsening")}
    return [line for line in axes.lines if line.get_color() in colours]


def test_a_claimed_trend_is_drawn_with_its_interval(demo: Assessment, tmp_path: Path) -> None:
    words = words_of(draw_series(demo, "S26", tmp_path / "s.svg"))
    assert "Condition improving" in words
    assert "90 % interval" in words
    axes = plot_of(demo, "S26")
    (line,) = trend_lines(axes)
    site = demo.sites[demo.sites["site_id"] == "S26"].iloc[0]
    x, y = line.get_data()
    assert np.allclose(y, site["intercept"] + site["slope_per_year"] * np.asarray(x))


def test_without_a_claimed_trend_there_are_words_and_no_line(demo: Assessment) -> None:
    for trend, said in (("no clear trend", "No clear trend"), ("too few years", "Too few years for a trend")):
        site = demo.sites[demo.sites["trend"] == trend].iloc[0]
        assert trend_words(demo, site).startswith(said)
        assert not trend_lines(plot_of(demo, site["site_id"]))


def test_a_slope_without_limits_says_that_they_are_unknown(demo: Assessment) -> None:
    site = demo.sites[demo.sites["site_id"] == "S26"].iloc[0].copy()
    site["slope_low"] = np.nan
    assert "interval unknown" in trend_words(demo, site)


def test_better_is_up_whichever_way_the_index_counts(demo: Assessment) -> None:
    bottom, top = plot_of(demo, "S26").get_ylim()
    assert demo.index.better == "low"
    assert bottom > top


def test_a_missing_year_leaves_a_gap(demo: Assessment) -> None:
    yearly = demo.yearly[~((demo.yearly["site_id"] == "S26") & (demo.yearly["year"] == 2020))]
    axes = plot_of(copy_of(demo, yearly=yearly), "S26")
    joined = [
        line.get_xdata()
        for line in axes.lines
        if line.get_color() == page_colours()["ink"] and line.get_linestyle() == "-"
    ]
    assert [(xs[0], xs[-1]) for xs in joined] == [(2016, 2019), (2021, 2025)]


def test_an_interval_that_is_not_known_is_not_drawn(demo: Assessment, tmp_path: Path) -> None:
    bare = copy_of(demo, yearly=demo.yearly.drop(columns="score_se"))
    assert "Bars: 90 % interval" not in words_of(draw_series(bare, "S26", tmp_path / "bare.svg"))
    assert "Bars: 90 % interval" in words_of(draw_series(demo, "S26", tmp_path / "known.svg"))


def test_a_site_without_a_score_says_so(demo: Assessment, tmp_path: Path) -> None:
    none = copy_of(demo, yearly=demo.yearly[demo.yearly["site_id"] != "S26"])
    assert "not one sample could be scored" in words_of(draw_series(none, "S26", tmp_path / "s.svg"))


def test_a_site_that_is_not_there_is_an_error(demo: Assessment, tmp_path: Path) -> None:
    with pytest.raises(KeyError, match="nowhere"):
        draw_series(demo, "nowhere", tmp_path / "s.svg")


def test_the_same_site_gives_the_same_bytes(demo: Assessment, tmp_path: Path) -> None:
    first = draw_series(demo, "S26", tmp_path / "a.svg").read_bytes()
    assert first == draw_series(demo, "S26", tmp_path / "b.svg").read_bytes()


def test_names_of_files_are_safe_and_differ_on_any_system(demo: Assessment) -> None:
    ids = ["../../etc", "a", "A", "a/", "\U0001f41f", "", "x" * 400, "CON"]
    sites = demo.sites.head(len(ids)).assign(site_id=ids)
    names = series_names(copy_of(demo, sites=sites))
    assert list(names) == ids
    assert len({name.casefold() for name in names.values()}) == len(ids)
    assert all(
        name.isascii() and "/" not in name and ".." not in name and len(name) < 80 for name in names.values()
    )


def test_clear_trends_come_first_when_there_are_too_many_sites(demo: Assessment) -> None:
    chosen = choose_sites(demo)
    claimed = demo.sites.loc[demo.sites["trend"].isin(["improving", "worsening"]), "site_id"]
    assert set(claimed) <= set(chosen)
    assert len(chosen) <= MOST_SERIES
    one = demo.sites.assign(n_years=1)
    assert choose_sites(copy_of(demo, sites=one)) == []


def test_each_period_says_how_much_was_measured(demo: Assessment, tmp_path: Path) -> None:
    path = draw_periods(demo, tmp_path / "periods.svg")
    assert path is not None
    words = words_of(path)
    for years in ("2016", "2017\u20132019", "2020\u20132022", "2023\u20132025"):
        assert f"{years} " in words
    assert words.count("of 145 reaches measured") == 4
    assert "measured reaches only" in words
    assert "not measured" in words


def test_periods_give_the_same_bytes(demo: Assessment, tmp_path: Path) -> None:
    for kind in ("png", "svg", "pdf"):
        first, second = (draw_periods(demo, tmp_path / f"{name}.{kind}") for name in ("a", "b"))
        assert first is not None
        assert second is not None
        assert first.read_bytes() == second.read_bytes()


def test_one_period_is_no_comparison(demo: Assessment, tmp_path: Path) -> None:
    last = copy_of(demo, yearly=demo.yearly[demo.yearly["year"] >= 2023])
    assert draw_periods(last, tmp_path / "periods.png") is None
    assert not (tmp_path / "periods.png").exists()


def test_periods_that_are_left_out_are_counted(demo: Assessment, tmp_path: Path) -> None:
    options = SimpleNamespace(recent_years=1)
    settings = SimpleNamespace(title="T", about="", options=options)
    short = copy_of(demo, survey=SimpleNamespace(settings=settings))
    path = draw_periods(short, tmp_path / "periods.svg")
    assert path is not None
    assert f"the last {MOST_PERIODS} periods, 4 earlier left out" in words_of(path)
    with drawing_rules():
        figure = build_periods(short)
    assert figure is not None
