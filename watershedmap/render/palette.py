"""Colours of the classes, from best to worst.

Definition
    Two ramps meet: a cool one from deep ink blue to pale blue for the better classes, and a warm one from
    straw over orange-brown to dark wine for the worse. Within a ramp the classes lie evenly spaced along a
    path through CIE L*a*b* (D65), so that neighbours are as far apart as the path allows. Blue against
    brown is the contrast that survives every common colour vision deficiency; the ramps do not meet in a
    grey, because grey stands for "unassessed".

Source
    sRGB and CIE L*a*b* after IEC 61966-2-1 and CIE 15 (constants from memory); contrast after WCAG 2.1,
    section 1.4.3. The colours themselves are our own.

Known bias
    In grey print the two ends are both dark (the best a little lighter than the worst), and the two palest
    classes differ by little. Colour is therefore never the only cue: lines grow wider as condition gets
    worse, and sites carry the number of their class.
"""

from __future__ import annotations

import math
from itertools import pairwise

Triple = tuple[float, float, float]

COOL = ("#163a72", "#3d88c0", "#84b7db")
"""Way of the better classes, from the best to the palest."""
WARM = ("#5c1539", "#a3402c", "#dd8a2e", "#efc95f")
"""Way of the worse classes, from the worst to the palest."""
COOL_SHARE = 0.43
"""Share of classes that are cool; below one half because the warm path is the longer one."""
TINT_LIGHTNESS, TINT_CHROMA = 93.0, 6.5
"""Where the tints of areas lie in L*a*b*."""
SHADE_LIGHTNESS = 17.0
"""Where they lie on a dark page; of the same chroma."""
MIN_CLASSES, MAX_CLASSES = 2, 10
INK, PAPER = "#000000", "#ffffff"

_WHITE = (0.95047, 1.0, 1.08883)
_TO_XYZ = (
    (0.4124564, 0.3575761, 0.1804375),
    (0.2126729, 0.7151522, 0.0721750),
    (0.0193339, 0.1191920, 0.9503041),
)
_FROM_XYZ = (
    (3.2404542, -1.5371385, -0.4985314),
    (-0.9692660, 1.8760108, 0.0415560),
    (0.0556434, -0.2040259, 1.0572252),
)
_EPSILON, _KAPPA = 216 / 24389, 24389 / 27


def class_colours(k: int) -> tuple[str, ...]:
    """Return one colour per class.

    Parameters
    ----------
    k
        Number of classes, 2 to 10.

    Returns
    -------
    tuple of str
        `#rrggbb`, best class first.

    Raises
    ------
    ValueError
        When there are fewer than 2 or more than 10 classes.
    """
    if not MIN_CLASSES <= k <= MAX_CLASSES:
        raise ValueError(f"between {MIN_CLASSES} and {MAX_CLASSES} classes can be told apart, not {k}")
    cool = max(1, round(COOL_SHARE * k))
    return (*_spread(COOL, cool), *reversed(_spread(WARM, k - cool)))


def text_on(colour: str) -> str:
    """Return black or white, whichever reads better on a colour.

    Parameters
    ----------
    colour
        `#rrggbb`.

    Returns
    -------
    str
        `#000000` or `#ffffff`; its contrast is at least 4.58, the least there can be.
    """
    return max((INK, PAPER), key=lambda text: contrast(text, colour))


def tint_of(colour: str, *, dark: bool = False) -> str:
    """Return a very pale version of a colour, for areas under lines of the full colours.

    Parameters
    ----------
    colour
        `#rrggbb`.
    dark
        Make a very dark one instead, for a dark page.

    Returns
    -------
    str
        `#rrggbb` of the same hue; as light as every other tint, so that only the hue tells them apart.
    """
    _, a, b = to_lab(to_linear(colour))
    scale = min(1.0, TINT_CHROMA / max(math.hypot(a, b), _EPSILON))
    return _to_hex((SHADE_LIGHTNESS if dark else TINT_LIGHTNESS, a * scale, b * scale))


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio of two colours.

    Parameters
    ----------
    first, second
        `#rrggbb`.

    Returns
    -------
    float
        Between 1 and 21, after WCAG 2.1.
    """
    low, high = sorted(_luminance(to_linear(colour)) for colour in (first, second))
    return (high + 0.05) / (low + 0.05)


def to_linear(colour: str) -> Triple:
    """Return the linear red, green and blue of a colour.

    Parameters
    ----------
    colour
        `#rrggbb`.

    Returns
    -------
    tuple of float
        Each between 0 and 1.
    """
    red, green, blue = (int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5))
    return _expand(red), _expand(green), _expand(blue)


def to_lab(linear: Triple) -> Triple:
    """Return the CIE L*a*b* coordinates of linear red, green and blue.

    Parameters
    ----------
    linear
        Each between 0 and 1.

    Returns
    -------
    tuple of float
        L* (0 black to 100 white), a* and b*.
    """
    x, y, z = (_curve(value / white) for value, white in zip(_apply(_TO_XYZ, linear), _WHITE, strict=True))
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def _spread(way: tuple[str, ...], n: int) -> tuple[str, ...]:
    """Place n colours at even distances along a way; the first colour is always one of them."""
    if n == 1:
        return way[:1]
    points = [to_lab(to_linear(colour)) for colour in way]
    lengths = [math.dist(here, there) for here, there in pairwise(points)]
    return tuple(_to_hex(_along(points, lengths, sum(lengths) * i / (n - 1))) for i in range(n))


def _along(points: list[Triple], lengths: list[float], distance: float) -> Triple:
    """Return the point at a distance from the start of a broken line."""
    for here, there, length in zip(points, points[1:], lengths, strict=False):
        if distance <= length:
            share = distance / length
            return _mix(here, there, share)
        distance -= length
    return points[-1]  # rounding may leave a crumb of distance after the last piece


def _mix(here: Triple, there: Triple, share: float) -> Triple:
    first, second, third = (a + (b - a) * share for a, b in zip(here, there, strict=True))
    return first, second, third


def _to_hex(lab: Triple) -> str:
    """Turn L*a*b* into `#rrggbb`, cut off at the limits of sRGB."""
    y = (lab[0] + 16) / 116
    curved = (y + lab[1] / 500, y, y - lab[2] / 200)
    x, y, z = (_uncurve(value) * white for value, white in zip(curved, _WHITE, strict=True))
    return "#" + "".join(f"{round(255 * _compress(value)):02x}" for value in _apply(_FROM_XYZ, (x, y, z)))


def _apply(matrix: tuple[Triple, Triple, Triple], vector: Triple) -> Triple:
    first, second, third = (sum(m * v for m, v in zip(row, vector, strict=True)) for row in matrix)
    return first, second, third


def _luminance(linear: Triple) -> float:
    return _apply(_TO_XYZ, linear)[1]


def _expand(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4  # noqa: PLR2004 - sRGB


def _compress(value: float) -> float:
    value = min(1.0, max(0.0, value))
    return 12.92 * value if value <= 0.0031308 else 1.055 * value ** (1 / 2.4) - 0.055  # noqa: PLR2004 - sRGB


def _curve(value: float) -> float:
    return float(value ** (1 / 3)) if value > _EPSILON else (_KAPPA * value + 16) / 116


def _uncurve(value: float) -> float:
    return value**3 if value**3 > _EPSILON else (116 * value - 16) / _KAPPA
