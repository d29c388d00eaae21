"""Where the frames of parts lie: in a folder or an object store, each named by its content.

Belongs here: putting frames and results there and getting them back, and what is too old to keep.
Does not belong here: what is worked out, or by whom.

A frame is `frames/SHA-256.parquet`, named by its own bytes; a result is `results/SHA-256.json`,
named by all that went in, and tells which frames came out. A result is written after its frames, so
that one that is there is whole; whoever writes it twice writes the same.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.errors import EngineError

KEPT = dt.timedelta(days=2)  # what no run has used for so long goes
_PATIENCE = dt.timedelta(seconds=30)
_FRAMES, _RESULTS = "frames", "results"


class PartStorage:
    """The storage at a URL: `s3://bucket/prefix`, or an absolute folder."""

    def __init__(self, url: str, endpoint: str = "") -> None:
        self.url = url
        self.endpoint = endpoint
        self.name = f"The storage of parts {url}" + (f" at {endpoint}" if endpoint else "")
        with self._errors_as_sentences():
            self._store = _opened(url, endpoint)

    def put_frame(self, frame: pl.DataFrame) -> str:
        """Puts a frame there unless it is; returns its name."""
        content = parquet(frame)
        name = hashlib.sha256(content).hexdigest()
        if not self._has(f"{_FRAMES}/{name}.parquet"):
            self._put(f"{_FRAMES}/{name}.parquet", content)
        return name

    def frame(self, name: str) -> pl.DataFrame:
        """The frame of that name.

        Raises:
            EngineError: the storage fails, or has something else under the name.
        """
        path = f"{_FRAMES}/{name}.parquet"
        content = self._get(path)
        if hashlib.sha256(content).hexdigest() != name:
            raise EngineError(
                f"{self.name} has another content than it was given as {path}. Remove that file "
                "and refresh again; store and pages are as they were."
            )
        return pl.read_parquet(io.BytesIO(content))

    def put_result(self, name: str, tables: Mapping[str, str]) -> None:
        """Puts down which frames, by table, came of a part."""
        self._put(_result(name), json.dumps(dict(tables), sort_keys=True).encode())

    def has_result(self, name: str) -> bool:
        """Whether a part has been worked on, and all its frames are there."""
        if not self._has(_result(name)):
            return False
        return all(self._has(f"{_FRAMES}/{one}.parquet") for one in self.result(name).values())

    def result(self, name: str) -> dict[str, str]:
        """The names of the frames, by table, that came of a part."""
        tables: dict[str, str] = json.loads(self._get(_result(name)))
        return tables

    def forget_old(self, used: Collection[str]) -> int:
        """Removes what is not among the used names and is old; returns how many went.

        How old something is, is told from the newest thing there, not from this machine's clock.
        """
        import obstore

        with self._errors_as_sentences():
            stored = [one for batch in obstore.list(self._store) for one in batch]
            newest = max((one["last_modified"] for one in stored), default=None)
            old = [
                one["path"]
                for one in stored
                if newest is not None
                and one["last_modified"] < newest - KEPT
                and one["path"].split("/")[0] in (_FRAMES, _RESULTS)
                and Path(one["path"]).stem not in used
            ]
            if old:
                obstore.delete(self._store, old)
        return len(old)

    def _has(self, path: str) -> bool:
        import obstore

        with self._errors_as_sentences():
            try:
                obstore.head(self._store, path)
            except FileNotFoundError:
                return False
            return True

    def _put(self, path: str, content: bytes) -> None:
        import obstore

        with self._errors_as_sentences():
            obstore.put(self._store, path, content)

    def _get(self, path: str) -> bytes:
        import obstore

        with self._errors_as_sentences():
            return bytes(obstore.get(self._store, path).bytes())

    @contextmanager
    def _errors_as_sentences(self) -> Iterator[None]:
        """Turns what the client raises into a sentence that names the storage."""
        from obstore.exceptions import BaseError

        try:
            yield
        except (BaseError, OSError) as error:
            raise EngineError(
                f"{self.name} cannot be read or written ({_first_line(error)}). Check that it is "
                "there, that this machine and all workers reach it, and its keys in the "
                "environment; then refresh again. Store and pages are as they were, and finished "
                "parts are not done again."
            ) from error


def parquet(frame: pl.DataFrame) -> bytes:
    """A frame as Parquet: the same rows give the same bytes."""
    buffer = io.BytesIO()
    frame.write_parquet(buffer, compression="zstd", statistics=False)
    return buffer.getvalue()


def _result(name: str) -> str:
    return f"{_RESULTS}/{name}.json"


def _first_line(error: BaseException) -> str:
    lines = str(error).strip().splitlines()
    return lines[0].strip()[:200] if lines else type(error).__name__


def _opened(url: str, endpoint: str) -> Any:
    from obstore.store import LocalStore, S3Store

    if not url.startswith("s3://"):
        return LocalStore(url, mkdir=True)
    config: Any = {"endpoint": endpoint} if endpoint else {}
    return S3Store.from_url(
        url,
        config=config,
        client_options={
            "allow_http": endpoint.startswith("http://"),
            "timeout": _PATIENCE,
            "connect_timeout": dt.timedelta(seconds=5),
        },
        retry_config={"max_retries": 3, "retry_timeout": _PATIENCE},
    )
