"""``pinmap``: starts the app when given no command; the other commands do a job without a browser."""

from __future__ import annotations

from typing import Annotated

import typer

from pinmap import __version__
from pinmap.cli import crossing, database, jobs, people, pinouts, server, wire

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
app.command("size")(jobs.size)
app.command("build")(jobs.build)
app.command("wire")(wire.wire)
app.command("backup")(database.backup)
app.command("restore")(database.restore)
app.command("move")(database.move)
app.command("integrity")(database.integrity)
app.command("schema")(jobs.schema)
app.add_typer(jobs.job_app, name="job", help="Job files in and out.")
app.add_typer(people.people_app, name="people", help="Who may sign in; the way back in for a locked-out owner.")


@app.callback(invoke_without_command=True)
def main(
    ctx: typer.Context, version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False
) -> None:
    if version:
        print(__version__)
        raise typer.Exit
    if ctx.invoked_subcommand is None:
        server.serve()
