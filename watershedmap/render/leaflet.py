"""Leaflet's own files, read from the installed package `js_lib_leaflet`, ready to stand inside a page.

Nothing of Django is imported, and no file is copied into this project. Two things are taken out, because a
page that works offline may not name them: the pictures of controls that our pages do not have, and the
pointer to the source map. The licence notice at the head of the script stays.
"""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files

_FOLDER = files("js_lib_leaflet") / "static" / "js_lib_leaflet"
_ADDRESS = re.compile(r"url\([^)]*\)")
_SOURCE_MAP = re.compile(r"^//# sourceMappingURL=.*$", re.MULTILINE)


@cache
def read_script() -> str:
    """Return Leaflet's script.

    Returns
    -------
    str
        JavaScript with its licence notice, safe inside `<script>`.
    """
    text = _SOURCE_MAP.sub("", (_FOLDER / "leaflet.js").read_text(encoding="utf-8"))
    return text.replace("</script", r"<\/script").strip() + "\n"


@cache
def read_style() -> str:
    """Return Leaflet's style sheet without any address of a picture.

    Returns
    -------
    str
        CSS, safe inside `<style>`.
    """
    text = (_FOLDER / "leaflet.css").read_text(encoding="utf-8")
    return _ADDRESS.sub("none", text).strip() + "\n"
