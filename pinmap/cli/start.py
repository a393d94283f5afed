"""Entry point of the command line: starts the app at once, or hands over to the other commands."""

from __future__ import annotations

import gc
import sys

from sqlalchemy.exc import DBAPIError

from pinmap.core.errors import FileRejected, PinmapError


def run() -> None:
    """What goes wrong is one message on standard error and exit status 2, never a stack of calls."""
    gc.disable()  # nothing that is imported becomes garbage; collecting it over and over is a tenth of the start
    try:
        _app()
    except PinmapError as error:
        print(f"pinmap: {error}", file=sys.stderr)
        if isinstance(error, FileRejected):
            for problem in error.problems:
                print(f"  row {problem.row} {problem.column}: {problem.reason}", file=sys.stderr)
        sys.exit(2)
    except DBAPIError as error:  # drivers name host and file, never the password
        print(f"pinmap: the database: {' '.join(str(error.orig).split())}", file=sys.stderr)
        sys.exit(2)
    except OSError as error:
        print(f"pinmap: {error.filename or ''}: {error.strerror}", file=sys.stderr)
        sys.exit(2)


def _app() -> None:
    if sys.argv[1:2] in ([], ["serve"]):  # the start of the app needs none of the other commands' modules
        from pinmap.cli import server

        server.app(sys.argv[2:], prog_name="pinmap serve")
    else:
        from pinmap.cli import main

        gc.enable()
        main.app()
