"""The note of a failed refresh on the pages of the last good one.

Belongs here: what the note says, writing and clearing it. Does not belong here: how a page shows
it (`dashboards/static`), or the log that it follows from (`pipelines.store.run_log`).

Every page loads `assets/status.js`, the one file under published/ that is ever replaced by itself;
the next good refresh swaps the whole folder and with it the note.
"""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path
from typing import Any

from pipelines.store.run_log import Line, is_good, is_night, last_whole_run
from pipelines.workspace.permissions import open_private

STATUS = Path("assets") / "status.js"
REASON_CHARS = 500
_BEFORE, _AFTER = "window.limeledgerStatus = ", ";\n"

Note = dict[str, Any]


def is_in_step(published: Path, lines: list[Line]) -> bool:
    """Whether the pages say what the log says; a log without a whole run says nothing of them.

    A later note of a run that the log does not know stands: that run could not write into the log.
    """
    last = last_whole_run(lines)
    if last is None:
        return True
    shown = read_note(published)
    if shown is not None and shown.get("run") not in {line.get("run") for line in lines}:
        return str(shown.get("failed_at")) >= str(last.get("at"))
    return shown == note_of(last)


def note_of(last: Line) -> Note | None:
    """What the pages should say after a whole run that ended so; None where all is well."""
    if is_good(last):
        return None
    return {
        "failed_at": last.get("at"),
        "reason": " ".join(str(last.get("sentence") or "").split())[:REASON_CHARS],
        "run": last.get("run"),
        "exit_code": last.get("exit_code"),
        "outcome": last.get("outcome"),
    }


def read_note(published: Path) -> Note | None:
    """The note that the pages show; None where there is none, or no pages."""
    status = published / STATUS
    try:
        if not status.is_file():  # a pipe would be waited for
            return None
        text = status.read_text(encoding="utf-8")
        note = json.loads(text.partition("=")[2].strip().rstrip(";"))
    except (OSError, ValueError):
        return None
    return note if isinstance(note, dict) else None


def put_in_step(published: Path, lines: list[Line]) -> None:
    """Puts the note on the published pages that follows from the log, or takes it away.

    Nothing is done where there are no pages, or where they cannot be written: whoever looks at the
    workspace next and can do it does.
    """
    last = last_whole_run(lines)
    if last is not None and not is_in_step(published, lines):
        _write(published / STATUS, note_of(last))


def leave_note(published: Path, line: Line) -> None:
    """Leaves or clears the note of the run that ends with this line, where it is a whole one."""
    if is_night(line) and read_note(published) != note_of(line):
        _write(published / STATUS, note_of(line))


def _write(status: Path, note: Note | None) -> None:
    if not status.parent.is_dir():
        return
    # `<` could end the script element of a page that holds the file's text.
    text = _BEFORE + json.dumps(note).replace("<", "\\u003c") + _AFTER
    new = status.with_suffix(".js.new")
    try:
        new.unlink(missing_ok=True)
        with open(open_private(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL), "wb") as file:
            file.write(text.encode("ascii"))
            file.flush()
            os.fsync(file.fileno())
        os.replace(new, status)
    except OSError:
        with contextlib.suppress(OSError):
            new.unlink(missing_ok=True)
