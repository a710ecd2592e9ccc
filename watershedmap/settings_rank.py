"""What `[rank]` in `survey.toml` may say: weights and limits of the order of restoration need, with defaults.

`watershedmap.readers.rank_settings` reads and checks it; `watershedmap.planning.ranking` says what is made
of it. All defaults are conventions of this package: no source gives weights, which are a choice of those who
decide.
"""

from __future__ import annotations

from dataclasses import dataclass, field

NEEDS = ("high", "low")
"""The end of a column of one's own at which need is greater."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankWeights:
    """Weight of each part, 0 or more; only their ratios count, and a part of weight 0 is only shown."""

    condition: float = 3.0
    """How bad the score is: 0 at the limit of the best class, 1 from the limit of the worst class on."""
    certainty: float = 1.0
    """Probability that it is degraded at all."""
    length: float = 1.0
    """Kilometres of degraded stream that hang together with it (of a sub-watershed: that lie in it)."""
    trend: float = 1.0
    """1 worsening, 0.5 no clear trend, 0 improving; with too few years it is missing."""
    step: float = 1.0
    """Size of a clear step for the worse that leads into it; 0 where it is not clear or for the better."""
    downstream: float = 1.0
    """Kilometres of degraded stream that follow downstream."""
    connection: float = 1.0
    """Kilometres of good stream on the shorter side of it: what would be joined."""
    evidence: float = 1.0
    """Share of what is known that was measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankColumn:
    """A column of numbers of the stream layer that enters as a part."""

    name: str
    """Name of the column in the layer."""
    need: str = "high"
    """Whether need is greater where it is `high` or where it is `low`."""
    weight: float = 1.0
    """Weight beside those of the other parts."""
    least: float | None = None
    """Value that counts as the low end; the lowest in the layer when it is not given."""
    most: float | None = None
    """Value that counts as the high end; the highest in the layer when it is not given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankSettings:
    """All that `[rank]` says."""

    worse_than: str = ""
    """Label of a class: what is worse is degraded and ranked; empty for the middle class of the index."""
    good_to: str = ""
    """Label of the worst class that is good; empty for all that are better than the middle class."""
    full_km: float = 10.0
    """Kilometres from which length, what lies downstream and connection count in full."""
    downstream_km: float = 10.0
    """How far downstream is looked, kilometres along the main branch."""
    step_classes: float = 2.0
    """Size of a step that counts in full, in mean widths of a class."""
    concentration: float = 20.0
    """How closely weights are drawn about the given ones: a weight of share s varies with the standard
    deviation root(s (1 - s) / (concentration + 1))."""
    draws: int = 1000
    """How often weights and scores are drawn."""
    seed: int = 1
    """Where the drawing begins; the same seed gives the same ranges."""
    weights: RankWeights = field(default_factory=RankWeights)
    """Weight of each part."""
    columns: tuple[RankColumn, ...] = ()
    """Columns of one's own, by name."""
