"""Reads and checks `survey.toml`.

Every key has one place and one meaning; an unknown key is a fault, because a misspelt option that is
quietly ignored changes results. Faults are gathered, not raised one by one.
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from watershedmap.errors import Fault, SurveyNotFoundError
from watershedmap.settings import (
    DIRECTIONS,
    LAYERS,
    SETTINGS_FILE,
    TABLE_COLUMNS,
    TABLES,
    UNKNOWN_TAXA,
    ClassSetting,
    IndexSettings,
    Layer,
    Options,
    Settings,
)

if TYPE_CHECKING:
    from collections.abc import Mapping


LARGEST = 1_000_000_000
"""No option or class limit is larger; what is, is a slip."""


class _Section:
    """One section of the file: hands out checked values and gathers faults under the section's name.

    Parameters
    ----------
    values
        The parsed section; anything but a mapping is a fault.
    at
        Dotted name of the section; empty for the whole file.
    allowed
        The keys that it may hold.
    faults
        List that faults are added to, shared by all sections of a file.
    """

    def __init__(self, values: object, at: str, allowed: tuple[str, ...], faults: list[Fault]) -> None:
        self.at = at
        self.faults = faults
        self.values: Mapping[str, Any] = {}
        if not isinstance(values, dict):
            self.fault("", values, "this is not a section", f"write it as a section headed [{at}]")
            return
        self.values = values
        for name in sorted(values.keys() - set(allowed)):
            near = difflib.get_close_matches(name, allowed, n=1)
            hint = f"did you mean `{near[0]}`?" if near else f"known keys: {', '.join(allowed)}"
            self.fault(name, values[name], "unknown key", hint)

    def key(self, name: str) -> str:
        """Dotted name of a key in this section."""
        return ".".join(part for part in (self.at, name) if part)

    def fault(self, name: str, value: object, problem: str, fix: str) -> None:
        """Add one fault at a key of this section."""
        self.faults.append(Fault(SETTINGS_FILE, None, self.key(name), _shown(value), problem, fix))

    def inner(self, name: str, allowed: tuple[str, ...]) -> _Section:
        """Return the section under a key; an absent one is empty."""
        return _Section(self.values.get(name, {}), self.key(name), allowed, self.faults)

    def text(self, name: str, *, default: str = "") -> str:
        """Return a text; anything else is a fault."""
        value = self.values.get(name, default)
        if not isinstance(value, str):
            self.fault(name, value, "this is not text", "put it in quotation marks")
            return default
        return value

    def choice(self, name: str, choices: tuple[str, ...]) -> str:
        """Return one of the choices, or nothing."""
        value = self.text(name)
        if value and value not in choices:
            self.fault(name, value, "not one of the choices", f"choose from: {', '.join(choices)}")
            return ""
        return value

    def path(self, name: str) -> str:
        """Return a path relative to the survey folder.

        A path of one machine makes the survey useless on another, and would show in the manifest.
        """
        path = self.text(name)
        if PurePosixPath(path).is_absolute() or path[1:2] == ":" or path.startswith("\\"):
            self.fault(name, path, "an absolute path", "name the file relative to the survey folder")
            return ""
        return path


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
    known = ("survey", "tables", "layers", "columns", "index", "options")
    whole = _Section(document, "", known, faults)
    survey = whole.inner("survey", ("title", "about"))
    tables = whole.inner("tables", TABLES)
    settings = Settings(
        title=survey.text("title", default=default_title),
        about=survey.text("about"),
        tables={name: path for name in TABLES if (path := tables.path(name))},
        layers=_read_layers(whole.inner("layers", LAYERS)),
        columns=_read_columns(whole.inner("columns", tuple(TABLE_COLUMNS))),
        index=_read_index(whole.inner("index", ("use", "label", "better", "classes", "source"))),
        options=_read_options(whole.inner("options", tuple(item.name for item in fields(Options)))),
    )
    _check_whole(whole, settings)
    return settings, faults


def _read_layers(section: _Section) -> dict[str, Layer]:
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


def _read_columns(section: _Section) -> dict[str, dict[str, str]]:
    columns: dict[str, dict[str, str]] = {}
    for table, names in TABLE_COLUMNS.items():
        inner = section.inner(table, names)
        given = {name: text for name in names if (text := inner.text(name))}
        if given:
            columns[table] = given
    return columns


def _read_index(section: _Section) -> IndexSettings:
    return IndexSettings(
        use=section.text("use", default=IndexSettings().use),
        label=section.text("label"),
        better=section.choice("better", ("low", "high")),
        classes=_read_classes(section),
        source=section.text("source"),
    )


def _read_classes(section: _Section) -> tuple[ClassSetting, ...]:
    entries = section.values.get("classes", [])
    if not isinstance(entries, list):
        fix = "write one [[index.classes]] block per class"
        section.fault("classes", entries, "not a list of classes", fix)
        return ()
    classes = []
    for number, entry in enumerate(entries, start=1):
        inner = _Section(entry, section.key(f"classes {number}"), ("label", "limit"), section.faults)
        limit = inner.values.get("limit")
        if limit is not None and not _is_number(limit):
            inner.fault("limit", limit, "not a number", "give the value at the worse end of the class")
            limit = None
        classes.append(ClassSetting(inner.text("label"), None if limit is None else float(limit)))
    return tuple(classes)


def _read_options(section: _Section) -> Options:
    checked: dict[str, Any] = {}
    for item in fields(Options):
        if item.name not in section.values:
            continue
        value, default = section.values[item.name], getattr(Options(), item.name)
        if _has_kind_of(value, default):
            checked[item.name] = _like(value, default)
        else:
            section.fault(item.name, value, f"not {_kind(default)}", f"the default is {_shown(default)}")
    options = Options(**checked)
    _check_ranges(section, options)
    return options


def _check_ranges(section: _Section, options: Options) -> None:
    minimum = {
        "recent_years": 1,
        "stale_after_years": 0,
        "min_individuals": 0,
        "snap_m": 0,
        "join_m": 0,
        "influence_km": 0,
        "min_size_ratio": 0,
        "min_trend_years": 4,  # under four values no two-sided test can reach 0.1: nothing could be claimed
    }
    for name, low in minimum.items():
        if getattr(options, name) < low:
            section.fault(name, getattr(options, name), f"less than {low}", f"give {low} or more")
    if options.half_distance_km <= 0:
        section.fault("half_distance_km", options.half_distance_km, "not above 0", "give kilometres above 0")
    if options.min_size_ratio > 1:
        section.fault("min_size_ratio", options.min_size_ratio, "more than 1", "give a share from 0 to 1")
    if not 0 < options.trend_alpha < 0.5:  # noqa: PLR2004 - a level of one half would call a coin toss a trend
        section.fault("trend_alpha", options.trend_alpha, "not between 0 and 0.5", "the usual level is 0.05")
    if not _is_date_format(options.date_format):
        fix = "use codes of strftime with %Y in them, such as %Y-%m-%d or %d/%m/%Y"
        section.fault("date_format", options.date_format, "not a form of dates that can be read", fix)
    for name, choices in (("direction", DIRECTIONS), ("unknown_taxa", UNKNOWN_TAXA)):
        if getattr(options, name) not in choices:
            fix = f"choose from: {', '.join(choices)}"
            section.fault(name, getattr(options, name), "not one of the choices", fix)


def _is_date_format(form: str) -> bool:
    """Tell whether a date written in the form can be read back: without a year it cannot."""
    day = datetime(2024, 5, 31, tzinfo=UTC)
    try:
        read = datetime.strptime(day.strftime(form), form)  # noqa: DTZ007 - whether it has a zone is asked below
    except ValueError:
        return False
    return read.tzinfo is None and read.date() == day.date()


def _check_whole(whole: _Section, settings: Settings) -> None:
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
    if brought != (settings.index.use == "scores") and (brought or counted):
        fix = (
            'write use = "scores" under [index]' if brought else "name an index that is computed from counts"
        )
        whole.fault("index.use", settings.index.use, "the index does not fit the tables that are named", fix)


def _is_number(value: object) -> bool:
    # A bound also turns away nan, inf and whole numbers too long for a float.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= LARGEST


def _has_kind_of(value: object, default: object) -> bool:
    if isinstance(default, bool):
        return isinstance(value, bool)
    if isinstance(default, float):
        return _is_number(value)
    if isinstance(default, int):
        return isinstance(value, int) and _is_number(value)
    if isinstance(default, tuple):
        return isinstance(value, list) and all(isinstance(item, str) for item in value)
    return isinstance(value, str)


def _like(value: Any, default: object) -> Any:  # noqa: ANN401 - the kind was checked by _has_kind_of
    if isinstance(default, tuple):
        return tuple(value)
    return float(value) if isinstance(default, float) else value


def _kind(default: object) -> str:
    kinds = {bool: "true or false", int: "a whole number", float: "a number", tuple: "a list of texts"}
    return kinds.get(type(default), "text")


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    text = ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."  # noqa: PLR2004 - a cell of the faults table
