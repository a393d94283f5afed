"""Settings, read from the environment once by the web app or the command line and passed on as values."""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_data_path
from pydantic import BaseModel, Field, model_validator


def _default_url() -> str:
    return f"sqlite:///{user_data_path('pinmap') / 'pinmap.sqlite3'}"


class Settings(BaseModel):
    """Every name may be set as PINMAP_<NAME>."""

    database_url: str = Field(default_factory=_default_url, description="SQLite file or PostgreSQL address")
    host: str = Field("127.0.0.1", description="address to listen on")
    port: int = Field(8460, description="port to listen on")
    demo: bool = Field(True, description="load the demo into an empty database at first start")
    upload_limit_mb: int = Field(20, description="largest upload [MB]")
    trusted_hosts: str = Field(
        "127.0.0.1,localhost,[::1]", description="host names the app answers to, separated by commas"
    )

    @model_validator(mode="before")
    @classmethod
    def _from_environment(cls, given: dict[str, object]) -> dict[str, object]:
        variables = {name: f"PINMAP_{name.upper()}" for name in cls.model_fields}
        return {name: os.environ[v] for name, v in variables.items() if v in os.environ} | given

    @property
    def sqlite_file(self) -> Path | None:
        """The database file, None for PostgreSQL or an in-memory database."""
        path = self.database_url.removeprefix("sqlite:///")
        return Path(path) if path != self.database_url and path and path != ":memory:" else None
