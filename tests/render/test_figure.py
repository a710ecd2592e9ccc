"""Figures for reports: the same bytes each time, the whole truth in the legend, and harmless text."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import fields
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Geod

from watershedmap.assessment import assess
from watershedmap.render.figure import build_map, draw_map, scale_bar, survey_bounds, write_figures
from watershedmap.render.figure_columns import UNASSESSED, evidence_of, is_uncertain, rank_of
from watershedmap.render.figure_legend import collect_rows
from watershedmap.render.figure_map import DOTS_FROM, Drawn
from watershedmap.render.figure_marks import AREAS, BADGES, LABELS, LINES, POINTS, line_strokes, site_look
from watershedmap.render.figure_paper import crowding, fit_paper, join_lines, shorten_chains
from watershedmap.render.figure_style import class_width, clean, drawing_rules, page_colours, text_width, wrap

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import SurveyFolder
    from watershedmap.assessment import Assessment

HOSTILE = (
    "<img src=x onerror=alert(1)>",
    "$\\frac{1}{0}$ $x_$ \\undefined{",
    "</text></svg><script>alert(1)</script>",
    "'\"`&amp;]]>",
    "\u05d0\u05d1\u05d2 \u202eevil\u202c \u0645\u0631\u062d\u0628\u0627",
    "\U0001f41f\U0001f469\u200d\U0001f52c",
    "nul\x00bell\x07\ufffe",
    "W" * 5000,
)
NOTHING = Drawn(badges=(0, 0, 0, 0), steps=0, numbers=True)


@pytest.fixture(scope="module")
def demo(demo_folder: Path) -> Assessment:
    return assess(demo_folder)


def copy_of(assessment: Assessment, **changes: Any) -> Any:  # noqa: ANN401 - stands in for an assessment
    kept = {field.name: getattr(assessment, field.name) for field in fields(assessment)}
    return SimpleNamespace(**{**kept, **changes})


def texts_of(path: Path) -> list[str]:
    root = ET.fromstring(path.read_text(encoding="utf-8"))  # noqa: S314 - we wrote it
    return ["".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text")]


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_the_same_assessment_gives_the_same_bytes(demo: Assessment, tmp_path: Path, kind: str) -> None:
    first = draw_map(demo, tmp_path / f"first.{kind}").read_bytes()
    assert first == draw_map(demo, tmp_path / f"second.{kind}").read_bytes()
    assert len(first) > 50_000


def test_another_process_gives_the_same_bytes(demo: Assessment, demo_folder: Path, tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from watershedmap.assessment import assess;"
        "from watershedmap.render.figure import write_figures;"
        "write_figures(assess(sys.argv[1]), Path(sys.argv[2]), sites=['S26'])"
    )
    there, here = tmp_path / "there", tmp_path / "here"
    for folder in (there, here):
        folder.mkdir()
    subprocess.run([sys.executable, "-W", "error", "-c", script, str(demo_folder), str(there)], check=True)
    for path in write_figures(demo, here, sites=["S26"]):
        assert path.read_bytes() == (there / path.relative_to(here)).read_bytes(), path.name


def test_settings_of_matplotlib_do_not_change_a_figure(demo: Assessment, tmp_path: Path) -> None:
    import matplotlib as mpl  # noqa: PLC0415 - only here

    plain = draw_map(demo, tmp_path / "plain.svg").read_bytes()
    with mpl.rc_context(
        {"font.size": 30, "svg.fonttype": "path", "lines.scale_dashes": True, "axes.facecolor": "red"}
    ):
        assert draw_map(demo, tmp_path / "changed.svg").read_bytes() == plain
        assert mpl.rcParams["font.size"] == 30


def test_a_file_holds_neither_date_nor_address(demo: Assessment, tmp_path: Path) -> None:
    for kind in ("png", "svg", "pdf"):
        content = draw_map(demo, tmp_path / f"map.{kind}").read_bytes()
        assert b"CreationDate" not in content
        assert b"<dc:date>" not in content
        assert str(tmp_path).encode() not in content
    svg = (tmp_path / "map.svg").read_text(encoding="utf-8")
    assert not re.findall(r'(?:href|src)="(?!#|data:image/png;base64,)', svg)
    assert "@import" not in svg
    assert "url(http" not in svg


def test_the_pdf_has_one_page(demo: Assessment, tmp_path: Path) -> None:
    content = draw_map(demo, tmp_path / "map.pdf").read_bytes()
    assert len(re.findall(rb"/Type /Page\b(?!s)", content)) == 1
    assert b"/MediaBox [ 0 0 841.9 595.3 ]" in content


def test_the_text_of_the_svg_says_what_the_map_shows(demo: Assessment, tmp_path: Path) -> None:
    words = texts_of(draw_map(demo, tmp_path / "map.svg"))
    joined = " ".join(words)
    frame, index = demo.reaches, demo.index
    rank = rank_of(frame, index)
    for n, band in enumerate(index.classes):
        at = words.index(f"{n + 1} {band.label}")
        km = [
            frame["length_km"][(rank == n) & (frame["evidence"] == kind)].sum()
            for kind in ("measured", "inferred")
        ]
        assert {f"{value:,.1f}" for value in km} <= set(words[at : at + 4])
    for kind, said in (
        ("measured", "Measured: a site on it"),
        ("inferred", "Inferred along the flow"),
        ("unassessed", "Unassessed: no class"),
    ):
        at = words.index(said)
        assert str(int((frame["evidence"] == kind).sum())) in words[at : at + 3]
    assert "condition as of 2025" in joined
    assert demo.survey.settings.about in words
    assert any("advises" in word and "certifies nothing" in word for word in words)
    assert any(demo.index.source[:30] in word for word in words)
    assert {"N", "5 km", "S26", "Improving", "Worsening"} <= set(words)


def test_only_the_survey_says_that_data_are_invented(survey_folder: SurveyFolder, tmp_path: Path) -> None:
    survey_folder.change("survey.toml", 'about = "Invented."\n', "")
    words = " ".join(texts_of(draw_map(assess(survey_folder.path), tmp_path / "map.svg")))
    assert "nvented" not in words


def test_hostile_text_only_shows(survey_folder: SurveyFolder, tmp_path: Path) -> None:
    assessment = assess(survey_folder.path)
    sites, reaches = assessment.sites.copy(), assessment.reaches.copy()
    sites["name"], sites["site_id"] = HOSTILE[0], [HOSTILE[2], HOSTILE[4]]
    reaches["name"] = [HOSTILE[1], HOSTILE[5], HOSTILE[3], HOSTILE[6]]
    areas = assessment.subwatersheds.assign(name=[HOSTILE[7], HOSTILE[1]])
    yearly = assessment.yearly.assign(site_id=HOSTILE[2])
    for text in HOSTILE:
        settings = SimpleNamespace(title=text, about=text, options=assessment.survey.settings.options)
        changed = copy_of(
            assessment,
            survey=SimpleNamespace(settings=settings),
            sites=sites,
            reaches=reaches,
            subwatersheds=areas,
            yearly=yearly,
        )
        folder = tmp_path / str(HOSTILE.index(text))
        folder.mkdir()
        written = write_figures(changed, folder)
        assert {path.suffix for path in written} == {".png", ".svg", ".pdf"}
        for path in written:
            if path.suffix == ".svg":
                tags = {node.tag.split("}")[1] for node in ET.fromstring(path.read_bytes()).iter()}  # noqa: S314
                assert not tags & {"script", "img", "foreignObject", "a"}
                said = " ".join(texts_of(path))
                assert clean(text, 20).rstrip("\u2026")[:12] in said
                assert len(said) < 9000


def test_no_text_is_read_as_a_formula(demo: Assessment) -> None:
    with drawing_rules():
        figure = build_map(demo)
        assert not any(text.get_parse_math() for axes in figure.axes for text in axes.texts)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("  a\tb\nc ", "a b c"),
        ("a\x00b\x1b", "a\ufffdb\ufffd"),
        ("a\ufffe", "a\ufffd"),
        ("\u202eabc\u202c", "abc"),
        ("\ud800", "\ufffd"),
        ("abcdef", "abcd\u2026"),
        ("a\u200db", "a\u200db"),
    ],
)
def test_text_is_made_fit_for_one_line(text: str, shown: str) -> None:
    assert clean(text, 5) == shown


def test_long_text_breaks_within_its_width() -> None:
    lines = wrap("several words that go on and on " * 20, 100, 8, most_lines=3)
    assert len(lines) == 3
    assert lines[-1].endswith("\u2026")
    assert all(text_width(line, 8) <= 100 for line in [*lines, *wrap("x" * 900, 100, 8, most_lines=2)])


def test_colours_are_those_of_the_page() -> None:
    colours = page_colours()
    assert {"ink", "paper", "map", "casing", "nodata", "border", "improving", "worsening"} <= set(colours)
    assert all(re.fullmatch(r"#[0-9a-fA-F]{6}", colour) for colour in colours.values())


def test_a_worse_class_is_wider_so_that_grey_print_tells_them_apart() -> None:
    for k in (2, 5, 10):
        widths = [class_width(rank, k) for rank in range(-1, k)]
        assert widths == sorted(set(widths))
        assert widths[-1] / widths[1] > 2


def test_inferred_never_looks_measured_and_unassessed_has_no_class_colour() -> None:
    measured, inferred = line_strokes(2, 5), line_strokes(2, 5, inferred=True)
    assert all(stroke.pattern == "solid" for stroke in measured)
    assert all(stroke.pattern != "solid" for stroke in inferred)
    assert len(line_strokes(2, 5, uncertain=True)) == len(measured) + 1
    assert len(line_strokes(2, 5, inferred=True, uncertain=True)) == len(inferred) + 1
    (unassessed,) = line_strokes(-1, 5)
    assert unassessed.colour == page_colours()["nodata"]
    assert site_look(-1, 5).fill == "#ffffff"
    assert site_look(1, 5, uncertain=True).label == "2?"


def test_a_missing_class_is_no_class_whatever_else_is_said(demo: Assessment) -> None:
    frame = demo.reaches.copy()
    frame["class"] = None
    assert set(rank_of(frame, demo.index)) == {-1}
    assert set(evidence_of(frame)) == {UNASSESSED}
    assert not is_uncertain(frame).any()
    rows = {row.words: row.figures for row in collect_rows(copy_of(demo, reaches=frame), NOTHING)}
    assert rows["Unassessed: no class"][0] == f"{len(frame):,}"
    assert rows["1 Excellent"][1:] == ("0.0", "0.0")


def test_uncertain_is_what_the_page_calls_uncertain() -> None:
    frame = pd.DataFrame(
        {"class": ["Good", "Good", "Good", None], "class_certainty": [0.694, 0.695, np.nan, 0.1]}
    )
    assert is_uncertain(frame).tolist() == [True, False, False, False]


def test_areas_lie_below_lines_below_arrows_below_points_below_labels() -> None:
    assert AREAS < LINES < LINES + 0.9 < BADGES < POINTS < LABELS


def test_steps_are_drawn_and_counted(demo: Assessment, tmp_path: Path) -> None:
    pairs = demo.sites[demo.sites["site_downstream"].notna()].head(6)
    steps = pd.DataFrame(
        {
            "site_upstream": pairs["site_id"].to_numpy(),
            "site_downstream": pairs["site_downstream"].to_numpy(),
            "reaches_between": "",
            "step_estimate": [1.5, -0.5, 0.1, 2.0, 0.0, np.nan],
            "step": [
                "worse downstream",
                "better downstream",
                "no clear step",
                "worse downstream",
                "too few pairs",
                "too few pairs",
            ],
        }
    )
    words = texts_of(draw_map(copy_of(demo, steps=steps), tmp_path / "map.svg"))
    assert words[words.index("Clearly worse downstream") + 1] == "2"
    assert words[words.index("Clearly better downstream") + 1] == "1"
    assert "6 pairs along the flow were compared; 3 of 3 steps found room." in words
    none = texts_of(draw_map(copy_of(demo, steps=steps.iloc[:0]), tmp_path / "none.svg"))
    assert none[none.index("Clearly worse downstream") + 1] == "0"
    assert "Clearly worse downstream" not in texts_of(
        draw_map(copy_of(demo, steps=None), tmp_path / "not_asked.svg")
    )


def test_a_survey_without_areas_or_trends_draws(survey_folder: SurveyFolder, tmp_path: Path) -> None:
    survey_folder.change("survey.toml", 'subwatersheds = "areas.geojson"\n', "")
    written = write_figures(assess(survey_folder.path), tmp_path)
    names = [path.relative_to(tmp_path).as_posix() for path in written]
    assert names == ["map.png", "map.svg", "map.pdf", "series/site-A1.svg"]


def test_very_many_reaches_become_dots_and_the_sheet_says_so(demo: Assessment, tmp_path: Path) -> None:
    times = DOTS_FROM // len(demo.reaches) + 1
    many = pd.concat([demo.reaches] * times, ignore_index=True)
    path = draw_map(copy_of(demo, reaches=many), tmp_path / "map.svg")
    assert any("dots of 300 to the inch" in word for word in texts_of(path))
    assert "data:image/png;base64," in path.read_text(encoding="utf-8")
    plain = draw_map(demo, tmp_path / "plain.svg")
    assert "data:image/png" not in plain.read_text(encoding="utf-8")


def test_the_scale_bar_is_geodesic(demo: Assessment) -> None:
    paper = fit_paper(survey_bounds(demo), 500, 400, 10)
    km, points = scale_bar(paper)
    longitude, latitude = paper.middle
    metres = Geod(ellps="WGS84").inv(longitude, latitude, longitude + points / paper.across, latitude)[2]
    assert metres == pytest.approx(1000 * km, rel=1e-4)
    assert points <= 125


def test_a_degree_of_longitude_shrinks_with_latitude() -> None:
    paper = fit_paper((10, 59, 12, 61), 400, 400, 0)
    assert paper.across / paper.up == pytest.approx(0.5, abs=1e-9)
    assert not fit_paper((10, 1, 10.1, 1.1), 400, 400, 0).uneven
    assert fit_paper((10, 50, 20, 60), 400, 400, 0).uneven


def test_lines_that_meet_are_dashed_as_one() -> None:
    lines = np.array([shapely.LineString([(n, 0), (n + 1, 0)]) for n in range(20)] + [None], dtype=object)
    (chain,) = join_lines(lines)
    assert len(chain) == 21
    assert join_lines(np.array([None, shapely.LineString()], dtype=object)) == []


def test_a_chain_too_short_for_a_gap_is_cut_short_itself() -> None:
    short, long = np.array([[0.0, 0.0], [2.0, 0.0]]), np.array([[0.0, 0.0], [50.0, 0.0]])
    cut, whole = shorten_chains([short, long], 6.0, 4.0)
    assert cut.tolist() == [[pytest.approx(0.4), 0.0], [pytest.approx(1.6), 0.0]]
    assert whole is long


def test_lines_grow_thinner_where_they_are_crowded() -> None:
    roomy = np.array([shapely.LineString([(0, y), (400, y)]) for y in range(0, 400, 40)], dtype=object)
    dense = np.array([shapely.LineString([(0, y), (400, y)]) for y in range(0, 400, 4)], dtype=object)
    assert crowding(roomy) == 1.0
    assert 0.2 <= crowding(dense) < 0.6
    assert crowding(np.array([None], dtype=object)) == 1.0
