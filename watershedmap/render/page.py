"""The map page: one HTML file that holds its data, its map library and everything else it needs.

The map is a `folium.Map` and the page a branca figure, with three changes: the lists of outside files are
empty and Leaflet stands inside the page; element ids are fixed, so that the same assessment gives the same
bytes; and the frame of the page is our own (`assets/page.html.j2`), with a Content-Security-Policy that
forbids every connection, so that the promise "works offline" is kept by the browser too.

The page draws from one block of JSON (see `page_data`). Its scripts are plain files in `assets`, put
together in the order of `SCRIPTS`.
"""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Any

import folium
import jinja2
from branca.element import Figure

from watershedmap.render.leaflet import read_script, read_style
from watershedmap.render.page_data import collect
from watershedmap.render.page_json import to_json

if TYPE_CHECKING:
    from pathlib import Path

    from watershedmap.assessment import Assessment

SCRIPTS = (
    "format.js",
    "shapes.js",
    "data.js",
    "certainty.js",
    "symbols.js",
    "canvas.js",
    "layout.js",
    "map.js",
    "legend.js",
    "chart.js",
    "panel.js",
    "samples.js",
    "explanation.js",
    "table.js",
    "start.js",
)
"""Parts of the page's script, in the order they are read."""

MAP_ID = "watershed_map"
SIZE_MARK = "@@ size @@"
"""Stands for the size of the page until it is known, and is as long as what replaces it."""

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
    page_map = PageMap(collect(assessment))
    text = page_map.get_root().render()
    return state_size(text)


def write_page(assessment: Assessment, path: Path) -> None:
    """Write the map page.

    Parameters
    ----------
    assessment
        What was computed.
    path
        File to write.
    """
    path.write_text(render_page(assessment), encoding="utf-8", newline="\n")


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
            data_json=to_json(self.data),
            leaflet_style=read_style(),
            leaflet_script=read_script(),
            style=_read("page.css"),
            script="\n".join(_read(name) for name in SCRIPTS),
            size_mark=SIZE_MARK,
        )
        return page


def _read(name: str) -> str:
    return (_ASSETS / name).read_text(encoding="utf-8")


def _read_frame() -> jinja2.Template:
    """Read the frame; what comes from the tables is escaped in it, what comes from our files is not."""
    environment = jinja2.Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(_read("page.html.j2"))
