"""Checks say what weakens a sample, and nothing of what is not known; nothing is left out unlisted."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from watershedmap.scoring.checks import CHECKS
from watershedmap.scoring.finders import FINDERS
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX
from watershedmap.scoring.quality import (
    HIT_COLUMNS,
    choose_basis,
    find_used,
    flag_samples,
    join_flags,
    list_checks,
    run_checks,
)
from watershedmap.settings import CheckSetting, Options, Quality

COLUMNS = [
    "total_individuals",
    "unknown_individuals",
    "scored_individuals",
    "individuals_without_tolerance",
    "score",
]


def flag(*row: float) -> str:
    """Flag one sample of an index that leaves individuals without a value out."""
    sample = pd.DataFrame([row], columns=COLUMNS)
    return str(flag_samples(sample, min_individuals=100, basis="scored_individuals").iloc[0])


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ((200, 0, 200, 0, 4.5), ""),
        ((100, 0, 100, 0, 4.5), ""),
        ((99, 0, 99, 0, 4.5), "under 100 individuals"),
        ((0, 0, 0, 0, np.nan), "no animals; no score"),
        ((np.nan, np.nan, np.nan, np.nan, np.nan), "no counts; no score"),
        ((np.nan, np.nan, np.nan, np.nan, 4.5), ""),
        ((200, 1, 190, 10, 4.5), "1 individual of unknown name"),
        ((200, 7, 190, 10, 4.5), "7 individuals of unknown name"),
        ((200, 0, 180, 20, 4.5), ""),
        ((200, 0, 179, 21, 4.5), "over 10 % of individuals without a value for the index"),
        (
            (50, 50, 0, 50, np.nan),
            (
                "under 100 individuals; 50 individuals of unknown name; "
                "over 10 % of individuals without a value for the index; no score"
            ),
        ),
    ],
)
def test_each_flag_is_said_where_it_holds_and_only_there(row: tuple[float, ...], expected: str) -> None:
    assert flag(*row) == expected


def test_flags_stand_on_the_index_of_the_samples() -> None:
    samples = pd.DataFrame([[5, 0, 5, 0, 1.0], [500, 0, 500, 0, 1.0]], columns=COLUMNS, index=["b", "a"])
    flags = flag_samples(samples, min_individuals=10)
    assert flags.to_dict() == {"b": "under 10 individuals", "a": ""}
    assert flags.name == "flags"
    assert flag_samples(samples.iloc[:0], min_individuals=10).empty


def test_counts_that_may_be_missing_whole_numbers_are_read_too() -> None:
    samples = pd.DataFrame([[5, 0, 5, 0, 1.0], [None] * 5], columns=COLUMNS).convert_dtypes()
    assert flag_samples(samples, min_individuals=10).tolist() == [
        "under 10 individuals",
        "no counts; no score",
    ]


def visits(**columns: list[object]) -> pd.DataFrame:
    """Make samples that nothing is wrong with, but for the columns given."""
    size = len(next(iter(columns.values())))
    good: dict[str, list[object]] = {
        "sample_id": [f"s{number}" for number in range(1, size + 1)],
        "site_id": ["A"] * size,
        "date": [f"20{10 + number}-05-01" for number in range(size)],
        "method": ["net"] * size,
        "replicate": ["1"] * size,
        "score": [4.0] * size,
        "total_individuals": [200] * size,
        "scored_individuals": [200] * size,
        "unknown_individuals": [0] * size,
        "individuals_without_tolerance": [0] * size,
        "percent_dominant": [30.0] * size,
    }
    frame = pd.DataFrame(good | columns)
    return frame.assign(date=pd.to_datetime(frame["date"]))


def hit(
    samples: pd.DataFrame, *, quality: Quality | None = None, options: Options | None = None
) -> list[tuple[str, str, str]]:
    hits = run_checks(
        samples,
        None,
        None,
        quality=quality or Quality(),
        options=options or Options(),
        basis="scored_individuals",
    )
    assert tuple(hits.columns) == HIT_COLUMNS
    return list(hits[["check", "sample_id", "value"]].itertuples(index=False, name=None))


def test_every_check_of_the_register_has_a_finder_and_a_source() -> None:
    assert [check.name for check in CHECKS] == list(FINDERS)
    assert all(check.source and check.label for check in CHECKS)


def test_good_samples_are_hit_by_nothing_and_all_used() -> None:
    samples = visits(score=[1.0, 2.0, 3.0])
    hits = run_checks(samples, None, None, quality=Quality(), options=Options())
    assert hits.empty
    assert join_flags(samples, hits).tolist() == ["", "", ""]
    assert find_used(samples, hits).tolist() == [True] * 3
    nothing = run_checks(samples.iloc[:0], None, None, quality=Quality(), options=Options())
    assert nothing.empty


@pytest.mark.parametrize(
    ("check", "column", "passes", "fails", "said"),
    [
        ("sorting_efficiency", "sorting_efficiency", 90.0, 89.9, "89.9 %"),
        ("taxonomic_disagreement", "taxonomic_disagreement", 15.0, 15.1, "15.1 %"),
        ("count_difference", "count_difference", 5.0, 5.1, "5.1 %"),
        ("dominant_taxon", "percent_dominant", 80.0, 80.5, "80.5 %"),
        ("few_individuals", "total_individuals", 100, 99, "99 individuals"),
        ("without_value", "individuals_without_tolerance", 20, 21, "10.5 %"),
        ("unknown_names", "unknown_individuals", 0, 1, "1 individual"),
        ("no_score", "score", 4.0, None, ""),
    ],
)
def test_a_value_on_the_limit_passes_and_one_beyond_it_is_hit(
    check: str, column: str, passes: float, fails: float | None, said: str
) -> None:
    assert hit(visits(**{column: [passes, fails]})) == [(check, "s2", said)]


def test_a_missing_value_is_unknown_and_not_hit() -> None:
    names = ["sorting_efficiency", "taxonomic_disagreement", "count_difference"]
    assert hit(visits(**{name: [None, np.nan] for name in names})) == []


def test_a_limit_of_the_survey_is_followed_and_said() -> None:
    quality = Quality(sorting_efficiency=CheckSetting(95.0, "leave out"))
    samples = visits(sorting_efficiency=[94.0, 96.0])
    hits = run_checks(samples, None, None, quality=quality, options=Options())
    assert hits[["limit", "action", "done", "flag"]].to_numpy().tolist() == [
        ["95 %", "leave out", "left out of condition and trend", "sorting efficiency under 95 %"]
    ]
    assert find_used(samples, hits).tolist() == [False, True]
    assert join_flags(samples, hits).tolist() == ["sorting efficiency under 95 %", ""]


@pytest.mark.parametrize(
    ("period", "outside"),
    [
        ((), []),
        (("04-15", "06-15"), ["2024-04-14", "2024-06-16", "2024-12-31", "2025-01-01"]),
        (("12-31", "04-15"), ["2024-06-15", "2024-06-16"]),
    ],
)
def test_an_index_period_includes_both_its_days_and_may_pass_the_turn_of_the_year(
    period: tuple[str, ...], outside: list[str]
) -> None:
    dates = ["2024-04-14", "2024-04-15", "2024-06-15", "2024-06-16", "2024-12-31", "2025-01-01"]
    found = hit(visits(date=dates), options=Options(index_period=period))
    assert [value for _, _, value in found] == outside
    assert {check for check, _, _ in found} <= {"outside_index_period"}


@pytest.mark.parametrize(
    ("methods", "expected"),
    [
        (["net", "net", "net"], []),
        (["net", "kick", "net"], ["s2"]),
        (["net", "kick", ""], ["s1"]),
        (["", "", "kick"], []),
        (["kick", "kick", "net"], ["s3"]),
    ],
)
def test_the_most_frequent_method_of_a_site_stays_or_of_equals_the_latest(
    methods: list[str], expected: list[str]
) -> None:
    found = hit(visits(method=methods))
    assert [sample for check, sample, _ in found if check == "method_change"] == expected


def test_methods_of_different_sites_are_not_compared() -> None:
    assert hit(visits(method=["net", "kick"], site_id=["A", "B"])) == []


def test_a_repeat_of_site_date_method_and_replicate_is_hit_and_the_first_stays() -> None:
    samples = visits(date=["2024-05-01"] * 3, replicate=["1", "2", "1"])
    quality = Quality(duplicate_sample=CheckSetting(None, "leave out"))
    hits = run_checks(samples, None, None, quality=quality, options=Options())
    assert hits[["check", "sample_id", "value"]].to_numpy().tolist() == [["duplicate_sample", "s3", "as s1"]]
    assert find_used(samples, hits).tolist() == [True, True, False]


def test_a_date_after_the_last_date_is_hit_and_the_last_date_itself_passes() -> None:
    samples = visits(date=["2024-05-01", "2025-12-31", "2026-01-01"])
    assert hit(samples, options=Options(last_date="2025-12-31")) == [("late_date", "s3", "2026-01-01")]


@pytest.mark.parametrize(
    ("years", "late"),
    [
        ([2020, 2021, 2022, 2025], []),
        ([2020, 2021, 2022, 2052], ["2052-05-01"]),
        (
            [2020, 2021, 2022, 2052, 2053],
            [],
        ),  # a second date after the gap, and no small share: it can be true
        ([2020, 2052], []),  # too few dates to say which is the slip
        ([*range(1980, 2010), 2052, 2053], ["2052-05-01", "2053-05-01"]),
    ],
)
def test_without_a_last_date_few_samples_after_a_long_gap_are_late(years: list[int], late: list[str]) -> None:
    found = hit(visits(date=[f"{year}-05-01" for year in years]))
    assert found == [("late_date", f"s{years.index(int(date[:4])) + 1}", date) for date in late]


def test_samples_of_other_methods_and_without_a_score_are_left_out_and_listed() -> None:
    samples = visits(method=["net", "kick", "net"], site_id=["A", "B", "C"], score=[4.0, 4.0, None])
    hits = run_checks(samples, None, None, quality=Quality(), options=Options(methods=("net",)))
    left_out = hits.loc[hits["action"] == "leave out", ["check", "sample_id"]].to_numpy().tolist()
    assert left_out == [["other_method", "s2"], ["no_score", "s3"]]
    assert find_used(samples, hits).tolist() == [True, False, False]


def test_small_samples_are_left_out_when_the_options_say_so() -> None:
    samples = visits(total_individuals=[99, 0, 200, 200], scored_individuals=[99, 0, 50, 100])
    options = Options(use_small_samples=False)
    hits = run_checks(samples, None, None, quality=Quality(), options=options, basis="scored_individuals")
    assert hits["check"].tolist() == ["no_animals", "few_individuals", "few_scored"]
    assert find_used(samples, hits).tolist() == [False, False, False, True]
    assert join_flags(samples, hits).tolist()[2] == "index from 50 individuals only"


TAXA = pd.DataFrame(
    {
        "rank": ["family", "order", "class", "suborder", ""],
        "excluded": ["", "", "", "", "terrestrial"],
    },
    index=["Baetidae", "Diptera", "Oligochaeta", "Anisoptera", "Spider"],
)


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ({"Baetidae": 80, "Diptera": 20}, []),
        ({"Baetidae": 79, "Diptera": 11, "Oligochaeta": 10}, [("coarse_identification", "s1", "21.0 %")]),
        ({"Baetidae": 10, "Anisoptera": 90}, []),
        ({"Baetidae": 10, "Diptera": 0}, []),
        ({"Baetidae": 80, "Diptera": 20, "Spider": 3}, [("excluded_individuals", "s1", "3 individuals")]),
        (
            {"Baetidae": 79, "Diptera": 21, "Spider": 100},
            [("excluded_individuals", "s1", "100 individuals"), ("coarse_identification", "s1", "21.0 %")],
        ),
    ],
)
def test_coarse_names_and_animals_left_out_are_found_in_the_counts(
    counts: dict[str, int], expected: list[tuple[str, str, str]]
) -> None:
    frame = pd.DataFrame({"sample_id": "s1", "taxon": list(counts), "count": list(counts.values())})
    hits = run_checks(visits(score=[4.0, 4.0]), frame, TAXA, quality=Quality(), options=Options())
    found = list(hits[["check", "sample_id", "value"]].itertuples(index=False, name=None))
    assert found == expected


def test_the_reason_why_animals_are_left_out_is_said() -> None:
    frame = pd.DataFrame({"sample_id": ["s1"], "taxon": ["Spider"], "count": [1]})
    samples = visits(score=[4.0])
    hits = run_checks(samples, frame, TAXA, quality=Quality(), options=Options())
    assert join_flags(samples, hits).tolist() == ["1 individual left out (terrestrial)"]


def test_the_register_is_listed_with_what_is_in_force() -> None:
    quality = Quality(late_date=CheckSetting(7.0, "leave out"))
    table = list_checks(quality, Options(min_individuals=50, use_small_samples=False)).set_index("check")
    assert table.loc["late_date", ["limit", "action"]].tolist() == [7.0, "leave out"]
    assert table.loc["few_individuals", ["limit", "action"]].tolist() == [50.0, "leave out"]
    assert np.isnan(table.loc["duplicate_sample", "limit"])
    assert table.loc["no_score", "action"] == "leave out"


def test_the_basis_of_a_built_in_index_leaves_out_animals_without_a_value() -> None:
    assert choose_basis(FAMILY_BIOTIC_INDEX) == "scored_individuals"


def test_the_samples_are_not_changed() -> None:
    samples = visits(total_individuals=[5, 200])
    before = samples.copy()
    run_checks(samples, None, None, quality=Quality(), options=Options())
    pd.testing.assert_frame_equal(samples, before)


def test_an_index_that_asks_for_no_values_cannot_lack_them() -> None:
    sample = pd.DataFrame([(200, 0, 100, 100, 4.5)], columns=COLUMNS)
    assert flag_samples(sample, min_individuals=100, basis="total_individuals").iloc[0] == ""
