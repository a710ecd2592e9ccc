"""The command line: one file a command, and heavy imports only once a command runs."""

from __future__ import annotations

import typer

from watershedmap.cli.check import check
from watershedmap.cli.limits import limits
from watershedmap.cli.plan import plan
from watershedmap.cli.rank import rank
from watershedmap.cli.run import run
from watershedmap.cli.score import score
from watershedmap.cli.shared import show_version
from watershedmap.cli.trace import trace

app = typer.Typer(
    name="watershedmap",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command()(check)
app.command()(run)
app.command()(limits)
app.command()(score)
app.command()(trace)
app.command()(plan)
app.command()(rank)


@app.callback()
def _root(
    _version: bool = typer.Option(
        False, "--version", callback=show_version, is_eager=True, help="Show the version and leave."
    ),
) -> None:
    """Turn stream macroinvertebrate samples into condition maps, trends and decisions."""


def main() -> None:
    """Run the command line; the entry point of the package."""
    app()
