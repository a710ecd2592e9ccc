"""How far inference is off at sites that are hidden."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from watershedmap.condition.inference import infer_reaches
from watershedmap.condition.leave_out import METHODS, InferenceCheck, compare_inference
from watershedmap.network.topology import Network, build_network
from watershedmap.network.views import Barriers
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX
from watershedmap.settings import Options

OPTIONS = Options(influence_km=4, half_distance_km=3.0, min_size_ratio=0.1)
SIZE = 60


@pytest.fixture(name="network")
def make_network() -> Network:
    """Build a made-up tree of reaches of one kilometre, each flowing into one of the few before it."""
    random = np.random.default_rng(3)
    down = [-1] + [int(random.integers(max(0, n - 3), n)) for n in range(1, SIZE)]
    ids = [f"r{n}" for n in range(SIZE)]
    frame = gpd.GeoDataFrame(
        {
            "reach_id": ids,
            "downstream_id": [ids[n] if n >= 0 else None for n in down],
            "length_km": 1.0,
        },
        geometry=[None] * SIZE,
        crs="EPSG:4326",
    )
    return build_network(frame)[0]


def make_sites(reach: list[int], *, seed: int = 1) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    count = len(reach)
    return pd.DataFrame(
        {
            "site_id": [f"S{n}" for n in range(count)],
            "longitude": random.uniform(0, 0.1, count),
            "latitude": random.uniform(0, 0.1, count),
            "reach": reach,
            "position_m": 500.0,
            "score": random.uniform(2, 8, count).round(2),
            "score_se": 0.2,
            "score_df": np.nan,
            "current": True,
        }
    )


def compare(network: Network, sites: pd.DataFrame, **more: Barriers) -> InferenceCheck:
    return compare_inference(network, sites, options=OPTIONS, index=FAMILY_BIOTIC_INDEX, **more)


def test_each_prediction_is_what_inference_says_without_the_site(network: Network) -> None:
    """Brute force: everything is made again without the site, which lies in the middle of its reach."""
    sites = make_sites(sorted(np.random.default_rng(5).choice(SIZE, 24, replace=False).tolist()))
    found = compare(network, sites).residuals.set_index("site_id")
    for row, site in sites.iterrows():
        rest = sites.drop(index=row).reset_index(drop=True)
        inferred = infer_reaches(network, rest, options=OPTIONS)
        if site["reach"] not in inferred.index:
            assert site["site_id"] not in found.index
            continue
        expected = inferred.loc[site["reach"]]
        own = found.loc[site["site_id"]]
        assert own["predicted"] == pytest.approx(expected["inferred_score"])
        spread = np.hypot(expected["inferred_se"], site["score_se"])
        if own["predicted_low"] > FAMILY_BIOTIC_INDEX.scale[0]:
            width = own["predicted"] - own["predicted_low"]
            assert width / spread == pytest.approx(1.7, abs=0.3)  # a quantile of t for 90 %
        assert own["mean"] == pytest.approx(rest["score"].mean())


def test_all_ways_are_compared_at_the_same_sites(network: Network) -> None:
    check = compare(network, make_sites(list(range(0, 40, 2))))
    assert check.table["method"].tolist() == list(METHODS)
    assert set(check.table["n_sites"]) == {check.n_predicted}
    assert check.residuals.notna().all().all()


def test_errors_are_those_of_the_residuals(network: Network) -> None:
    check = compare(network, make_sites(list(range(0, 40, 2))))
    off = check.residuals["mean"] - check.residuals["score"]
    row = check.table.set_index("method").loc["plain mean"]
    assert row["mean_absolute_error"] == pytest.approx(off.abs().mean())
    assert row["root_mean_square_error"] == pytest.approx(np.sqrt((off**2).mean()))
    assert row["bias"] == pytest.approx(off.mean())


def test_a_site_behind_a_barrier_cannot_be_told(network: Network) -> None:
    sites = make_sites(list(range(0, 40, 2)))
    closed = Barriers(
        reach=np.zeros(0, dtype=np.intp), position_m=np.zeros(0), closed=np.arange(SIZE) % 2 == 1
    )
    before, after = compare(network, sites), compare(network, sites, barriers=closed)
    assert after.n_predicted < before.n_predicted


def test_sites_that_are_not_current_are_neither_hidden_nor_used(network: Network) -> None:
    sites = make_sites(list(range(0, 40, 2)))
    sites.loc[3, "current"] = False
    check = compare(network, sites)
    assert check.n_sites == len(sites) - 1
    assert "S3" not in set(check.residuals["site_id"])


def test_few_sites_allow_no_verdict(network: Network) -> None:
    check = compare(network, make_sites([0, 1, 2]))
    assert "too few to say" in check.describe()


def test_one_site_has_no_other(network: Network) -> None:
    check = compare(network, make_sites([0]))
    assert check.n_predicted == 0
    assert check.table["mean_absolute_error"].isna().all()


def test_inference_is_called_nearer_where_neighbours_are_alike(network: Network) -> None:
    sites = make_sites(list(range(0, 60, 2)))
    sites["score"] = 3.0 + sites["reach"] / 15  # condition changes along the flow alone
    words = compare(network, sites).describe()
    assert "inference is nearer than the nearest site" in words
    assert "inference is nearer than the plain mean" in words


def test_in_noise_the_nearest_site_is_rarely_called_farther_off_or_nearer(network: Network) -> None:
    words = [compare(network, make_sites(list(range(0, 60, 2)), seed=n)).describe() for n in range(40)]
    claims = sum("Whether inference is nearer than the nearest site" not in text for text in words)
    assert claims <= 4  # one in twenty, and room for chance


def test_intervals_hold_about_as_many_scores_as_they_should() -> None:
    """Simulated under the model itself on a chain: 90 % intervals, the variance estimated each time."""
    size, half = 80, OPTIONS.half_distance_km
    ids = [f"r{n}" for n in range(size)]
    frame = gpd.GeoDataFrame(
        {"reach_id": ids, "downstream_id": [*ids[1:], None], "length_km": 1.0},
        geometry=[None] * size,
        crs="EPSG:4326",
    )
    network = build_network(frame)[0]
    upstream = np.arange(1.0, size + 1)
    ratio = np.minimum(upstream[:, None], upstream) / np.maximum(upstream[:, None], upstream)
    apart = np.abs(np.arange(size)[:, None] - np.arange(size))
    root = np.linalg.cholesky(np.sqrt(ratio) * 2.0 ** (-apart / half) + 1e-9 * np.eye(size))
    random = np.random.default_rng(11)
    inside = []
    for _ in range(40):
        sites = make_sites(list(range(1, size, 2)))
        truth = 5.0 + 0.8 * (root @ random.normal(size=size))
        sites["score"] = truth[sites["reach"]] + random.normal(scale=0.2, size=len(sites))
        inside.append(compare(network, sites).table["interval_coverage"].iloc[0])
    assert 0.86 < np.mean(inside) < 0.98
