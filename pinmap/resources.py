"""Finds templates, static files and migrations in a checkout and in an installed wheel."""

from __future__ import annotations

from functools import cache
from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


@cache
def resource_dir(name: str) -> Path:
    """Folder ``templates``, ``static`` or ``migrations``; a checkout's own wins over a bundled copy, which an editable
    install may have left stale."""
    root = _PACKAGE.parent
    if (root / "pyproject.toml").is_file() and (root / name).is_dir():
        return root / name
    bundled = _PACKAGE / "_bundled" / name
    if bundled.is_dir():
        return bundled
    raise RuntimeError(f"{name}/ stands neither beside nor inside {_PACKAGE}; the installation is broken")
