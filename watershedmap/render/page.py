"""The map page: one HTML file that holds its data, its map library and everything else it needs.

The map is a `folium.Map` and the page a branca figure, with three changes: the lists of outside files are
empty and Leaflet stands inside the page; element ids are fixed, so that the same assessment gives the same
bytes; and the frame of the page is our own (`assets/page.html.j2`), with a Content-Security-Policy that
forbids every connection, so that the promise "works offline" is kept by the browser too. The one exception is
a survey that asks for a background map (see `page_background`): its page may load pictures of one host.

The page draws from one block of JSON (see `page_data`). Its scripts are plain files in `assets`, put
together in the order of `SCRIPTS`.
"""

from __future__ import annotations

import logging
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import folium
import jinja2
from branca.element import Figure

from watershedmap.render.leaflet import read_script, read_style
from watershedmap.render.page_background import BACKGROUND_SCRIPT, collect_background, name_picture_source
from watershedmap.render.page_data import collect
from watershedmap.render.page_json import to_json

if TYPE_CHECKING:
    from pathlib import Path

    from watershedmap.assessment import Assessment

SCRIPTS = (
    "format.js",
    "shapes.js",
    "unpack.js",
    "data.js",
    "periods.js",
    "streams.js",
    "certainty.js",
    "symbols.js",
    "theme.js",
    "canvas.js",
    "lines.js",
    "flow.js",
    "graticule.js",
    "layout.js",
    "steps.js",
    "map.js",
    "shading.js",
    "legend.js",
    "chart.js",
    "panel.js",
    "samples.js",
    "explanation.js",
    "filters.js",
    "download.js",
    "table.js",
    "address.js",
    "start.js",
)
"""Parts of the page's script, in the order they are read."""

MAP_ID = "watershed_map"
LARGE_BYTES = 20_000_000
"""Size from which the run warns."""
SIZE_MARK = "@@ size @@"
"""Stands for the size of the page until it is known, and is as long as what replaces it."""

log = logging.getLogger(__name__)

_ASSETS = files("watershedmap.render") / "assets"
_MAP_OPTIONS: dict[str, Any] = {
    "zoomSnap": 0.05,
    "zoomDelta": 0.75,
    "maxZoom": 19,
    "attributionControl": False,
    "preferCanvas": True,
}


def render_page(assessment: Assessment) -> str:
    """Render the map page.

    Parameters
    ----------
    assessment
        What was computed.

    Returns
    -------
    str
        A whole HTML document; the same for the same assessment.
    """
    background = collect_background(assessment.survey.settings.map)
    page_map = PageMap({**collect(assessment), **background})
    text = page_map.get_root().render()
    return state_size(text)


def write_page(assessment: Assessment, path: Path) -> int:
    """Write the map page; warn when it is large.

    Parameters
    ----------
    assessment
        What was computed.
    path
        File to write.

    Returns
    -------
    int
        Size of the page, bytes.
    """
    content = render_page(assessment).encode()
    path.write_bytes(content)
    host = assessment.survey.settings.map.host
    if host:
        log.info("%s offers a background map from %s, off until a reader switches it on", path.name, host)
    if len(content) > LARGE_BYTES:
        log.warning(
            "%s is large, %.0f MB (%d reaches): it may be slow to open and too big to send by mail. A stream "
            "layer cut to the watershed, or with simpler lines, makes it smaller.",
            path.name,
            len(content) / 1e6,
            len(assessment.reaches),
        )
    return len(content)


def state_size(text: str) -> str:
    """Put the size of a page where the page states it.

    Parameters
    ----------
    text
        A page that holds `SIZE_MARK`.

    Returns
    -------
    str
        The page, no longer or shorter than before, with its size in kilobytes (1000 bytes).
    """
    kilobytes = f"{-(-len(text.encode()) // 1000):,} kB"
    return text.replace(SIZE_MARK, kilobytes.rjust(len(SIZE_MARK)))


class PageMap(folium.Map):
    """A folium map that asks for no outside file and sits in our own page.

    Parameters
    ----------
    data
        As from `page_data.collect`.
    """

    default_js: list[tuple[str, str]] = []  # noqa: RUF012 - folium's own attribute, kept empty
    default_css: list[tuple[str, str]] = []  # noqa: RUF012 - the same
    _template = jinja2.Template(
        """
        {% macro html(this, kwargs) %}
        <div id="{{ this.get_name() }}" class="folium-map" role="region" aria-label="Map"></div>
        {% endmacro %}
        {% macro script(this, kwargs) %}
        const {{ this.get_name() }} = L.map("{{ this.get_name() }}", {
          ...{{ this.page_options | tojson }},
          ...motionOptions(),
        });
        {% endmacro %}
        """
    )

    def __init__(self, data: dict[str, Any]) -> None:
        super().__init__(tiles=None)
        self._id = MAP_ID
        self.page_options = _MAP_OPTIONS
        PageFigure(data).add_child(self, name=MAP_ID)

    def get_name(self) -> str:
        """Return the id of the map's element, which is also the name of the map in the script.

        Returns
        -------
        str
            Always the same.
        """
        return MAP_ID


class PageFigure(Figure):
    """The frame of the page.

    What folium elements put into the head of a page is left out: it is links to outside files, and styles
    for pages of folium's own.

    Parameters
    ----------
    data
        As from `page_data.collect`.
    """

    def __init__(self, data: dict[str, Any]) -> None:
        super().__init__()
        self._id = "page"
        self.data = data
        self._template = _read_frame()

    def render(self, **kwargs: Any) -> str:  # noqa: ANN401 - as branca has it
        """Render the whole page.

        Parameters
        ----------
        **kwargs
            Passed on.

        Returns
        -------
        str
            A whole HTML document.
        """
        for child in self._children.values():
            child.render(**kwargs)
        page: str = self._template.render(
            this=self,
            kwargs=kwargs,
            data=self.data,
            map_id=MAP_ID,
            data_json=to_json({**self.data, "reaches": self.data["reaches"].describe()}),
            reaches_block=self.data["reaches"].close(),
            leaflet_style=read_style(),
            leaflet_script=read_script(),
            style=_read("page.css"),
            picture_source=name_picture_source(self.data),
            script="\n".join(_read(name) for name in _list_scripts(self.data)),
            size_mark=SIZE_MARK,
        )
        return page


def _list_scripts(data: dict[str, Any]) -> tuple[str, ...]:
    return (BACKGROUND_SCRIPT, *SCRIPTS) if "background" in data else SCRIPTS


def _read(name: str) -> str:
    return (_ASSETS / name).read_text(encoding="utf-8")


def _read_frame() -> jinja2.Template:
    """Read the frame; what comes from the tables is escaped in it, what comes from our files is not."""
    environment = jinja2.Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(_read("page.html.j2"))
