"""Imports go one way: no room knows the one to its right (DEVELOPERS.md draws the order)."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "watershedmap"

# Rooms on one line do not know each other; each may know every line above it.
ORDER = (
    ("errors", "settings_plan", "settings_rank"),
    ("settings",),
    ("taxa",),
    ("readers", "scoring", "network", "trends"),
    ("streams",),
    ("survey",),
    ("condition",),
    ("assessment",),
    ("planning",),
    ("render",),
    ("cli",),
)
RANK = {room: rank for rank, rooms in enumerate(ORDER) for room in rooms}
MODULES = sorted(PACKAGE.rglob("*.py"))


def imported_modules(path: Path) -> set[str]:
    """Every module of ours that a file imports, wherever in the file the import stands."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports by a relative name"
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name.split(".")[0] == "watershedmap"}


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_room_imports_only_rooms_above_it(path: Path) -> None:
    room = room_of(path)
    if room in {"__init__", "__main__"}:
        return  # the front doors may name every room
    for name in imported_modules(path):
        other = name.split(".")[1]
        assert other == room or RANK[other] < RANK[room], f"{room} must not import {name}"


def test_every_room_has_a_place_in_the_order() -> None:
    rooms = {room_of(path) for path in MODULES} - {"__init__", "__main__"}
    assert rooms <= set(RANK)


def test_a_wrong_import_would_be_found(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text("def f():\n    from watershedmap.cli.run import run\n")
    assert imported_modules(module) == {"watershedmap.cli.run.run"}
