"""The manifest: from which files, with which settings and which versions the results were made.

JSON with sorted keys: `program`, `libraries`, `inputs` and `outputs` (each with size and SHA-256), `options`.
It holds no time and no path of the machine, so that the same survey gives the same manifest wherever the
folder lies.
"""

from __future__ import annotations

import hashlib
import json
import os
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pyogrio
import pyproj
import shapely

from watershedmap.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from watershedmap.assessment import Assessment

PROGRAM: Final = "watershedmap"
MANIFEST: Final = "manifest.json"
LIBRARIES: Final = (
    "folium",
    "geopandas",
    "matplotlib",
    "numpy",
    "pandas",
    "pyogrio",
    "pyproj",
    "scipy",
    "shapely",
)
UNKNOWN_VERSION: Final = "unknown"


def write_manifest(assessment: Assessment, path: Path, *, outputs: Iterable[Path]) -> Path:
    """Write the manifest of a folder of results.

    Parameters
    ----------
    assessment
        What was computed; its survey names the inputs and the settings.
    path
        File to write, in the folder of results.
    outputs
        The files of the results; the manifest itself is left out when it is among them.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        When a file cannot be read or the manifest cannot be written.
    """
    survey = assessment.survey
    own = [output for output in outputs if output != path]
    try:
        content = {
            "program": {"name": PROGRAM, "version": _version(PROGRAM)},
            "libraries": library_versions(),
            "inputs": _describe(survey.inputs, survey.folder),
            "options": survey.settings.as_dict(),
            "outputs": _describe(own, path.parent),
        }
        text = json.dumps(content, indent=2, sort_keys=True, ensure_ascii=False, allow_nan=False)
        path.write_text(f"{text}\n", encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(
            f"{path.name} cannot be written: {error}; check the folder and try again"
        ) from error
    return path


def read_outputs(folder: Path) -> frozenset[str] | None:
    """Read which files a manifest lists.

    Parameters
    ----------
    folder
        Any folder.

    Returns
    -------
    frozenset of str or None
        Files relative to `folder`, with `/` between parts, and the manifest itself; None when there is no
        manifest of this program.
    """
    try:
        content = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        if content["program"]["name"] != PROGRAM:
            return None
        return frozenset({MANIFEST, *(str(output["file"]) for output in content["outputs"])})
    except (OSError, ValueError, KeyError, TypeError):
        return None


def library_versions() -> dict[str, str]:
    """List the versions of the libraries that figures and layers depend on.

    Returns
    -------
    dict
        Name to version, for Python packages and the compiled libraries below them.
    """
    gdal = ".".join(map(str, pyogrio.__gdal_version__))
    native = {"GDAL": gdal, "GEOS": shapely.geos_version_string, "PROJ": pyproj.proj_version_str}
    return {name: _version(name) for name in LIBRARIES} | native


def _version(package: str) -> str:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return UNKNOWN_VERSION  # run from a source tree that was not installed


def _describe(files: Iterable[Path], folder: Path) -> list[dict[str, Any]]:
    """Describe each file once, sorted by name; of an input that is a folder, the files in it."""
    named = {_relative(file, folder): file for path in files for file in _expand(path)}
    return [
        {"file": name, "bytes": named[name].stat().st_size, "sha256": _digest(named[name])}
        for name in sorted(named)
    ]


def _expand(path: Path) -> list[Path]:
    return sorted(p for p in path.rglob("*") if p.is_file()) if path.is_dir() else [path]


def _relative(file: Path, folder: Path) -> str:
    """Name a file as seen from a folder; by its bare name when the two share nothing but the root."""
    try:
        shared = os.path.commonpath([file.absolute(), folder.absolute()])
        if shared == Path(shared).anchor:
            return file.name
        return Path(os.path.relpath(file, folder)).as_posix()
    except ValueError:  # on different drives
        return file.name


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
