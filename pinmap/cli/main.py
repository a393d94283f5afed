"""``pinmap``: starts the app when given no command; the other commands do a job without a browser."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from pinmap import __version__
from pinmap.cli import crossing, jobs, pinouts, server, wire
from pinmap.core.errors import FileRejected, PinmapError

app = typer.Typer(
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Adapter looms between a donor engine and a host vehicle. Without a command: start the app.",
)
app.command("serve")(server.serve)
app.command("cross")(crossing.cross)
app.command("pinout")(pinouts.pinout)
app.command("jobs")(jobs.list_all)
app.command("check")(jobs.check)
app.command("build")(jobs.build)
app.command("wire")(wire.wire)
app.command("schema")(jobs.schema)
app.add_typer(jobs.job_app, name="job", help="Job files in and out.")


@app.callback(invoke_without_command=True)
def main(
    ctx: typer.Context, version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False
) -> None:
    if version:
        print(__version__)
        raise typer.Exit
    if ctx.invoked_subcommand is None:
        server.serve()


def run() -> None:
    """Entry point. What goes wrong is one message on standard error and exit status 2, never a stack of calls."""
    try:
        app()
    except PinmapError as error:
        print(f"pinmap: {error}", file=sys.stderr)
        if isinstance(error, FileRejected):
            for problem in error.problems:
                print(f"  row {problem.row} {problem.column}: {problem.reason}", file=sys.stderr)
        sys.exit(2)
    except OSError as error:
        print(f"pinmap: {error.filename or ''}: {error.strerror}", file=sys.stderr)
        sys.exit(2)


if __name__ == "__main__":
    run()
