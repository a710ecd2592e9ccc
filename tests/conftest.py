"""A small survey that every test may change: two headwaters, a and b, that meet in c, which flows on in d."""

from __future__ import annotations

import json
import logging
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import hypothesis
import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

# How long one example of a property test takes depends on what else the machine does.
hypothesis.settings.register_profile("unhurried", deadline=None)
hypothesis.settings.load_profile("unhurried")

REPOSITORY = Path(__file__).parents[1]

LINES = {
    "a": [(10.00, 50.04), (10.01, 50.02)],
    "b": [(10.02, 50.04), (10.01, 50.02)],
    "c": [(10.01, 50.02), (10.01, 50.00)],
    "d": [(10.01, 50.00), (10.01, 49.96)],
}
DOWNSTREAM = {"a": "c", "b": "c", "c": "d", "d": ""}

SETTINGS = """\
[survey]
title = "Small"
about = "Invented."

[tables]
sites = "sites.csv"
samples = "samples.csv"
counts = "counts.csv"

[layers]
reaches = "reaches.geojson"
subwatersheds = "areas.geojson"
"""
SITES = """\
site_id,name,longitude,latitude,notes
A1,Upper a,10.0051,50.03,
C1,Middle c,10.0101,50.01,below the ford
"""
SAMPLES = """\
sample_id,site_id,date,method,replicate
1,A1,2024-05-01,kick seine,1
2,A1,2025-05-01,kick seine,1
3,C1,2025-05-02,D-net,1
"""
COUNTS = """\
sample_id,taxon,count
1,Perlidae,60
1,Baetidae,60
2,Perlidae,80
2,Baetidae,40
3,Chironomidae,90
3,Asellidae,30
"""


@dataclass
class SurveyFolder:
    """A survey folder on disk with helpers to spoil it."""

    path: Path

    def write(self, name: str, text: str) -> None:
        """Write a file as it is given."""
        (self.path / name).write_text(text, encoding="utf-8", newline="")

    def change(self, name: str, old: str, new: str) -> None:
        """Replace text that must be there."""
        text = (self.path / name).read_text(encoding="utf-8")
        assert old in text, f"{old!r} is not in {name}"
        self.write(name, text.replace(old, new))

    def write_reaches(
        self, lines: dict[str, list[tuple[float, float]]], properties: dict[str, dict[str, object]]
    ) -> None:
        """Write the stream layer, drawn downstream."""
        features = [
            {
                "type": "Feature",
                "properties": {"reach_id": name, **properties.get(name, {})},
                "geometry": {"type": "LineString", "coordinates": [list(point) for point in line]},
            }
            for name, line in lines.items()
        ]
        self.write("reaches.geojson", json.dumps({"type": "FeatureCollection", "features": features}))


@pytest.fixture
def survey_folder(tmp_path: Path) -> SurveyFolder:
    folder = SurveyFolder(tmp_path / "survey")
    folder.path.mkdir()
    for name, text in (
        ("survey.toml", SETTINGS),
        ("sites.csv", SITES),
        ("samples.csv", SAMPLES),
        ("counts.csv", COUNTS),
    ):
        folder.write(name, text)
    folder.write_reaches(
        LINES, {name: {"name": f"Brook {name}", "downstream_id": DOWNSTREAM[name]} for name in LINES}
    )
    areas = {
        "north": [(9.9, 50.02), (10.1, 50.02), (10.1, 50.1), (9.9, 50.1), (9.9, 50.02)],
        "south": [(9.9, 49.9), (10.1, 49.9), (10.1, 50.02), (9.9, 50.02), (9.9, 49.9)],
    }
    features = [
        {
            "type": "Feature",
            "properties": {"subwatershed_id": name, "name": name.title()},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        for name, ring in areas.items()
    ]
    folder.write("areas.geojson", json.dumps({"type": "FeatureCollection", "features": features}))
    return folder


@pytest.fixture(scope="session")
def demo_folder() -> Path:
    """Return the demo survey."""
    return REPOSITORY / "demo_data"


@pytest.fixture(scope="session")
def opendata() -> Path:
    """Return the folder of open data; tests that need it skip, saying why, when it is not named."""
    folder = os.environ.get("WATERSHEDMAP_OPENDATA")
    if not folder:
        pytest.skip("WATERSHEDMAP_OPENDATA is not set: there is no open data to read")
    return Path(folder)


@pytest.fixture(autouse=True)
def _restore_log() -> Iterator[None]:
    """Leave the package's logger as it was: a command that runs inside a test sets it up for itself."""
    logger = logging.getLogger("watershedmap")
    before = list(logger.handlers), logger.propagate, logger.level
    yield
    logger.handlers, logger.propagate = before[:2]
    logger.setLevel(before[2])
