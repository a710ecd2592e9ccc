"""Percent model affinity: how like the make-up of a sample is to that of a stream in good condition.

The individuals of a sample are parted into seven groups, and their percentages compared with a model::

    sum over groups of min(model %, sample %)        0 unlike, 100 the model itself

Source: Novak M.A. and Bode R.W. 1992, Percent model affinity: a new measure of macroinvertebrate community
composition, Journal of the North American Benthological Society 11:80-85; the figures of their model, made
from 46 streams of New York sampled by kick net, are from memory. They say themselves that other regions may
need another model, so it can be replaced.

Bias: "Other" takes whatever is in none of the six groups, also names nobody knows and animals named to
Diptera or a class only, which may be midges or worms.
"""

from __future__ import annotations

import math
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

from watershedmap.scoring.tally import divide
from watershedmap.settings import AFFINITY_GROUPS

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt
    import pandas as pd

    from watershedmap.scoring.tally import Tally

    Floats = npt.NDArray[np.float64]
    Places = npt.NDArray[np.intp]

MODEL_GROUPS: Final = AFFINITY_GROUPS
"""The seven groups of a model, in the order of the source."""
DEFAULT_MODEL: Final[Mapping[str, float]] = MappingProxyType(
    dict(zip(MODEL_GROUPS, (5.0, 40.0, 5.0, 10.0, 10.0, 20.0, 10.0), strict=True))
)
"""Percent of each group in the model of Novak and Bode 1992, from memory."""
_ORDERS: Final = ("Ephemeroptera", "Plecoptera", "Coleoptera", "Trichoptera")
_WHOLE: Final = 100.0
_OTHER: Final = MODEL_GROUPS.index("Other")


def measure_affinity(tally: Tally, *, model: Mapping[str, float] = DEFAULT_MODEL) -> Floats:
    """Compute the percent model affinity of each sample.

    Parameters
    ----------
    tally
        The counts.
    model
        Percent of each of `MODEL_GROUPS` in the model.

    Returns
    -------
    numpy.ndarray
        One number for each sample, 0 to 100; NaN where no individual was found.

    Raises
    ------
    ValueError
        The model does not give the seven groups, or not 100 percent.
    """
    check_model(model)
    width, size = len(MODEL_GROUPS), len(tally.samples)
    group = place_in_groups(tally.taxa)[tally.taxon]
    place = tally.sample * width + group
    sums = np.bincount(place, weights=tally.individuals, minlength=size * width).reshape(size, width)
    total = sums.sum(axis=1)
    wanted = np.array([model[name] for name in MODEL_GROUPS])
    # in individuals, not percent: equal shares then give exactly 100
    shared = np.minimum(sums * _WHOLE, wanted * total[:, None]).sum(axis=1)
    return np.minimum(divide(shared, total), _WHOLE)


def place_in_groups(taxa: pd.DataFrame) -> Places:
    """Say to which group of a model each taxon belongs.

    Parameters
    ----------
    taxa
        Indexed by accepted name: family, order, group.

    Returns
    -------
    numpy.ndarray
        Positions in `MODEL_GROUPS`.
    """
    place = np.full(len(taxa), _OTHER, dtype=np.intp)
    place[(taxa["group"] == "Oligochaeta").to_numpy(dtype=bool)] = MODEL_GROUPS.index("Oligochaeta")
    for order in _ORDERS:
        place[(taxa["order"] == order).to_numpy(dtype=bool)] = MODEL_GROUPS.index(order)
    place[(taxa["family"] == "Chironomidae").to_numpy(dtype=bool)] = MODEL_GROUPS.index("Chironomidae")
    return place


def check_model(model: Mapping[str, float]) -> None:
    """Refuse a model that is none.

    Parameters
    ----------
    model
        Percent by group.

    Raises
    ------
    ValueError
        A group is missing, unknown or not between 0 and 100 percent, or they do not add up to 100; the
        message says which and how to mend it.
    """
    groups = ", ".join(MODEL_GROUPS)
    for name in model:
        if name not in MODEL_GROUPS:
            raise ValueError(f"{name!r} is no group of the model: the groups are {groups}")
    for name in MODEL_GROUPS:
        if name not in model:
            raise ValueError(f"the model says nothing of {name}: give a percentage, 0 if there is none")
        if not 0 <= model[name] <= _WHOLE:
            raise ValueError(f"the model gives {model[name]} percent of {name}: give 0 to 100")
    total = math.fsum(model.values())
    if not math.isclose(total, _WHOLE, abs_tol=1e-6):
        raise ValueError(f"the groups of the model add up to {total:g} percent: change them to give 100")
