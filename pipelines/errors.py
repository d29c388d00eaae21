"""The ways in which a command can end early, each with its exit code and one clear sentence.

Belongs here: error types that a user sees. Does not belong here: faults of single rows, which are
data (`set_aside`), and faults of the tool itself, which the command line reports with a log.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


class LimeledgerError(Exception):
    """A stop that a person can act on; `str(error)` is the whole sentence to show."""

    exit_code = 2


class UsageError(LimeledgerError):
    """The call itself is wrong."""


class WorkspaceError(LimeledgerError):
    """The workspace, its settings, a mapping, a reference file or the terms are wrong.

    `faults` holds one sentence each; nothing has been written.
    """

    def __init__(self, *faults: str) -> None:
        super().__init__("\n".join(faults))
        self.faults = list(faults)


class RefusedError(LimeledgerError):
    """What a run was asked to make rests on something that is not of its inputs.

    Nothing has been written.
    """


class BusyError(LimeledgerError):
    """Another refresh holds the workspace."""

    exit_code = 3


class NotFoundError(LimeledgerError):
    """A claim, site or unit that was asked for does not exist."""

    exit_code = 4


class KeyFault(LimeledgerError):
    """A table that the tool made has two rows of one key: a fault of the tool itself."""

    exit_code = 70


class StorageError(LimeledgerError):
    """The disk is full or a folder of the tool's own cannot be written."""

    exit_code = 70


class EngineError(LimeledgerError):
    """A cluster, or the storage of its parts, cannot be reached or was lost half-way.

    Nothing was published; parts that are finished stay.
    """

    exit_code = 70


class Refused(LimeledgerError):
    """An action that was not done: nothing has been recorded.

    status: as HTTP has it: 403 role or limit, 404, 409 in the way of what is there, 412 overtaken,
        413, 415, 422 a value is wrong, 428 without a version.
    errors: by field, what is wrong with it.
    since: for 412, the events that came between.
    """

    def __init__(
        self,
        status: int,
        detail: str,
        errors: Sequence[tuple[str, str]] = (),
        since: Sequence[Mapping[str, Any]] = (),
    ) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.errors = list(errors)
        self.since = list(since)
        self.exit_code = 4 if status == 404 else 2


def is_fault(error: BaseException) -> bool:
    """Whether something failed, and was not stopped: polars' panics are no `Exception`."""
    return not isinstance(error, KeyboardInterrupt | SystemExit | GeneratorExit)
