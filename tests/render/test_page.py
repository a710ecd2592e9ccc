"""Rules of the map page as a text: nothing loaded, nothing run that came from a table, same bytes again."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from types import SimpleNamespace
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from page_reading import collect, open_block, read_block
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from watershedmap.errors import Fault
from watershedmap.render import page as page_module
from watershedmap.render.leaflet import read_script, read_style
from watershedmap.render.page import SCRIPTS, SIZE_MARK, render_page, state_size, write_page
from watershedmap.render.page_background import BACKGROUND_SCRIPT
from watershedmap.render.page_data import describe_limits
from watershedmap.render.page_json import to_json
from watershedmap.scoring.classes import classify
from watershedmap.scoring.indices import Index, IndexClass
from watershedmap.scoring.quality import HIT_COLUMNS
from watershedmap.settings import MapSettings

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

NAN = float("nan")
HOSTILE = (
    "<script>window.hacked = true</script>",
    "</script><script>window.hacked = true</script>",
    '<img src="x" onerror="window.hacked = true">',
    'O\'Brien "the" `${window.hacked = true}` & \u2028 co \U0001f41b {{ 7 * 7 }}',
)
PLAIN = ("Alder Run", "Brindle Brook", "Copper Fork", "Dun Water")
SVG_NAMESPACE = "http://www.w3.org/2000/svg"  # the name of a language, not an address that is loaded
WEST, SOUTH = 12.0, 40.0


def make_index(k: int = 5, better: str = "low") -> Index:
    """Make an index with limits 2, 4, ... where low is good, or 100, 98, ... where high is good."""
    limits = [2.0 * n for n in range(1, k)] if better == "low" else [100 - 2.0 * n for n in range(1, k)]
    classes = tuple(
        IndexClass(f"Band {n}", limit, f"Meaning {n}.") for n, limit in enumerate([*limits, None], start=1)
    )
    return Index("made_up", "Made-up index", "points", better, 2, classes, "Nobody 1999, for a test")


def make_scores(index: Index) -> list[float]:
    """Make four scores for four sites: in the best class, the second, the worst, and none."""
    sign = 1 if index.better == "low" else -1
    limits = [band.limit for band in index.classes if band.limit is not None]
    return [limits[0] - 0.5 * sign, limits[0] + 0.25 * sign, limits[-1] + 1.005 * sign, NAN]


def make_sites(index: Index, names: Sequence[str], *, placed: bool) -> gpd.GeoDataFrame:
    scores = make_scores(index)
    x, y = (
        [WEST + 0.01 + 0.03 * i for i in range(4)],
        [SOUTH + 0.01, SOUTH + 0.0112, SOUTH + 0.01, SOUTH + 0.05],
    )
    slope = [0.0, 0.4, -0.5, NAN]
    frame = pd.DataFrame(
        {
            "site_id": ["S01", "S02", "S03", "S04"],
            "name": list(names),
            "longitude": x,
            "latitude": y,
            "reach_id": ["R1", "R2", "R4", None] if placed else [None] * 4,
            "offset_m": [0.0, 133.0, 4.0, 4000.0],
            "position_m": [1200.0, 900.0, 300.0, NAN],
            "snapped_longitude": [*x[:3], NAN] if placed else [NAN] * 4,
            "snapped_latitude": [SOUTH + 0.01] * 3 + [NAN] if placed else [NAN] * 4,
            "subwatershed_id": ["W1", "W1", "W2", None],
            "n_samples": [6, 6, 1, 0],
            "n_years": [6, 6, 1, 0],
            "first_year": [2015, 2015, 2012, NAN],
            "last_year": [2021, 2021, 2012, NAN],
            "current": [True, True, False, False],
            "score": scores,
            "score_low": [scores[0] - 0.2, scores[1] - 0.4, NAN, NAN],
            "score_high": [scores[0] + 0.2, scores[1] + 0.4, NAN, NAN],
            "trend": [
                "no clear trend",
                "worsening" if index.better == "low" else "improving",
                "too few years",
                None,
            ],
            "slope_per_year": [0.0, 0.4, NAN, NAN],
            "slope_low": [-0.1, 0.2, NAN, NAN],
            "slope_high": [0.1, 0.6, NAN, NAN],
            "intercept": [scores[0] - 2018 * slope[0], scores[1] - 2018 * slope[1], NAN, NAN],
            "p_value": [0.8, 0.0123, NAN, NAN],
            "trend_years": [6, 6, 1, 0],
            "notes": ["", "by the gate", "", None],
        }
    )
    for column, of in (("class", "score"), ("class_low", "score_low"), ("class_high", "score_high")):
        frame[column] = classify(frame[of], index)
    return gpd.GeoDataFrame(frame, geometry=[Point(*xy) for xy in zip(x, y, strict=True)], crs=4326)


def make_reaches(index: Index, names: Sequence[str], *, flow: bool, placed: bool) -> gpd.GeoDataFrame:
    """Make a stream of R1, R2, R3 in a row, R4 joining R3, and R5 apart."""
    scores = make_scores(index)
    evidence = (
        ["measured", "measured", "inferred", "unassessed", "unassessed"] if placed else ["unassessed"] * 5
    )
    score = [scores[0], scores[1], scores[1], NAN, NAN] if placed else [NAN] * 5
    frame = pd.DataFrame(
        {
            "reach_id": [f"R{i}" for i in range(1, 6)],
            "name": [names[0], names[1], "", names[2], names[3]],
            "downstream_id": ["R2", "R3", None, "R3", None],
            "length_km": [2.5, 2.51, 2.0, 1.234, 3.0],
            "strahler_order": pd.array([1, 1, 2, 1, 1], dtype="Int64"),
            "subwatershed_id": ["W1", "W1", "W2", "W2", None],
            "evidence": evidence,
            "score": score,
            "score_low": [scores[0] - 0.2, scores[1] - 0.4, NAN, NAN, NAN],
            "score_high": [scores[0] + 0.2, scores[1] + 0.4, NAN, NAN, NAN],
            "n_sites": [1, 1, 0, 0, 0],
            "site_ids": ["S01", "S02", "", "", ""] if placed else [""] * 5,
            "inferred_from": ["", "", "S01; S02", "", ""] if placed else [""] * 5,
            "inferred_km": [NAN, NAN, 4.13, NAN, NAN],
            "trend": [
                "no clear trend",
                "worsening" if index.better == "low" else "improving",
                None,
                None,
                None,
            ]
            if placed
            else [None] * 5,
            "slope_per_year": [0.0, 0.4, NAN, NAN, NAN],
            "slope_low": [-0.1, 0.2, NAN, NAN, NAN],
            "slope_high": [0.1, 0.6, NAN, NAN, NAN],
            "p_value": [0.8, 0.0123, NAN, NAN, NAN],
            "trend_years": [6, 6, 0, 0, 0],
            "site_upstream": [None, "S01", "S02", None, None] if placed else [None] * 5,
            "site_upstream_km": [NAN, 2.4, 4.13, NAN, NAN],
            "site_downstream": ["S02", None, None, None, None] if placed else [None] * 5,
            "site_downstream_km": [2.4, NAN, NAN, NAN, NAN],
            "upstream_km": [2.5, 5.01, 8.2, 1.2, 3.0],
            "upstream_assessed_km": [2.5, 5.01, 7.0, 0.0, 0.0],
            "upstream_score": [scores[0], scores[1], scores[1], NAN, NAN],
            "upstream_sites": pd.array([1, 2, 2, 0, 0], dtype="Int64"),
        }
    )
    by_class = {f"upstream_km_{n}": [0.0] * 5 for n in range(1, len(index.classes) + 1)}
    by_class["upstream_km_1"] = [2.5, 2.5, 2.5, 0.0, 0.0]
    by_class["upstream_km_2"] = [0.0, 2.51, 4.5, 0.0, 0.0]
    frame = frame.assign(**by_class, upstream_km_unassessed=[0.0, 0.0, 1.2, 1.2, 3.0])
    frame["class"] = classify(frame["score"], index)
    if not flow:
        about_flow = [c for c in frame if re.match("upstream|site_(up|down)stream|strahler|downstream", c)]
        frame[about_flow] = np.nan
    lines = [
        LineString(
            [
                (WEST + i * 0.03, SOUTH + 0.01),
                (WEST + (i + 0.6) * 0.03, SOUTH + 0.01),
                (WEST + (i + 1) * 0.03, SOUTH + 0.01),
            ]
        )
        for i in range(3)
    ]
    lines.append(LineString([(WEST + 0.06, SOUTH + 0.03), (WEST + 0.06, SOUTH + 0.0101)]))
    lines.append(
        MultiLineString(
            [
                [(WEST, SOUTH + 0.05), (WEST + 0.02, SOUTH + 0.05)],
                [(WEST + 0.03, SOUTH + 0.05), (WEST + 0.05, SOUTH + 0.055)],
            ]
        )
    )
    return gpd.GeoDataFrame(frame, geometry=lines, crs=4326)


def make_areas(index: Index, names: Sequence[str]) -> gpd.GeoDataFrame:
    """Make W1 with its sites, W2 whose one condition is inferred, and W3 without any."""
    score = [*make_scores(index)[:2], NAN]
    frame = pd.DataFrame(
        {
            "subwatershed_id": ["W1", "W2", "W3"],
            "name": [names[3], names[0], names[1]],
            "area_km2": [10.04, 8.0, 1.0],
            "stream_km": [5.01, 3.234, 0.0],
            "assessed_km": [5.01, 2.0, 0.0],
            "measured_km": [5.01, 0.0, 0.0],
            "assessed_share": [1.0, 0.618, NAN],
            "score": score,
            "n_sites": [2, 1, 0],
        }
    )
    frame["class"] = classify(frame["score"], index)
    boxes = [
        Polygon([(w, SOUTH - 0.01), (w + 0.06, SOUTH - 0.01), (w + 0.06, SOUTH + 0.06), (w, SOUTH + 0.06)])
        for w in (WEST, WEST + 0.06, WEST + 0.12)
    ]
    return gpd.GeoDataFrame(frame, geometry=boxes, crs=4326)


def make_samples(index: Index, sites: gpd.GeoDataFrame) -> pd.DataFrame:
    rows = [
        {
            "sample_id": f"{site}-{year}",
            "site_id": site,
            "date": pd.Timestamp(year, 5, 4),
            "year": year,
            "method": "kick <net>",
            "replicate": "",
            "total_individuals": 87 + year % 7,
            "taxa_richness": 14,
            "ept_richness": 6,
            "score": score,
            "flags": "fewer than 100 individuals" if year == 2019 else "",
        }
        for site, score, years in zip(
            sites["site_id"],
            sites["score"],
            ([2015, 2016, 2018, 2019, 2020, 2021],) * 2 + ([2012], []),
            strict=True,
        )
        for year in years
    ]
    frame = pd.DataFrame(rows)
    frame["class"] = classify(frame["score"], index)
    return frame


def build_assessment(
    *,
    k: int = 5,
    better: str = "low",
    areas: bool = True,
    flow: bool = True,
    placed: bool = True,
    names: Sequence[str] = HOSTILE,
    counts: bool = True,
    index: Index | None = None,
) -> SimpleNamespace:
    """Build a small assessment by hand, after the contract between assessment and pages."""
    index = index or make_index(k, better)
    sites = make_sites(index, names, placed=placed)
    samples = make_samples(index, sites)
    yearly = samples.groupby(["site_id", "year"], as_index=False)["score"].mean().assign(n_samples=1)
    if not counts:
        samples = samples[
            ["sample_id", "site_id", "date", "year", "method", "replicate", "score", "class", "flags"]
        ]
    settings = SimpleNamespace(
        title=f"Survey {names[1]}", about=f"Invented data. {names[2]}", map=MapSettings()
    )
    return SimpleNamespace(
        survey=SimpleNamespace(settings=settings, counts=None),
        index=index,
        as_of_year=2021,
        samples=samples,
        checks=pd.DataFrame(columns=list(HIT_COLUMNS)),
        yearly=yearly,
        sites=sites,
        reaches=make_reaches(index, names, flow=flow, placed=placed),
        subwatersheds=make_areas(index, names) if areas else None,
        taxa=None,
        notices=(Fault("counts.csv", 3, "taxon", names[0], "no table knows this taxon", "", "notice"),),
    )


@pytest.fixture(scope="module")
def page() -> str:
    return render_page(build_assessment())


def without_leaflet(page: str) -> str:
    assert read_script() in page
    assert read_style() in page
    return page.replace(read_script(), "").replace(read_style(), "")


def test_same_assessment_gives_the_same_bytes(page: str) -> None:
    assert render_page(build_assessment()) == page


def test_written_file_holds_the_rendered_page(page: str, tmp_path: Path) -> None:
    write_page(build_assessment(), tmp_path / "map.html")
    assert (tmp_path / "map.html").read_bytes() == page.encode()


def test_page_names_nothing_that_a_browser_would_load() -> None:
    # With plain names, so that every match is our own; hostile names have tests of their own.
    own = without_leaflet(render_page(build_assessment(names=PLAIN)))
    loaders = ("src=", "url(", "@import", "fetch(", "XMLHttpRequest", "WebSocket", "import(", "sendBeacon")
    tags = ("<link", "<iframe", "<img", "<object", "<embed", "<form")
    for loader in (*loaders, *tags):
        assert loader not in own, loader
    assert re.findall(r'href="[^"]*"', own) == ['href="#tables"', 'href="methods.html"']
    assert set(re.findall(r"https?://[^\s\"'<]*", own)) == {SVG_NAMESPACE}


def test_style_of_leaflet_asks_for_no_picture() -> None:
    assert "url(" not in read_style()
    assert "leaflet-pane" in read_style()


def test_leaflet_keeps_its_licence_and_loses_its_source_map(page: str) -> None:
    assert "@preserve" in page
    assert "Leaflet 1.9" in page
    assert "sourceMappingURL" not in page
    original = (files("js_lib_leaflet") / "static/js_lib_leaflet/leaflet.js").read_text(encoding="utf-8")
    assert original.startswith(read_script().rstrip())


def test_policy_forbids_every_connection_and_stands_before_any_style_or_script(page: str) -> None:
    policy = re.search(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">', page)
    assert "default-src 'none'" in policy[1]
    assert set(re.findall(r"([a-z]+-src)", policy[1])) == {
        "default-src",
        "script-src",
        "style-src",
        "img-src",
    }
    assert "http" not in policy[1]
    assert policy.start() < page.index("<style") < page.index("<script")


def test_there_are_exactly_the_scripts_we_put_there(page: str) -> None:
    # Data block, packed reaches, Leaflet, ours: a name from a table opens no further one.
    assert len(re.findall(r"<script\b", page)) == 4
    assert len(re.findall(r"</script", page)) == 4
    assert "<script>window.hacked" not in page
    assert "<img" not in without_leaflet(page)


def test_hostile_title_and_notice_are_escaped_in_the_head_of_the_page(page: str) -> None:
    assert "<h1>Survey &lt;/script&gt;&lt;script&gt;window.hacked" in page
    assert "Invented data. &lt;img src=" in page


def test_braces_in_a_name_are_no_template(page: str) -> None:
    assert "{{ 7 * 7 }}" in read_block(page)["sites"]["name"][3]


def test_data_block_is_the_collected_data_again(page: str) -> None:
    assert read_block(page) == json.loads(json.dumps(collect(build_assessment())))


def test_json_for_a_script_element_escapes_what_could_end_it() -> None:
    text = to_json({"name": "</script><!-- & \u2028\u2029"})
    assert not set(text) & set("<>&\u2028\u2029")
    assert json.loads(text) == {"name": "</script><!-- & \u2028\u2029"}


def test_json_refuses_a_number_that_is_none() -> None:
    with pytest.raises(ValueError, match="JSON"):
        to_json({"score": NAN})


def test_coordinates_come_back_within_a_metre() -> None:
    assessment = build_assessment()
    lines = open_block(render_page(assessment)).lines()
    steps = [xy for line in lines for part in line for xy in part]
    expected = [xy for shape in assessment.reaches.geometry.explode() for xy in shape.coords]
    assert np.array(steps) == pytest.approx(np.array(expected), abs=0.6e-5)
    assert [len(line) for line in lines] == [1, 1, 1, 1, 2]
    assert [len(part) for line in lines for part in line] == [3, 3, 3, 2, 2, 2]


def test_a_place_for_the_name_lies_inside_its_polygon() -> None:
    assessment = build_assessment()
    label = collect(assessment)["areas"]["label"]
    for x, y, shape in zip(label["x"], label["y"], assessment.subwatersheds.geometry, strict=True):
        assert shape.contains(Point(x / 1e5, y / 1e5))


def test_missing_is_null_or_minus_one_and_never_zero() -> None:
    data = collect(build_assessment())
    assert data["sites"]["score"][3] is None
    assert data["sites"]["rank"][3] == -1
    assert data["sites"]["low"][2] is None
    assert data["sites"]["lastYear"][3] is None
    assert data["sites"]["reach"][3] == -1
    assert data["reaches"]["score"][3:] == [None, None]
    assert data["reaches"]["trend"] == [2, 1, -1, -1, -1]
    assert data["areas"]["rank"] == [0, 1, -1]
    assert data["areas"]["assessedShare"][2] is None


def test_metrics_of_scores_brought_in_are_missing_and_not_zero() -> None:
    samples = collect(build_assessment(counts=False))["samples"]
    assert set(samples["individuals"]) == set(samples["richness"]) == set(samples["ept"]) == {None}
    assert None not in samples["score"]


def test_scores_are_rounded_as_for_classes() -> None:
    # Half away from zero, as classes are: 9.005 is held by the float a little below itself.
    assert collect(build_assessment())["sites"]["score"][2] == 9.01


def test_lengths_keep_the_metre_so_that_their_sums_do_not_drift() -> None:
    data = collect(build_assessment())
    assert data["reaches"]["lengthKm"] == [2.5, 2.51, 2, 1.234, 3]
    assert data["areas"]["streamKm"] == [5.01, 3.234, 0]


def test_a_sub_watershed_without_a_measured_stream_is_told_from_a_measured_one() -> None:
    assessment = build_assessment()
    kinds = [collect(assessment)["evidence"][i] for i in collect(assessment)["areas"]["evidence"]]
    assert kinds == ["measured", "inferred", "unassessed"]
    assessment.subwatersheds.loc[1, "measured_km"] = 0.0004  # rounds to nothing, yet it is measured
    assert collect(assessment)["areas"]["evidence"] == [0, 0, 2]


def test_trend_line_ends_come_from_the_fit_in_full() -> None:
    data = collect(build_assessment())["sites"]
    score = make_scores(make_index())[1]
    assert data["fit"][1] == pytest.approx([score - 3 * 0.4, score + 3 * 0.4], abs=1e-4)
    assert data["fit"][2] == data["fit"][3] == []


def test_samples_are_the_newest_and_their_number_is_stated() -> None:
    assessment = build_assessment()
    many = pd.concat(
        [assessment.samples.assign(sample_id=lambda f, n=n: f["sample_id"] + str(n)) for n in range(5)]
    )
    assessment.samples = many
    samples = collect(assessment)["samples"]
    assert samples["perSite"] == [30, 30, 5, 0]
    assert samples["site"].count(0) == 12
    assert samples["date"][0] == "2021-05-04"


def test_an_id_that_holds_the_separator_is_found_as_a_whole() -> None:
    assessment = build_assessment()
    assessment.sites["site_id"] = assessment.sites["site_id"].replace("S01", "a; b")
    assessment.reaches["site_ids"] = assessment.reaches["site_ids"].replace("S01", "a; b")
    assert collect(assessment)["reaches"]["sites"][0] == [0]


def test_limits_are_put_into_words_where_low_is_good() -> None:
    assert describe_limits(make_index(4, "low")) == ("≤ 2.00", "2.01\u20134.00", "4.01\u20136.00", "≥ 6.01")


def test_limits_are_put_into_words_where_high_is_good() -> None:
    assert describe_limits(make_index(4, "high")) == (
        "≥ 98.00",
        "96.00\u201397.99",
        "94.00\u201395.99",
        "≤ 93.99",
    )


def test_limits_below_zero_are_not_joined_by_a_dash() -> None:
    classes = (IndexClass("a", -4.0, ""), IndexClass("b", 2.0, ""), IndexClass("c", None, ""))
    index = Index("x", "X", "", "low", 0, classes, "")
    assert describe_limits(index) == ("≤ -4", "-3 to 2", "≥ 3")


@pytest.mark.parametrize("k", range(2, 11))
@pytest.mark.parametrize("better", ["low", "high"])
def test_any_index_makes_a_page(k: int, better: str) -> None:
    data = read_block(render_page(build_assessment(k=k, better=better)))
    assert len(data["index"]["classes"]) == k
    assert data["sites"]["rank"] == [0, 1, k - 1, -1]


@pytest.mark.parametrize("lacking", ["areas", "flow", "placed", "counts"])
def test_a_survey_that_lacks_something_makes_a_page(lacking: str) -> None:
    data = read_block(render_page(build_assessment(**{lacking: False})))
    assert (data["areas"] is None) == (lacking == "areas")
    assert (data["reaches"]["upKm"] == [None] * 5) == (lacking == "flow")
    assert (data["sites"]["reach"] == [-1] * 4) == (lacking == "placed")


def test_page_states_its_own_size(page: str) -> None:
    stated = re.search(r"This page: +([\d,]+) kB, works offline", page)[1].replace(",", "")
    assert int(stated) == -(-len(page.encode()) // 1000)
    assert SIZE_MARK not in page


def test_stating_the_size_does_not_change_it() -> None:
    text = "x" * 1_234_567 + SIZE_MARK
    assert len(state_size(text)) == len(text)
    assert state_size(text).endswith(" 1,235 kB")


def test_a_large_page_is_warned_of_with_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    size = write_page(build_assessment(), tmp_path / "map.html")
    assert size == (tmp_path / "map.html").stat().st_size
    assert not caplog.records
    monkeypatch.setattr(page_module, "LARGE_BYTES", size - 1)
    write_page(build_assessment(), tmp_path / "map.html")
    assert "map.html is large" in caplog.text
    assert "cut to the watershed" in caplog.text
    assert page_module.LARGE_BYTES > 0


def test_page_names_the_files_it_rests_on_and_escapes_them(tmp_path: Path) -> None:
    assessment = build_assessment()
    assessment.survey.inputs = (tmp_path / "sites.csv", tmp_path / "a<b>.gpkg")
    assert "read from a&lt;b&gt;.gpkg, sites.csv." in render_page(assessment)


def test_every_asset_is_used() -> None:
    assets = {
        item.name for item in (files("watershedmap.render") / "assets").iterdir() if item.name.endswith(".js")
    }
    assert assets == {*SCRIPTS, BACKGROUND_SCRIPT}


@pytest.mark.parametrize("name", [*SCRIPTS, BACKGROUND_SCRIPT])
def test_scripts_put_text_into_the_page_as_text_only(name: str) -> None:
    script = (files("watershedmap.render") / "assets" / name).read_text(encoding="utf-8")
    for way in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "new Function",
        "bindTooltip",
        "bindPopup",
    ):
        assert way not in script, way


def test_one_word_stands_for_a_reach_without_condition() -> None:
    for item in (files("watershedmap.render") / "assets").iterdir():
        if item.name != "methods.html.j2":
            assert "not assessed" not in item.read_text(encoding="utf-8").lower(), item.name


def test_page_says_that_it_certifies_nothing(page: str) -> None:
    assert "it does not certify that water is safe" in page
    assert "Nobody 1999, for a test" in page


def test_a_site_has_its_own_neighbours_not_those_of_its_reach() -> None:
    assessment = build_assessment()
    ids = assessment.sites["site_id"].tolist()
    assessment.sites = assessment.sites.assign(
        site_upstream=[ids[1], *[None] * (len(ids) - 1)], site_upstream_km=12.5
    )
    sites = collect(assessment)["sites"]
    assert (sites["upSite"][0], sites["upSiteKm"][0]) == (1, 12.5)
    assert sites["downSite"][0] == -1
