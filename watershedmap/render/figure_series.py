"""The yearly scores of a site as a chart: better is always up, whichever way the index counts.

A line of the trend is drawn only where a trend is claimed; its band turns the line about the middle of the
series between the limits of the slope, and says nothing of single years. An upright bar is the 90 % interval
of a year from the counts of its samples, and is left out where that is not known.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.patches import FancyBboxPatch

from watershedmap.condition.probability import bound_mean
from watershedmap.render.figure_columns import rank_of
from watershedmap.render.figure_marks import add_site, add_text, site_look
from watershedmap.render.figure_style import (
    add_sheet,
    clean,
    drawing_rules,
    new_figure,
    page_colours,
    save_figure,
    wrap,
)
from watershedmap.render.page_columns import texts
from watershedmap.render.palette import class_colours, text_on, tint_of

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from watershedmap.assessment import Assessment

WIDTH, HEIGHT = 380.0, 236.0
"""Of a chart, points."""
LEFT, RIGHT, BOTTOM, TOP = 44.0, 24.0, 44.0, 46.0
"""Free about the plot, points."""
MOST_SERIES = 40
"""Charts that are written when nobody says which."""
CLAIMED = ("improving", "worsening")
LEAST_BAND = 9.0
"""Height of a class from which its number is written, points."""


def choose_sites(assessment: Assessment) -> list[str]:
    """Choose the sites that get a chart: those with two years or more, clear trends first.

    Parameters
    ----------
    assessment
        What is drawn.

    Returns
    -------
    list of str
        Ids, at most `MOST_SERIES`, in the order of the survey.
    """
    frame = assessment.sites
    years = frame["n_years"].fillna(0).to_numpy(dtype=int)
    claimed = frame["trend"].isin(CLAIMED).to_numpy()
    order = np.lexsort((np.arange(len(frame)), -years, ~claimed))
    chosen = sorted(row for row in order.tolist()[:MOST_SERIES] if years[row] > 1)
    return [str(frame["site_id"].iloc[row]) for row in chosen]


def series_names(assessment: Assessment) -> dict[str, str]:
    """Return a safe name for the chart of each site.

    Parameters
    ----------
    assessment
        What is drawn.

    Returns
    -------
    dict
        File name by id: plain letters and digits only, and no two alike on any system.
    """
    names: dict[str, str] = {}
    taken: set[str] = set()
    for site in texts(assessment.sites, "site_id"):
        stem = "site-" + (re.sub(r"[^A-Za-z0-9_]+", "-", site).strip("-")[:60] or "unnamed")
        name, n = stem, 1
        while name.casefold() in taken:
            n += 1
            name = f"{stem}-{n}"
        taken.add(name.casefold())
        names[site] = f"{name}.svg"
    return names


def draw_series(assessment: Assessment, site_id: str, path: Path) -> Path:
    """Draw the chart of a site.

    Parameters
    ----------
    assessment
        What is drawn.
    site_id
        Whose yearly scores.
    path
        File to write; its ending says how: `.svg`, `.png` or `.pdf`.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    KeyError
        When there is no such site.
    """
    rows = assessment.sites[assessment.sites["site_id"] == site_id]
    if rows.empty:
        raise KeyError(f"no site {site_id!r}")
    with drawing_rules():
        figure = build_series(assessment, rows.iloc[0])
        return save_figure(figure, path, title=f"{assessment.survey.settings.title}: {site_id}")


def build_series(assessment: Assessment, site: pd.Series) -> Figure:
    """Lay out the chart of a site.

    Parameters
    ----------
    assessment
        What is drawn.
    site
        A row of its sites.

    Returns
    -------
    matplotlib.figure.Figure
        To be made and written within `figure_style.drawing_rules`.
    """
    figure = new_figure(WIDTH, HEIGHT)
    yearly = assessment.yearly
    series = yearly[(yearly["site_id"] == site["site_id"]) & yearly["score"].notna()].sort_values("year")
    _write_head(add_sheet(figure, (0, HEIGHT - TOP, WIDTH, TOP)), assessment, site)
    foot = add_sheet(figure, (0, 0, WIDTH, BOTTOM))
    interval = _intervals(series, assessment)
    words = trend_words(assessment, site)
    if interval.notna().any(axis=None):
        words += " Bars: 90 % interval of a year, from its counts."
    for n, line in enumerate(wrap(words, WIDTH - 24, 6.8, most_lines=2)):
        add_text(foot, 12, 18 - 9 * n, line, 6.8)
    if series.empty:
        add_text(foot, 12, 40, "No yearly score: not one sample could be scored.", 8)
        return figure
    box = (LEFT / WIDTH, BOTTOM / HEIGHT, (WIDTH - LEFT - RIGHT) / WIDTH, (HEIGHT - BOTTOM - TOP) / HEIGHT)
    axes = figure.add_axes(box)
    _set_scale(axes, assessment, series, interval)
    _draw_bands(figure, axes, assessment)
    _draw_trend(axes, site, series)
    _draw_points(axes, series, interval)
    return figure


def trend_words(assessment: Assessment, site: pd.Series) -> str:
    """Put the trend of a site into words.

    Parameters
    ----------
    assessment
        What is drawn.
    site
        A row of its sites.

    Returns
    -------
    str
        A sentence or two.
    """
    trend, years = site["trend"], site["trend_years"]
    count = 0 if pd.isna(years) else int(years)
    told = f"{count} year{'' if count == 1 else 's'}"
    if pd.isna(trend) or trend not in (*CLAIMED, "no clear trend"):
        least = assessment.survey.settings.options.min_trend_years
        return f"Too few years for a trend: {told} with a score, and {least} are asked for."
    p = site["p_value"]
    chance = "p unknown" if pd.isna(p) else "p < 0.001" if p < 0.001 else f"p = {p:.3f}"  # noqa: PLR2004 - as is usual
    if trend not in CLAIMED:
        return f"No clear trend in {told} ({chance}); that does not show that nothing changes."
    decimals = assessment.index.decimals + 1
    slope = _signed(site["slope_per_year"], decimals)
    ends = [_signed(site[name], decimals) for name in ("slope_low", "slope_high")]
    limits = "interval unknown" if "unknown" in ends else f"90 % interval {ends[0]} to {ends[1]}"
    return f"Condition {trend}: {slope} a year ({limits}, {chance}, {told}). Band: limits of the slope."


def _signed(value: float, decimals: int) -> str:
    if pd.isna(value):
        return "unknown"
    return f"{value:+.{decimals}f}".replace("-", "\u2212")


def _write_head(axes: Axes, assessment: Assessment, site: pd.Series) -> None:
    height, k = axes.get_ylim()[1], len(assessment.index.classes)
    site_id = clean(site["site_id"], 40)
    name = "" if pd.isna(site["name"]) else clean(site["name"], 90)
    title = f"{site_id} {name}" if name and name != site_id else site_id
    rank = int(rank_of(site.to_frame().T, assessment.index)[0])
    look = site_look(rank, k, current=bool(site["current"]))
    add_site(axes, 22, height - 15, 8.5, look)
    add_text(
        axes,
        38,
        height - 15,
        wrap(title, WIDTH - 52, 10.5, most_lines=1, weight="bold")[0],
        10.5,
        weight="bold",
    )
    index = assessment.index
    unit = f", {clean(index.unit, 30)}" if index.unit else ""
    words = f"{clean(index.label, 60)}{unit} (up is better)"
    about = clean(assessment.survey.settings.about, 200)
    muted = page_colours()["muted"]
    add_text(axes, 12, 9, words, 7, colour=muted)
    for line in wrap(about, WIDTH - 52, 6.4, most_lines=1):
        add_text(axes, 38, 21, line, 6.4, colour=muted)


def _intervals(series: pd.DataFrame, assessment: Assessment) -> pd.DataFrame:
    """Return the ends of the interval of each year, missing where its error is not known."""
    error = series["score_se"] if "score_se" in series else pd.Series(np.nan, index=series.index)
    freedom = pd.Series(np.nan, index=series.index)
    return bound_mean(series["score"], error, freedom, scale=assessment.index.scale)


def _set_scale(axes: Axes, assessment: Assessment, series: pd.DataFrame, interval: pd.DataFrame) -> None:
    index, colours, years = assessment.index, page_colours(), assessment.yearly["year"]
    values = np.concatenate([series["score"], interval["score_low"], interval["score_high"]]).astype(float)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    pad = max(0.12 * (high - low), 0.05 * max(abs(low), abs(high)), 10.0**-index.decimals)
    low, high = max(low - pad, index.scale[0] - pad / 2), min(high + pad, index.scale[1] + pad / 2)
    axes.set_ylim(*((high, low) if index.better == "low" else (low, high)))
    axes.set_xlim(float(years.min()) - 0.6, max(float(years.max()), float(years.min()) + 1) + 0.6)
    every = max(1, math.ceil((int(years.max()) - int(years.min()) + 1) / 10))
    axes.set_xticks(range(int(years.min()), int(years.max()) + 1, every))
    limits = [band.limit for band in index.classes if band.limit is not None and low < band.limit < high]
    spread = abs(high - low) / 12
    ends = [end for end in (low + 0.02 * spread, high) if all(abs(end - limit) > spread for limit in limits)]
    axes.set_yticks([*limits, *ends])
    axes.set_yticklabels([f"{value:.{index.decimals}f}".replace("-", "\u2212") for value in [*limits, *ends]])
    axes.tick_params(labelsize=7, length=3, width=0.6, color=colours["edge"], labelcolor=colours["ink"])
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(colours["edge"])
    for limit in limits:
        axes.axhline(limit, color=colours["edge"], linewidth=0.6, linestyle=(0, (1.5, 2.5)), zorder=1)


def _draw_bands(figure: Figure, axes: Axes, assessment: Assessment) -> None:
    """Draw a faint stripe for each class, with its number at the right edge."""
    index, ends = assessment.index, sorted(axes.get_ylim())
    plot, right = HEIGHT - BOTTOM - TOP, WIDTH - LEFT - RIGHT
    worst = math.inf if index.better == "low" else -math.inf
    badge = add_sheet(figure, (LEFT, BOTTOM, right + RIGHT, plot))
    better = -worst
    for rank, (band, colour) in enumerate(zip(index.classes, class_colours(len(index.classes)), strict=True)):
        worse = worst if band.limit is None else band.limit
        bottom, top = (min(max(value, ends[0]), ends[1]) for value in sorted((better, worse)))
        better = worse
        if not top > bottom:
            continue
        axes.axhspan(bottom, top, facecolor=tint_of(colour), linewidth=0, zorder=0)
        share = [
            (value - axes.get_ylim()[0]) / (axes.get_ylim()[1] - axes.get_ylim()[0])
            for value in (bottom, top)
        ]
        if abs(share[1] - share[0]) * plot < LEAST_BAND:
            continue
        y = sum(share) / 2 * plot
        style = "round,pad=0,rounding_size=2.5"
        badge.add_patch(
            FancyBboxPatch(
                (right + 4, y - 5.5), 12, 11, boxstyle=style, facecolor=colour, linewidth=0, zorder=5
            )
        )
        add_text(
            badge, right + 10, y, str(rank + 1), 7.5, weight="bold", align="center", colour=text_on(colour)
        )


def _draw_trend(axes: Axes, site: pd.Series, series: pd.DataFrame) -> None:
    if site["trend"] not in CLAIMED or pd.isna(site["slope_per_year"]) or pd.isna(site["intercept"]):
        return
    colour, years = page_colours()[str(site["trend"])], series["year"].to_numpy(dtype=float)
    ends = np.array([years.min(), years.max()])
    slope, middle = float(site["slope_per_year"]), float(np.median(years))
    level = float(site["intercept"]) + slope * middle
    axes.plot(
        ends, level + slope * (ends - middle), color=colour, linewidth=1.8, linestyle=(0, (5, 3)), zorder=3
    )
    low, high = float(site["slope_low"]), float(site["slope_high"])
    if math.isfinite(low) and math.isfinite(high):
        way = np.array([years.min(), middle, years.max()])
        sides = [level + limit * (way - middle) for limit in (low, high)]
        axes.fill_between(way, sides[0], sides[1], color=colour, alpha=0.16, linewidth=0, zorder=2)


def _draw_points(axes: Axes, series: pd.DataFrame, interval: pd.DataFrame) -> None:
    """Draw a dot a year, a line between years that follow each other, and a bar where the error is known."""
    ink = page_colours()["ink"]
    years, scores = series["year"].to_numpy(dtype=float), series["score"].to_numpy(dtype=float)
    for part in np.split(np.arange(len(years)), np.flatnonzero(np.diff(years) != 1) + 1):
        axes.plot(years[part], scores[part], color=ink, linewidth=1, zorder=4)
    known = interval.notna().all(axis=1).to_numpy()
    axes.vlines(
        years[known],
        interval.loc[known, "score_low"],
        interval.loc[known, "score_high"],
        colors=ink,
        linewidth=0.8,
        zorder=4,
    )
    axes.plot(
        years,
        scores,
        linestyle="none",
        marker="o",
        markersize=4.6,
        color=ink,
        markeredgecolor="#ffffff",
        markeredgewidth=0.7,
        zorder=5,
    )
