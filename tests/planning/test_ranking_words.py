"""A ranking in words: every figure is one of the table, and what is not known is said."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from watershedmap.assessment import Assessment, assess
from watershedmap.planning.ranking import RANKED, Ranking, rank_areas, rank_reaches
from watershedmap.planning.ranking_words import _percent, describe_items, describe_ranking

DEMO = Path(__file__).parents[2] / "demo_data"


@pytest.fixture(scope="module")
def demo() -> Assessment:
    return assess(DEMO)


@pytest.fixture(scope="module")
def ranking(demo: Assessment) -> Ranking:
    return rank_reaches(demo)


def paragraph(ranking: Ranking, name: str) -> str:
    return next(text for text in describe_items(ranking, decimals=2) if text.startswith(name))


def test_there_is_one_paragraph_for_each_ranked_item_in_order(ranking: Ranking) -> None:
    ranked = ranking.items[ranking.items["status"] == RANKED]
    texts = describe_items(ranking, decimals=2)
    assert [text.split()[0].rstrip(":") for text in texts] == ranked["reach_id"].tolist()
    assert describe_items(ranking, decimals=2, most=2) == texts[:2]


def test_rank_range_score_and_evidence_are_those_of_the_table(ranking: Ranking) -> None:
    row = ranking.items.set_index("reach_id").loc["R010"]
    text = paragraph(ranking, "R010")
    assert f"rank {row['rank']}, need {row['need']:.3f}" in text
    assert f"from {row['rank_low']} to {row['rank_high']} in 90 % of draws" in text
    assert f"{row['class']}, score {row['score']:.2f} (standard error {row['score_se']:.2f})" in text
    assert f"measured at {row['site_ids']}" in text
    assert f"worsens by {row['step_size']:.2f}" in text


def test_an_inferred_reach_never_reads_like_a_measured_one(ranking: Ranking) -> None:
    text = paragraph(ranking, "R072")
    assert "inferred from S20" in text
    assert "not measured" in text
    assert "measured at" not in text


def test_a_tie_is_said(ranking: Ranking) -> None:
    assert "shared with others of the same need" in paragraph(ranking, "R072")
    assert "shared with others" not in paragraph(ranking, "R010")


def test_what_is_not_known_is_named_with_its_weight(ranking: Ranking) -> None:
    assert "Not known: a step into it (10 % of the weight, shared among the rest)." in paragraph(
        ranking, "R077"
    )
    assert "Not known" not in paragraph(ranking, "R010")


def test_no_sentence_claims_a_cause_or_certifies(ranking: Ranking, demo: Assessment) -> None:
    texts = [*describe_items(ranking, decimals=2), *describe_items(rank_areas(demo), decimals=2)]
    for text in texts:
        assert not re.search(r"because|caused|due to|will improve|\bsafe\b", text)
    assert "advice" in describe_ranking(ranking)[-1]


def test_the_head_states_every_weight_and_limit(ranking: Ranking) -> None:
    head = " ".join(describe_ranking(ranking))
    for name, share in ranking.weights.items():
        assert f"{name} {share:.2f}" in head
    for word in ("worse than Fair", "10 km", "2 mean widths", "concentration 20", "1000 draws", "seed 1"):
        assert word in head
    assert "12 of 145 reaches" in head


def test_a_sub_watershed_says_how_much_of_it_is_assessed_and_degraded(demo: Assessment) -> None:
    areas = rank_areas(demo)
    row = areas.items.iloc[0]
    text = describe_items(areas, decimals=2)[0]
    assert f"Of {row['stream_km']:.1f} km of stream {row['assessed_km']:.1f} are assessed" in text
    assert f"{row['degraded_km']:.1f} are degraded" in text


def test_a_score_without_an_error_says_so(demo: Assessment) -> None:
    own = replace(demo, reaches=demo.reaches.assign(score_se=float("nan")))
    text = paragraph(rank_reaches(own), "R010")
    assert "(error not known)" in text
    assert "weights alone" in text


@pytest.mark.parametrize(
    ("share", "text"),
    [(1.0, "100 %"), (0.999, "more than 99 %"), (0.5, "50 %"), (0.001, "less than 1 %"), (0.0, "0 %")],
)
def test_nearly_all_is_not_all_and_nearly_none_is_not_none(share: float, text: str) -> None:
    assert _percent(share) == text
