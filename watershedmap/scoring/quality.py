"""How far a sample can be relied on: runs the checks, says what was hit, and what was done about it.

`run_checks` lists every hit; flags in plain words and whether a sample is used both follow from that list, so
that nothing is left out without standing in it. A hit never takes a score away.

Rules that need saying:

- a sample on a limit passes;
- an index period includes both its days, and may run over the turn of the year;
- of a site sampled by several methods, samples by any but the most frequent are hit (of equally frequent ones
  the one of the latest sample stays); a sample without a method is not;
- of samples with one site, date, method and replicate the first in the table passes, the later ones are hit;
- "future" cannot be asked of a clock, or results would change from day to day. With the option `last_date`
  later dates are hit. Without it dates are hit that follow a gap of more than three years (or the limit set),
  when at least three dates lie before the gap, and the samples after it are of one day or fewer than one in
  ten: own choice, no source. It finds 2052 for 2025, not 2026.

Source: see `watershedmap.scoring.checks`. Bias: animals usually left at a high rank, as worms and mites are,
count as coarsely identified.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.scoring.checks import CHECKS
from watershedmap.scoring.finders import FINDERS, Question, part_counts
from watershedmap.scoring.indices import INDICES
from watershedmap.settings import LEAVE_OUT, NOTE, CheckSetting, Options, Quality

if TYPE_CHECKING:
    from collections.abc import Mapping

    from watershedmap.scoring.indices import Index

HIT_COLUMNS: Final = ("check", "sample_id", "value", "limit", "severity", "action", "done", "flag")
"""Columns of what `run_checks` returns, in order."""
DONE: Final[Mapping[str, str]] = {NOTE: "noted", LEAVE_OUT: "left out of condition and trend"}
"""What was done, by action."""


def run_checks(
    samples: pd.DataFrame,
    counts: pd.DataFrame | None,
    taxa: pd.DataFrame | None,
    *,
    quality: Quality,
    options: Options,
    basis: str = "total_individuals",
) -> pd.DataFrame:
    """Ask every check of every sample.

    Parameters
    ----------
    samples
        Scored samples, one row each, in the order of the table: sample_id, and what is there of site_id,
        date, method, replicate, score, total_individuals, scored_individuals, unknown_individuals,
        individuals_without_tolerance, percent_dominant, sorting_efficiency, taxonomic_disagreement and
        count_difference. A check whose columns are not there hits nothing.
    counts, taxa
        The counts, and what their names stand for; None when scores are brought in.
    quality
        Limits and actions.
    options
        Fewest individuals and whether smaller samples are used, index period, last date, methods.
    basis
        Column of the individuals that the index was computed from, see `choose_basis`.

    Returns
    -------
    pandas.DataFrame
        One row a hit, by check in the order of the register, then in the order of the samples: check,
        sample_id, value and limit (texts with their units), severity, action (`note` or `leave out`), done
        (what was done), flag (in plain words).
    """
    frame = _find_all(samples, counts, taxa, quality=quality, options=options, basis=basis)
    frame["sample_id"] = samples["sample_id"].to_numpy(dtype=object)[frame["row"].to_numpy()]
    return frame[list(HIT_COLUMNS)]


def join_flags(samples: pd.DataFrame, hits: pd.DataFrame) -> pd.Series:
    """Join the flags of each sample.

    Parameters
    ----------
    samples
        sample_id.
    hits
        As from `run_checks`.

    Returns
    -------
    pandas.Series
        Flags joined by "; ", on the index of the samples, named `flags`; empty where there is no hit.
    """
    said = hits.groupby("sample_id", sort=False)["flag"].agg("; ".join)
    flags = samples["sample_id"].map(said).astype(object).fillna("")
    return flags.rename("flags")


def find_used(samples: pd.DataFrame, hits: pd.DataFrame) -> pd.Series:
    """Tell which samples enter condition and trend: all that no check leaves out.

    Parameters
    ----------
    samples
        sample_id.
    hits
        As from `run_checks`.

    Returns
    -------
    pandas.Series
        Truth on the index of the samples, named `used`.
    """
    left_out = hits.loc[hits["action"] == LEAVE_OUT, "sample_id"]
    return (~samples["sample_id"].isin(left_out)).rename("used")


def flag_samples(
    samples: pd.DataFrame, *, min_individuals: int, basis: str = "total_individuals"
) -> pd.Series:
    """Say in plain words what weakens each sample, by the default limits.

    Parameters
    ----------
    samples
        As for `run_checks`; sample_id may be missing. Counts are missing where a score was brought in without
        any: then nothing is said of them.
    min_individuals
        Fewest individuals that a sample should hold.
    basis
        Column of the individuals that the index was computed from: `scored_individuals` for an index that
        leaves some out. Too few of them are flagged where the sample itself is large enough.

    Returns
    -------
    pandas.Series
        Flags joined by "; ", on the same index, named `flags`; empty when there is none. A sample with
        neither counts nor a score is flagged "no counts".
    """
    options = Options(min_individuals=min_individuals)
    found = _find_all(samples, None, None, quality=Quality(), options=options, basis=basis)
    rows = pd.Series(np.arange(len(samples)), index=samples.index)
    said = found.groupby("row", sort=False)["flag"].agg("; ".join)
    return rows.map(said).astype(object).fillna("").rename("flags")


def choose_basis(index: Index) -> str:
    """Name the column of the individuals that an index is computed from.

    Parameters
    ----------
    index
        The index that stands for condition.

    Returns
    -------
    str
        `scored_individuals` for a built-in index, which leaves those without a value out; else
        `total_individuals`.
    """
    return "scored_individuals" if index.name in INDICES else "total_individuals"


def list_checks(quality: Quality, options: Options) -> pd.DataFrame:
    """List the register with the limits and actions in force.

    Parameters
    ----------
    quality, options
        The settings of a survey.

    Returns
    -------
    pandas.DataFrame
        One row a check: check, label, severity, limit (NaN for a yes or no), unit, action, source.
    """
    rows = []
    for check in CHECKS:
        setting = _setting_of(check.name, quality, options)
        limit = np.nan if setting.limit is None else setting.limit
        row = (check.name, check.label, check.severity, limit, check.unit, setting.action, check.source)
        rows.append(row)
    names = ["check", "label", "severity", "limit", "unit", "action", "source"]
    return pd.DataFrame(rows, columns=names)


def _find_all(
    samples: pd.DataFrame,
    counts: pd.DataFrame | None,
    taxa: pd.DataFrame | None,
    *,
    quality: Quality,
    options: Options,
    basis: str,
) -> pd.DataFrame:
    """Run the register; samples are known by their position."""
    parts = part_counts(samples, counts, taxa)
    frames = []
    for check in CHECKS:
        setting = _setting_of(check.name, quality, options)
        limit = np.nan if setting.limit is None else setting.limit
        hits = FINDERS[check.name](Question(samples, parts, options, basis, limit))
        columns = {
            "row": hits.rows,
            "check": check.name,
            "value": hits.said,
            "limit": _say_limit(check.name, setting, check.unit, options),
            "severity": check.severity,
            "action": setting.action,
            "done": DONE[setting.action],
            "flag": hits.flags,
        }
        frames.append(pd.DataFrame(columns).astype({"row": np.intp}))
    return pd.concat(frames, ignore_index=True)


def _setting_of(name: str, quality: Quality, options: Options) -> CheckSetting:
    """Return limit and action in force."""
    check = next(item for item in CHECKS if item.name == name)
    if check.settable == "[quality]":
        setting: CheckSetting = getattr(quality, name)
        return setting
    if check.settable == "[options]":
        left_out = not options.use_small_samples and options.min_individuals > 0
        return CheckSetting(options.min_individuals, LEAVE_OUT if left_out else NOTE)
    return CheckSetting(check.limit, check.action)


def _say_limit(name: str, setting: CheckSetting, unit: str, options: Options) -> str:
    if name == "outside_index_period":
        return " to ".join(options.index_period)
    if name == "late_date" and options.last_date:
        return options.last_date
    if name == "other_method":
        return ", ".join(options.methods)
    return "" if setting.limit is None or name == "no_animals" else f"{setting.limit:g} {unit}"
