"""A second sample company, Quellmoor, whose raw exports were never made for the tool.

Belongs here: access to the committed files. Does not belong here: what they hold (`generate`).
"""

from __future__ import annotations

import datetime as dt
from importlib.resources import files

from sample_data import files_below

AS_OF = dt.date(2026, 6, 30)  # the day on which its exports end


def workspace_files() -> dict[str, bytes]:
    """Every file of the company's workspace: exports, mappings, aliases, reference files, terms."""
    home = files("sample_data.second")
    return {
        path: entry.read_bytes()
        for part in ("written", "workspace")
        for path, entry in sorted(files_below(home / part, ""))
    }
