"""Reads and checks `survey.toml`.

Every key has one place and one meaning; an unknown key is a fault, because a misspelt option that is
quietly ignored changes results. Faults are gathered, not raised one by one.
"""

from __future__ import annotations

import tomllib
from dataclasses import fields, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from watershedmap.errors import Fault, SurveyNotFoundError
from watershedmap.readers.map_settings import read_map
from watershedmap.readers.plan_settings import PLAN_KEYS, read_plan_settings
from watershedmap.readers.rank_settings import RANK_KEYS, read_rank
from watershedmap.readers.sections import (
    LARGEST,
    Section,
    has_kind_of,
    is_number,
    match_kind,
    name_kind,
    shown,
)
from watershedmap.settings import (
    ACTIONS,
    AFFINITY_GROUPS,
    CYCLES,
    DIRECTIONS,
    DIVERGENCES,
    LAYERS,
    LEAVE_OUT,
    NOTE,
    SETTINGS_FILE,
    TABLE_COLUMNS,
    TABLES,
    TOLERANCES,
    UNKNOWN_TAXA,
    CheckSetting,
    ClassSetting,
    IndexSettings,
    Layer,
    MapSettings,
    Options,
    Quality,
    Settings,
)

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


_CHOICES = {
    "direction": DIRECTIONS,
    "unknown_taxa": UNKNOWN_TAXA,
    "cycles": CYCLES,
    "divergence": DIVERGENCES,
}

SMALL_SAMPLES = "few_individuals"
"""Check whose limit and action are options; it may be written under [quality] instead."""
PERCENTS = frozenset(
    {
        "sorting_efficiency",
        "taxonomic_disagreement",
        "count_difference",
        "without_value",
        "coarse_identification",
        "dominant_taxon",
    }
)
"""Checks whose limit is a percentage."""
LEAP_YEAR = 2024
"""Year that a day of the year is read in, so that 29 February is one."""


def read_settings(folder: Path) -> tuple[Settings, list[Fault]]:
    """Read and check `survey.toml`.

    Parameters
    ----------
    folder
        The survey folder.

    Returns
    -------
    Settings
        With defaults in place of what is missing or at fault.
    list of Fault
        All faults of the file; the settings are not to be used when there are any.

    Raises
    ------
    SurveyNotFoundError
        When the folder or its `survey.toml` is not there or cannot be read.
    """
    path = folder / SETTINGS_FILE
    if not folder.is_dir():
        raise SurveyNotFoundError(f"there is no folder {folder}")
    if not path.is_file():
        raise SurveyNotFoundError(f"{folder} is not a survey folder: it holds no {SETTINGS_FILE}")
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise SurveyNotFoundError(f"{path} cannot be read: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        fix = "see https://toml.io for how such a file is written, and save it as UTF-8"
        fault = Fault(SETTINGS_FILE, None, "", "", f"this is not valid TOML: {error}", fix)
        return Settings(title=folder.resolve().name, about="", tables={}, layers={}), [fault]
    return _parse(document, default_title=folder.resolve().name)


def _parse(document: Mapping[str, Any], *, default_title: str) -> tuple[Settings, list[Fault]]:
    faults: list[Fault] = []
    known = (
        "survey",
        "tables",
        "layers",
        "columns",
        "index",
        "options",
        "quality",
        "affinity_model",
        "rank",
        "plan",
        "map",
    )
    whole = Section(document, "", known, faults)
    survey = whole.inner("survey", ("title", "about"))
    tables = whole.inner("tables", TABLES)
    checks = (SMALL_SAMPLES, *(item.name for item in fields(Quality)))
    options, quality = _read_quality(
        whole.inner("quality", checks),
        _read_options(whole.inner("options", tuple(item.name for item in fields(Options)))),
        given=document.get("options", {}),
    )
    settings = Settings(
        title=survey.text("title", default=default_title),
        about=survey.text("about"),
        tables={name: path for name in TABLES if (path := tables.path(name))},
        layers=_read_layers(whole.inner("layers", LAYERS)),
        columns=_read_columns(whole.inner("columns", tuple(TABLE_COLUMNS))),
        index=_read_index(whole.inner("index", tuple(item.name for item in fields(IndexSettings)))),
        options=options,
        quality=quality,
        affinity_model=_read_model(whole.inner("affinity_model", AFFINITY_GROUPS)),
        map=read_map(whole.inner("map", tuple(item.name for item in fields(MapSettings)))),
        rank=read_rank(whole.inner("rank", RANK_KEYS)),
        plan=read_plan_settings(whole.inner("plan", PLAN_KEYS)),
    )
    _check_whole(whole, settings)
    return settings, faults


def _read_model(section: Section) -> dict[str, float]:
    """Read the percentages of a model; whether they make one is asked where it is used."""
    model = {}
    for name, value in section.values.items():
        if not is_number(value):
            section.fault(name, value, "not a number", "give the group's percentage of individuals")
        elif name in AFFINITY_GROUPS:
            model[name] = float(value)
    return model


def _read_layers(section: Section) -> dict[str, Layer]:
    """Read each layer, written as a path or as a path and the layer's name in the file."""
    layers = {}
    for name in LAYERS:
        if isinstance(section.values.get(name), dict):
            inner = section.inner(name, ("path", "layer"))
            path, layer = inner.path("path"), inner.text("layer")
        else:
            path, layer = section.path(name), ""
        if path:
            layers[name] = Layer(path, layer or None)
    return layers


def _read_columns(section: Section) -> dict[str, dict[str, str]]:
    columns: dict[str, dict[str, str]] = {}
    for table, names in TABLE_COLUMNS.items():
        inner = section.inner(table, names)
        given = {name: text for name in names if (text := inner.text(name))}
        if given:
            columns[table] = given
    return columns


def _read_index(section: Section) -> IndexSettings:
    for name in ("use", "better", "classes") if "definition" in section.values else ():
        if name in section.values:
            fix = "leave it out: the file named by definition says it, or leave definition out"
            section.fault(name, section.values[name], "this stands beside a definition", fix)
    return IndexSettings(
        use=section.text("use", default=IndexSettings().use),
        label=section.text("label"),
        better=section.choice("better", ("low", "high")),
        classes=_read_classes(section),
        source=section.text("source"),
        definition=section.path("definition"),
    )


def _read_classes(section: Section) -> tuple[ClassSetting, ...]:
    entries = section.values.get("classes", [])
    if not isinstance(entries, list):
        fix = "write one [[index.classes]] block per class"
        section.fault("classes", entries, "not a list of classes", fix)
        return ()
    classes = []
    for number, entry in enumerate(entries, start=1):
        inner = Section(entry, section.key(f"classes {number}"), ("label", "limit"), section.faults)
        limit = inner.values.get("limit")
        if limit is not None and not is_number(limit):
            inner.fault("limit", limit, "not a number", "give the value at the worse end of the class")
            limit = None
        classes.append(ClassSetting(inner.text("label"), None if limit is None else float(limit)))
    return tuple(classes)


def _read_options(section: Section) -> Options:
    checked: dict[str, Any] = {}
    for item in fields(Options):
        if item.name not in section.values:
            continue
        value, default = section.values[item.name], getattr(Options(), item.name)
        if has_kind_of(value, default):
            checked[item.name] = match_kind(value, default)
        else:
            section.fault(item.name, value, f"not {name_kind(default)}", _show_default(item.name, default))
    options = Options(**checked)
    _check_ranges(section, options)
    return options


def _show_default(name: str, default: object) -> str:
    """Say what an option is like, for a fault."""
    if name == "index_period":
        return 'write the first and last day as a list, such as ["04-01", "06-30"]'
    return f"the default is {shown(default) or 'empty'}"


def _check_ranges(section: Section, options: Options) -> None:
    minimum = {
        "recent_years": 1,
        "stale_after_years": 0,
        "min_individuals": 0,
        "rarefy_to": 2,  # one individual is always one taxon
        "snap_m": 0,
        "join_m": 0,
        "influence_km": 0,
        "min_size_ratio": 0,
        "near_miss_m": 0,
        "min_step_pairs": 4,  # the same holds for pairs
        "min_trend_years": 4,  # under four values no two-sided test can reach 0.1: nothing could be claimed
    }
    for name, low in minimum.items():
        if getattr(options, name) < low:
            section.fault(name, getattr(options, name), f"less than {low}", f"give {low} or more")
    _check_levels(section, options)
    for name, choices in _CHOICES.items():
        if getattr(options, name) not in choices:
            fix = f"choose from: {', '.join(choices)}"
            section.fault(name, getattr(options, name), "not one of the choices", fix)
    _check_days(section, options)


def _check_levels(section: Section, options: Options) -> None:
    if options.half_distance_km <= 0:
        section.fault("half_distance_km", options.half_distance_km, "not above 0", "give kilometres above 0")
    if options.min_size_ratio > 1:
        section.fault("min_size_ratio", options.min_size_ratio, "more than 1", "give a share from 0 to 1")
    for name in ("trend_alpha", "false_discovery"):
        level = getattr(options, name)
        if not 0 < level < 0.5:  # noqa: PLR2004 - a level of one half would call a coin toss a trend
            section.fault(name, level, "not between 0 and 0.5", "the usual level is 0.05")
    if not _is_date_format(options.date_format):
        fix = "use codes of strftime with %Y in them, such as %Y-%m-%d or %d/%m/%Y"
        section.fault("date_format", options.date_format, "not a form of dates that can be read", fix)


def _check_days(section: Section, options: Options) -> None:
    """Check the season that the index is meant for, and the last day that a sample can be of."""
    period = options.index_period
    if period and not (len(period) == len(("first", "last")) and all(map(_is_day_of_year, period))):
        fix = 'give the first and the last day, each as MM-DD: ["04-15", "06-15"]'
        section.fault("index_period", period, "not two days of the year", fix)
    if not all(map(_is_day_of_year, options.seasons)):
        fix = 'give the first day of each season as MM-DD: ["03-01", "06-01", "09-01", "12-01"]'
        section.fault("seasons", options.seasons, "not days of the year", fix)
    if options.last_date and not _is_read_by(options.last_date, "%Y-%m-%d"):
        fix = 'write it as YYYY-MM-DD in quotation marks: "2025-12-31"'
        section.fault("last_date", options.last_date, "this is not a date", fix)


def _is_day_of_year(text: str) -> bool:
    return _is_read_by(f"{LEAP_YEAR}-{text}", "%Y-%m-%d")


def _is_read_by(text: str, form: str) -> bool:
    """Tell whether a text is a date written in full: `4-5` is read too, but would not sort as text does."""
    try:
        return datetime.strptime(text, form).strftime(form) == text  # noqa: DTZ007 - a day has no zone
    except ValueError:
        return False


def _read_quality(section: Section, options: Options, *, given: Mapping[str, Any]) -> tuple[Options, Quality]:
    """Read each check; that of small samples is written into the options, so that it is said in one place."""
    settings = {
        item.name: _read_check(section, item.name, getattr(Quality(), item.name))
        for item in fields(Quality)
        if item.name in section.values
    }
    quality = Quality(**settings)
    if SMALL_SAMPLES not in section.values:
        return options, quality
    twice = {"min_individuals", "use_small_samples"} & (given.keys() if isinstance(given, dict) else set())
    for name in sorted(twice):
        fix = f"give it once: here, or as {name} under [options]"
        section.fault(SMALL_SAMPLES, name, "this is set under [options] too", fix)
    small = CheckSetting(options.min_individuals, NOTE if options.use_small_samples else LEAVE_OUT)
    small = _read_check(section, SMALL_SAMPLES, small)
    assert small.limit is not None  # noqa: S101 - a check with a default limit keeps one
    if small.limit % 1:
        section.fault(f"{SMALL_SAMPLES}.limit", small.limit, "not a whole number", "give whole individuals")
    use = small.action != LEAVE_OUT
    return replace(options, min_individuals=int(small.limit), use_small_samples=use), quality


def _read_check(section: Section, name: str, default: CheckSetting) -> CheckSetting:
    """Read the limit and the action of one check; what is not said has its default."""
    has_limit = default.limit is not None
    inner = section.inner(name, ("limit", "action") if has_limit else ("action",))
    limit = inner.values.get("limit", default.limit)
    highest = 100 if name in PERCENTS else LARGEST
    if has_limit and not (is_number(limit) and 0 <= limit <= highest):
        expected = f"a number from 0 to {highest}" if name in PERCENTS else "a number, 0 or more"
        inner.fault("limit", limit, f"not {expected}", f"the default is {default.limit:g}")
        limit = default.limit
    action = inner.choice("action", ACTIONS) or default.action
    return CheckSetting(float(limit) if has_limit else None, action)


def _is_date_format(form: str) -> bool:
    """Tell whether a date written in the form can be read back: without a year it cannot."""
    day = datetime(2024, 5, 31, tzinfo=UTC)
    try:
        read = datetime.strptime(day.strftime(form), form)  # noqa: DTZ007 - whether it has a zone is asked below
    except ValueError:
        return False
    return read.tzinfo is None and read.date() == day.date()


def _check_whole(whole: Section, settings: Settings) -> None:
    if "sites" not in settings.tables:
        whole.fault(
            "tables.sites", "", "no table of sites is named", 'add sites = "sites.csv" under [tables]'
        )
    if "reaches" not in settings.layers:
        fix = 'add reaches = "streams.gpkg" under [layers]'
        whole.fault("layers.reaches", "", "no layer of stream reaches is named", fix)
    brought = "scores" in settings.tables
    counted = {"samples", "counts"} & settings.tables.keys()
    if brought and counted:
        fix = "keep either samples and counts, or scores"
        whole.fault("tables", "", "both counts and scores are named", fix)
    elif not brought and len(counted) < len(("samples", "counts")):
        fix = "name samples and counts under [tables], or scores"
        whole.fault("tables", "", "no samples with counts, and no scores, are named", fix)
    if not settings.index.definition and brought != (settings.index.use == "scores") and (brought or counted):
        fix = (
            'write use = "scores" under [index]' if brought else "name an index that is computed from counts"
        )
        whole.fault("index.use", settings.index.use, "the index does not fit the tables that are named", fix)
    if brought and settings.index.definition:
        fix = "leave it out, or name samples and counts: it is computed from counts"
        whole.fault("index.definition", settings.index.definition, "this does not fit scores", fix)
    if settings.options.tolerance not in TOLERANCES and "taxa" not in settings.tables:
        near = ", ".join(TOLERANCES)
        fix = f"choose from: {near}; a column of your own needs a table of taxa under [tables]"
        whole.fault(
            "options.tolerance", settings.options.tolerance, "there are no such tolerance values", fix
        )
