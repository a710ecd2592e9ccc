"""The register of checks of sample quality: what each asks, how grave a hit is, and where its limit is from.

A check hits a sample beyond its limit; a value on the limit passes. What is not known (an empty cell, a
column the survey does not have) is never hit. The checks are run by `watershedmap.scoring.quality`.

Source: beside each check. Where two sources give a limit the usual one of agency quality plans is taken.

Bias: the checks see what was written down. A sample without figures of a laboratory check passes those
checks, which says nothing of how well it was sorted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from watershedmap.settings import LEAVE_OUT, NOTE, Options, Quality

Severity = Literal["high", "middle", "low"]

_OWN: Final = "own choice, no source"
_PRACTICE: Final = "common practice, no source"
_HILSENHOFF: Final = (
    "Hilsenhoff 1988, Journal of the North American Benthological Society 7(1):65-68, expects 100 arthropods "
    "or more (second-hand); common practice"
)
_STRIBLING: Final = "Stribling and others 2003, and 2008 in the same journal 27:58-67; limit from memory"


@dataclass(frozen=True, slots=True)
class Check:
    """One question asked of every sample."""

    name: str
    """Name in settings and files."""
    label: str
    """What it asks, in words that read as the heading of a hit."""
    severity: Severity
    """`high`: the score may be wrong, or cannot be had; `middle`: it is unsure or not comparable; `low`: good
    to know."""
    source: str
    """Where the limit comes from."""
    limit: float | None = None
    """Limit unless the survey sets another; None for a yes or no."""
    action: str = NOTE
    """What is done unless the survey sets another: `note` or `leave out`."""
    unit: str = ""
    """Unit of the limit."""
    settable: str = "[quality]"
    """Section of `survey.toml` in which limit and action are set; empty where they cannot be."""


def _of_survey(name: str, label: str, severity: Severity, source: str, *, unit: str = "") -> Check:
    """Describe a check that a survey may set; limit and action are the defaults of the settings."""
    default = getattr(Quality(), name)
    return Check(name, label, severity, source, default.limit, default.action, unit)


def _of_options(name: str, label: str, severity: Severity, source: str) -> Check:
    """Describe a check that goes by `min_individuals` and `use_small_samples` of the options."""
    options = Options()
    action = NOTE if options.use_small_samples else LEAVE_OUT
    return Check(name, label, severity, source, options.min_individuals, action, "individuals", "[options]")


CHECKS: Final = (
    Check("no_counts", "Neither counts nor a score", "high", _PRACTICE, settable=""),
    _of_options("no_animals", "No animals found", "high", _PRACTICE),
    _of_options("few_individuals", "Few individuals", "high", _HILSENHOFF),
    _of_options("few_scored", "Index from few individuals", "high", _HILSENHOFF),
    Check(
        "excluded_individuals",
        "Individuals that are left out of every metric",
        "low",
        _PRACTICE,
        0.0,
        NOTE,
        "individuals",
        settable="",
    ),
    _of_survey(
        "unknown_names", "Individuals of unknown name", "middle", "every one is said", unit="individuals"
    ),
    _of_survey("without_value", "Individuals without a value for the index", "middle", _OWN, unit="%"),
    _of_survey("coarse_identification", "Individuals named to order or above", "middle", _OWN, unit="%"),
    _of_survey("dominant_taxon", "One taxon outnumbers all", "low", _OWN, unit="%"),
    _of_survey(
        "sorting_efficiency",
        "Low sorting efficiency",
        "high",
        "usual target of agency quality plans, from memory; Barbour and others 1999, EPA 841-B-99-002, "
        "p. 7-12, fails a sorted sample in which over 10 % of organisms remain",
        unit="%",
    ),
    _of_survey("taxonomic_disagreement", "Two identifications disagree", "high", _STRIBLING, unit="%"),
    _of_survey("count_difference", "Two counts differ", "middle", _STRIBLING, unit="%"),
    _of_survey("outside_index_period", "Outside the index period", "middle", _PRACTICE),
    _of_survey("method_change", "Method differs within the site's series", "middle", _PRACTICE),
    _of_survey("duplicate_sample", "Sample entered twice, or replicates not numbered", "middle", _PRACTICE),
    _of_survey("late_date", "Date later than is plausible", "high", _OWN, unit="years"),
    Check(
        "other_method",
        "Method not among those used",
        "low",
        "set by the survey",
        action=LEAVE_OUT,
        settable="",
    ),
    Check("no_score", "No score", "high", _PRACTICE, action=LEAVE_OUT, settable=""),
)
"""All checks, in the order in which their flags are said."""
