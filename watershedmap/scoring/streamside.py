"""The streamside rating: kinds of animals in three groups, and how many of each.

Animals are told apart as they are in the field, by kinds (stonefly, water penny, crayfish, midge). Each kind
gets a letter by its individuals: R rare 1 to 9, C common 10 to 99, D dominant 100 or more. A kind is worth a
weight by its group and letter, and the score adds the weights up:

============================ === === ===
group                         R   C   D
============================ === === ===
1 sensitive                  5.0 5.6 5.3
2 somewhat sensitive         3.2 3.4 3.0
3 tolerant                   1.2 1.1 1.0
============================ === === ===

Good above 40, Fair 20 to 40, Poor below 20. Exactly 40 and exactly 20 are Fair; weights have one decimal, so
Good begins at 40.1.

Source: EPA 841-B-97-003, Volunteer Stream Monitoring: A Methods Manual, November 1997, section 4.2; groups,
letters, weights and limits from memory, not checked against it.

Rules of this package, no source:

- one kind for each name of the source's list, whatever number of families, genera or species it holds: all
  stoneflies are one kind. Fishflies are the Corydalidae of group 2, gilled snails the snails of group 1,
  pouch snails the Physidae, other snails the rest;
- dragonflies and damselflies recorded only as Odonata count as dragonfly;
- a taxon with a group, but under no name of the list, is a kind by its order, else its family, else its
  class, else its own name;
- 0 stands only where nothing at all was found; where animals were found and none of them has a group, there
  is no score.

Bias: the score grows with the number of kinds found, so with time and area searched.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.scoring.classes import Index, IndexClass, move_open_limit
from watershedmap.scoring.tally import Tally, make_tally

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

STREAMSIDE_RATING: Final = Index(
    name="streamside_rating",
    label="Streamside rating",
    unit="",
    better="high",
    decimals=1,
    classes=(
        IndexClass("Good", move_open_limit(40.0, better="high", decimals=1), ""),
        IndexClass("Fair", 20.0, ""),
        IndexClass("Poor", None, ""),
    ),
    source=(
        "EPA 841-B-97-003, Volunteer Stream Monitoring: A Methods Manual, 1997, section 4.2; groups, weights "
        "and limits from memory"
    ),
    scale=(0.0, np.inf),
)
"""The streamside rating: 0 (worst) upwards."""

GROUPS: Final = (1, 2, 3)
"""Sensitivity groups: 1 sensitive, 2 somewhat sensitive, 3 tolerant."""
LETTERS: Final = ("R", "C", "D")
"""Letters of abundance, by rising number."""
COMMON_FROM: Final = 10
"""Individuals from which on a kind is common."""
DOMINANT_FROM: Final = 100
"""Individuals from which on a kind is dominant."""
WEIGHTS: Final = ((5.0, 5.6, 5.3), (3.2, 3.4, 3.0), (1.2, 1.1, 1.0))
"""Weight of one kind: a row for each group, a column for each letter."""

_DAMSELFLIES: Final = (
    "Calopterygidae",
    "Coenagrionidae",
    "Lestidae",
    "Platycnemididae",
    "Protoneuridae",
    "Zygoptera",
)
_CRAYFISH: Final = ("Astacidae", "Cambaridae", "Parastacidae", "Decapoda")
_CRANE_FLIES: Final = ("Tipulidae", "Limoniidae", "Pediciidae", "Cylindrotomidae", "Tipuloidea")
_BY_FAMILY: Final[Mapping[str, str]] = MappingProxyType(
    {
        "Psephenidae": "water penny",
        "Elmidae": "riffle beetle",
        "Sialidae": "alderfly",
        "Athericidae": "watersnipe fly",
        "Chironomidae": "midge",
        "Simuliidae": "blackfly",
        **dict.fromkeys(_CRANE_FLIES, "crane fly"),
        **dict.fromkeys(_DAMSELFLIES, "damselfly"),
        **dict.fromkeys(_CRAYFISH, "crayfish"),
    }
)
_BY_ORDER: Final[Mapping[str, str]] = MappingProxyType(
    {
        "Plecoptera": "stonefly",
        "Trichoptera": "caddisfly",
        "Ephemeroptera": "mayfly",
        "Isopoda": "sowbug",
        "Amphipoda": "scud",
        "Odonata": "dragonfly",
        "Coleoptera": "beetle",
    }
)
_BY_GROUP: Final[Mapping[str, str]] = MappingProxyType(
    {"Bivalvia": "clam", "Oligochaeta": "aquatic worm", "Hirudinea": "leech"}
)
_BY_SENSITIVITY: Final[Mapping[tuple[str, int], str]] = MappingProxyType(
    {
        ("Corydalidae", 1): "dobsonfly",
        ("Corydalidae", 2): "fishfly",
        ("Gastropoda", 1): "gilled snail",
        ("Physidae", 3): "pouch snail",
        ("Gastropoda", 3): "other snail",
    }
)


def name_kinds(taxa: pd.DataFrame) -> pd.Series:
    """Name the kind that each taxon belongs to.

    Parameters
    ----------
    taxa
        As from `watershedmap.taxa.resolve`: taxon, family, order, group and sensitivity (1, 2, 3; NaN none).

    Returns
    -------
    pandas.Series
        Kinds on the same index, named `kind`; empty where a taxon has no sensitivity group.
    """
    columns = ["taxon", "family", "order", "group", "sensitivity"]
    kinds = [_name_kind(*row) for row in taxa.loc[:, columns].itertuples(index=False, name=None)]
    return pd.Series(kinds, index=taxa.index, name="kind", dtype=object)


def streamside_rating(counts: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Compute the streamside rating of every sample that has counts.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count (0 or more).
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`; of it taxon, family, order, group and
        sensitivity.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): score (0 worst, no upper end; NaN when animals were found and none of
        them has a group), scored_individuals and individuals_without_tolerance (here: without a group), which
        together are all individuals.

    Raises
    ------
    ValueError
        A name in `counts` is not among `taxa`, or a count is missing or below zero.
    """
    tally = make_tally(counts, taxa)
    kinds = count_kinds(tally)
    place = kinds["sample"].to_numpy(dtype=np.intp)
    tenths = np.bincount(place, weights=np.rint(10 * kinds["weight"]), minlength=len(tally.samples))
    scored = tally.sum_by_sample(tally.individuals * np.isfinite(_read_sensitivity(tally)))
    found = tally.sum_by_sample(tally.individuals)
    return pd.DataFrame(
        {
            "score": np.where((scored == 0) & (found > 0), np.nan, tenths / 10),
            "scored_individuals": np.rint(scored).astype(np.int64),
            "individuals_without_tolerance": np.rint(found - scored).astype(np.int64),
        },
        index=tally.samples,
    )


def count_kinds(tally: Tally) -> pd.DataFrame:
    """Count the individuals of each kind in each sample.

    Parameters
    ----------
    tally
        Counts added up by sample and taxon; its taxa as for `streamside_rating`.

    Returns
    -------
    pandas.DataFrame
        One row a sample and kind, sorted: sample (position among the samples of the tally), sensitivity,
        kind, individuals, letter, weight.
    """
    kind = name_kinds(tally.taxa.rename_axis("taxon").reset_index()).to_numpy(dtype=object)[tally.taxon]
    sensitivity = _read_sensitivity(tally)
    pairs = pd.DataFrame(
        {
            "sample": tally.sample,
            "sensitivity": sensitivity,
            "kind": kind,
            "individuals": tally.individuals,
        }
    ).loc[np.isfinite(sensitivity)]
    kinds = pairs.groupby(["sample", "sensitivity", "kind"], as_index=False).agg({"individuals": "sum"})
    number = kinds["individuals"].to_numpy(dtype=np.float64)
    letter = (number >= COMMON_FROM).astype(np.intp) + (number >= DOMINANT_FROM)
    group = kinds["sensitivity"].to_numpy(dtype=np.intp) - 1
    letters = np.array(LETTERS, dtype=object)[letter]
    return kinds.assign(letter=letters, weight=np.array(WEIGHTS)[group, letter])


def _read_sensitivity(tally: Tally) -> Floats:
    values = tally.taxa["sensitivity"].to_numpy(dtype=np.float64, na_value=np.nan)
    strange = values[np.isfinite(values) & ~np.isin(values, GROUPS)]
    if len(strange):
        raise ValueError(f"a sensitivity group is none of 1, 2, 3: {strange[0]:g}")
    return np.asarray(values[tally.taxon], dtype=np.float64)


def _name_kind(taxon: str, family: str, order: str, group: str, sensitivity: float) -> str:
    if not np.isfinite(sensitivity):
        return ""
    number = int(sensitivity)
    found = (
        _BY_SENSITIVITY.get((family, number))
        or _BY_SENSITIVITY.get((group, number))
        or _BY_FAMILY.get(family or taxon)
        or _BY_ORDER.get(order)
        or _BY_GROUP.get(group)
    )
    return found or order or family or group or taxon
