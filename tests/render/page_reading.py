"""Reads a page back: what it holds, as plain lists, in the names that the page's script knows."""

from __future__ import annotations

import base64
import json
import re
import zlib
from itertools import accumulate
from typing import TYPE_CHECKING, Any

import numpy as np

from watershedmap.render import page_data
from watershedmap.render.page_pack import Pack

if TYPE_CHECKING:
    from types import SimpleNamespace


class Unpacked:
    """A block opened again, to look at what a page holds.

    Parameters
    ----------
    description
        As from `Pack.describe`.
    block
        As from `Pack.close`.
    """

    def __init__(self, description: dict[str, Any], block: str) -> None:
        self.n: int = description["n"]
        self.columns: dict[str, dict[str, Any]] = description["columns"]
        self._bytes = zlib.decompress(base64.b64decode(block), -zlib.MAX_WBITS)

    def read(self, name: str) -> list[Any]:
        """Return a column.

        Parameters
        ----------
        name
            Name of the column; not that of shapes.

        Returns
        -------
        list
            Numbers (None where missing), positions (-1 where missing), texts, or lists of positions.
        """
        column = self.columns[name]
        if column["kind"] == "words":
            words = self.read(f"{name}.words")
            return [words[place] for place in self.read(f"{name}.word")]
        if column["kind"] == "ids":
            numbers = accumulate(self.read(f"{name}.number"))
            return [column["head"] + str(number).rjust(column["digits"], "0") for number in numbers]
        if column["kind"] == "lists":
            sizes, items = self.read(f"{name}.size"), self.read(f"{name}.item")
            ends = list(accumulate(sizes))
            return [items[end - size : end] for size, end in zip(sizes, ends, strict=True)]
        if column["kind"] == "texts":
            return list(json.loads(self._bytes[column["at"] : column["at"] + column["size"]]))
        return self._read_whole(column)

    def _read_whole(self, column: dict[str, Any]) -> list[Any]:
        kind = column["kind"]
        if not column["width"]:
            return [-1 if kind in {"picks", "near"} else 0 if kind == "signed" else None] * column["n"]
        content = self._bytes[column["at"] : column["at"] + column["size"]]
        planes = np.frombuffer(content, dtype=np.uint8).reshape(column["width"], column["n"]).astype(np.int64)
        codes = (planes << (8 * np.arange(column["width"]))[:, None]).sum(axis=0)
        if kind in {"signed", "near"}:
            signed = np.where(codes % 2, -(codes + 1) // 2, codes // 2)
            row = np.arange(len(codes))
            return (signed if kind == "signed" else np.where(codes == 0, -1, row + signed)).tolist()
        whole = (codes - 1 + column["least"]).tolist()
        if kind == "picks":
            return [value if code else -1 for value, code in zip(whole, codes.tolist(), strict=True)]
        scale = 10 ** column["decimals"]
        if "less" in column:
            one, other = (self.read(name) for name in column["less"])
            whole = [
                value + round(((a or 0) - (b or 0)) * scale)
                for value, a, b in zip(whole, one, other, strict=True)
            ]
        return [value / scale if code else None for value, code in zip(whole, codes.tolist(), strict=True)]

    def unfold(self) -> dict[str, Any]:
        """Return all columns but the shapes; those named `name.0`, `name.1` and so on as one, as lists by row."""
        table = {
            name: self.read(name)
            for name, column in self.columns.items()
            if "." not in name and column["kind"] != "shapes"
        }
        kms = [name for name in self.columns if name.startswith("upClassKm.")]
        table["upClassKm"] = [self.read(name) for name in kms]
        rows = zip(*(self.read(name) for name in self.columns if name.startswith("chances.")), strict=True)
        table["chances"] = [[] if None in row else list(row) for row in rows]
        return table

    def lines(self) -> list[list[list[tuple[float, float]]]]:
        """Return the parts of each line, in degrees, each line hung up as the page does it."""
        what = self.columns["shapes"]
        parts, sizes, x, y = (self.read(f"shapes.{name}") for name in ("parts", "sizes", "x", "y"))
        first = list(zip(self.read("shapes.first_x"), self.read("shapes.first_y"), strict=True))
        down = self.read("down") if what["linked"] else [-1] * self.n
        steps, sizes_left = iter(zip(x, y, strict=True)), iter(sizes)
        own, leading, part = [], [], 0
        for count in parts:
            shape: list[list[tuple[int, int]]] = []
            leading.append(first[part] if count else None)
            for n in range(count):
                at = (0, 0) if n == 0 else tuple(np.add(shape[-1][-1], first[part]).tolist())
                run, step = [at], (0, 0)
                for _ in range(next(sizes_left) - 1):
                    more = next(steps)
                    step = (step[0] + more[0], step[1] + more[1]) if what["curved"] else more
                    run.append((run[-1][0] + step[0], run[-1][1] + step[1]))
                shape.append(run)
                part += 1
            own.append(shape)
        return self._hang(own, leading, down, what["perDegree"])

    @staticmethod
    def _hang(own: list[Any], leading: list[Any], down: list[int], per_degree: int) -> list[Any]:
        place: dict[int, tuple[int, int]] = {}
        free = (0, 0)
        for i, shape in enumerate(own):
            if shape and (down[i] < 0 or not own[down[i]]):
                free = place[i] = (free[0] + leading[i][0], free[1] + leading[i][1])
        while len(place) < sum(map(bool, own)):
            for i, shape in enumerate(own):
                if shape and i not in place and down[i] in place:
                    below, last = place[down[i]], shape[-1][-1]
                    place[i] = (below[0] + leading[i][0] - last[0], below[1] + leading[i][1] - last[1])
        return [
            [
                [((x + place[i][0]) / per_degree, (y + place[i][1]) / per_degree) for x, y in run]
                for run in shape
            ]
            for i, shape in enumerate(own)
        ]


def collect(assessment: SimpleNamespace) -> dict[str, Any]:
    """Collect what a page holds, its reaches as plain lists."""
    data = page_data.collect(assessment)
    pack = data["reaches"]
    assert isinstance(pack, Pack)
    return {**data, "reaches": Unpacked(pack.describe(), pack.close()).unfold()}


def open_block(page: str) -> Unpacked:
    """Open the packed reaches of a page."""
    block = re.search(r'<script type="application/octet-stream" id="watershed-reaches">(.*?)</script>', page)[
        1
    ]
    return Unpacked(_read_json(page)["reaches"], block)


def read_block(page: str) -> dict[str, Any]:
    """Return what a page holds, its reaches as plain lists."""
    return {**_read_json(page), "reaches": open_block(page).unfold()}


def _read_json(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="watershed-data">(.*?)</script>', page, re.DOTALL)
    data: dict[str, Any] = json.loads(found[1])
    return data
