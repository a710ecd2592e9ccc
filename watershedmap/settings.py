"""The settings of a survey: what `survey.toml` may say, frozen, each with its default.

`watershedmap.readers.settings` reads and checks the file.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

SETTINGS_FILE = "survey.toml"

TABLE_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "sites": ("site_id", "name", "longitude", "latitude", "crs", "reach_id", "notes"),
    "samples": ("sample_id", "site_id", "date", "method", "replicate"),
    "counts": ("sample_id", "taxon", "count"),
    "scores": ("sample_id", "site_id", "date", "score", "method", "replicate"),
    "reaches": ("reach_id", "name", "downstream_id", "from_node", "to_node"),
    "subwatersheds": ("subwatershed_id", "name"),
}
"""Our own column names of each table and layer; `[columns.<table>]` maps them to the file's names."""

TABLES = ("sites", "samples", "counts", "scores")
LAYERS = ("reaches", "subwatersheds")
DIRECTIONS = ("check", "drawn", "unknown")
UNKNOWN_TAXA = ("keep", "stop")


@dataclass(frozen=True, slots=True)
class Layer:
    """Where one map layer lies."""

    path: str
    """File, relative to the survey folder."""
    layer: str | None = None
    """Name of the layer inside the file; None for the only or first one."""


@dataclass(frozen=True, slots=True)
class ClassSetting:
    """One class of an index that the survey defines itself."""

    label: str
    """Word for the class."""
    limit: float | None
    """Value at the worse end of the class, belonging to it; None for the worst class."""


@dataclass(frozen=True, slots=True)
class IndexSettings:
    """Which number stands for condition."""

    use: str = "family_biotic_index"
    """Name of a built-in index or metric, or `scores` for scores brought in."""
    label: str = ""
    """Wording for pages, when the index is not built in."""
    better: str = ""
    """`low` or `high`: which end of the index is good condition; empty for a built-in index."""
    classes: tuple[ClassSetting, ...] = ()
    """Classes from best to worst; empty for a built-in index."""
    source: str = ""
    """Where the index and its classes are published."""


@dataclass(frozen=True, slots=True)
class Options:
    """Figures and choices that steer the computation. The defaults are stated on the methods page."""

    recent_years: int = 3
    """Condition is the mean of this many calendar years, up to the site's last sampled year."""
    stale_after_years: int = 5
    """A site last sampled longer ago than this, at the last year of the survey, says nothing of today."""
    min_individuals: int = 100
    """Samples with fewer individuals, or an index from fewer, are flagged."""
    use_small_samples: bool = True
    """Whether flagged small samples enter condition and trend."""
    methods: tuple[str, ...] = ()
    """Only samples taken with these methods are used; empty for all."""
    unknown_taxa: str = "keep"
    """`keep`: names that no table knows stay in totals and richness; `stop`: they are faults."""
    date_format: str = "%Y-%m-%d"
    """How dates are written in the tables, in the codes of `strftime`."""
    snap_m: float = 200.0
    """A site farther than this from every reach is placed on none, metres."""
    join_m: float = 1.0
    """Line ends nearer than this to each other meet, metres; only where topology comes from line ends."""
    direction: str = "check"
    """How far the drawn direction of lines is believed: `drawn`, `unknown`, or `check` it first."""
    influence_km: float = 10.0
    """Condition is inferred no farther than this along the flow, kilometres."""
    half_distance_km: float = 3.0
    """Distance along the flow at which the weight of a site is halved, kilometres."""
    min_size_ratio: float = 0.1
    """A site says nothing of a reach whose upstream length is below this share of its own, or the reverse."""
    min_trend_years: int = 5
    """With fewer years the trend is `too few years`."""
    trend_alpha: float = 0.05
    """Two-sided significance level of the trend test."""


@dataclass(frozen=True, slots=True)
class Settings:
    """All that `survey.toml` says."""

    title: str
    """Name of the survey, shown on every page."""
    about: str
    """A sentence or two about the data, shown on every page."""
    tables: Mapping[str, str]
    """Path of each table, relative to the survey folder."""
    layers: Mapping[str, Layer]
    """Place of each layer."""
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """Per table or layer: our column name to the file's."""
    index: IndexSettings = field(default_factory=IndexSettings)
    """Which number stands for condition."""
    options: Options = field(default_factory=Options)
    """Figures and choices."""

    def column(self, table: str, name: str) -> str:
        """Name that a file gives to one of our columns.

        Parameters
        ----------
        table
            One of the keys of `TABLE_COLUMNS`.
        name
            Our name for the column.

        Returns
        -------
        str
            The file's own name; ours when `survey.toml` names no other.
        """
        return self.columns.get(table, {}).get(name, name)

    def as_dict(self) -> dict[str, Any]:
        """All settings, defaults included, as plain JSON types.

        Returns
        -------
        dict
            Fit for `json.dumps`.
        """
        return {
            "title": self.title,
            "about": self.about,
            "tables": dict(self.tables),
            "layers": {name: asdict(layer) for name, layer in self.layers.items()},
            "columns": {table: dict(names) for table, names in self.columns.items()},
            "index": asdict(self.index),
            "options": asdict(self.options),
        }
