"""JSON that can stand inside a page."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


def to_json(data: Mapping[str, Any]) -> str:
    """Write data as JSON that can stand inside a `<script>` element.

    Parameters
    ----------
    data
        Plain JSON types.

    Returns
    -------
    str
        Compact JSON with sorted keys, in which no character can end the element or a line.

    Raises
    ------
    ValueError
        A number is not finite.
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return text
