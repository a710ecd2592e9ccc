"""The background map that a page may offer: pictures from another host, only when the reader asks for them.

Without the option the page holds neither the script that could ask for tiles nor a rule that would let it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from watershedmap.settings import MapSettings

BACKGROUND_SCRIPT = "background.js"
"""Part of the page's script that only a page with a background map holds."""


def collect_background(settings: MapSettings) -> dict[str, Any]:
    """Collect what the page needs to know of its background map.

    Parameters
    ----------
    settings
        What the survey says of the map page.

    Returns
    -------
    dict
        `background`, with the address of the tiles, their attribution and their host; empty where the page
        offers none.
    """
    if not settings.tiles:
        return {}
    found = {"tiles": settings.tiles, "attribution": settings.attribution, "host": settings.host}
    return {"background": found}


def name_picture_source(data: dict[str, Any]) -> str:
    """Name where else the page may load pictures from, for its Content-Security-Policy.

    Parameters
    ----------
    data
        What the page shows.

    Returns
    -------
    str
        One host with its scheme, after a space; empty where the page offers no background map.
    """
    return f" https://{data['background']['host']}" if "background" in data else ""
