"""What takes long to make and is the same for one version of the tool: made once and kept.

Belongs here: where it is kept, and when it is made anew. Does not belong here: what is made.

It is kept in the cache folder of the user (`XDG_CACHE_HOME`, else the system's own): named by a
hash of all that it is made from, replaced in one step, and nowhere where that may not be written.
Nothing is lost with it: what is not there, or not whole, is made again. A text's first line is its
SHA-256, by which a cut or altered one is known.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import jinja2
from jinja2.bccache import Bucket
from platformdirs import user_cache_path

_MOST_KEPT = 8  # of a kind: what versions long gone have made goes


def kept_folder() -> Path:
    """The user's cache folder for this tool; it need not be there.

    Raises FileNotFoundError where the user has no folder of their own.
    """
    folder = user_cache_path("limeledger", appauthor=False)
    if not folder.is_absolute():  # a home that cannot be told stays "~"
        raise FileNotFoundError(folder)
    return folder


def made_once(kind: str, made_from: bytes, make: Callable[[], str]) -> str:
    """The text of a kind that `make` makes of `made_from`: the kept one, or a new one, kept."""
    digest = hashlib.sha256(made_from).hexdigest()[:32]
    name = f"{kind}-{digest}"
    kept = _whole(name)
    if kept is not None:
        return kept
    text = make()
    with suppress(OSError):
        _keep(kept_folder() / name, text)
        _forget(kept_folder(), kind)
    return text


def _whole(name: str) -> str | None:
    """The text kept under a name; None where there is none, or not all of it as it was kept."""
    with suppress(OSError, UnicodeDecodeError):
        digest, _, body = (kept_folder() / name).read_bytes().partition(b"\n")
        if digest.decode("ascii") == hashlib.sha256(body).hexdigest():
            return body.decode("utf-8")
    return None


def _keep(path: Path, text: str) -> None:
    body = text.encode("utf-8")
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        new.write_bytes(hashlib.sha256(body).hexdigest().encode("ascii") + b"\n" + body)
        os.replace(new, path)
    finally:
        new.unlink(missing_ok=True)


def _forget(folder: Path, kind: str) -> None:
    kept = sorted(folder.glob(f"{kind}-*"), key=lambda path: path.stat().st_mtime)
    for path in kept[:-_MOST_KEPT]:
        path.unlink(missing_ok=True)


class CompiledTemplates(jinja2.FileSystemBytecodeCache):
    """Our own templates as Python code; each is compiled anew when its text has changed."""

    def __init__(self) -> None:
        self.pattern = "template-%s"

    @property
    def directory(self) -> str:  # type: ignore[override] # asked anew, as the folder may change
        """Where they are kept."""
        return str(kept_folder())

    def load_bytecode(self, bucket: Bucket) -> None:
        """Takes what is kept of one template, if that can be read."""
        with suppress(OSError):
            super().load_bytecode(bucket)

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keeps one template, where anything may be kept."""
        with suppress(OSError):
            kept_folder().mkdir(parents=True, exist_ok=True)
            super().dump_bytecode(bucket)
