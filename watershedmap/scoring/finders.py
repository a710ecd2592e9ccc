"""How each check of sample quality looks for what it asks.

The rules stand in `watershedmap.scoring.quality`, sources and limits in `watershedmap.scoring.checks`. A
finder whose columns are not there, or whose values are not known, finds nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, cast

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import numpy.typing as npt

    from watershedmap.settings import Options

    Bools = npt.NDArray[np.bool_]
    Floats = npt.NDArray[np.float64]

COARSE_RANKS: Final = frozenset({"order", "cohort", "subclass", "class", "subphylum", "phylum", "kingdom"})
"""Ranks that are an order or above; a suborder is finer."""
FEWEST_DATES: Final = 3
"""With fewer dates before a gap nothing is said of those after it."""
FEW_SHARE: Final = 0.1
"""Samples after a gap are late when they are a smaller share of all than this."""
DAYS_A_YEAR: Final = 366
"""The longest year, so that three years to the day are not more than three."""
_NOISE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Hits:
    """What one check found."""

    rows: npt.NDArray[np.intp]
    """Positions of the samples that it hit."""
    said: list[str]
    """What it found at each."""
    flags: list[str]
    """Wording for each."""


@dataclass(frozen=True, slots=True)
class Question:
    """What a check may look at."""

    samples: pd.DataFrame
    """The scored samples."""
    parts: pd.DataFrame
    """On the rows of the samples: coarse (share, percent), excluded (individuals), reasons."""
    options: Options
    """Options of the survey."""
    basis: str
    """Column of the individuals that the index was computed from."""
    limit: float
    """Limit of this check; NaN for a yes or no."""

    def numbers(self, column: str) -> Floats:
        """Return a column of numbers; all NaN when there is no such column."""
        if column not in self.samples:
            return np.full(len(self.samples), np.nan)
        return self.samples[column].to_numpy(dtype=np.float64, na_value=np.nan)

    def texts(self, column: str) -> pd.Series:
        """Return a column of text; empty when there is no such column."""
        if column not in self.samples:
            return pd.Series("", index=range(len(self.samples)), dtype=object)
        return self.samples[column].astype(object).fillna("").reset_index(drop=True)

    def dates(self) -> pd.Series:
        """Return the dates; all missing when there are none."""
        if "date" not in self.samples:
            return pd.Series(pd.NaT, index=range(len(self.samples)))
        return self.samples["date"].reset_index(drop=True)


def part_counts(
    samples: pd.DataFrame, counts: pd.DataFrame | None, taxa: pd.DataFrame | None
) -> pd.DataFrame:
    """Sum up what the metrics do not give: individuals named coarsely, and those left out of every metric.

    Parameters
    ----------
    samples
        sample_id.
    counts, taxa
        The counts, and what their names stand for; None when scores are brought in.

    Returns
    -------
    pandas.DataFrame
        In the order of the samples: coarse (percent of individuals that count, named to order or above; NaN
        where nothing was counted), excluded (individuals) and reasons (why, joined by ", ").
    """
    empty = pd.DataFrame({"coarse": np.nan, "excluded": 0.0, "reasons": ""}, index=range(len(samples)))
    if counts is None or taxa is None or "sample_id" not in samples:
        return empty
    place = taxa.index.get_indexer(pd.Index(counts["taxon"]))
    reasons = taxa["excluded"].to_numpy(dtype=object) if "excluded" in taxa else np.full(len(taxa), "")
    reason = pd.Series(reasons[place], index=counts.index, dtype=object).fillna("").astype(str)
    coarse = np.isin(taxa["rank"].to_numpy(dtype=str), sorted(COARSE_RANKS))[place]
    individuals = counts["count"].astype(float)
    kept = individuals.where(reason == "", 0.0)
    sums = pd.DataFrame({"kept": kept, "coarse": kept.where(coarse, 0.0), "excluded": individuals - kept})
    sums = sums.groupby(counts["sample_id"]).sum()
    strays = counts.loc[(reason != "") & (individuals > 0), ["sample_id"]].assign(reason=reason)
    said = strays.groupby("sample_id")["reason"].agg(lambda words: ", ".join(sorted(set(words))))
    parts = pd.DataFrame(
        {
            "coarse": 100 * sums["coarse"] / sums["kept"].where(sums["kept"] > 0),
            "excluded": sums["excluded"],
            "reasons": said.reindex(sums.index).fillna(""),
        }
    )
    return parts.reindex(samples["sample_id"]).fillna({"excluded": 0.0, "reasons": ""}).reset_index(drop=True)


def _hit(holds: Bools, values: npt.ArrayLike, flag: str, *, unit: str = "", places: int = 0) -> Hits:
    """Make hits of one wording, with a number at each."""
    rows = np.flatnonzero(holds)
    numbers = np.broadcast_to(np.asarray(values, dtype=np.float64), holds.shape)[rows]
    said = ["" if np.isnan(number) else f"{number:.{places}f} {unit}".strip() for number in numbers]
    return Hits(rows, said, [flag] * len(rows))


def _find_no_counts(ask: Question) -> Hits:
    return _hit(
        np.isnan(ask.numbers("total_individuals")) & np.isnan(ask.numbers("score")), np.nan, "no counts"
    )


def _find_no_animals(ask: Question) -> Hits:
    total = ask.numbers("total_individuals")
    return _hit(total == 0, total, "no animals", unit="individuals")


def _find_few(ask: Question) -> Hits:
    total = ask.numbers("total_individuals")
    hits = _hit((total > 0) & (total < ask.limit), total, f"under {ask.limit:g} individuals")
    return Hits(hits.rows, [_say_individuals(number) for number in hits.said], hits.flags)


def _find_few_scored(ask: Question) -> Hits:
    total, basis = ask.numbers("total_individuals"), ask.numbers(ask.basis)
    hits = _hit((total >= ask.limit) & (basis < ask.limit), basis, "")
    flags = [f"index from {number} individuals only" for number in hits.said]
    return Hits(hits.rows, [_say_individuals(number) for number in hits.said], flags)


def _find_excluded(ask: Question) -> Hits:
    excluded = ask.parts["excluded"].to_numpy(dtype=np.float64)
    hits = _hit(excluded > ask.limit, excluded, "")
    reasons = ask.parts["reasons"].to_numpy(dtype=object)[hits.rows]
    said = [_say_individuals(value) for value in hits.said]
    flags = [f"{many} left out ({why})" for many, why in zip(said, reasons, strict=True)]
    return Hits(hits.rows, said, flags)


def _find_unknown(ask: Question) -> Hits:
    unknown = ask.numbers("unknown_individuals")
    hits = _hit(unknown > ask.limit, unknown, "")
    said = [_say_individuals(value) for value in hits.said]
    return Hits(hits.rows, said, [f"{many} of unknown name" for many in said])


def _say_individuals(number: str) -> str:
    return f"{number} individual{'' if number == '1' else 's'}"


def _find_without_value(ask: Question) -> Hits:
    total = ask.numbers("total_individuals")
    share = _percent(ask.numbers("individuals_without_tolerance"), total)
    if ask.basis == "total_individuals" and "scored_individuals" in ask.samples:
        share = np.full_like(share, np.nan)  # an index that asks for no values cannot lack them
    flag = f"over {ask.limit:g} % of individuals without a value for the index"
    return _hit(share > ask.limit + _NOISE, share, flag, unit="%", places=1)


def _percent(part: Floats, whole: Floats) -> Floats:
    return cast("Floats", 100 * np.divide(part, whole, out=np.full(len(whole), np.nan), where=whole > 0))


def _find_coarse(ask: Question) -> Hits:
    share = ask.parts["coarse"].to_numpy(dtype=np.float64)
    flag = f"over {ask.limit:g} % of individuals named to order or above"
    return _hit(share > ask.limit + _NOISE, share, flag, unit="%", places=1)


def _find_dominant(ask: Question) -> Hits:
    share = ask.numbers("percent_dominant")
    flag = f"one taxon over {ask.limit:g} % of individuals"
    return _hit(share > ask.limit + _NOISE, share, flag, unit="%", places=1)


def _find_sorting(ask: Question) -> Hits:
    found = ask.numbers("sorting_efficiency")
    flag = f"sorting efficiency under {ask.limit:g} %"
    return _hit(found < ask.limit - _NOISE, found, flag, unit="%", places=1)


def _find_disagreement(ask: Question) -> Hits:
    found = ask.numbers("taxonomic_disagreement")
    flag = f"taxonomic disagreement over {ask.limit:g} %"
    return _hit(found > ask.limit + _NOISE, found, flag, unit="%", places=1)


def _find_difference(ask: Question) -> Hits:
    found = ask.numbers("count_difference")
    flag = f"count difference over {ask.limit:g} %"
    return _hit(found > ask.limit + _NOISE, found, flag, unit="%", places=1)


def _hit_dates(ask: Question, holds: pd.Series, flag: str) -> Hits:
    rows = np.flatnonzero(holds.to_numpy())
    said = ask.dates().iloc[rows].dt.strftime("%Y-%m-%d").tolist() if len(rows) else []
    return Hits(rows, said, [flag] * len(rows))


def _find_outside(ask: Question) -> Hits:
    dates, period = ask.dates(), ask.options.index_period
    if not period or dates.isna().all():
        return _hit(np.zeros(len(dates), dtype=bool), np.nan, "")
    day = dates.dt.month * 100 + dates.dt.day
    first, last = (int(text.replace("-", "")) for text in period)
    inside = day.between(first, last) if first <= last else (day >= first) | (day <= last)
    return _hit_dates(ask, dates.notna() & ~inside, "outside the index period")


def _find_method_change(ask: Question) -> Hits:
    site, method = ask.texts("site_id"), ask.texts("method")
    frame = pd.DataFrame({"site": site, "method": method, "date": ask.dates()})
    frame = frame[frame["method"] != ""]
    many = frame[frame.groupby("site")["method"].transform("nunique") > 1]
    kinds = many.groupby(["site", "method"])["date"].agg(["size", "max"]).reset_index()
    kinds = kinds.sort_values(["site", "size", "max", "method"], kind="stable")
    usual = many["site"].map(kinds.drop_duplicates("site", keep="last").set_index("site")["method"])
    strange = many.index[many["method"] != usual]
    said = many.loc[strange, "method"].astype(str).tolist()
    flag = "method differs from most samples of the site"
    return Hits(strange.to_numpy(dtype=np.intp), said, [flag] * len(said))


def _find_duplicate(ask: Question) -> Hits:
    dates = ask.dates()
    keys = {name: ask.texts(name) for name in ("site_id", "method", "replicate")}
    frame = pd.DataFrame({**keys, "date": dates})
    again = frame.duplicated() & dates.notna()
    rows = np.flatnonzero(again.to_numpy())
    first = frame.assign(row=range(len(frame))).groupby([*keys, "date"], dropna=False)["row"].transform("min")
    ids = ask.texts("sample_id").astype(str)
    said = [f"as {ids[place]}" if ids[place] else "" for place in first.to_numpy()[rows]]
    return Hits(rows, said, ["same site, date, method and replicate as another sample"] * len(rows))


def _find_late(ask: Question) -> Hits:
    dates, last = ask.dates(), ask.options.last_date
    if last:
        return _hit_dates(ask, dates > pd.Timestamp(last), f"dated after {last}")
    begin = _find_late_begin(dates.dropna(), ask.limit)
    late = dates.isna() & dates.notna() if begin is None else dates >= begin
    return _hit_dates(ask, late, f"dated over {ask.limit:g} years after all earlier samples")


def _find_late_begin(dates: pd.Series, years: float) -> pd.Timestamp | None:
    """Find the first date after a gap so long, with so few samples, that the year may be a slip."""
    unique, sizes = np.unique(dates.to_numpy(dtype="datetime64[D]"), return_counts=True)
    gaps = np.diff(unique).astype(float)
    following = len(dates) - np.cumsum(sizes)[:-1]
    place = np.arange(len(gaps))
    few = (place == len(gaps) - 1) | (following < FEW_SHARE * len(dates))
    found = np.flatnonzero((gaps > years * DAYS_A_YEAR) & few & (place + 1 >= FEWEST_DATES))
    return pd.Timestamp(unique[found[0] + 1]) if len(found) else None


def _find_other_method(ask: Question) -> Hits:
    method = ask.texts("method")
    other = np.zeros(len(method), dtype=bool)
    if ask.options.methods:
        other = (~method.isin(ask.options.methods)).to_numpy()
    rows = np.flatnonzero(other)
    return Hits(rows, method.iloc[rows].astype(str).tolist(), ["method not among those used"] * len(rows))


def _find_no_score(ask: Question) -> Hits:
    return _hit(np.isnan(ask.numbers("score")), np.nan, "no score")


FINDERS: Final[Mapping[str, Callable[[Question], Hits]]] = {
    "no_counts": _find_no_counts,
    "no_animals": _find_no_animals,
    "few_individuals": _find_few,
    "few_scored": _find_few_scored,
    "excluded_individuals": _find_excluded,
    "unknown_names": _find_unknown,
    "without_value": _find_without_value,
    "coarse_identification": _find_coarse,
    "dominant_taxon": _find_dominant,
    "sorting_efficiency": _find_sorting,
    "taxonomic_disagreement": _find_disagreement,
    "count_difference": _find_difference,
    "outside_index_period": _find_outside,
    "method_change": _find_method_change,
    "duplicate_sample": _find_duplicate,
    "late_date": _find_late,
    "other_method": _find_other_method,
    "no_score": _find_no_score,
}
"""Finder of each check, by its name in the register."""
