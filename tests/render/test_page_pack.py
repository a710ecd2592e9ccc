"""Rules of the packed reaches: what goes in comes out again, missing stays missing, and it is small."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from page_reading import Unpacked
from shapely import wkt
from shapely.geometry import LineString, MultiLineString

from watershedmap.render import coordinates
from watershedmap.render.page_pack import Pack

NAN = float("nan")


def reopen(pack: Pack) -> Unpacked:
    return Unpacked(pack.describe(), pack.close())


def pack_lines(shapes: list[object], down: list[int]) -> Unpacked:
    pack = Pack(len(shapes))
    pack.add_near("down", down)
    pack.add_shapes("shapes", gpd.GeoSeries(shapes, crs=4326), down=np.array(down))
    return reopen(pack)


def vertices(shapes: list[object]) -> list[list[list[tuple[float, float]]]]:
    parts = [
        [] if shape is None or shape.is_empty else list(getattr(shape, "geoms", [shape])) for shape in shapes
    ]
    return [[list(part.coords) for part in group if not part.is_empty] for group in parts]


def flat(lines: list[list[list[tuple[float, float]]]]) -> np.ndarray:
    return np.array([xy for line in lines for part in line for xy in part]).reshape(-1, 2)


@pytest.mark.parametrize(
    ("values", "decimals", "expected"),
    [
        ([1.005, 2.0, NAN], 2, [1.01, 2.0, None]),
        ([-3.5, NAN, 70000.25], 1, [-3.5, None, 70000.3]),
        ([NAN, NAN], 3, [None, None]),
        ([0.0], 0, [0.0]),
        ([5e9, -5e9], 1, [5e9, -5e9]),
    ],
)
def test_numbers_come_back_rounded_and_missing_ones_missing(
    values: list[float], decimals: int, expected: list[float | None]
) -> None:
    pack = Pack(len(values))
    pack.add_numbers("x", pd.Series(values), decimals)
    assert reopen(pack).read("x") == expected


def test_a_column_of_missing_numbers_takes_no_byte() -> None:
    pack = Pack(1000)
    pack.add_numbers("x", pd.Series([NAN] * 1000), 2)
    pack.add_picks("y", [-1] * 1000)
    assert pack.describe()["bytes"] == 0
    assert reopen(pack).read("y") == [-1] * 1000


def test_numbers_beside_a_difference_come_back_also_where_all_differ() -> None:
    pack = Pack(3)
    for name, values in (("all", [9.0, 4.2, NAN]), ("some", [4.0, 4.2, NAN])):
        pack.add_numbers(name, pd.Series(values), 1)
    pack.add_numbers("rest", pd.Series([5.1, 0.0, NAN]), 1, less=("all", "some"))
    pack.add_numbers("other", pd.Series([5.1, 0.0, 7.0]), 1, less=("all", "some"))
    assert reopen(pack).read("rest") == [5.1, 0.0, None]
    assert reopen(pack).read("other") == [5.1, 0.0, 7.0]


@pytest.mark.parametrize(
    "texts", [["a", "b"], ["same"] * 50 + ["other"], ["", "\n", "\0</script>\U0001f41b"], []]
)
def test_texts_come_back(texts: list[str]) -> None:
    pack = Pack(len(texts))
    pack.add_texts("x", texts)
    assert reopen(pack).read("x") == texts


@pytest.mark.parametrize(
    ("ids", "kind"),
    [
        (["R001", "R002", "R010"], "ids"),
        (["7", "12345678", "3"], "ids"),
        (["a-0", "a-10", "a-9"], "ids"),
        (["R1", "R02"], "texts"),
        (["R001", "R1000"], "texts"),
        (["R1", "S2"], "texts"),
        (["R1", "R"], "texts"),
        (["9007199254740993"], "ids"),
        (["\u0663", "\u0664"], "texts"),
        (["x" * 50 + "1"], "texts"),
    ],
)
def test_ids_come_back_exactly(ids: list[str], kind: str) -> None:
    pack = Pack(len(ids))
    pack.add_ids("id", ids)
    assert reopen(pack).read("id") == ids
    assert reopen(pack).columns["id"]["kind"] == kind


def test_lists_and_positions_come_back() -> None:
    pack = Pack(4)
    pack.add_lists("x", [[], [3, 1], [], [0]])
    pack.add_near("down", [1, 3, -1, 0])
    assert reopen(pack).read("x") == [[], [3, 1], [], [0]]
    assert reopen(pack).read("down") == [1, 3, -1, 0]


@pytest.mark.parametrize("down", [[1, 2, -1, -1, 1, 3], [-1] * 6, [1, 2, 0, -1, 1, 3], [3, 3, 3, 4, 5, -1]])
def test_lines_come_back_in_their_place_whatever_they_flow_into(down: list[int]) -> None:
    shapes = [
        LineString([(10, 50), (10.001, 50.0004), (10.003, 50.001)]),
        MultiLineString([[(10.003, 50.001), (10.01, 50.002)], [(10.02, 50.0), (10.021, 49.9)]]),
        LineString([(10.021, 49.9), (10.5, 49.0)]),
        None,
        LineString([(-179.99999, -80), (179.99999, 80)]),
        wkt.loads("LINESTRING EMPTY"),
    ]
    lines = pack_lines(shapes, down).lines()
    assert flat(lines) == pytest.approx(flat(vertices(shapes)), abs=0.51e-5)
    assert [[len(part) for part in line] for line in lines] == [[3], [2, 2], [2], [], [2], []]


def test_smooth_lines_are_written_by_their_curves_and_come_back() -> None:
    along = np.linspace(0, 1, 200)
    shapes = [LineString(np.column_stack([10 + along + n, 50 + np.sin(6 * along)])) for n in range(5)]
    block = pack_lines(shapes, [-1] * 5)
    assert block.columns["shapes"]["curved"]
    assert flat(block.lines()) == pytest.approx(flat(vertices(shapes)), abs=0.51e-5)


def test_a_very_large_layer_is_rounded_to_two_metres(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(coordinates, "COARSE_FROM", 3)
    shapes = [LineString([(10, 50), (10.00103, 50), (10.002, 50), (10.003, 50)])]
    block = pack_lines(shapes, [-1])
    assert block.columns["shapes"]["perDegree"] == 50_000
    assert flat(block.lines()) == pytest.approx(flat(vertices(shapes)), abs=1.01e-5)


def test_a_table_without_rows_can_be_packed() -> None:
    pack = Pack(0)
    pack.add_numbers("x", pd.Series([], dtype=float), 1)
    pack.add_shapes("shapes", gpd.GeoSeries([], crs=4326), down=np.zeros(0, dtype=int))
    assert reopen(pack).read("x") == []
