"""The words that placing sites is told in."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from network_builders import layer_of_lines, points_of

from watershedmap.network.ambiguity import Doubts
from watershedmap.network.candidates import Candidates
from watershedmap.network.placement import report_ambiguous, tell_differences, tell_doubts
from watershedmap.network.topology import build_network

IDS = np.array(["a", "b", "c"], dtype=object)


def candidates_of(*pairs: tuple[int, int]) -> Candidates:
    point, line = (np.array(rows, dtype=np.intp) for rows in zip(*pairs, strict=True))
    none = np.zeros(len(pairs))
    return Candidates(point=point, line=line, place=np.zeros((len(pairs), 2)), along_m=none, offset_m=none)


def test_doubts_are_told_with_the_reach_taken_first_and_all_reasons_once() -> None:
    candidates = candidates_of((0, 0), (1, 2), (1, 0), (1, 1))
    reasons = np.array([[False, True, False, False], [False, True, False, True]])
    doubts = Doubts(pair=np.array([3, 2]), reasons=reasons)
    told = tell_doubts(candidates, np.array([0, 1]), doubts, IDS, 3)
    assert told["candidates"].tolist() == ["", "c; b; a", ""]
    assert told["ambiguity"].tolist() == ["", "tributary mouth; wide river", ""]


@pytest.mark.parametrize(
    ("columns", "ambiguity"),
    [
        ({"stream": ["Alder"]}, ""),
        ({"stream": ["Birch"]}, "another name"),
        ({"stream": [""]}, ""),
        ({"upstream_area_km2": [5.0]}, ""),
        ({"upstream_area_km2": [4.9]}, "another drainage area"),
        ({"upstream_area_km2": [20.1]}, "another drainage area"),
        ({"upstream_area_km2": [np.nan]}, ""),
        ({"stream": ["Birch"], "upstream_area_km2": [1.0]}, "another name; another drainage area"),
    ],
)
def test_what_differs_between_a_site_and_its_reach_is_told(
    columns: dict[str, list[object]], ambiguity: str
) -> None:
    layer = layer_of_lines([(0, 0), (0, 1)]).assign(name="Alder", upstream_area_km2=10.0)
    network, _ = build_network(layer, direction="drawn")
    sites = points_of((0, 0.5), **columns)
    told = tell_differences(np.array([0]), sites, layer, network)
    assert told["ambiguity"].tolist() == [ambiguity]
    assert (told["sentence"] != "").tolist() == [ambiguity != ""]
    assert tell_differences(np.array([-1]), sites, layer, network)["ambiguity"].tolist() == [""]


def test_each_doubt_and_each_difference_is_a_notice_with_a_remedy() -> None:
    frame = pd.DataFrame({"reach_id": ["a", "b", "c"]})
    told = pd.DataFrame(
        {"candidates": ["a; b", "", "c; b; a"], "ambiguity": ["wide river", "", "where reaches meet"]}
    )
    differs = pd.DataFrame(
        {"ambiguity": ["", "another name", ""], "sentence": ["", "the layer calls it X", ""]}
    )
    found = report_ambiguous(points_of(*[(0, 0)] * 3), frame, told, differs, file="sites.csv")
    assert [(fault.value, fault.problem) for fault in found] == [
        ("s0", "this site may lie on reach a or b (wide river); the site is put on a"),
        ("s2", "the nearest place on a stream is where reaches a, b, c meet; the site is put on c"),
        ("s1", "this site is put on reach b, but the layer calls it X"),
    ]
    assert all(fault.severity == "notice" and fault.fix and fault.file == "sites.csv" for fault in found)
