"""The folder of results: replaced whole or not at all, and never a folder that is not ours."""

from __future__ import annotations

import errno
import json
import os
import stat
from pathlib import Path

import pytest

from watershedmap.errors import OutputError
from watershedmap.render import folder as module
from watershedmap.render.folder import staged_folder


def _write(folder: Path, text: str, *, names: tuple[str, ...] = ("map.html", "briefs/one.html")) -> None:
    """Write results as the renderers do: files, and a manifest that lists them."""
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    listed = [{"file": name} for name in names]
    manifest = {"program": {"name": "watershedmap"}, "outputs": listed}
    (folder / "manifest.json").write_text(json.dumps(manifest), encoding="utf-8")


def _files(folder: Path) -> dict[str, str]:
    found = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8") for path in found}


@pytest.fixture
def earlier(tmp_path: Path) -> Path:
    """Results of an earlier run."""
    target = tmp_path / "out"
    target.mkdir()
    _write(target, "earlier", names=("map.html", "old.csv"))
    return target


def test_results_appear_as_a_whole_only_at_the_end(tmp_path: Path) -> None:
    target = tmp_path / "deep" / "out"
    with staged_folder(target) as staging:
        assert staging.parent == target.parent
        assert staging != target
        _write(staging, "new")
        assert not target.exists()
    assert set(_files(target)) == {"map.html", "briefs/one.html", "manifest.json"}
    assert os.listdir(target.parent) == ["out"]  # noqa: PTH208 - hidden leftovers count


def test_earlier_results_are_replaced_whole(earlier: Path) -> None:
    with staged_folder(earlier) as staging:
        _write(staging, "new")
        assert _files(earlier)["map.html"] == "earlier"
    assert set(_files(earlier)) == {"map.html", "briefs/one.html", "manifest.json"}
    assert _files(earlier)["map.html"] == "new"
    assert [path.name for path in earlier.parent.iterdir()] == ["out"]


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt, OSError])
def test_any_failure_leaves_the_earlier_results_and_no_leftovers(
    earlier: Path, error: type[BaseException]
) -> None:
    before = _files(earlier)

    def run() -> None:
        with staged_folder(earlier) as staging:
            _write(staging, "half")
            raise error

    with pytest.raises(error):
        run()
    assert _files(earlier) == before
    assert [path.name for path in earlier.parent.iterdir()] == ["out"]


def test_a_failure_leaves_no_parents_that_were_made(tmp_path: Path) -> None:
    def run() -> None:
        with staged_folder(tmp_path / "a" / "b" / "out"):
            raise ValueError("stop")

    with pytest.raises(ValueError, match="stop"):
        run()
    assert list(tmp_path.iterdir()) == []


def test_an_empty_folder_or_one_with_hidden_files_only_is_taken(tmp_path: Path) -> None:
    target = tmp_path / "out"
    target.mkdir()
    (target / ".gitignore").write_text("*\n", encoding="utf-8")
    with staged_folder(target) as staging:
        _write(staging, "new")
    assert set(_files(target)) == {"map.html", "briefs/one.html", "manifest.json", ".gitignore"}


def test_hidden_files_are_carried_over_wherever_they_lie(earlier: Path) -> None:
    (earlier / ".git").mkdir()
    (earlier / ".git" / "HEAD").write_text("ref", encoding="utf-8")
    (earlier / "briefs").mkdir()
    (earlier / "briefs" / ".note").write_text("mine", encoding="utf-8")
    (earlier / ".link").symlink_to("nowhere")
    with staged_folder(earlier) as staging:
        _write(staging, "new")
    found = _files(earlier)
    assert (found[".git/HEAD"], found["briefs/.note"]) == ("ref", "mine")
    assert (earlier / ".link").readlink() == Path("nowhere")


def test_a_hidden_file_of_the_new_results_wins(earlier: Path) -> None:
    (earlier / ".nojekyll").write_text("old", encoding="utf-8")
    with staged_folder(earlier) as staging:
        _write(staging, "new")
        (staging / ".nojekyll").write_text("new", encoding="utf-8")
    assert _files(earlier)[".nojekyll"] == "new"


@pytest.mark.parametrize("name", ["thesis.docx", "briefs/thesis.docx", "MAP.HTML.bak"])
def test_a_folder_with_a_visible_file_that_is_not_listed_is_refused(earlier: Path, name: str) -> None:
    (earlier / name).parent.mkdir(exist_ok=True)
    (earlier / name).write_text("years of work", encoding="utf-8")
    with pytest.raises(OutputError, match="not our results") as caught, staged_folder(earlier):
        pytest.fail("the block must not run")
    assert name in str(caught.value)
    assert "name a new or empty folder" in str(caught.value)
    assert _files(earlier)[name] == "years of work"


def test_a_link_among_the_results_is_a_foreign_file(earlier: Path, tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    (earlier / "data").symlink_to(tmp_path / "data")
    with pytest.raises(OutputError, match="data"), staged_folder(earlier):
        pytest.fail("the block must not run")


def test_a_folder_without_our_manifest_is_refused_and_names_some_files(tmp_path: Path) -> None:
    for number in range(5):
        (tmp_path / f"{number}.csv").write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match=r"0\.csv, 1\.csv, 2\.csv and 2 more"), staged_folder(tmp_path):
        pytest.fail("the block must not run")


def test_another_programs_manifest_is_not_ours(tmp_path: Path) -> None:
    (tmp_path / "manifest.json").write_text('{"program": {"name": "other"}, "outputs": []}', encoding="utf-8")
    with pytest.raises(OutputError, match="is not empty"), staged_folder(tmp_path):
        pytest.fail("the block must not run")


def test_a_file_put_there_during_the_run_is_not_lost(earlier: Path) -> None:
    def run() -> None:
        with staged_folder(earlier) as staging:
            _write(staging, "new")
            (earlier / "late.txt").write_text("late", encoding="utf-8")

    with pytest.raises(OutputError, match=r"late\.txt"):
        run()
    assert _files(earlier)["late.txt"] == "late"
    assert _files(earlier)["map.html"] == "earlier"
    assert [path.name for path in earlier.parent.iterdir()] == ["out"]


def test_a_file_as_target_or_as_parent_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("x", encoding="utf-8")
    with pytest.raises(OutputError, match="is a file"), staged_folder(file):
        pytest.fail("the block must not run")
    with pytest.raises(OutputError, match="cannot be written"), staged_folder(file / "out"):
        pytest.fail("the block must not run")
    assert file.read_text(encoding="utf-8") == "x"


def test_the_folder_that_this_runs_in_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    inner = tmp_path / "out" / "briefs"
    inner.mkdir(parents=True)
    monkeypatch.chdir(inner)
    for target in (Path(), Path("..")):
        with pytest.raises(OutputError, match="runs in"), staged_folder(target):
            pytest.fail("the block must not run")


def test_a_link_to_a_folder_stays_a_link(earlier: Path, tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(earlier)
    with staged_folder(link) as staging:
        _write(staging, "new")
    assert link.is_symlink()
    assert _files(earlier)["map.html"] == "new"


def test_a_link_that_leads_to_itself_is_refused(tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(link)
    with pytest.raises(OutputError), staged_folder(link):
        pytest.fail("the block must not run")


def test_a_place_without_permission_is_said_plainly(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = Path.mkdir

    def deny(path: Path, *args: int, **options: bool) -> None:
        if path.name.startswith(".out.new"):
            raise PermissionError(errno.EACCES, "Permission denied")
        real(path, *args, **options)

    monkeypatch.setattr(Path, "mkdir", deny)
    with pytest.raises(OutputError, match="Permission denied"), staged_folder(tmp_path / "a" / "out"):
        pytest.fail("the block must not run")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("failing", [1, 2, 3])
def test_a_swap_that_fails_anywhere_puts_the_earlier_results_back(
    earlier: Path, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    (earlier / ".one").write_text("1", encoding="utf-8")
    before = _files(earlier)
    real, calls = Path.rename, []

    def rename(path: Path, goal: Path) -> Path:
        calls.append(path)
        if len(calls) == failing:
            raise OSError(errno.EBUSY, "Device or resource busy")
        return real(path, goal)

    def run() -> None:
        with staged_folder(earlier) as staging:
            _write(staging, "new")

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(OutputError, match="busy"):
        run()
    assert _files(earlier) == before
    assert [path.name for path in earlier.parent.iterdir()] == ["out"]


def test_hidden_files_already_carried_go_back_when_the_next_one_fails(
    earlier: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in (".one", ".two"):
        (earlier / name).write_text(name, encoding="utf-8")
    before, real = _files(earlier), Path.rename

    def rename(path: Path, goal: Path) -> Path:
        if path.name == ".two":
            raise OSError(errno.EIO, "Input/output error")
        return real(path, goal)

    def run() -> None:
        with staged_folder(earlier) as staging:
            _write(staging, "new")

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(OutputError, match="Input/output error"):
        run()
    assert _files(earlier) == before


def test_results_that_cannot_be_put_back_are_kept_and_named(
    earlier: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, real, calls = _files(earlier), Path.rename, []

    def rename(path: Path, goal: Path) -> Path:
        calls.append(path)
        if len(calls) > 1:
            raise OSError(errno.EIO, "Input/output error")
        return real(path, goal)

    def run() -> None:
        with staged_folder(earlier) as staging:
            _write(staging, "new")

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(OutputError, match="could not be put back") as caught:
        run()
    kept = earlier.parent / ".out.old-0" / "out"
    assert str(kept) in str(caught.value)
    assert _files(kept) == before


def test_earlier_results_that_cannot_be_removed_are_named_in_the_log(
    earlier: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(path: Path, *, ignore_errors: bool = False) -> None:
        if not ignore_errors:
            raise OSError(errno.EBUSY, "busy", str(path))

    monkeypatch.setattr(module.shutil, "rmtree", fail)
    with staged_folder(earlier) as staging:
        _write(staging, "new")
    assert _files(earlier)["map.html"] == "new"
    assert ".out.old-0" in caplog.text


def test_a_full_disk_is_said_plainly(earlier: Path) -> None:
    def run() -> None:
        with staged_folder(earlier):
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(OutputError, match="disk is full"):
        run()
    assert _files(earlier)["map.html"] == "earlier"


def test_names_left_by_a_killed_run_do_not_stop_the_next(earlier: Path) -> None:
    for name in (".out.new-0", ".out.old-0"):
        (earlier.parent / name).mkdir()
        (earlier.parent / name / "left").write_text("left", encoding="utf-8")
    with staged_folder(earlier) as staging:
        assert staging.name == ".out.new-1"
        _write(staging, "new")
    assert _files(earlier)["map.html"] == "new"
    assert (earlier.parent / ".out.new-0" / "left").read_text(encoding="utf-8") == "left"


def test_permissions_are_those_of_the_earlier_folder_or_of_any_new_one(tmp_path: Path) -> None:
    plain, target = tmp_path / "plain", tmp_path / "out"
    plain.mkdir()
    with staged_folder(target) as staging:
        _write(staging, "new")
    assert stat.S_IMODE(target.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)
    target.chmod(0o750)
    with staged_folder(target) as staging:
        _write(staging, "new")
    assert stat.S_IMODE(target.stat().st_mode) == 0o750
