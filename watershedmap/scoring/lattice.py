"""The distribution of the mean of a sample when its individuals are drawn again.

Drawing ``n`` individuals anew from a sample, each alike and with replacement, gives a sum of ``n``
independent values. Values of a printed table lie on a lattice (whole numbers or tenths), so the sum does as
well, and its probabilities are the inverse Fourier transform of ``phi(w) ** n``, with ``phi`` the transform
of the sample's own shares. Few frequencies matter, because ``abs(phi(w)) ** n`` falls off fast; those are
kept, and quantiles are found by halving. Samples that need windows alike go together; nothing is drawn at
random.

The transform is taken over a window about the mean that leaves out less than `_LEFT_OUT` of the
probability, by Bernstein's inequality. Values that lie on no decimal lattice are moved to one of `_FINE`
steps across their range, and the distribution is then shifted so that its mean is the sample's own. Sums
that need more than
`_WIDEST` points (very large samples) are left to the caller, who takes the normal distribution for them.

Source: Bernstein's inequality and the transform of a convolution are textbook matter; the resampling itself
is the nonparametric bootstrap, Efron 1979, Annals of Statistics 7:1-26 (from memory).

Bias: drawing again gives the mean a variance of (n - 1) / n of the unbiased one. `stretch` mends that: all
distances from the mean are multiplied by ``sqrt(n / (n - 1))``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, cast

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Places = npt.NDArray[np.intp]
    Complexes = npt.NDArray[np.complex128]
    Waves = tuple[Floats, Floats]

_LEFT_OUT: Final = 1e-9
_FINE: Final = 1000
_WIDEST: Final = 2**16
_NARROWEST: Final = 64
_CELLS: Final = 2**22
_NEGLIGIBLE: Final = -28.0
"""Natural logarithm below which a Fourier term is taken for zero."""
_STEPS: Final = (1.0, 0.5, 0.1, 0.01)
_NOISE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Groups:
    """Samples as individuals by value."""

    values: Floats
    """The different values, rising."""
    individuals: Floats
    """One row a sample, one column a value."""

    @property
    def total(self) -> Floats:
        """Individuals of each sample."""
        return cast("Floats", self.individuals.sum(axis=1))

    @property
    def mean(self) -> Floats:
        """Mean value of each sample; NaN without individuals."""
        with np.errstate(invalid="ignore"):
            return (self.individuals @ self.values) / self.total

    @property
    def error(self) -> Floats:
        """Standard error of each mean: the unbiased standard deviation over the root of the number.

        NaN where all individuals share one value: what else lives there the sample cannot say.
        """
        total, mean = self.total, self.mean
        spread = np.square(self.values[None, :] - mean[:, None])
        with np.errstate(invalid="ignore", divide="ignore"):
            variance = (self.individuals * spread).sum(axis=1) / (total - 1) / total
        several = (self.individuals > 0).sum(axis=1) > 1
        return np.where(several, np.sqrt(np.where(several, variance, 0.0)), np.nan)


@dataclass(frozen=True, slots=True)
class Batch:
    """Distributions of the means of some samples, one row each, on a window of lattice points.

    The cumulative probability of the first m points of a row is
    ``m / size + sum(Re(weight * (1 - exp(-1j * frequency * m))))`` over the terms of that row.
    """

    rows: Places
    """Rows of the samples."""
    first: Floats
    """Value of the first point of each row, stretched."""
    step: Floats
    """Distance between the points of each row, stretched."""
    size: int
    """Points of the window."""
    row: Places
    """Row in this batch of each Fourier term; rising."""
    frequency: Floats
    """Angular frequency of each term."""
    weight: Complexes
    """Weight of each term."""

    def cumulate(self, points: Floats) -> Floats:
        """Find the probability of the first points of each row.

        Parameters
        ----------
        points
            Number of points, 0 to `size`, one a row.

        Returns
        -------
        numpy.ndarray
            One probability a row, 0 to 1.
        """
        turn = self.frequency * points[self.row]
        part = self.weight.real * (1 - np.cos(turn)) - self.weight.imag * np.sin(turn)
        found = points / self.size + np.bincount(self.row, weights=part, minlength=len(self.rows))
        return np.clip(found, 0.0, 1.0)

    def quantile(self, share: float) -> Floats:
        """Find the smallest point at which the cumulative probability reaches a share.

        Parameters
        ----------
        share
            Above 0 and below 1.

        Returns
        -------
        numpy.ndarray
            One value a row.
        """
        low, high = np.zeros(len(self.rows)), np.full(len(self.rows), float(self.size))
        for _ in range(self.size.bit_length()):
            middle = np.floor((low + high) / 2)
            reached = self.cumulate(middle) >= share - _NOISE
            high = np.where(reached, middle, high)
            low = np.where(reached, low, np.minimum(middle + 1, high))
        return cast("Floats", self.first + self.step * (high - 1))

    def below(self, edges: Floats) -> Floats:
        """Find the probability of a mean below each edge.

        Parameters
        ----------
        edges
            Values, rising.

        Returns
        -------
        numpy.ndarray
            One row a sample, one column an edge.
        """
        places = np.ceil((edges[None, :] - self.first[:, None]) / self.step[:, None])
        columns = [self.cumulate(np.clip(place, 0, self.size)) for place in places.T]
        return cast("Floats", np.maximum.accumulate(np.stack(columns, axis=1), axis=1))


def find_step(values: Floats) -> float:
    """Find the widest decimal lattice that holds all values.

    Parameters
    ----------
    values
        At least one finite value.

    Returns
    -------
    float
        1, 0.5, 0.1 or 0.01; where none fits, a thousandth of the range.
    """
    for step in _STEPS:
        if np.all(np.abs(values / step - np.rint(values / step)) < _NOISE / step):
            return step
    return float(np.ptp(values)) / _FINE


def resample_means(groups: Groups) -> Iterator[Batch]:
    """Give the distribution of the mean of every sample, in batches of samples that need windows alike.

    Parameters
    ----------
    groups
        The samples. Those with one value only, and those too large for the window, are in no batch.

    Returns
    -------
    iterator of Batch
        Each sample is in one batch at most.
    """
    several = np.flatnonzero((groups.individuals > 0).sum(axis=1) > 1)
    if not len(several):
        return
    step = find_step(groups.values)
    lattice = np.rint((groups.values - groups.values[0]) / step)
    common = float(np.gcd.reduce(lattice.astype(np.int64)))
    lattice, step = lattice / common, step * common
    width = _find_widths(groups.individuals[several], lattice)
    for size in np.unique(width[width <= _WIDEST]).astype(int).tolist():
        alike = several[width == size]
        turn = np.outer(lattice, 2 * np.pi / size * np.arange(1, size // 2 + 1))
        waves = np.cos(turn), np.sin(turn)
        for rows in np.array_split(alike, math.ceil(len(alike) * size / _CELLS)):
            part = Groups(groups.values, groups.individuals[rows])
            yield _make_batch(part, rows, lattice, step, waves)


def _find_widths(individuals: Floats, lattice: Floats) -> Floats:
    """Find the points, a power of two, that leave next to nothing of each sum outside."""
    total = individuals.sum(axis=1)
    mean = individuals @ lattice / total
    variance = np.maximum(individuals @ lattice**2 - total * mean**2, 0.0)
    lowest, highest = _find_ends(individuals, lattice)
    bound = np.maximum(highest - mean, mean - lowest)
    log = math.log(2 / _LEFT_OUT)
    reach = log * bound / 3 + np.sqrt((log * bound / 3) ** 2 + 2 * log * variance)
    points = np.minimum(2 * reach + 3, total * (highest - lowest) + 3)
    return cast("Floats", np.maximum(2.0 ** np.ceil(np.log2(points)), _NARROWEST))


def _find_ends(individuals: Floats, lattice: Floats) -> Floats:
    """Lowest and highest value present in each row, as two rows."""
    present = individuals > 0
    last = len(lattice) - 1 - present[:, ::-1].argmax(axis=1)
    return np.stack([lattice[present.argmax(axis=1)], lattice[last]])


def _make_batch(groups: Groups, rows: Places, lattice: Floats, step: float, waves: Waves) -> Batch:
    """Make the batch of some samples; `lattice` holds each value as a whole number of steps."""
    total, size = groups.total, 2 * waves[0].shape[1]
    centre = groups.individuals @ lattice
    # A window that holds the whole range starts at its lower end, so that nothing wraps round.
    lowest, highest = _find_ends(groups.individuals, lattice) * total
    start = np.clip(np.floor(centre) - size // 2, lowest, np.maximum(lowest, highest - size + 1))
    row, column, power = _transform(groups.individuals / total[:, None], total, waves)
    frequency = 2 * np.pi / size * column
    # Each frequency stands for its negative too; only the highest is its own.
    twice = np.where(column == size // 2, 1.0, 2.0) / size
    stretch = np.sqrt(total / (total - 1)) * step / total
    return Batch(
        rows=rows,
        # Distances count from the sample's own mean, which also undoes a move to the fine lattice.
        first=groups.mean + stretch * (start - centre),
        step=stretch,
        size=size,
        row=row,
        frequency=frequency,
        weight=twice * power * np.exp(-1j * frequency * start[row]) / (1 - np.exp(-1j * frequency)),
    )


def _transform(share: Floats, total: Floats, waves: Waves) -> tuple[Places, Places, Complexes]:
    """Return the terms of phi ** n that are not negligible: row, number of the frequency, value.

    All frequencies are looked through at single precision, and only those that matter are computed in full.
    """
    single = share.astype(np.float32)
    real, imaginary = (single @ wave.astype(np.float32) for wave in waves)
    real *= real
    imaginary *= imaginary
    real += imaginary
    active = real > np.exp(2 * _NEGLIGIBLE / total).astype(np.float32)[:, None]
    needed = np.flatnonzero(active.any(axis=0))
    row, place = np.nonzero(active[:, needed])
    cosine, sine = ((share @ wave[:, needed])[row, place] for wave in waves)
    decay = 0.5 * np.log(np.maximum(cosine**2 + sine**2, np.finfo(float).tiny))
    value = np.exp(total[row] * (decay + 1j * np.arctan2(sine, cosine)))
    return row, needed[place] + 1, value
