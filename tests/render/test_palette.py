"""Rules of the class colours: told apart by readers of every kind, with readable figures on them."""

from __future__ import annotations

import math
import re
from importlib.resources import files
from itertools import combinations, pairwise

import pytest

from watershedmap.render.palette import class_colours, contrast, text_on, tint_of, to_lab, to_linear

# Machado, Oliveira and Fernandes 2009, IEEE Trans. Visualization and Computer Graphics 15(6):1291-1298,
# severity 1.0, for linear RGB. From memory.
DEFICIENCIES = {
    "protan": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deutan": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritan": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
    "none": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
}
NEIGHBOUR_FLOOR = 12.0
"""CIE76 between neighbouring classes; about 2.3 can just be told apart (common practice, no source)."""
ANY_FLOOR = 12.0
"""CIE76 between any two classes."""
EVERY_K = range(2, 11)


STYLE = files("watershedmap.render") / "assets" / "page.css"


def read_style(theme: str) -> dict[str, str]:
    """Read the colours of a theme of the page."""
    text = STYLE.read_text(encoding="utf-8")
    blocks = [re.search(re.escape(head) + r" \{(.*?)\}", text, re.DOTALL)[1] for head in HEADS[theme]]
    return {
        name: colour
        for block in blocks
        for name, colour in re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block)
    }


HEADS = {"light": (":root",), "dark": (":root", ':root[data-theme="dark"]')}


def seen(colour: str, deficiency: tuple[tuple[float, float, float], ...]) -> tuple[float, float, float]:
    linear = to_linear(colour)
    return to_lab(
        tuple(min(1.0, max(0.0, sum(m * c for m, c in zip(row, linear, strict=True)))) for row in deficiency)
    )


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
@pytest.mark.parametrize("k", EVERY_K)
def test_neighbouring_classes_stay_apart_for_every_kind_of_reader(k: int, deficiency: str) -> None:
    points = [seen(colour, DEFICIENCIES[deficiency]) for colour in class_colours(k)]
    assert min(math.dist(a, b) for a, b in pairwise(points)) >= NEIGHBOUR_FLOOR


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
@pytest.mark.parametrize("k", EVERY_K)
def test_no_two_classes_look_the_same_to_any_reader(k: int, deficiency: str) -> None:
    points = [seen(colour, DEFICIENCIES[deficiency]) for colour in class_colours(k)]
    assert min(math.dist(a, b) for a, b in combinations(points, 2)) >= ANY_FLOOR


@pytest.mark.parametrize("k", EVERY_K)
def test_lightness_alone_tells_neighbours_apart_in_grey_print(k: int) -> None:
    lightness = [to_lab(to_linear(colour))[0] for colour in class_colours(k)]
    assert min(abs(a - b) for a, b in pairwise(lightness)) >= 4.5


@pytest.mark.parametrize("k", EVERY_K)
def test_there_is_one_colour_per_class_and_none_twice(k: int) -> None:
    colours = class_colours(k)
    assert len(colours) == len(set(colours)) == k


@pytest.mark.parametrize("k", EVERY_K)
def test_no_class_is_grey_because_grey_means_unassessed(k: int) -> None:
    for colour in class_colours(k):
        _, a, b = to_lab(to_linear(colour))
        assert math.hypot(a, b) >= 20, colour


@pytest.mark.parametrize("k", EVERY_K)
def test_a_figure_on_a_class_colour_has_the_contrast_that_wcag_asks_for(k: int) -> None:
    # WCAG 2.1, success criterion 1.4.3: 4.5 to 1.
    for colour in class_colours(k):
        assert contrast(text_on(colour), colour) >= 4.5


@pytest.mark.parametrize("k", [-1, 0, 1, 11])
def test_a_number_of_classes_that_cannot_be_told_apart_is_refused(k: int) -> None:
    with pytest.raises(ValueError, match="classes can be told apart"):
        class_colours(k)


def test_contrast_of_black_and_white_is_21() -> None:
    # WCAG 2.1, definition of contrast ratio: "can range from 1 to 21".
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0, abs=0.001)
    assert contrast("#123456", "#123456") == 1.0


@pytest.mark.parametrize(
    ("colour", "lab"),
    [
        # CIE L*a*b* of the sRGB primaries (D65, 2 degrees); well-known figures, from memory.
        ("#ffffff", (100.0, 0.0, 0.0)),
        ("#000000", (0.0, 0.0, 0.0)),
        ("#ff0000", (53.24, 80.09, 67.20)),
        ("#0000ff", (32.30, 79.19, -107.86)),
    ],
)
def test_lab_of_known_colours(colour: str, lab: tuple[float, float, float]) -> None:
    assert to_lab(to_linear(colour)) == pytest.approx(lab, abs=0.05)


@pytest.mark.parametrize("k", EVERY_K)
def test_shades_of_a_dark_page_are_all_dark_and_of_one_lightness(k: int) -> None:
    for colour in class_colours(k):
        lightness, a, b = to_lab(to_linear(tint_of(colour, dark=True)))
        assert lightness == pytest.approx(17.0, abs=1.0)
        assert math.hypot(a, b) < 8


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_class_line_is_set_off_from_the_ground_by_its_edge_for_every_reader(
    theme: str, deficiency: str
) -> None:
    # The darkest classes on a dark ground, and the palest on a light one, are seen by their edge.
    # WCAG 2.1, success criterion 1.4.11: 3 to 1. CIE76 for the hue, as above.
    ground, casing = (read_style(theme)[name] for name in ("map", "casing"))
    assert contrast(casing, ground) >= 3.0
    pair = [seen(colour, DEFICIENCIES[deficiency]) for colour in (casing, ground)]
    assert math.dist(*pair) >= 50


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("pair", [("trace-up", "trace-down"), ("improving", "worsening")])
def test_marks_that_mean_opposites_stay_apart_for_every_reader(
    theme: str, deficiency: str, pair: tuple[str, str]
) -> None:
    style = read_style(theme)
    one, other = (seen(style[name], DEFICIENCIES[deficiency]) for name in pair)
    assert math.dist(one, other) >= NEIGHBOUR_FLOOR


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_of_either_theme_has_the_contrast_that_wcag_asks_for(theme: str) -> None:
    # WCAG 2.1, success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (edges and marks, 3 to 1).
    style = read_style(theme)
    for text in ("ink", "muted", "accent"):
        for ground in ("ground", "paper", "map"):
            assert contrast(style[text], style[ground]) >= 4.5, (text, ground)
    assert contrast(style["caution"], style["caution-soft"]) >= 4.5
    assert contrast(style["caution"], style["paper"]) >= 4.5
    assert contrast(style["chip-ink"], style["chip"]) >= 4.5
    for text in ("label-area", "water", "muted"):
        assert contrast(style[text], style["map"]) >= 4.5, text
    for edge in ("edge", "improving", "worsening"):
        assert contrast(style[edge], style["paper"]) >= 3.0, edge
    assert contrast(style["nodata"], style["map"]) >= 3.0


@pytest.mark.parametrize("k", EVERY_K)
def test_tints_are_all_of_one_lightness_and_far_paler_than_any_class(k: int) -> None:
    for colour in class_colours(k):
        lightness, a, b = to_lab(to_linear(tint_of(colour)))
        assert lightness == pytest.approx(93.0, abs=0.6)
        assert math.hypot(a, b) < 8
