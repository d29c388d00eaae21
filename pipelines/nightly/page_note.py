"""The note that a failed refresh leaves on the pages of the last good one.

Belongs here: writing and clearing that note. Does not belong here: how a page shows it
(`dashboards/static`).

Every page loads `assets/status.js`, the one file under published/ that is ever replaced by itself;
the next good refresh swaps the whole folder and with it the note.
"""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path

from pipelines.workspace.clock import stamp

STATUS = Path("assets") / "status.js"
REASON_CHARS = 500


def note_failure(published: Path, sentence: str) -> None:
    """Tells the readers of the published pages that a refresh failed, and why.

    Does nothing where there are no pages, or where they cannot be written: the command's own
    sentence and exit code tell of it as well.
    """
    status = published / STATUS
    if not status.parent.is_dir():
        return
    told = {
        "failed_at": stamp(),
        "reason": " ".join(sentence.split())[:REASON_CHARS],
    }
    text = f"window.limeledgerStatus = {json.dumps(told).replace('<', chr(92) + 'u003c')};\n"
    new = status.with_suffix(".js.new")
    try:
        new.write_text(text, encoding="utf-8")
        os.replace(new, status)
    except OSError:
        with contextlib.suppress(OSError):
            new.unlink(missing_ok=True)
