"""The layer report: a page of what is odd about the map layers.

One section a kind of finding, those that stop a run first, with what it is, how to mend it, a sketch with
the places numbered, and a table of the ids. A long section shows its first rows and says how many more
there are; all of them are points of the layer `layer_findings` of a GeoPackage. The page opens without a
network and runs no script.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import jinja2
import numpy as np
import shapely

from watershedmap.network.inspection import count_reaches
from watershedmap.render.layer_sketch import Frame, draw_dots, draw_path, frame_layers

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import geopandas as gpd

    from watershedmap.streams import Streams
    from watershedmap.survey import Survey

FINDINGS_LAYER: Final = "layer_findings"
"""Name of the layer of findings in a GeoPackage."""
MOST_ROWS: Final = 100
"""Rows of one kind that the page shows."""
MOST_NAMED: Final = 40
"""Ids of one finding that the page shows."""
APART: Final = 28
"""Numbers nearer to each other than this on the sketch would cover each other, units."""

KINDS: Final[Mapping[str, str]] = {
    "cycle": "Reaches from which water comes back to where it started. Nothing in a layer tells which of "
    "them is wrong, so none is cut; until it is mended nothing can be traced through them.",
    "cycle of codes": "Sub-watersheds whose downstream codes lead back to where they started.",
    "line crosses itself": "Lines that cross or touch themselves.",
    "duplicate line": "Reaches that have the same line, in the same or in the opposite direction.",
    "near miss": "Places where lines end close to each other and do not meet.",
    "end beside a line": "Lines that end on or beside another line, away from its ends.",
    "gap along the flow": "Reaches that lie far from what their id says they flow into.",
    "reversed line": "Lines drawn from their lower to their upper end, as the ids, nodes or elevations tell.",
    "direction unclear": "Where neither elevations nor the junctions tell which way a line flows.",
    "no line": "Reaches that have no line in the layer.",
    "divergence": "Places where water divides among several reaches.",
    "leaves the layer": "Reaches that flow into one that is not in the layer.",
    "outlet": "Reaches with nothing downstream.",
    "isolated piece": "What hangs together with nothing else; the largest piece is not listed.",
    "code not in the layer": "Sub-watersheds whose downstream code names none of the layer.",
    "chain disagrees": "Sub-watersheds whose downstream code says another thing than the reaches in them.",
    "crosses a border": "Reaches that lie in more than one sub-watershed.",
    "overlap": "Places that lie in more than one sub-watershed.",
    "gap": "Holes between sub-watersheds that belong to none.",
    "outside of all areas": "Reaches that lie in no sub-watershed.",
    "site in no area": "Sites that lie in no sub-watershed.",
}
"""What each kind is, in the order of the page; kinds that are not here come last."""


def write_layer_report(
    findings: gpd.GeoDataFrame,
    path: Path,
    *,
    title: str,
    counts: Mapping[str, object] | None = None,
    reaches: gpd.GeoDataFrame | None = None,
    areas: gpd.GeoDataFrame | None = None,
    back: str = "",
    points_in: str = "",
) -> Path:
    """Write the page.

    Parameters
    ----------
    findings
        finding, severity, ids, note, fix, and a point or None, in longitude and latitude.
    path
        File to write.
    title
        Name of the survey.
    counts
        Figures about the layers, under the words they are shown with.
    reaches, areas
        The layers, for the sketch.
    back
        Page to link back to; empty for none.
    points_in
        Name of the GeoPackage that holds all findings as points; empty for none.

    Returns
    -------
    pathlib.Path
        The file written.
    """
    page = render_layer_report(
        findings, title=title, counts=counts, reaches=reaches, areas=areas, back=back, points_in=points_in
    )
    path.write_text(page, encoding="utf-8", newline="\n")
    return path


def render_layer_report(
    findings: gpd.GeoDataFrame,
    *,
    title: str,
    counts: Mapping[str, object] | None = None,
    reaches: gpd.GeoDataFrame | None = None,
    areas: gpd.GeoDataFrame | None = None,
    back: str = "",
    points_in: str = "",
) -> str:
    """Return the page as text; parameters as for `write_layer_report`."""
    layers = [layer for layer in (reaches, areas) if layer is not None]
    frame = frame_layers([*layers, findings])
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("watershedmap.render", "assets"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("layer_report.html.j2").render(
        title=title,
        counts=[(word, _show(figure)) for word, figure in (counts or {}).items()],
        groups=_group(findings, frame),
        stopping=int((findings["severity"] == "fault").sum()),
        total=len(findings),
        frame=frame,
        lines=_draw(reaches, frame),
        borders=_draw(areas, frame),
        back=back,
        points_in=points_in,
        layer=FINDINGS_LAYER,
    )


def count_layers(streams: Streams | Survey) -> dict[str, float]:
    """Gather the figures of the layers that the page shows, under the words it shows them with.

    Parameters
    ----------
    streams
        The layers, or a survey that holds them.

    Returns
    -------
    dict
        Reaches, kilometres, outlets, reaches that leave the layer, sub-watersheds; those that there are.
    """
    counts: dict[str, float] = {"reaches": len(streams.reaches)}
    if streams.network is not None:
        counts |= count_reaches(streams.network)
    if streams.subwatersheds is not None:
        counts["sub-watersheds"] = len(streams.subwatersheds)
    return counts


def _draw(layer: gpd.GeoDataFrame | None, frame: Frame | None) -> str:
    return "" if layer is None or frame is None else draw_path(layer.geometry, frame)


def _group(findings: gpd.GeoDataFrame, frame: Frame | None) -> list[dict[str, Any]]:
    """Gather the findings by kind, those that stop a run first."""
    place = {kind: number for number, kind in enumerate(KINDS)}
    parts = {str(kind): findings[findings["finding"] == kind] for kind in findings["finding"].unique()}
    stops = {kind: bool((part["severity"] == "fault").any()) for kind, part in parts.items()}
    ordered = sorted(parts, key=lambda kind: (not stops[kind], place.get(kind, len(place)), kind))
    return [
        _describe(kind, parts[kind], frame, number=number, stops=stops[kind])
        for number, kind in enumerate(ordered, start=1)
    ]


def _describe(
    kind: str, part: gpd.GeoDataFrame, frame: Frame | None, *, number: int, stops: bool
) -> dict[str, Any]:
    """Gather what the section of one kind shows; what all rows have in common is said once."""
    shown = part.iloc[:MOST_ROWS]
    notes, fixes = part["note"].unique().tolist(), part["fix"].unique().tolist()
    rows = zip(shown["ids"], shown["note"], shown["fix"], strict=True)
    return {
        "anchor": f"kind-{number}",
        "kind": kind,
        "count": len(part),
        "stops": stops,
        "meaning": KINDS.get(kind, ""),
        "note": notes[0] if len(notes) == 1 else "",
        "fix": fixes[0] if len(fixes) == 1 else "",
        "rows": [
            {"number": n, "ids": _cut(ids), "note": note, "fix": fix}
            for n, (ids, note, fix) in enumerate(rows, start=1)
        ],
        "more": len(part) - len(shown),
        "without": int(part.geometry.isna().sum()),
        **_mark(part, frame),
    }


def _mark(part: gpd.GeoDataFrame, frame: Frame | None) -> dict[str, Any]:
    """Put the findings of one kind on the sketch: all as dots, and numbers where there is room for them."""
    points = part.geometry.to_numpy()
    placed = np.flatnonzero(~shapely.is_missing(points) & ~shapely.is_empty(points))
    if frame is None or not len(placed):
        return {"dots": "", "marks": []}
    on_sketch = frame.place(shapely.get_coordinates(points[placed]))
    marks: list[dict[str, int]] = []
    for row, (x, y) in zip(placed.tolist(), np.round(on_sketch).astype(int).tolist(), strict=True):
        if row >= MOST_ROWS:
            break
        if all(abs(x - mark["x"]) >= APART or abs(y - mark["y"]) >= APART for mark in marks):
            marks.append({"number": row + 1, "x": x, "y": y})
    return {"dots": draw_dots(on_sketch), "marks": marks}


def _cut(ids: str) -> str:
    """Shorten a long list of ids."""
    names = ids.split("; ")
    return (
        ids
        if len(names) <= MOST_NAMED
        else f"{'; '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"
    )


def _show(figure: object) -> str:
    """Write a figure with its thousands apart."""
    if isinstance(figure, bool) or not isinstance(figure, int | float | np.integer | np.floating):
        return str(figure)
    return f"{figure:,.1f}" if isinstance(figure, float | np.floating) else f"{figure:,d}"
