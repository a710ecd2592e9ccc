"""Rules of how the page holds what led to the score of each sample."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pandas as pd
import pytest
from page_reading import collect, read_block
from test_page import HOSTILE, build_assessment
from test_page_certainty import add_chances

from watershedmap.render import page_explanations
from watershedmap.render.page import render_page
from watershedmap.render.page_explanations import Pool, collect_explanations
from watershedmap.scoring.explain import explain_sample
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX, score_index
from watershedmap.scoring.multimetric import list_examples, read_definition
from watershedmap.scoring.quality import HIT_COLUMNS
from watershedmap.taxa import resolve

if TYPE_CHECKING:
    from pathlib import Path
    from types import SimpleNamespace

STRANGER = HOSTILE[2]
"""A name that no table knows, and that would run as script."""
FOUND = {"Perlidae": 1, "Baetidae": 3, "Simuliidae": 0, STRANGER: 2}
"""One of value 1 and three of value 4: the score is 13 / 4 = 3.25, that of S01."""


def build_counted() -> SimpleNamespace:
    """Build an assessment by the family biotic index; counts come to the score of S01, of no other site."""
    assessment = add_chances(build_assessment(index=FAMILY_BIOTIC_INDEX))
    counts = pd.DataFrame(
        [
            {"sample_id": sample, "taxon": name, "count": count}
            for sample in assessment.samples["sample_id"]
            for name, count in FOUND.items()
        ]
    )
    assessment.survey.counts = counts
    assessment.taxa = resolve(FOUND)
    hit = ("few_individuals", "S01-2019", "4 individuals", "100 individuals", "high", "note", "noted")
    flag = "under 100 individuals <b>"
    assessment.checks = pd.DataFrame([(*hit, flag)], columns=list(HIT_COLUMNS))
    return assessment


def unfold(block: dict[str, Any], n: int) -> dict[str, Any]:
    """Put one sample together again from the lists of the page."""
    taxa, counts, steps, checks, agrees = block["samples"][n]
    return {
        "taxa": [
            (name, count, taxon, value, block["texts"][source], block["texts"][remark])
            for (name, taxon, value, source, remark), count in zip(
                (block["taxa"][at] for at in taxa), counts, strict=True
            )
        ],
        "steps": [tuple(block["steps"][at]) for at in steps],
        "checks": [tuple(block["checks"][at]) for at in checks],
        "agrees": bool(agrees),
    }


def test_a_sample_unfolds_to_what_the_command_explains() -> None:
    assessment = build_counted()
    ids = ["S01-2021", "S02-2021"]
    block = collect_explanations(assessment, ids)
    for n, sample_id in enumerate(ids):
        whole = explain_sample(
            sample_id,
            assessment.samples,
            assessment.survey.counts,
            assessment.taxa,
            index=FAMILY_BIOTIC_INDEX,
        )
        found = unfold(block, n)
        assert found["taxa"] == [
            (line.name, line.count, line.taxon, line.value, line.source, line.remark) for line in whole.taxa
        ]
        assert [text for text, _ in found["steps"]] == [step.text for step in whole.steps]
        assert [value for _, value in found["steps"]] == [
            step.result if step.result is None else pytest.approx(step.result, rel=1e-9)
            for step in whole.steps
        ]
        assert found["agrees"] == whole.agrees == (sample_id == "S01-2021")


def test_the_arithmetic_comes_to_the_score_of_the_sample() -> None:
    # Family biotic index after Hilsenhoff 1988: sum of individuals x tolerance over individuals; values of
    # Perlidae (1) and Baetidae (4) from memory.
    steps = unfold(collect_explanations(build_counted(), ["S01-2021"]), 0)["steps"]
    assert ("Baetidae: 3 x 4", 12) in steps
    assert ("Mean: 13 / 4", 3.25) in steps


@pytest.mark.parametrize("path", list_examples(), ids=lambda path: path.stem)
def test_an_index_of_several_metrics_is_explained_as_from_all_samples(path: Path) -> None:
    assessment = build_counted()
    index = read_definition(path)[0]
    counts = assessment.survey.counts
    own = counts["sample_id"] == "S02-2021"  # another community, so that percentiles have something to show
    assessment.survey.counts = counts.assign(count=counts["count"].where(~own, counts["count"] * 7 + 1))
    scored = score_index(index.name, assessment.survey.counts, assessment.taxa, definition=index)
    assessment.index = index
    invented = [
        "total_individuals",
        "taxa_richness",
        "ept_richness",
    ]  # figures that are not those of the counts
    samples = assessment.samples.drop(columns=invented)
    assessment.samples = samples.assign(score=samples["sample_id"].map(scored["score"]))
    ids = ["S01-2021", "S02-2021"]
    block = collect_explanations(assessment, ids)
    for n, sample_id in enumerate(ids):
        whole = explain_sample(
            sample_id, assessment.samples, assessment.survey.counts, assessment.taxa, index=index
        )
        assert whole.agrees
        assert unfold(block, n)["agrees"]
        assert [text for text, _ in unfold(block, n)["steps"]] == [step.text for step in whole.steps]


def test_none_found_and_unknown_names_are_listed_with_a_remark() -> None:
    taxa = {
        line[0]: line[1:] for line in unfold(collect_explanations(build_counted(), ["S01-2021"]), 0)["taxa"]
    }
    assert taxa["Simuliidae"][0] == 0
    assert taxa["Simuliidae"][-1] == "none found"
    assert taxa[STRANGER][1:3] == ("", None)
    assert taxa[STRANGER][-1] == "no table knows this name"


def test_a_check_stands_with_its_sample_only() -> None:
    block = collect_explanations(build_counted(), ["S01-2019", "S01-2021"])
    hit = ("under 100 individuals <b>", "4 individuals", "100 individuals", "high", "noted")
    assert [unfold(block, n)["checks"] for n in (0, 1)] == [[hit], []]


def test_taxa_and_steps_stand_once_for_the_page() -> None:
    assessment = build_counted()
    block = collect(assessment)["samples"]["explained"]
    assert len(block["samples"]) == len(assessment.samples)
    for name in ("taxa", "steps", "texts", "checks"):
        items = [json.dumps(item) for item in block[name]]
        assert len(items) == len(set(items)), name
    assert len(block["taxa"]) == len(FOUND)


def test_explanations_follow_the_order_of_the_listed_samples() -> None:
    samples = collect(build_counted())["samples"]
    agreeing = [
        name
        for name, sample in zip(samples["id"], samples["explained"]["samples"], strict=True)
        if sample[-1]
    ]
    assert agreeing == [name for name in samples["id"] if name.startswith("S01")]


def test_scores_brought_in_are_explained_without_taxa() -> None:
    block = collect(build_assessment(counts=False))["samples"]["explained"]
    found = unfold(block, 0)
    assert found["taxa"] == []
    assert found["steps"][0] == ("Score as brought in", 1.5)
    assert found["agrees"]


@pytest.mark.parametrize(("limit", "value"), [("MOST_EXPLAINED", 3), ("MOST_BYTES", 100)])
def test_explanations_are_left_out_as_a_whole_when_there_are_too_many(
    monkeypatch: pytest.MonkeyPatch, limit: str, value: int
) -> None:
    assert collect_explanations(build_counted(), ["S01-2021"] * 4) is not None
    monkeypatch.setattr(page_explanations, limit, value)
    assert collect_explanations(build_counted(), ["S01-2021"] * 4) is None
    assert read_block(render_page(build_counted()))["samples"]["explained"] is None


def test_explained_page_has_the_same_bytes_again_and_opens_no_script() -> None:
    page = render_page(build_counted())
    assert page == render_page(build_counted())
    assert len(page.split("<script")) == 5  # the data, packed reaches, Leaflet and ours


def test_a_pool_holds_an_item_once_and_knows_its_place() -> None:
    pool = Pool()
    assert [pool.place(item) for item in ("b", "a", "b")] == [0, 1, 0]
    assert pool.items == ["b", "a"]
