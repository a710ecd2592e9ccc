"""What `survey.toml` may say under [plan]: how next season's visits are chosen, each with its default.

All defaults are conventions of this package, stated beside every plan that was made with them.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

PARTS = ("trend", "stale", "border", "unsampled", "step", "reference")
"""The parts that the need of a visit is made of; each has a weight."""


@dataclass(frozen=True, slots=True)
class PlanSettings:
    """How next season's visits are chosen."""

    trend: float = 1.0
    """Weight of a series of years that must go on."""
    stale: float = 1.0
    """Weight of data that have grown old."""
    border: float = 1.0
    """Weight of a class that hangs on its border."""
    unsampled: float = 1.0
    """Weight of a length of stream that no site speaks for."""
    step: float = 1.0
    """Weight of a clear step along the flow that wants bracketing."""
    reference: float = 1.0
    """Weight of a reference site."""
    reference_sites: tuple[str, ...] = ()
    """Ids of the reference sites; with none the part `reference` is unknown everywhere."""
    fixed_sites: tuple[str, ...] = ()
    """Ids of sites that are visited whatever their need."""
    excluded_sites: tuple[str, ...] = ()
    """Ids of sites that are not visited."""
    excluded_reaches: tuple[str, ...] = ()
    """Ids of reaches on which nothing is visited, neither a site nor a new place."""
    keep_trends: bool = True
    """Whether sites whose direction of trend holds among all sites are certain of a visit, as far as there
    are visits."""
    new_share: float = 0.3
    """Expected share of the visits that go to new places, as far as there are visits left to choose."""
    gap_km: float = 10.0
    """An unsampled length that is this long or longer is certain of one visit, longest first, up to
    half of the share of new places, kilometres."""
    sharpness: float = 3.0
    """Power of the need that chances are proportional to: 0 gives all the same chance."""
    sites_per_day: int = 4
    """Most visits in one day of field work."""
    seed: int = 1
    """Start of the random numbers; another one draws another plan of the same design."""
    random_draws: int = 30
    """Random draws that the balance of the plan is compared with."""
    change: float = 1.0
    """Change that one wants to be able to see, in units of the index."""
    change_years: int = 10
    """Years in which that change comes about, at a steady rate."""
    power: float = 0.8
    """Probability with which the trend test is to find that change."""

    def weights(self) -> dict[str, float]:
        """Weight of each part.

        Returns
        -------
        dict
            Keys in the order of `PARTS`.
        """
        return {name: float(getattr(self, name)) for name in PARTS}

    def as_dict(self) -> dict[str, object]:
        """All settings as plain JSON types.

        Returns
        -------
        dict
            Fit for `json.dumps`; the names in the order of the fields.
        """
        values = {item.name: getattr(self, item.name) for item in fields(self)}
        return {name: list(value) if isinstance(value, tuple) else value for name, value in values.items()}
