"""A table of many rows as one block of bytes, for the page: whole columns, deflated together.

Definition
    A number is scaled to a whole one, and written as its distance from the least of its column plus one; 0
    says that it is missing. The bytes of a column stand by significance: all lowest bytes, then all next
    higher ones, which deflate far better than whole numbers do. A column without any value is not written.
    Texts stand as a JSON list; a list of positions per row stands as the sizes of the lists and, in one
    column of its own, the positions. Bytes are deflated without a header (RFC 1951) and written in base64
    (RFC 4648). What decodes it stands in `assets/unpack.js`.

Source
    Column stores with dictionaries, differences and byte planes: common practice, no source.

Known bias
    None beside the rounding that the caller asks for.
"""

from __future__ import annotations

import base64
import json
import re
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from watershedmap.render.coordinates import code_lines
from watershedmap.scoring.classes import round_half_away

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    from numpy.typing import NDArray

LEVEL = 9
"""How hard to deflate."""
_NUMBERED = re.compile(r"(.{0,40}?)([0-9]{1,15})", re.DOTALL)
"""An id that ends in a number that JavaScript holds exactly."""


class Pack:
    """A table being packed; columns are added one after the other.

    Parameters
    ----------
    n
        Rows of the table.
    """

    def __init__(self, n: int) -> None:
        self.n = n
        self.columns: dict[str, dict[str, Any]] = {}
        self._parts: list[bytes] = []
        self._size = 0
        self._whole: dict[str, tuple[NDArray[np.int64], NDArray[np.bool_]]] = {}

    def describe(self) -> dict[str, Any]:
        """Return where the columns lie, as plain JSON types.

        Returns
        -------
        dict
            `n` (rows), `bytes` (of the block before it is deflated) and `columns` by name.
        """
        return {"n": self.n, "bytes": self._size, "columns": self.columns}

    def close(self) -> str:
        """Return the block.

        Returns
        -------
        str
            Base64 of the deflated bytes.
        """
        deflate = zlib.compressobj(LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
        return base64.b64encode(deflate.compress(b"".join(self._parts)) + deflate.flush()).decode("ascii")

    def add_numbers(
        self, name: str, values: pd.Series, decimals: int, *, less: tuple[str, str] | None = None
    ) -> None:
        """Add a column of numbers, rounded half away from zero.

        Parameters
        ----------
        name
            Name of the column.
        values
            Numbers, missing where one is not known.
        decimals
            Decimals that are kept.
        less
            Two columns, of as many decimals, whose difference these numbers hardly differ from: only what is
            beyond it is written.
        """
        rounded = round_half_away(pd.to_numeric(values, errors="coerce"), decimals).to_numpy()
        known = np.isfinite(rounded)
        scaled = np.rint(np.where(known, rounded, 0.0) * 10.0**decimals).astype(np.int64)
        self._whole[name] = (scaled, known)
        what: dict[str, Any] = {"kind": "numbers", "decimals": decimals}
        if less is not None:
            (one, one_known), (other, other_known) = (self._whole[column] for column in less)
            if not (known & ~(one_known & other_known)).any():
                scaled, what = scaled - (one - other), {**what, "less": less}
        self._add_whole(name, scaled, known, what)

    def add_picks(self, name: str, picks: Sequence[int] | NDArray[np.integer[Any]]) -> None:
        """Add a column of positions.

        Parameters
        ----------
        name
            Name of the column.
        picks
            Positions, -1 where there is none.
        """
        found = np.asarray(picks, dtype=np.int64)
        self._add_whole(name, found, found >= 0, {"kind": "picks"})

    def add_near(self, name: str, picks: Sequence[int]) -> None:
        """Add a column of positions in the table itself, which mostly lie near the row that names them.

        Parameters
        ----------
        name
            Name of the column.
        picks
            Positions, never that of the row itself; -1 where there is none.
        """
        found, row = np.asarray(picks, dtype=np.int64), np.arange(len(picks))
        self._add_signed(name, np.where(found < 0, 0, found - row), kind="near")

    def add_ids(self, name: str, ids: Sequence[str]) -> None:
        """Add a column of ids; where all are one beginning and a number, the differences of the numbers.

        Parameters
        ----------
        name
            Name of the column.
        ids
            One for each row.
        """
        found = [_NUMBERED.fullmatch(text) for text in ids]
        heads = {(match[1], len(match[2])) for match in found if match is not None}
        if None in found or len({head for head, _ in heads}) != 1:
            self.add_texts(name, ids)
            return
        head, widths = next(iter(heads))[0], {width for _, width in heads}
        padded = any(match is not None and match[2][0] == "0" and len(match[2]) > 1 for match in found)
        if padded and len(widths) > 1:
            self.add_texts(name, ids)
            return
        values = np.array([int(match[2]) for match in found if match is not None], dtype=np.int64)
        self._add_signed(f"{name}.number", np.diff(values, prepend=0))
        self.columns[name] = {"kind": "ids", "head": head, "digits": widths.pop() if padded else 1}

    def add_texts(self, name: str, texts: Sequence[str]) -> None:
        """Add a column of texts.

        Parameters
        ----------
        name
            Name of the column.
        texts
            One for each row; each different one is written once where they repeat much.
        """
        different = list(dict.fromkeys(texts))
        if 2 * len(different) > len(texts):
            self._add(name, _as_json(texts), {"kind": "texts"})
            return
        places = {text: place for place, text in enumerate(different)}
        self._add(f"{name}.words", _as_json(different), {"kind": "texts"})
        self.add_picks(f"{name}.word", [places[text] for text in texts])
        self.columns[name] = {"kind": "words"}

    def add_lists(self, name: str, lists: Sequence[Sequence[int]]) -> None:
        """Add a column of lists of positions.

        Parameters
        ----------
        name
            Name of the column.
        lists
            One for each row; most may be empty.
        """
        self.add_picks(f"{name}.size", [len(one) for one in lists])
        self.add_picks(f"{name}.item", [place for one in lists for place in one])
        self.columns[name] = {"kind": "lists"}

    def add_shapes(self, name: str, shapes: gpd.GeoSeries, *, down: NDArray[np.integer[Any]]) -> None:
        """Add the lines of the rows.

        Parameters
        ----------
        name
            Name of the column.
        shapes
            Lines or multi-part lines, longitude and latitude.
        down
            Row that each row flows into, -1 where there is none: a line is expected to end where that one
            starts.
        """
        code = code_lines(shapes, down)
        self.add_picks(f"{name}.parts", code.parts)
        self.add_picks(f"{name}.sizes", code.sizes)
        for part in ("first_x", "first_y", "x", "y"):
            self._add_signed(f"{name}.{part}", getattr(code, part))
        self.columns[name] = {
            "kind": "shapes",
            "linked": code.linked,
            "curved": code.curved,
            "perDegree": code.per_degree,
        }

    def _add_whole(
        self, name: str, values: NDArray[np.int64], known: NDArray[np.bool_], what: dict[str, Any]
    ) -> None:
        if not known.any():
            self.columns[name] = {**what, "width": 0, "n": len(values)}
            return
        least = int(values[known].min())
        codes = np.where(known, values - least + 1, 0)
        self._add_planes(name, codes, {**what, "least": least})

    def _add_signed(self, name: str, values: NDArray[np.int64], *, kind: str = "signed") -> None:
        """Add numbers about zero: the sign goes into the lowest bit, so that small ones have small codes."""
        self._add_planes(name, (values << 1) ^ (values >> 63), {"kind": kind})

    def _add_planes(self, name: str, codes: NDArray[np.int64], what: dict[str, Any]) -> None:
        width = (int(codes.max(initial=0)).bit_length() + 7) // 8
        planes = [((codes >> (8 * plane)) & 255).astype(np.uint8).tobytes() for plane in range(width)]
        self._add(name, b"".join(planes), {**what, "width": width, "n": len(codes)})

    def _add(self, name: str, content: bytes, what: dict[str, Any]) -> None:
        self.columns[name] = {**what, "at": self._size, "size": len(content)}
        self._parts.append(content)
        self._size += len(content)


def _as_json(texts: Sequence[str]) -> bytes:
    return json.dumps(list(texts), ensure_ascii=True, separators=(",", ":")).encode("ascii")
