"""Plain tables of an assessment: comma-separated, UTF-8, one file a frame.

Columns stand in a fixed order and numbers with a fixed number of decimals (`DECIMALS`), so that the same
assessment gives the same bytes. A missing value is an empty cell, never a zero. Geometry is left out; sites
keep their coordinates. Halves are rounded away from zero and safe against noise in the last bits, by the same
rule as classes are drawn, so that a score as printed lies in the class that stands beside it.

Text that a spreadsheet would take for a formula gets a leading apostrophe; numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
import math
from typing import TYPE_CHECKING, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from watershedmap.errors import OutputError
from watershedmap.scoring.classes import round_half_away
from watershedmap.scoring.metrics import METRICS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from watershedmap.assessment import Assessment
    from watershedmap.errors import Fault

_TREND: Final = ("trend", "slope_per_year", "slope_low", "slope_high", "intercept", "p_value")

COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "samples": (
        "sample_id",
        "site_id",
        "date",
        "year",
        "method",
        "replicate",
        "score",
        "score_low",
        "score_high",
        "score_se",
        "class",
        "class_certainty",
        "used",
        "flags",
        "scored_individuals",
        "individuals_without_tolerance",
    ),
    "sites": (
        "site_id",
        "name",
        "longitude",
        "latitude",
        "reach_id",
        "offset_m",
        "position_m",
        "snapped_longitude",
        "snapped_latitude",
        "placement",
        "ambiguity",
        "candidates",
        "subwatershed_id",
        "n_samples",
        "n_years",
        "first_year",
        "last_year",
        "current",
        "score",
        "score_low",
        "score_high",
        "class",
        "class_low",
        "class_high",
        *_TREND,
        "trend_years",
        "trend_method",
        "notes",
    ),
    "reaches": (
        "reach_id",
        "name",
        "downstream_id",
        "length_km",
        "strahler_order",
        "shreve_magnitude",
        "outlet_km",
        "subwatershed_id",
        "evidence",
        "score",
        "score_low",
        "score_high",
        "class",
        "n_sites",
        "site_ids",
        "inferred_from",
        "inferred_km",
        *_TREND,
        "trend_years",
        "trend_method",
        "site_upstream",
        "site_upstream_km",
        "site_downstream",
        "site_downstream_km",
        "upstream_km",
        "upstream_assessed_km",
        "upstream_score",
        "upstream_sites",
    ),
    "subwatersheds": (
        "subwatershed_id",
        "name",
        "downstream_id",
        "chain_source",
        "chain_agrees",
        "area_km2",
        "upstream_area_km2",
        "stream_km",
        "assessed_km",
        "measured_km",
        "assessed_share",
        "score",
        "class",
        "n_sites",
    ),
    "yearly": ("site_id", "year", "score", "n_samples"),
    "taxa": (
        "name",
        "taxon",
        "rank",
        "family",
        "order",
        "group",
        "ept",
        "tolerance",
        "tolerance_source",
        "known",
        "suggestions",
    ),
}
"""Order of the columns of each table; what a frame has beyond them follows in its own order."""

NOTICE_COLUMNS: Final = ("file", "row", "column", "value", "problem", "fix")

SCORES: Final = frozenset(
    {"score", "score_low", "score_high", "upstream_score"}
    | {"measured_score", "measured_score_low", "measured_score_high"}
    | {"median_difference", "step_estimate", "step_low", "step_high"}
)
"""Columns in units of the index; they get the decimals of the index."""

DECIMALS: Final[Mapping[str, int]] = {
    "longitude": 6,
    "latitude": 6,
    "snapped_longitude": 6,
    "snapped_latitude": 6,
    "area_km2": 3,
    "assessed_share": 3,
    **{metric.name: metric.decimals for metric in METRICS},
    "score_se": 4,
    "score_df": 1,
    "class_certainty": 3,
    "p_value": 4,
    "p_adjusted": 4,
    "p_value_serial": 4,
    "p_value_independent": 4,
    "heterogeneity_p": 4,
    "serial_correlation": 3,
    "upstream_area_km2": 3,
    # A slope is multiplied by a year near 2000 to draw its line: four decimals would shift the line by 0.1.
    "slope_per_year": 6,
    "slope_low": 6,
    "slope_high": 6,
    "intercept": 4,
}
"""Decimals of a column by its name; a name that holds `_km` gets 3, one that ends in `_m` 1."""

TRIMMED_DECIMALS: Final = 6
"""Most decimals of a number in any other column; trailing zeros are dropped there."""

RISKY_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # noqa: RUF001 - wide forms run too
"""First characters that make a spreadsheet read a cell as a formula."""


def write_tables(assessment: Assessment, folder: Path) -> tuple[Path, ...]:
    """Write all tables of an assessment.

    Parameters
    ----------
    assessment
        What to write; it is not changed.
    folder
        Folder to write to; made when it is not there.

    Returns
    -------
    tuple of Path
        The files written: samples.csv, sites.csv, reaches.csv, subwatersheds.csv (with such a layer),
        yearly.csv, taxa.csv (with counts), checks.csv, steps.csv, combined_trends.csv, inference.csv,
        layer_findings.csv, notices.csv.

    Raises
    ------
    OutputError
        When a file cannot be written.
    """
    decimals = assessment.index.decimals
    frames: dict[str, pd.DataFrame | None] = {
        "samples": assessment.samples,
        "sites": assessment.sites,
        "reaches": assessment.reaches,
        "subwatersheds": assessment.subwatersheds,
        "yearly": assessment.yearly,
        "taxa": None if assessment.taxa is None else _name_first(assessment.taxa),
        "checks": assessment.checks,
        "steps": assessment.steps,
        "combined_trends": assessment.combined_trends,
        "inference": assessment.inference.table,
        "layer_findings": assessment.survey.findings,
    }
    written = []
    for table, frame in frames.items():
        if frame is not None:
            ordered = order_columns(frame, table)
            written.append(_write(folder / f"{table}.csv", list(ordered.columns), _rows(ordered, decimals)))
    rows = (_notice_cells(notice) for notice in assessment.notices)
    written.append(_write(folder / "notices.csv", NOTICE_COLUMNS, rows))
    return tuple(written)


def order_columns(frame: pd.DataFrame, table: str) -> pd.DataFrame:
    """Put the columns of a frame into the order of `COLUMNS`, without geometry.

    Parameters
    ----------
    frame
        Any frame of an assessment.
    table
        Which: a key of `COLUMNS`.

    Returns
    -------
    DataFrame
        A plain frame; columns that `COLUMNS` does not know follow in their own order.
    """
    plain = (
        pd.DataFrame(frame.drop(columns=frame.geometry.name))
        if isinstance(frame, gpd.GeoDataFrame)
        else frame
    )
    known = [name for name in COLUMNS.get(table, ()) if name in plain.columns]
    return plain[known + [name for name in plain.columns if name not in known]]


def column_decimals(name: str, *, decimals: int) -> int | None:
    """Tell how many decimals a column of numbers is printed with.

    Parameters
    ----------
    name
        Name of the column.
    decimals
        Decimals of the index.

    Returns
    -------
    int or None
        None where there is no fixed number of them: up to `TRIMMED_DECIMALS`, without trailing zeros.
    """
    if name in SCORES:
        return decimals
    if name in DECIMALS:
        return DECIMALS[name]
    if name.endswith("_km") or "_km_" in name or name.startswith("probability_"):
        return 3
    return 1 if name.endswith("_m") else None


def format_column(column: pd.Series, *, decimals: int) -> list[str]:
    """Turn one column into cells.

    Parameters
    ----------
    column
        Truth values become `true` and `false`, dates ISO 8601, numbers decimals by the column's name, all
        else text made harmless for spreadsheets.
    decimals
        Decimals of the index.

    Returns
    -------
    list of str
        Missing values are empty.
    """
    missing = column.isna().to_numpy()
    if pd.api.types.is_bool_dtype(column):
        cells = ["" if gone else str(bool(v)).lower() for v, gone in zip(column, missing, strict=True)]
    elif pd.api.types.is_datetime64_any_dtype(column):
        cells = column.dt.strftime("%Y-%m-%d").fillna("").tolist()
    elif pd.api.types.is_integer_dtype(column):
        cells = ["" if gone else str(int(v)) for v, gone in zip(column, missing, strict=True)]
    elif pd.api.types.is_numeric_dtype(column):
        numbers = column.to_numpy(dtype=np.float64, na_value=np.nan)
        cells = _format_numbers(numbers, column_decimals(str(column.name), decimals=decimals))
    else:
        cells = ["" if gone else guard_text(str(v)) for v, gone in zip(column, missing, strict=True)]
    return cells


def format_table(frame: pd.DataFrame, *, decimals: int) -> str:
    """Write a frame as comma-separated text.

    Parameters
    ----------
    frame
        Any plain frame.
    decimals
        Decimals of the index.

    Returns
    -------
    str
        A heading, then one line a row; text that a spreadsheet would run is made harmless.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(guard_text(str(name)) for name in frame.columns)
    writer.writerows(_rows(frame, decimals))
    return stream.getvalue()


def _rows(frame: pd.DataFrame, decimals: int) -> Iterator[tuple[str, ...]]:
    return zip(*(format_column(frame[name], decimals=decimals) for name in frame.columns), strict=True)


def guard_text(text: str) -> str:
    """Keep a spreadsheet from running a cell.

    Parameters
    ----------
    text
        Any text.

    Returns
    -------
    str
        With a leading apostrophe when it begins like a formula, unchanged otherwise.

    Examples
    --------
    >>> guard_text("=1+1")
    "'=1+1"
    >>> guard_text("Alder Run")
    'Alder Run'
    """
    return f"'{text}" if text.startswith(RISKY_STARTS) else text


def _format_numbers(numbers: NDArray[np.float64], decimals: int | None) -> list[str]:
    places = TRIMMED_DECIMALS if decimals is None else decimals
    rounded = round_half_away(pd.Series(numbers), places).tolist()
    cells = ["" if math.isnan(v) else f"{v:.{places}f}" for v in rounded]
    return cells if decimals is not None else [cell.rstrip("0").rstrip(".") for cell in cells]


def _name_first(taxa: pd.DataFrame) -> pd.DataFrame:
    return taxa.rename_axis(index="name").reset_index()


def _notice_cells(notice: Fault) -> tuple[str, ...]:
    row = "" if notice.row is None else str(notice.row)
    texts = (notice.file, notice.column, notice.value, notice.problem, notice.fix)
    file, *rest = map(guard_text, texts)
    return (file, row, *rest)


def _write(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> Path:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(header)
            writer.writerows(rows)
    except OSError as error:
        raise OutputError(
            f"{path.name} cannot be written: {error.strerror}; check the folder and try again"
        ) from error
    return path
