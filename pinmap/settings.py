"""Settings, read from the environment once by the web app or the command line and passed on as values."""

from __future__ import annotations

import os
from pathlib import Path

from platformdirs import user_data_path
from pydantic import BaseModel, Field, model_validator

from pinmap.core.errors import InputError


def _default_url() -> str:
    return f"sqlite:///{user_data_path('pinmap') / 'pinmap.sqlite3'}"


_HERE = frozenset({"127.0.0.1", "localhost", "[::1]"})


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
    tls_cert: Path | None = Field(None, description="certificate chain, to answer by https")
    tls_key: Path | None = Field(None, description="private key of the certificate")
    plain_http: bool = Field(False, description="listen beyond this machine without https; something else encrypts")
    proxies: str = Field("", description="addresses of proxies whose word on client and https counts")

    @property
    def only_here(self) -> bool:
        """Whether the app listens on this machine only."""
        return self.host in {"127.0.0.1", "localhost", "::1"}

    @property
    def address(self) -> str:
        """Where people find the app, as far as the settings tell."""
        scheme = "https" if self.tls_cert else "http"
        if not self.only_here:
            named = [n.strip() for n in self.trusted_hosts.split(",") if n.strip() not in {"", "*", *_HERE}]
            if named:
                return f"{scheme}://{named[0]}:{self.port}"
        return f"{scheme}://{f'[{self.host}]' if ':' in self.host else self.host}:{self.port}"

    def check_exposure(self) -> None:
        """Raises InputError when passwords would travel readable beyond this machine, or nobody beyond it could be
        answered."""
        if (self.tls_cert is None) != (self.tls_key is None):
            raise InputError("PINMAP_TLS_KEY", self.tls_key, "give both PINMAP_TLS_CERT and PINMAP_TLS_KEY, or neither")
        if self.only_here:
            return
        if self.tls_cert is None and not self.plain_http:
            raise InputError(
                "PINMAP_HOST",
                self.host,
                "beyond this machine passwords would travel readable; give PINMAP_TLS_CERT and PINMAP_TLS_KEY, or set "
                "PINMAP_PLAIN_HTTP=true where a proxy in front encrypts",
            )
        if all(n.strip() in _HERE for n in self.trusted_hosts.split(",")):
            raise InputError(
                "PINMAP_TRUSTED_HOSTS", self.trusted_hosts, "name the host by which others reach the app, too"
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
