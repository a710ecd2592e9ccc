"""
The invented animals: how many of which family each sample holds.

Five communities, from clean to foul, are blended so that the family-level biotic index expected of the blend
(the mean tolerance, weighted by individuals, over families that have a tolerance) equals the score a site is
meant to show. Each site and each sample then strays from the blend, and individuals are drawn one by one.

The tolerances are those of Hilsenhoff (1988), "Rapid field assessment of organic pollution with a
family-level biotic index", J. N. Am. Benthol. Soc. 7:65-68, written down from memory. The communities are
invented.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

COMMUNITIES = """
Leuctridae                0   5    2    0.3  0    0     1.0
Pteronarcyidae            0   1.5  0.4  0    0    0     1.0
Perlidae                  1   6    4    0.8  0    0     1.0
Perlodidae                2   4    2    0.5  0    0     1.6
Nemouridae                2   3    1.5  0.3  0    0     1.3
Capniidae                 1   2    0.7  0    0    0     2.0
Taeniopterygidae          2   1.5  1    0.3  0    0     1.8
Chloroperlidae            1   2    0.7  0    0    0     1.3
Ephemerellidae            1   7    5    1.5  0.1  0     1.7
Heptageniidae             4   12   11   6    0.8  0     1.0
Leptophlebiidae           2   5    3    0.8  0    0     1.2
Baetidae                  4   8    10   10   5    0.6   0.9
Ephemeridae               4   0.8  1.2  0.5  0    0     1.0
Caenidae                  7   0    0.3  2    1.5  0.2   1.0
Rhyacophilidae            0   3    1.3  0.2  0    0     1.0
Glossosomatidae           0   2    1.3  0.2  0    0     1.0
Brachycentridae           1   2    1.2  0.2  0    0     1.0
Lepidostomatidae          1   1    0.5  0    0    0     1.0
Philopotamidae            3   4    5    2.5  0.2  0     0.8
Hydropsychidae            4   8    14   18   8    0.8   0.7
Hydroptilidae             4   0.4  1    1.5  1    0.1   0.9
Limnephilidae             4   1    1.4  1    0.2  0     1.2
Polycentropodidae         6   0.4  0.5  0.4  0.1  0     1.0
Elmidae                   4   9    13   13   4    0.3   0.9
Psephenidae               4   3    5    2    0.1  0     1.0
Corydalidae               0   0.6  0.9  0.3  0    0     1.0
Sialidae                  4   0.1  0.3  0.6  0.3  0     1.0
Gomphidae                 1   0.4  0.5  0.2  0    0     1.0
Aeshnidae                 3   0.2  0.3  0.3  0.1  0     1.0
Calopterygidae            5   0    0.2  0.6  0.3  0     1.0
Coenagrionidae            9   0    0    0.4  1.5  2     0.8
Athericidae               2   1    1    0.3  0    0     1.0
Tipulidae                 3   2    2.4  2.4  1.2  0.3   1.0
Empididae                 6   0.5  0.8  1    0.8  0.2   1.0
Ceratopogonidae           6   0.3  0.5  0.7  1    0.6   1.0
Tabanidae                 6   0.2  0.3  0.4  0.2  0     1.0
Simuliidae                6   2    4    7    8    3     1.4
Chironomidae              6   6    9    17   24   12    1.1
Chironomidae_(blood-red)  8   0    0.2  2    13   36    0.9
Psychodidae              10   0    0    0.05 0.7  4     0.9
Syrphidae                10   0    0    0    0.1  1.2   0.8
Gammaridae                4   1.5  2    4    2.5  0.2   1.0
Asellidae                 8   0.1  0.4  4    16   30    1.0
Oligochaeta               -   0.7  1.2  4    12   22    1.0
Physidae                  -   0.1  0.2  1    3    4     0.8
Planorbidae               -   0    0.1  0.6  0.8  0.6   0.8
Sphaeriidae               -   0.2  0.5  1.2  1    0.3   1.0
Erpobdellidae             -   0    0.05 0.6  2    3     0.9
Planariidae               -   0.5  0.6  0.8  0.5  0.1   1.0
"""
"""Taxon, tolerance (- for none), weight in the five communities from clean to foul, and how much more of it
there is in spring (its inverse in autumn)."""

ROWS = [line.split() for line in COMMUNITIES.strip().splitlines()]
TAXA = [row[0].replace("_", " ") for row in ROWS]
TOLERANCE = np.array([np.nan if row[1] == "-" else float(row[1]) for row in ROWS])
WEIGHTS = np.array([[float(value) for value in row[2:7]] for row in ROWS]).T
SPRING = np.array([float(row[7]) for row in ROWS])

BLENDS = np.linspace(0, len(WEIGHTS) - 1, 161)
"""Points along the gradient at which the expected score is worked out."""


def expect_score(weights: Floats) -> Floats:
    """Return the score expected of each community (last axis: taxa)."""
    valued = np.where(np.isnan(TOLERANCE), 0.0, weights)
    score: Floats = (valued * np.nan_to_num(TOLERANCE)).sum(axis=-1) / valued.sum(axis=-1)
    return score


def blend(at: Floats) -> Floats:
    """Return the community at each point of the gradient, between the two nearest of the five."""
    lower = np.minimum(at.astype(np.int64), len(WEIGHTS) - 2)
    share = (at - lower)[:, None]
    mixed: Floats = WEIGHTS[lower] * (1 - share) + WEIGHTS[lower + 1] * share
    return mixed


def find_community(score: float, season: str, habit: Floats) -> Floats:
    """Return the community that is expected to show `score`, given the season and the habits of the site."""
    tilt = habit * (SPRING if season == "spring" else 1 / SPRING)
    candidates = blend(BLENDS) * tilt
    at = np.interp(score, np.maximum.accumulate(expect_score(candidates)), BLENDS)
    community: Floats = blend(np.array([at]))[0] * tilt
    return community


def make_habit(rng: np.random.Generator) -> Floats:
    """Return how much a site favours each taxon: lasting, from a tenth of the usual to four times."""
    return 0.1 + 3.9 * rng.random(len(TAXA)) ** 3


def draw_counts(rng: np.random.Generator, community: Floats, total: int) -> Ints:
    """Return counts of `total` individuals from a patch that strays from the community of its stream."""
    patch = community * (0.3 + 1.4 * rng.random(len(TAXA)))
    edges = np.cumsum(patch) / patch.sum()
    drawn = np.searchsorted(edges[:-1], rng.random(total), side="right")
    return np.bincount(drawn, minlength=len(TAXA)).astype(np.int64)
