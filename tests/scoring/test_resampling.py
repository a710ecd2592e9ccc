"""Resamples keep the number of individuals, and depend on nothing but the sample's own counts."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from watershedmap.scoring import resampling
from watershedmap.scoring.metrics import compute_metrics
from watershedmap.scoring.resampling import centre_draws, resample_values
from watershedmap.taxa import resolve

TAXA = resolve(["Perlidae", "Baetidae", "Chironomidae"])
COUNTS = pd.DataFrame(
    {
        "sample_id": ["b", "b", "a", "a", "a", "c"],
        "taxon": ["Perlidae", "Baetidae", "Perlidae", "Baetidae", "Chironomidae", "Perlidae"],
        "count": [50, 50, 30, 10, 60, 0],
    }
)


def measure_all(counts: pd.DataFrame, *, draws: int = 300) -> dict[object, pd.DataFrame]:
    found = {}
    for ids, values in resample_values(counts, TAXA, compute_metrics, draws=draws):
        for place, key in enumerate(ids):
            found[key] = values.iloc[place * draws : (place + 1) * draws].reset_index(drop=True)
    return found


def test_resamples_hold_as_many_individuals_and_vary_as_a_binomial() -> None:
    found = measure_all(COUNTS)
    assert sorted(found) == ["a", "b"]  # nothing can be drawn from an empty sample
    assert (found["a"]["total_individuals"] == 100).all()
    assert found["b"]["percent_dominant"].min() >= 50
    assert found["a"]["percent_ept"].mean() == pytest.approx(40, abs=1.5)
    assert found["a"]["percent_ept"].std() == pytest.approx(100 * np.sqrt(0.4 * 0.6 / 100), rel=0.15)


def test_a_sample_has_the_same_resamples_alone_in_any_order_and_in_small_batches(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole = measure_all(COUNTS)
    alone = measure_all(COUNTS[COUNTS["sample_id"] == "b"].iloc[::-1])
    pd.testing.assert_frame_equal(whole["b"], alone["b"])
    monkeypatch.setattr(resampling, "_ROWS_AT_ONCE", 1)
    pd.testing.assert_frame_equal(whole["b"], measure_all(COUNTS)["b"])


def test_counts_of_one_name_in_two_rows_are_one_count() -> None:
    split = pd.concat([COUNTS.assign(count=COUNTS["count"] // 2)] * 2, ignore_index=True)
    pd.testing.assert_frame_equal(measure_all(COUNTS)["a"], measure_all(split)["a"])


def test_centred_draws_have_the_score_for_their_mean() -> None:
    values = np.array([[1.0, 2.0, 3.0], [4.0, 4.0, 4.0], [1.0, np.nan, 2.0]])
    moved, error = centre_draws(values, np.array([7.0, 5.0, 1.0]))
    assert moved[0].tolist() == [6.0, 7.0, 8.0]
    assert error[0] == pytest.approx(1.0)
    assert np.isnan(error[1:]).all()


def test_halves_make_up_the_sample_between_them() -> None:
    counts = COUNTS[COUNTS["sample_id"] == "a"]
    [(_, values)] = resample_values(counts, TAXA, compute_metrics, draws=100, halves=True)
    total, ept = values["total_individuals"].to_numpy(), values["percent_ept"].to_numpy()
    assert (total == 50).all()
    assert ept[:50] + ept[50:] == pytest.approx(np.full(50, 80.0))
    assert np.ptp(ept) > 0


def test_half_the_squared_difference_of_halves_is_the_variance_of_a_sample_of_half_the_size() -> None:
    counts = COUNTS[COUNTS["sample_id"] == "a"].assign(count=[300, 100, 600])
    [(_, values)] = resample_values(counts, TAXA, compute_metrics, draws=2000, halves=True)
    first, second = np.split(values["percent_ept"].to_numpy(), 2)
    assert np.mean((first - second) ** 2) / 2 == pytest.approx(100**2 * 0.4 * 0.6 / 500, rel=0.12)
