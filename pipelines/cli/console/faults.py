"""What the command line does with a fault of the tool itself: one sentence, and a log.

Belongs here: errors that nobody expected. Does not belong here: those that a person can act on
(`pipelines.errors`).
"""

from __future__ import annotations

import argparse
import os
import tempfile
import traceback
from pathlib import Path

from pipelines.cli.console.output import progress
from pipelines.workspace import clock
from pipelines.workspace.permissions import open_private

FAULT = 70


def report_fault(error: BaseException, args: argparse.Namespace) -> int:
    """Tells an error that is being handled; returns the exit code."""
    from pipelines.store.storage_faults import storage_fault

    workspace = Path(getattr(args, "workspace", None) or getattr(args, "folder", None) or ".")
    known = storage_fault(error, workspace)
    if known is not None:
        progress(str(known))
        return known.exit_code
    log = _write_log(workspace)
    if args.debug:
        traceback.print_exc()
    progress(
        f"Limeledger itself failed ({type(error).__name__}); this is a fault of the tool, "
        f"not of your data. The store and the pages are as they were. The details are in {log}."
    )
    return FAULT


def _write_log(workspace: Path) -> Path:
    """Appends the traceback to the workspace's log, or to one in the temporary folder."""
    text = f"{clock.stamp()}\n{traceback.format_exc()}\n"
    for folder in (workspace / "store", Path(tempfile.gettempdir())):
        log = folder / "limeledger.log"
        try:
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND
            with open(open_private(log, flags), "ab") as file:
                file.write(text.encode("utf-8", "backslashreplace"))
            return log
        except OSError:
            continue
    return Path("the terminal only (no folder could be written)")
