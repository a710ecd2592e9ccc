"""A folder of results that is replaced as a whole, or not at all.

Results are written into a fresh folder beside the target. Only when all of them are there does it take the
target's place; the earlier results are moved aside first and put back when anything fails. A folder that this
program did not write is never replaced: what marks ours is the manifest, and that nothing lies in it besides
the files it lists. Hidden files (a leading dot) are nobody's results; they are carried over.

An edit that somebody made to a listed file is not noticed: copy results before you edit them.
"""

from __future__ import annotations

import errno
import logging
import os
import shutil
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Final

from watershedmap.errors import OutputError
from watershedmap.render.manifest import read_outputs

if TYPE_CHECKING:
    from collections.abc import Iterator

_LOG = logging.getLogger(__name__)

_FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT})

SHOWN: Final = 3
"""Foreign files named in a refusal; the rest are only counted."""


@contextmanager
def staged_folder(target: Path) -> Iterator[Path]:
    """Write a folder of results whole.

    Parameters
    ----------
    target
        Folder for the results. It may be absent (its parents are made), empty, or hold earlier results of
        this program; then these are replaced.

    Yields
    ------
    Path
        A fresh folder to write into. It becomes `target` when the block ends; when the block raises, it is
        removed and `target` stays as it was.

    Raises
    ------
    OutputError
        When `target` is a file, holds anything else, is the folder that the program runs in, or cannot be
        written.
    """
    place = _locate(target)
    refuse_foreign(place)
    made = _make_parents(place.parent)
    staging = None
    try:
        staging = _claim(place, "new")
        yield staging
        _swap(staging, place)
    except BaseException as error:
        if staging is not None:
            shutil.rmtree(staging, ignore_errors=True)
        for parent in made:
            with suppress(OSError):
                parent.rmdir()
        if isinstance(error, OSError) and error.errno in _FULL:
            raise OutputError(f"{target}: the disk is full; free some space, then run it again") from error
        raise


def refuse_foreign(target: Path) -> None:
    """Refuse a place that results must not replace.

    Parameters
    ----------
    target
        Folder for the results.

    Raises
    ------
    OutputError
        When it is a file, or a folder with visible files that this program did not write.
    """
    if not os.path.lexists(target):
        return
    if not target.is_dir():
        raise OutputError(f"{target} is a file; name a folder for the results")
    try:
        visible = sorted(_visible_files(target))
    except OSError as error:
        raise _unwritable(target, error) from error
    listed = read_outputs(target)
    foreign = [file for file in visible if listed is None or file not in listed]
    if not foreign:
        return
    names = ", ".join(foreign[:SHOWN]) + (f" and {len(foreign) - SHOWN} more" if len(foreign) > SHOWN else "")
    why = (
        "is not empty and not a folder of our results"
        if listed is None
        else "holds files that are not our results"
    )
    raise OutputError(f"{target} {why} ({names}); name a new or empty folder, or move these files away")


def _locate(target: Path) -> Path:
    """Follow links, so that a link to a folder stays a link; refuse the folder that the program runs in."""
    try:
        place = target.resolve()
        here = Path.cwd()
    except (OSError, RuntimeError) as error:  # RuntimeError: a link that leads to itself
        raise OutputError(f"{target} leads nowhere: {error}; name another folder") from error
    if place == here or place in here.parents:
        raise OutputError(
            f"{target} is the folder that this runs in; name a folder inside it, such as results"
        )
    return place


def _visible_files(folder: Path) -> Iterator[str]:
    """Name all files outside hidden folders, relative to the folder; a link counts as a file."""
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.startswith("."):
                continue
            if entry.is_dir(follow_symlinks=False):
                yield from (f"{entry.name}/{inner}" for inner in _visible_files(Path(entry.path)))
            else:
                yield entry.name


def _hidden(folder: Path) -> Iterator[Path]:
    """Name the topmost hidden files and folders, relative to the folder."""
    for entry in sorted(folder.iterdir()):
        if entry.name.startswith("."):
            yield Path(entry.name)
        elif entry.is_dir() and not entry.is_symlink():
            yield from (Path(entry.name) / inner for inner in _hidden(entry))


def _make_parents(parent: Path) -> list[Path]:
    """Make missing parents; return those that were made, the innermost first."""
    missing = [folder for folder in (parent, *parent.parents) if not folder.exists()]
    try:
        parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _unwritable(parent, error) from error
    return missing


def _claim(place: Path, purpose: str) -> Path:
    """Make a folder beside the target that nobody else has; its permissions are those of any new folder."""
    for number in count():
        folder = place.with_name(f".{place.name}.{purpose}-{number}")
        try:
            folder.mkdir()
        except FileExistsError:
            continue
        except OSError as error:
            raise _unwritable(place.parent, error) from error
        return folder
    raise AssertionError  # count() does not end


def _swap(staging: Path, place: Path) -> None:
    """Put the new folder in place of the target."""
    refuse_foreign(place)  # again: files may have been put there since
    if not place.exists():
        try:
            staging.rename(place)
        except OSError as error:
            raise _unwritable(place, error) from error
        return
    holder = _claim(place, "old")
    retired = holder / place.name
    carried: list[Path] = []
    try:
        shutil.copymode(place, staging)
        place.rename(retired)
        staging.rename(place)
        _carry(retired, place, carried)
    except BaseException as error:
        _put_back(staging, place, retired, carried)
        if isinstance(error, OSError):
            raise _unwritable(place, error) from error
        raise
    try:
        shutil.rmtree(holder)
    except OSError as error:
        _LOG.warning(
            "the results are in place, but the earlier ones in %s were not removed: %s", holder, error
        )


def _carry(retired: Path, place: Path, carried: list[Path]) -> None:
    """Move hidden files into the new folder, noting each; one that the new folder has itself stays behind."""
    for name in list(_hidden(retired)):
        goal = place / name
        if not os.path.lexists(goal):
            goal.parent.mkdir(parents=True, exist_ok=True)
            (retired / name).rename(goal)
            carried.append(name)


def _put_back(staging: Path, place: Path, retired: Path, carried: list[Path]) -> None:
    """Undo a swap, from wherever it stopped."""
    try:
        if retired.exists():
            for name in carried:
                (place / name).rename(retired / name)
            if place.exists():
                place.rename(staging)
            retired.rename(place)
        retired.parent.rmdir()
    except OSError as error:
        raise OutputError(
            f"{place} could not be replaced, and the earlier results could not be put back; "
            f"they are in {retired}: move them back by hand ({error})"
        ) from error


def _unwritable(place: Path, error: OSError) -> OutputError:
    reason = error.strerror or type(error).__name__
    return OutputError(
        f"{place} cannot be written ({reason}); close what has files open there, check that you may write, "
        "or name another folder"
    )
