"""What all commands share: options, the log on stderr, the table of faults, and exit codes.

Exit codes: 0 all is well; 1 the survey has faults; 2 the command cannot be carried out as given (no such
folder, results cannot be written, a wrong option).
"""

from __future__ import annotations

import contextlib
import difflib
import logging
import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from watershedmap.errors import OutputError, SurveyError, SurveyNotFoundError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from rich.console import Console

    from watershedmap.errors import Fault

EXIT_FAULTS = 1
EXIT_CANNOT = 2
MOST_ALIKE = 25
"""Values shown of faults of one kind in one column; how many more there are is said beneath."""
MOST_RUNS = 4
"""Runs of rows listed for one and the same fault."""
MOST_NEAR = 3
"""Ids suggested for one that is not there."""
PIPE_WIDTH = 160
"""Columns of a table that does not go to a terminal."""

Folder = Annotated[
    Path,
    typer.Argument(help="The survey folder: it holds survey.toml.", metavar="FOLDER", show_default=False),
]
Verbose = Annotated[bool, typer.Option("--verbose", "-v", help="Say more on stderr.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing on stderr but errors.")]


def show_version(wanted: bool) -> None:
    """Print the version and leave, when asked to."""
    if wanted:
        from importlib.metadata import version  # noqa: PLC0415 - costs time that `--help` need not spend

        typer.echo(f"watershedmap {version('watershedmap')}")
        raise typer.Exit


def start_log(*, verbose: bool, quiet: bool) -> None:
    """Send what the package reports to stderr, one line each."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(logging.Formatter("%(message)s"))
    logger = logging.getLogger("watershedmap")
    logger.handlers = [handler]
    logger.propagate = False
    logger.setLevel(logging.DEBUG if verbose else logging.ERROR if quiet else logging.INFO)


@contextlib.contextmanager
def plain_errors() -> Iterator[None]:
    """Turn the package's errors into a message and an exit code; nobody is shown a traceback."""
    try:
        yield
    except SurveyError as error:
        print_faults(error.faults, to=open_console(stderr=True))
        raise typer.Exit(EXIT_FAULTS) from None
    except (SurveyNotFoundError, OutputError) as error:
        typer.echo(f"Error: {printable(error)}", err=True)
        raise typer.Exit(EXIT_CANNOT) from None
    except (typer.Exit, typer.Abort):
        raise
    except Exception as error:  # noqa: BLE001 - a fault of ours must not meet the user as a traceback
        typer.echo(_describe_bug(error), err=True)
        raise typer.Exit(EXIT_CANNOT) from None


def _describe_bug(error: Exception) -> str:
    """Say where an unforeseen error arose, in one line that can be reported."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if "watershedmap" in Path(frame.filename).parts]
    where = f"{Path(own[-1].filename).name}, line {own[-1].lineno}" if own else "outside the package"
    kind = type(error).__name__
    return (
        f"Error: watershedmap itself failed ({kind} in {where}: {printable(error)}). Please report this line."
    )


def open_console(*, stderr: bool = False) -> Console:
    """Return a console that takes the terminal's width, or a wide fixed one when piped."""
    from rich.console import Console  # noqa: PLC0415 - costs time that `--help` need not spend

    console = Console(stderr=stderr, highlight=False, markup=False, emoji=False)
    if not console.is_terminal:
        console.width = PIPE_WIDTH
    return console


def print_faults(faults: Iterable[Fault], *, to: Console) -> None:
    """Print faults, then notices, each as a table: where, what is wrong, and how to mend it."""
    faults = tuple(faults)
    for severity, title in (
        ("fault", "Faults: nothing was written"),
        ("notice", "Notices: these do not stop a run"),
    ):
        chosen = [fault for fault in faults if fault.severity == severity]
        if chosen:
            to.print(f"{title} ({len(chosen)})")
            _print_table(chosen, to)


def _print_table(faults: list[Fault], to: Console) -> None:
    from rich import box  # noqa: PLC0415 - costs time that `--help` need not spend
    from rich.table import Table  # noqa: PLC0415 - the same
    from rich.text import Text  # noqa: PLC0415 - the same

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading, ratio in (("file", 2), ("row", 1), ("column", 2), ("value", 2), ("what is wrong", 4)):
        table.add_column(
            heading, ratio=ratio, overflow="fold", justify="right" if heading == "row" else "left"
        )
    table.add_column("how to fix it", ratio=5, overflow="fold")
    shown: Counter[tuple[str, str, str]] = Counter()
    for (file, column, value, problem, fix), rows in _group_rows(faults).items():
        shown[file, column, problem] += 1
        if shown[file, column, problem] <= MOST_ALIKE:
            table.add_row(*(Text(printable(cell)) for cell in (file, rows, column, value, problem, fix)))
    to.print(table)
    for (file, column, problem), count in sorted(shown.items()):
        if count > MOST_ALIKE:
            rest = f"... and {count - MOST_ALIKE} other values in {file}, {column}: {problem}"
            to.print(Text(printable(rest)))


def _group_rows(faults: list[Fault]) -> dict[tuple[str, str, str, str, str], str]:
    """Gather the rows in which one and the same fault stands: `7`, `7, 9` or `7-31`."""
    rows: dict[tuple[str, str, str, str, str], list[int]] = {}
    for fault in faults:
        key = (fault.file, fault.column, fault.value, fault.problem, fault.fix)
        rows.setdefault(key, []).extend([] if fault.row is None else [fault.row])
    return {key: _join_rows(sorted(numbers)) for key, numbers in rows.items()}


def _join_rows(numbers: list[int]) -> str:
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    texts = [str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]
    return ", ".join(texts) if len(texts) <= MOST_RUNS else ", ".join([*texts[:MOST_RUNS], "..."])


def printable(text: object) -> str:
    """Replace characters that would steer a terminal."""
    return "".join(
        character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in str(text)
    )


def refuse(problem: str) -> NoReturn:
    """Say why a command cannot be carried out as given, and leave."""
    typer.echo(f"Error: {printable(problem)}", err=True)
    raise typer.Exit(EXIT_CANNOT)


def find_id(ids: Iterable[object], wanted: str, kind: str) -> int:
    """Return the place of an id among others; refuse one that is not there, and suggest the nearest."""
    known = [str(name) for name in ids]
    if wanted not in known:
        near = difflib.get_close_matches(wanted, sorted(known), n=MOST_NEAR, cutoff=0.0)
        hint = f"the nearest: {', '.join(near)}" if near else "the survey has none"
        refuse(f"there is no {kind} {wanted}; {hint}")
    return known.index(wanted)


def deliver(text: str, output: Path | None, *, folder: Path) -> None:
    """Write text to the file that was asked for, or print it; never over a file of the survey."""
    if output is None:
        print_text(text)
    else:
        spare_inputs(output, folder)
        write_whole(output, text)


def spare_inputs(output: Path, folder: Path) -> None:
    """Refuse a file to write that the survey reads."""
    from watershedmap.readers.settings import read_settings  # noqa: PLC0415 - loads much
    from watershedmap.survey import list_inputs  # noqa: PLC0415 - the same

    inputs = {path.resolve() for path in list_inputs(folder, read_settings(folder)[0])}
    if output.resolve() in inputs:
        raise OutputError(f"{output} is a file that the survey reads; name another file")


def print_text(text: str) -> None:
    """Print text; on a terminal without characters that would steer it."""
    if sys.stdout.isatty():
        text = "\n".join(printable(line) for line in text.split("\n"))
    typer.echo(text, nl=False)


def write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all: what was there stays until the new text is on the disk."""
    if path.is_dir():
        raise OutputError(f"{path} is a folder; name a file")
    held: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", newline="", dir=path.parent, prefix=f".{path.name}.", delete=False
        ) as stream:
            held = Path(stream.name)
            stream.write(text)
        held.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o644)
        held.replace(path)
    except OSError as error:
        if held is not None:
            held.unlink(missing_ok=True)
        reason = error.strerror or type(error).__name__
        raise OutputError(f"{path} cannot be written ({reason}); name another file") from error
