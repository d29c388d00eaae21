"""The `[desk]` part of the settings: where the desk's database is, and how people reach it.

Belongs here: its values and what is wrong with them. Does not belong here: opening the database
(`pipelines.events`) or serving pages (`pipelines.desk`).
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from pipelines.workspace.toml_file import is_whole, show

_NAME = re.compile(r"[A-Za-z0-9.:_-]+")
_HEADER = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]+")  # a token of RFC 9110, 5.6.2


@dataclass(frozen=True)
class DeskSettings:
    """Where people act. `database` is empty for the SQLite file below desk/."""

    database: str = ""
    host: str = "127.0.0.1"
    port: int = 8765
    session_hours: int = 10
    public_url: str = ""
    trusted_header: str = ""
    trusted_proxies: tuple[str, ...] = ()
    max_document_mb: int = 20
    tls_certificate: str = ""
    tls_key: str = ""


def read_desk(given: Mapping[str, Any]) -> DeskSettings:
    """The settings from checked values."""
    values: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value for name, value in given.items()
    }
    return DeskSettings(**values)


def _database(value: Any) -> str | None:
    if value == "":
        return None
    if isinstance(value, str):
        try:
            parts = urlsplit(value)
            if parts.password is not None:
                return (
                    "holds a password, which stands in no settings; give it by PGPASSWORD, a "
                    "password file or a service file."
                )
            if parts.scheme == "postgresql" and parts.path.strip("/"):
                return None
        except ValueError:
            pass
    return (
        f'is {show(value)}; write "" for the file below desk/, or a PostgreSQL database such as '
        '"postgresql://limeledger@db.example/limeledger".'
    )


def _host(value: Any) -> str | None:
    if isinstance(value, str) and _NAME.fullmatch(value):
        return None
    return f'is {show(value)}; write a name or an address, such as "127.0.0.1".'


def _whole(low: int, high: int) -> Callable[[Any], str | None]:
    def check(value: Any) -> str | None:
        if is_whole(value) and low <= value <= high:
            return None
        return f"is {show(value)}; write a whole number from {low} to {high}."

    return check


def _url(value: Any) -> str | None:
    if value == "":
        return None
    if isinstance(value, str):
        try:
            parts = urlsplit(value)
            has_host = parts.hostname and (parts.port is None or parts.port > 0)
            if parts.scheme in ("http", "https") and has_host and not parts.query:
                return None
        except ValueError:
            pass
    return f"is {show(value)}; write https:// and the name by which people reach it."


def _header(value: Any) -> str | None:
    if value == "" or (isinstance(value, str) and _HEADER.fullmatch(value)):
        return None
    return f'is {show(value)}; write the name of a header, such as "X-Remote-User".'


def _proxies(value: Any) -> str | None:
    if isinstance(value, list) and all(_is_network(one) for one in value):
        return None
    return f'is {show(value)}; write a list of addresses, such as ["10.0.0.5"].'


def _is_network(value: Any) -> bool:
    try:
        return isinstance(value, str) and bool(ipaddress.ip_network(value))
    except ValueError:
        return False


def _file(value: Any) -> str | None:
    if isinstance(value, str) and "\0" not in value:
        return None
    return f"is {show(value)}; write the path of a file in quotes."


DESK: dict[str, Callable[[Any], str | None]] = {
    "database": _database,
    "host": _host,
    "port": _whole(0, 65_535),
    "session_hours": _whole(1, 8_760),
    "public_url": _url,
    "trusted_header": _header,
    "trusted_proxies": _proxies,
    "max_document_mb": _whole(1, 10_000),
    "tls_certificate": _file,
    "tls_key": _file,
}
