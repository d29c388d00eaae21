"""The `[engine]` and `[storage]` parts of the settings: where parts are worked on and lie.

Belongs here: their values, what is wrong with them, and the text of the settings without them.
Does not belong here: working on parts (`pipelines.engine`).
"""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any, Literal
from urllib.parse import SplitResult, urlsplit

from pipelines.workspace.toml_file import is_whole, show

PLACES = ("engine", "storage")
MOST_PARTS = 100_000
_HOST = re.compile(r"[A-Za-z0-9._-]+")
_BUCKET = re.compile(r"[a-z0-9][a-z0-9.-]{1,62}")
_PLACE = "|".join(PLACES)
_HEADER = re.compile(r"\s*\[\[?\s*[\"']?([^\]\"'.\s]+)")
_KEY = re.compile(rf"\s*[\"']?(?:{_PLACE})[\"']?\s*[.=]")


@dataclass(frozen=True)
class EngineSettings:
    """Where parts are worked on. `parts` 0: as many as the fleet asks for."""

    kind: Literal["local", "ray"] = "local"
    address: str = ""
    parts: int = 0


@dataclass(frozen=True)
class StorageSettings:
    """Where parts lie that are worked on elsewhere. `url` is empty for store/parts."""

    url: str = ""
    endpoint: str = ""


def without_places(content: bytes) -> bytes:
    """The settings as they decide a result: without the tables that say where work is done.

    A file without those tables is returned as it is. So is one from which they cannot be taken
    line by line; it then counts as another file when they change.
    """
    try:
        text = content.decode("utf-8-sig")
        data = tomllib.loads(text)
    except (UnicodeDecodeError, ValueError):
        return content
    if not any(name in data for name in PLACES):
        return content
    lines = [*_kept(text)]
    while lines and not lines[-1].strip():  # what stood between the last line and the tables
        lines.pop()
    kept = "".join(lines)
    expected = {name: value for name, value in data.items() if name not in PLACES}
    try:
        if tomllib.loads(kept) == expected:
            mark = codecs.BOM_UTF8 if content.startswith(codecs.BOM_UTF8) else b""
            return mark + kept.encode()
    except ValueError:
        pass
    return content


def _kept(text: str) -> Iterator[str]:
    table, left_out = "", False
    for line in text.splitlines(keepends=True):
        if header := _HEADER.match(line):
            table, left_out = header[1], header[1] in PLACES
        if not left_out and (table or not _KEY.match(line)):
            yield line


def _kind(value: Any) -> str | None:
    if value in ("local", "ray"):
        return None
    return f'is {show(value)}; write "local" (this process) or "ray" (a cluster).'


def _address(value: Any) -> str | None:
    if value in ("", "auto"):
        return None
    if isinstance(value, str):
        parts = _split(value if "://" in value else f"//{value}")
        if parts is not None and parts.scheme in ("ray", "") and _is_host(parts, needs_port=True):
            return None
    return (
        f'is {show(value)}; write "" for a cluster of its own on this machine, "auto" for the one '
        'that runs on it, or the address of one, such as "ray://head:10001".'
    )


def _parts(value: Any) -> str | None:
    if is_whole(value) and 0 <= value <= MOST_PARTS:
        return None
    return (
        f"is {show(value)}; write a whole number from 0 to {MOST_PARTS}; 0 makes one part for each "
        "250,000 units."
    )


def _url(value: Any) -> str | None:
    if value == "":
        return None
    if isinstance(value, str):
        if (
            PurePath(value).is_absolute()
            and "\0" not in value
            and ".." not in PurePath(value).parts
        ):
            return None
        parts = _split(value)
        if parts is not None and "@" in parts.netloc:
            return (
                "holds keys, which stand in no settings; give them by the environment variables "
                "AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY."
            )
        if parts is not None and parts.scheme == "s3" and _BUCKET.fullmatch(parts.netloc):
            return None
    return (
        f'is {show(value)}; write "" for store/parts in the workspace, an absolute folder that all '
        'workers see, or a place in an object store, such as "s3://bucket/prefix".'
    )


def _endpoint(value: Any) -> str | None:
    if value == "":
        return None
    parts = _split(value) if isinstance(value, str) else None
    if parts is not None and parts.scheme in ("http", "https") and _is_host(parts):
        return None
    return (
        f"is {show(value)}; write the address of an S3-compatible server, such as "
        '"https://objects.example:9000", without keys.'
    )


def _split(value: str) -> SplitResult | None:
    """The parts of an address; None where it is none."""
    try:
        parts = urlsplit(value)
        _ = parts.port  # raises where it is no number
    except ValueError:
        return None
    return None if parts.query or parts.fragment else parts


def _is_host(parts: SplitResult, *, needs_port: bool = False) -> bool:
    is_alone = parts.path in ("", "/") and "@" not in parts.netloc
    is_named = parts.hostname is not None and bool(_HOST.fullmatch(parts.hostname))
    return is_alone and is_named and (parts.port is not None or not needs_port)


def read_engine(given: Mapping[str, Any]) -> EngineSettings:
    """The settings from checked values."""
    return EngineSettings(**given)


def read_storage(given: Mapping[str, Any]) -> StorageSettings:
    """The settings from checked values."""
    return StorageSettings(**given)


ENGINE: dict[str, Callable[[Any], str | None]] = {
    "kind": _kind,
    "address": _address,
    "parts": _parts,
}
STORAGE: dict[str, Callable[[Any], str | None]] = {"url": _url, "endpoint": _endpoint}
