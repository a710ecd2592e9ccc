"""Colours, widths, letters and file settings that all figures share.

Colours are read from the style sheet of the map page, widths follow its script, so that a figure in a report
and the page on a screen tell the same story. Letters come from the font that matplotlib ships: nothing is
fetched, and two machines with the same release draw the same.

SVG keeps text as text (`svg.fonttype` "none"): it can be found, copied, read aloud and edited, characters
that the font lacks are drawn by the reader's own, and the file stays small. Where the font is not installed,
another of like width stands in. PDF carries the letters that it uses. PNG and PDF show a box for a character
that the font lacks.

No clock and no random id goes into a file: the same figure gives the same bytes.
"""

from __future__ import annotations

import logging
import re
import unicodedata
import warnings
from contextlib import contextmanager
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

from matplotlib import rc_context, rcParamsDefault
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle
from matplotlib.textpath import text_to_path

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
Slant = Literal["normal", "italic"]
POINT = 0.75
"""Points in a pixel of the map page; figures are measured in points."""
PNG_DPI = 200
"""Dots to the inch of a PNG, and of what is turned into dots inside SVG and PDF."""
FORMATS = ("png", "svg", "pdf")

_RULES: dict[str, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana"],
    "font.serif": ["DejaVu Serif", "Georgia"],
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "text.usetex": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "watershedmap",
    "pdf.fonttype": 42,
    "lines.scale_dashes": False,
    "path.simplify": True,
    "axes.unicode_minus": True,
    "hatch.linewidth": 0.8,
    "savefig.bbox": None,
}
_METADATA: dict[str, dict[str, Any]] = {
    "png": {"Software": "watershedmap"},
    "svg": {"Creator": "watershedmap", "Date": None},
    "pdf": {"Creator": "watershedmap", "Producer": None, "CreationDate": None},
}
_JOINERS = {"\u200c", "\u200d"}


@lru_cache(maxsize=1)
def page_colours() -> dict[str, str]:
    """Return the colours of the map page in its light dress.

    Returns
    -------
    dict
        `#rrggbb` by the name it has in the style sheet.
    """
    text = (files("watershedmap.render") / "assets" / "page.css").read_text(encoding="utf-8")
    pairs = re.findall(r"--([a-z-]+):[^;#]*(#[0-9a-fA-F]{6})", text)
    return dict(reversed(pairs))  # the first block is the light one


def class_width(rank: int, k: int) -> float:
    """Return the width of a line by its class: the worse, the wider.

    Parameters
    ----------
    rank
        0 for the best class; below 0 for a line without a class.
    k
        Number of classes.

    Returns
    -------
    float
        Points.
    """
    return POINT * (1.2 if rank < 0 else 2.4 + 4.0 * rank / max(1, k - 1))


def clean(text: object, most: int = 0) -> str:
    """Make text from a table fit to be drawn on one line.

    Parameters
    ----------
    text
        Any text.
    most
        Longest text that is drawn whole, characters; 0 for any.

    Returns
    -------
    str
        White space as single spaces; controls and what XML forbids as a replacement sign, marks of direction
        left out; cut with an ellipsis where it is longer.
    """
    joined = " ".join(str(text)[: 20 * most if most else None].split())
    safe = "".join(_clean_character(c) for c in joined)
    return safe if not most or len(safe) <= most else safe[: most - 1].rstrip() + "\u2026"


def _clean_character(character: str) -> str:
    kind = unicodedata.category(character)
    if kind == "Cf" and character not in _JOINERS:
        return ""
    forbidden = kind in {"Cc", "Cs"} or ord(character) & 0xFFFE == 0xFFFE  # noqa: PLR2004 - as XML has it
    return "\ufffd" if forbidden else character


def wrap(text: str, width: float, size: float, *, most_lines: int, **font: Any) -> list[str]:  # noqa: ANN401
    """Break text into lines of a width.

    Parameters
    ----------
    text
        Clean text.
    width
        Points that a line may take.
    size
        Size of the letters, points.
    most_lines
        Lines that are kept; the last ends in an ellipsis where there were more.
    **font
        Weight and style.

    Returns
    -------
    list of str
        The lines.
    """
    lines: list[str] = []
    rest = text
    while rest and len(lines) < most_lines:
        line, rest = _first_line(rest, width, size, font, last=len(lines) == most_lines - 1)
        lines.append(line)
    return lines


def _first_line(text: str, width: float, size: float, font: dict[str, Any], *, last: bool) -> tuple[str, str]:
    """Split off as much text as a line holds: at a space, or anywhere when there is none."""
    if text_width(text, size, **font) <= width:
        return text, ""
    low, high = 1, min(len(text), 400)
    while low < high:
        middle = (low + high + 1) // 2
        shown = text[:middle] + ("\u2026" if last else "")
        low, high = (middle, high) if text_width(shown, size, **font) <= width else (low, middle - 1)
    if last:
        return text[:low].rstrip() + "\u2026", ""
    space = text.rfind(" ", 0, low + 1)
    cut = space if space > 0 else low
    return text[:cut].rstrip(), text[cut:].lstrip()


def text_width(text: str, size: float, *, weight: str = "normal", style: Slant = "normal") -> float:
    """Measure text.

    Parameters
    ----------
    text
        One line.
    size
        Size of the letters, points.
    weight, style
        As matplotlib calls them.

    Returns
    -------
    float
        Width, points.
    """
    return _unit_width(text, weight, style) * size / 100


@lru_cache(maxsize=4096)
def _unit_width(text: str, weight: str, style: Slant) -> float:
    font = FontProperties(family="DejaVu Sans", weight=weight, style=style, size=100)
    with quiet_letters():
        return float(text_to_path.get_text_width_height_descent(text, font, ismath=False)[0])


@contextmanager
def quiet_letters() -> Iterator[None]:
    """Keep matplotlib from warning of every character that its font lacks."""
    log = logging.getLogger("matplotlib.font_manager")
    before = log.level
    log.setLevel(logging.ERROR)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="(?s)Glyph .* missing from font", category=UserWarning)
            warnings.filterwarnings(
                "ignore", message="(?s)Matplotlib currently does not support", category=UserWarning
            )
            yield
    finally:
        log.setLevel(before)


@contextmanager
def drawing_rules() -> Iterator[None]:
    """Draw by our own settings, whatever the user's settings of matplotlib say."""
    kept = {name: value for name, value in rcParamsDefault.items() if not name.startswith("backend")}
    rules: Any = {**kept, **_RULES}
    with rc_context(rules), quiet_letters():
        yield


def new_figure(width: float, height: float) -> Figure:
    """Make an empty figure.

    Parameters
    ----------
    width, height
        Points.

    Returns
    -------
    matplotlib.figure.Figure
        With the colour of paper; it belongs to no window.
    """
    return Figure(figsize=(width / 72, height / 72), dpi=PNG_DPI, facecolor="#ffffff")


def add_sheet(figure: Figure, box: Sequence[float], **options: Any) -> Axes:  # noqa: ANN401
    """Add a part of a page whose units are points.

    Parameters
    ----------
    figure
        What is added to.
    box
        Left, bottom, width and height, points.
    **options
        Passed on to `add_axes`.

    Returns
    -------
    matplotlib.axes.Axes
        Without axes; from 0 to its width and height.
    """
    left, bottom, width, height = box
    across, up = (72 * float(size) for size in figure.get_size_inches())
    sheet = figure.add_axes((left / across, bottom / up, width / across, height / up), **options)
    sheet.set_xlim(0, width)
    sheet.set_ylim(0, height)
    sheet.set_axis_off()
    return sheet


def draw_frame(axes: Axes, width: float, height: float) -> None:
    """Draw the ground of a map and its frame.

    Parameters
    ----------
    axes
        A sheet in points.
    width, height
        Of the map, points.
    """
    colours = page_colours()
    axes.add_patch(
        Rectangle(
            (0, 0),
            width,
            height,
            facecolor=colours["map"],
            edgecolor=colours["rule"],
            linewidth=0.8,
            zorder=0,
        )
    )


def save_figure(figure: Figure, path: Path, *, title: str) -> Path:
    """Write a figure; the ending of the file says how.

    Parameters
    ----------
    figure
        What is written.
    path
        File that ends in one of `FORMATS`.
    title
        Title inside the file.

    Returns
    -------
    pathlib.Path
        The file.
    """
    kind = path.suffix[1:]
    dpi = PNG_DPI if kind == "png" else 300
    metadata = {**_METADATA[kind], "Title": clean(title, 200)}
    figure.savefig(path, format=kind, dpi=dpi, metadata=metadata)
    return path
