"""The settings of a survey: what `survey.toml` may say, frozen, each with its default.

`watershedmap.readers.settings` reads and checks the file.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from watershedmap.settings_plan import PlanSettings
from watershedmap.settings_rank import RankSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

SETTINGS_FILE = "survey.toml"

TABLE_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "sites": (
        "site_id",
        "name",
        "longitude",
        "latitude",
        "crs",
        "reach_id",
        "stream",
        "upstream_area_km2",
        "notes",
    ),
    "samples": (
        "sample_id",
        "site_id",
        "date",
        "method",
        "replicate",
        "fraction_sorted",
        "grids_picked",
        "grids_total",
        "area_m2",
        "minutes",
        "sorting_efficiency",
        "taxonomic_disagreement",
        "count_difference",
    ),
    "counts": ("sample_id", "taxon", "count"),
    "scores": ("sample_id", "site_id", "date", "score", "method", "replicate"),
    "taxa": (
        "taxon",
        "rank",
        "family",
        "order",
        "group",
        "tolerance",
        "common_name",
        "sensitivity",
        "bmwp",
        "excluded",
        "source",
    ),
    "barriers": ("barrier_id", "name", "kind", "longitude", "latitude", "crs", "reach_id"),
    "reaches": (
        "reach_id",
        "name",
        "downstream_id",
        "from_node",
        "to_node",
        "nested_code",
        "share",
        "area_km2",
        "upstream_area_km2",
        "length_km",
        "stream_order",
        "start_elevation_m",
        "end_elevation_m",
        "width_m",
        "barrier",
        "group",
    ),
    "subwatersheds": ("subwatershed_id", "name", "downstream_id"),
}
"""Our own column names of each table and layer; `[columns.<table>]` maps them to the file's names."""

AFFINITY_GROUPS = (
    "Oligochaeta",
    "Ephemeroptera",
    "Plecoptera",
    "Coleoptera",
    "Trichoptera",
    "Chironomidae",
    "Other",
)
"""The groups of the model of percent model affinity."""
TABLES = ("sites", "samples", "counts", "scores", "taxa", "barriers")
LAYERS = ("reaches", "subwatersheds")
DIRECTIONS = ("check", "drawn", "unknown")
CYCLES = ("stop", "leave_out")
DIVERGENCES = ("equal", "area", "order")
UNKNOWN_TAXA = ("keep", "stop")
TOLERANCES = (
    "hilsenhoff_1988",
    "rbp_southeast",
    "rbp_upper_midwest",
    "rbp_midwest",
    "rbp_northwest",
    "rbp_midatlantic",
)
"""Built-in columns of tolerance values; a survey's own table of taxa may bring others."""

NOTE = "note"
LEAVE_OUT = "leave out"
ACTIONS = (NOTE, LEAVE_OUT)
"""What may be done with a sample that a check hits: say so, or keep it out of condition and trend."""


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
    definition: str = ""
    """TOML file, relative to the survey folder, that defines an index of several metrics; it stands in place
    of `use` and of classes."""


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
    tolerance: str = "hilsenhoff_1988"
    """Which tolerance values are used: a built-in column, or a column of the survey's own table of taxa."""
    rarefy_to: int = 100
    """Individuals that richness is compared at when samples differ in size."""
    index_period: tuple[str, ...] = ()
    """First and last day of the season that the index is meant for, each `MM-DD`; empty for all the year."""
    last_date: str = ""
    """Last day that a sample can be of, `YYYY-MM-DD`; empty: late dates are judged by the gap before them."""
    date_format: str = "%Y-%m-%d"
    """How dates are written in the tables, in the codes of `strftime`."""
    snap_m: float = 200.0
    """A site farther than this from every reach is placed on none, metres."""
    join_m: float = 1.0
    """Line ends nearer than this to each other meet, metres; only where topology comes from line ends."""
    direction: str = "check"
    """How far the drawn direction of lines is believed: `drawn`, `unknown`, or `check` it first."""
    cycles: str = "stop"
    """`stop`: reaches that flow in a circle are faults; `leave_out`: they are shown, and not traced."""
    divergence: str = "equal"
    """How water divides where the layer gives no shares: `equal`, or all of it down the branch that has the
    largest upstream `area` or the highest `order` in the layer."""
    near_miss_m: float = 20.0
    """Line ends nearer than this that do not meet are reported, metres."""
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
    false_discovery: float = 0.05
    """Share of false findings allowed among clear steps, and among the trends that are said to hold."""
    min_step_pairs: int = 6
    """With fewer pairs of years (or seasons) a step is `too few pairs`; five can never come to p = 0.05."""
    seasons: tuple[str, ...] = ()
    """First day of each season, `MM-DD`, to pair samples by year and season; empty to pair them by year."""


@dataclass(frozen=True, slots=True)
class CheckSetting:
    """What one check of sample quality goes by."""

    limit: float | None = None
    """Value beyond which it hits; None for a check that is a yes or no."""
    action: str = NOTE
    """`note`: a sample that it hits is flagged; `leave out`: it enters neither condition nor trend."""


@dataclass(frozen=True, slots=True)
class Quality:
    """The checks of sample quality that a survey may set; `watershedmap.scoring.checks` says what each asks.

    The smallest number of individuals is set by `min_individuals` and `use_small_samples` among the options.
    """

    outside_index_period: CheckSetting = CheckSetting()
    """Date outside `index_period` of the options."""
    method_change: CheckSetting = CheckSetting()
    """Taken by another method than most samples of the site."""
    duplicate_sample: CheckSetting = CheckSetting()
    """Same site, date, method and replicate as an earlier row."""
    sorting_efficiency: CheckSetting = CheckSetting(90.0)
    """Lowest sorting efficiency, percent."""
    taxonomic_disagreement: CheckSetting = CheckSetting(15.0)
    """Highest disagreement of two identifications, percent."""
    count_difference: CheckSetting = CheckSetting(5.0)
    """Highest difference of two counts, percent."""
    without_value: CheckSetting = CheckSetting(10.0)
    """Highest share of individuals without a value for the index, percent."""
    coarse_identification: CheckSetting = CheckSetting(20.0)
    """Highest share of individuals named to order or above, percent."""
    dominant_taxon: CheckSetting = CheckSetting(80.0)
    """Highest share of one taxon, percent."""
    unknown_names: CheckSetting = CheckSetting(0.0)
    """Most individuals under a name that no table knows."""
    late_date: CheckSetting = CheckSetting(3.0)
    """Longest gap before the last few dates of the survey, years; not asked when `last_date` is given."""


@dataclass(frozen=True, slots=True)
class MapSettings:
    """What the map page offers beside the survey itself."""

    tiles: str = ""
    """Address of the tiles of a background map, with `{z}`, `{x}` and `{y}` in it; empty for none. A reader's
    browser asks for them only when the reader switches them on."""
    attribution: str = ""
    """Who made the background map, in the words that its maker asks for; shown while it is on."""

    @property
    def host(self) -> str:
        """The one host that a page with a background map may ask for pictures; empty without one."""
        return self.tiles.removeprefix("https://").partition("/")[0].lower()


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
    affinity_model: Mapping[str, float] = field(default_factory=dict)
    """Percent of each of the seven groups in the model of percent model affinity; empty for the built-in."""
    quality: Quality = field(default_factory=Quality)
    """What the checks of sample quality go by."""
    map: MapSettings = field(default_factory=MapSettings)
    """What the map page offers beside the survey itself."""
    rank: RankSettings = field(default_factory=RankSettings)
    """What the order of restoration need goes by."""
    plan: PlanSettings = field(default_factory=PlanSettings)
    """How next season's visits are chosen."""

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
            "quality": asdict(self.quality),
            "affinity_model": dict(self.affinity_model),
            "map": asdict(self.map),
            "rank": asdict(self.rank),
            "plan": self.plan.as_dict(),
        }
