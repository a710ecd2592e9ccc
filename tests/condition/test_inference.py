"""The inferred score of a reach and its error."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watershedmap.condition.inference import covary, infer_reaches, measure_size, variance_between
from watershedmap.condition.reaches import assess_reaches
from watershedmap.network.topology import Network, build_network
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX
from watershedmap.settings import Options

OPTIONS = Options(influence_km=50, half_distance_km=3.0, min_size_ratio=0.0)


def chain(size: int, *, area: list[float] | None = None) -> Network:
    """Build reaches of one kilometre that flow into one another, the last one being the outlet."""
    ids = [f"r{n}" for n in range(size)]
    columns = {"reach_id": ids, "downstream_id": [*ids[1:], None], "length_km": 1.0}
    if area is not None:
        columns["area_km2"] = area
    return build_network(gpd.GeoDataFrame(columns, geometry=[None] * size, crs="EPSG:4326"))[0]


def sites(reach: list[int], score: list[float], *, error: float = 0.2) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site_id": [f"S{n}" for n in range(len(reach))],
            "reach": reach,
            "position_m": 500.0,
            "score": score,
            "score_se": error,
            "score_df": np.nan,
            "current": True,
            "n_samples": 1,
        }
    )


def error_by_matrix(network: Network, frame: pd.DataFrame, reach: int) -> tuple[float, float]:
    """Predict with the whole covariance matrix of the model: another way to the same figures."""
    size = np.cumsum(network.length_km)
    place = np.array([*frame["reach"], reach])
    apart = np.abs(place[:, None] - place[None, :]).astype(float)
    ratio = np.minimum(size[place][:, None], size[place]) / np.maximum(size[place][:, None], size[place])
    matrix = frame["score"].var() * np.sqrt(ratio) * 2.0 ** (-apart / OPTIONS.half_distance_km)
    weight = (np.sqrt(ratio) * 2.0 ** (-apart / OPTIONS.half_distance_km))[-1, :-1]
    near = [
        n
        for n, row in enumerate(frame["reach"])
        if not any(min(row, reach) < other < max(row, reach) for other in frame["reach"])
    ]
    kept = np.zeros(len(frame))
    kept[near] = weight[near] / weight[near].sum()
    toward = np.append(kept, -1.0)
    mse = toward @ matrix @ toward + (kept**2 * frame["score_se"] ** 2).sum()
    return float(kept @ frame["score"]), float(np.sqrt(mse))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 14), min_size=5, max_size=9, unique=True),
    st.lists(st.floats(0, 10), min_size=9, max_size=9),
)
def test_score_and_error_are_those_of_the_whole_covariance_matrix(
    reach: list[int], score: list[float]
) -> None:
    network = chain(15)
    frame = sites(sorted(reach), score[: len(reach)])
    found = infer_reaches(network, frame, options=OPTIONS)
    for row in sorted(set(range(15)) - set(reach)):
        expected = error_by_matrix(network, frame, row)
        assert found.loc[row, ["inferred_score", "inferred_se"]].tolist() == pytest.approx(expected, abs=1e-9)


def test_with_one_site_in_view_the_error_grows_with_distance_from_that_of_the_site() -> None:
    network = chain(40)
    frame = sites([0, 1, 2, 3, 4], [2.0, 3.0, 4.0, 5.0, 6.0])
    error = infer_reaches(network, frame, options=OPTIONS).loc[5:, "inferred_se"]
    assert (np.diff(error) > 0).all()
    assert error.min() > 0.2


def test_with_few_sites_the_error_is_unknown() -> None:
    found = infer_reaches(chain(9), sites([0, 2, 4, 6], [1.0, 2.0, 3.0, 4.0]), options=OPTIONS)
    assert found["inferred_score"].notna().all()
    assert found["inferred_se"].isna().all()


def test_a_site_without_an_error_leaves_the_error_of_what_it_tells_unknown() -> None:
    frame = sites([0, 2, 4, 6, 8], [1.0, 2.0, 3.0, 4.0, 5.0])
    frame.loc[0, "score_se"] = np.nan
    found = infer_reaches(chain(9), frame, options=OPTIONS)
    assert found["inferred_se"].isna().tolist() == [True, False, False, False]


def test_drainage_area_stands_for_size_only_where_every_reach_has_one() -> None:
    assert measure_size(chain(3, area=[5.0, 1.0, 1.0])).tolist() == [5.0, 6.0, 7.0]
    assert measure_size(chain(3, area=[5.0, np.nan, 1.0])).tolist() == [1.0, 2.0, 3.0]


def test_the_covariance_is_that_of_the_tail_up_model() -> None:
    # Ver Hoef & Peterson (2010), exponential tail-up: sqrt(weight) * exp(-h / theta); distances of Peterson &
    # Ver Hoef (2010, Ecology 91:644-651, fig. A1), weights made up. Figures from memory of the formula.
    theta = 10.0
    half = theta * np.log(2)
    found = covary(np.array([12.0, 8.0]), np.array([0.7, 0.3]), half_km=half)
    assert found.tolist() == pytest.approx([0.2519971573, 0.2461076094], abs=1e-10)


def test_the_variance_between_sites_needs_five_of_them() -> None:
    assert np.isnan(variance_between(pd.Series([1.0, 2.0, 3.0, 4.0])))
    assert variance_between(pd.Series([1.0, 2.0, 3.0, 4.0, 5.0])) == pytest.approx(2.5)


def test_an_inferred_reach_has_an_interval_and_class_probabilities_and_stays_inferred() -> None:
    frame = sites([0, 1, 2, 3, 4], [2.0, 3.0, 4.0, 5.0, 6.0])
    found = assess_reaches(chain(9), frame, options=OPTIONS, index=FAMILY_BIOTIC_INDEX)
    inferred = found[found["evidence"] == "inferred"]
    assert inferred.index.tolist() == [5, 6, 7, 8]
    width = inferred["score_high"] - inferred["score_low"]
    assert (np.diff(width) > 0).all()
    chances = inferred.filter(like="probability_").sum(axis=1)
    assert chances.tolist() == pytest.approx([1, 1, 1, 1])
    measured = found[found["evidence"] == "measured"]
    assert (measured["score_high"] - measured["score_low"]).max() < width.min()


def test_an_interval_is_cut_at_the_ends_of_the_scale() -> None:
    frame = sites([0, 1, 2, 3, 4], [9.0, 1.0, 9.0, 1.0, 9.5])
    found = assess_reaches(chain(20), frame, options=OPTIONS, index=FAMILY_BIOTIC_INDEX)
    low, high = FAMILY_BIOTIC_INDEX.scale
    assert found["score_low"].min() >= low
    assert found["score_high"].max() == high
