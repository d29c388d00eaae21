"""How commands read what is typed: days, and files to write.

Belongs here: arguments that several commands take. Does not belong here: which arguments a command
has (`pipelines.cli`).
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from pipelines.errors import UsageError


def typed_day(name: str, given: str | None) -> dt.date | None:
    """The day typed for an option; None where it was not given."""
    if given is None:
        return None
    try:
        return dt.date.fromisoformat(given)
    except ValueError:
        raise UsageError(f'{name} "{given}" is no date; write it as YYYY-MM-DD.') from None


def write_file(path: Path, content: str | bytes) -> None:
    """Writes a file that the caller named.

    Raises:
        UsageError: it cannot be written there.
    """
    raw = content if isinstance(content, bytes) else content.encode("utf-8")
    try:
        path.write_bytes(raw)
    except OSError as error:
        raise UsageError(
            f"{path} cannot be written ({error.strerror}); name a file in a folder that is there."
        ) from None
