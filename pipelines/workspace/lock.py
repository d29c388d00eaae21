"""One refresh at a time: a lock that the system itself frees when its holder dies.

Belongs here: taking and naming the lock. Does not belong here: what is done under it.
"""

from __future__ import annotations

import fcntl
import json
import os
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from pipelines.errors import BusyError, StorageError
from pipelines.workspace.clock import stamp

LOCK_FILE = "refresh.lock"


@dataclass(frozen=True)
class Holder:
    """Who holds, or held, the lock: process, host, and since when (UTC, ISO 8601)."""

    pid: int
    host: str
    since: str


@contextmanager
def refresh_lock(store: Path) -> Iterator[Holder | None]:
    """Holds the workspace's refresh lock; makes the store folder where it is missing.

    The file stays behind with its holder's name when a refresh is killed, but not the lock. Such a
    holder is handed over, so that the refresh can say that the one before it did not end.

    Raises:
        BusyError: another refresh holds the lock; says who and since when.
        StorageError: the lock file cannot be written.
    """
    path = store / LOCK_FILE
    try:
        store.mkdir(parents=True, exist_ok=True, mode=0o750)
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError as error:
        raise _unwritable(path, error) from None
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise BusyError(_busy(path, _holder(descriptor))) from None
        left_by = _holder(descriptor)
        try:
            _write(descriptor, _this_process())
        except OSError as error:
            raise _unwritable(path, error) from None
        try:
            yield left_by
        finally:
            # Emptied, not removed: a waiting process may have the same file open already.
            os.ftruncate(descriptor, 0)
    finally:
        os.close(descriptor)


def named_holder(store: Path) -> Holder | None:
    """Who the lock file names, without touching the lock: a refresh at work, or one that died."""
    try:
        descriptor = os.open(store / LOCK_FILE, os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        return _holder(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def no_refresh_meanwhile(store: Path) -> Iterator[None]:
    """Keeps refreshes away from whoever only reads, also where nothing can be written.

    Where the disk or this user cannot write the lock file it is locked as it lies; where there is
    none, nothing that this user could keep away has ever run there.

    Raises:
        BusyError: a refresh holds the lock; says who and since when.
        StorageError: the lock file cannot be written for want of something else.
    """
    path = store / LOCK_FILE
    if os.access(path if path.exists() else store, os.W_OK) or not store.exists():
        with refresh_lock(store):
            yield
        return
    with ExitStack() as stack:
        with suppress(FileNotFoundError):
            file = stack.enter_context(path.open("rb"))
            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise BusyError(_busy(path, _holder(file.fileno()))) from None
        yield


def _this_process() -> Holder:
    return Holder(os.getpid(), socket.gethostname(), stamp())


def _write(descriptor: int, holder: Holder) -> None:
    os.ftruncate(descriptor, 0)
    os.pwrite(descriptor, json.dumps(asdict(holder)).encode(), 0)


def _holder(descriptor: int) -> Holder | None:
    """The holder that the file names; None where it is empty or names none."""
    try:
        holder = json.loads(os.pread(descriptor, 4096, 0))
        return Holder(int(holder["pid"]), str(holder["host"]), str(holder["since"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _busy(path: Path, holder: Holder | None) -> str:
    who = f"process {holder.pid} on {holder.host}, since {holder.since}" if holder else "unknown"
    return (
        f"another refresh of this workspace is running ({who}; {path}); nothing was done. "
        "Wait until it has ended, then try again."
    )


def _unwritable(path: Path, error: OSError) -> StorageError:
    return StorageError(
        f"{path} cannot be written ({error.strerror or error}); free space on the disk or give "
        "write permission, then try again. Nothing was changed."
    )
