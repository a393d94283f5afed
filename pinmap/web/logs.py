"""Keeps secrets that stand in addresses out of the logs."""

from __future__ import annotations

import logging
import re

_SECRET = re.compile(r"(?<=/s/)[^/?\s\"]+|(?<=/welcome/)[^/?\s\"]+")


def redacted(text: str) -> str:
    """The text without the tokens of share links and one-time links."""
    return _SECRET.sub("…", text)


class Redact(logging.Filter):
    """Takes the tokens out of a record's message and of what is filled into it."""

    def filter(self, record: logging.LogRecord) -> bool:
        if isinstance(record.msg, str):
            record.msg = redacted(record.msg)
        if isinstance(record.args, tuple):
            record.args = tuple(redacted(a) if isinstance(a, str) else a for a in record.args)
        return True


_REDACT = Redact()


def install() -> None:
    """Sets the filter on the server's logs; once, however often it is asked for."""
    for name in ("uvicorn.access", "uvicorn.error"):
        logging.getLogger(name).addFilter(_REDACT)
