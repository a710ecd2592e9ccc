"""The public names are complete, and importing the package stays light."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import watershedmap


@pytest.mark.parametrize("name", watershedmap.__all__)
def test_every_public_name_resolves_and_says_what_it_is(name: str) -> None:
    found = getattr(watershedmap, name)
    if inspect.isclass(found) or inspect.isfunction(found):
        assert found.__doc__


def test_the_list_is_what_type_checkers_see() -> None:
    tree = ast.parse(Path(watershedmap.__file__).read_text(encoding="utf-8"))
    guarded = next(node for node in tree.body if isinstance(node, ast.If))
    seen = {alias.name for node in guarded.body if isinstance(node, ast.ImportFrom) for alias in node.names}
    assert seen == set(watershedmap.__all__)


def test_the_list_is_sorted_and_all_that_dir_shows() -> None:
    assert dir(watershedmap) == sorted(watershedmap.__all__)


def test_every_error_of_the_package_is_public() -> None:
    from watershedmap import errors  # noqa: PLC0415 - the package itself is under test above

    own = {
        name for name, kind in vars(errors).items() if inspect.isclass(kind) and issubclass(kind, Exception)
    }
    assert own <= set(watershedmap.__all__)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no_such_name"):
        watershedmap.no_such_name  # noqa: B018 - the access is what is tested


def test_importing_the_package_or_its_commands_loads_nothing_heavy() -> None:
    code = (
        "import sys, watershedmap, watershedmap.cli;"
        "print([name for name in ('pandas', 'geopandas', 'folium', 'scipy', 'numpy') if name in sys.modules])"
    )
    result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert result.stdout.strip() == "[]"
