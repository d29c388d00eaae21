"""What is kept of every decision ever published: the tables of store/archive/.

Belongs here: the shape of the tables. Does not belong here: writing them
(`pipelines.steps.archive`), or the files that they are kept in (`pipelines.store.archive`).
"""

from __future__ import annotations

import polars as pl

from schemas.columns import column_names, polars_schema
from schemas.decisions import Decisions, Findings

CLOCKS = ("given", "system")
# The kinds of input whose files are kept, each with the word of `archived_files.kind`.
KINDS = {
    "terms": "terms",
    "reference": "reference",
    "mappings": "mapping",
    "settings": "settings",
    "recorded": "recorded",
}
LISTING = "."  # the path under which the list of a kind's files is kept

THROUGH = pl.Struct({"feed": pl.String(), "through_date": pl.Date()})
EXPORTS_FILE = pl.Struct(
    {
        "file": pl.String(),
        "sha256": pl.String(),
        "arrived_on": pl.Date(),
        "left_on": pl.Date(),
    }
)
_FINDING_COLUMNS = ("position", "condition", "outcome", "reason", "document", "evidence")
FINDING = pl.Struct({name: polars_schema(Findings)[name] for name in _FINDING_COLUMNS})

PUBLICATIONS = pl.Schema(
    {
        "publication": pl.Int64(),
        "run": pl.String(),
        "published_at": pl.Datetime("us"),
        "clock": pl.String(),
        "as_of": pl.Date(),
        "state": pl.String(),
        "exports": pl.String(),
        "mappings": pl.String(),
        "reference": pl.String(),
        "terms": pl.String(),
        "settings": pl.String(),
        "recorded": pl.String(),
        "tool_version": pl.String(),
        "tool": pl.String(),
        "through_dates": pl.List(THROUGH),
        "claims": pl.Int64(),
        "archived": pl.Int64(),
        "exports_files": pl.List(EXPORTS_FILE),
    }
)
DECIDED = column_names(Decisions)
DECISION_ARCHIVE = pl.Schema(
    {
        "claim": pl.String(),
        "publication": pl.Int64(),
        **{name: kind for name, kind in polars_schema(Decisions).items() if name != "claim"},
        "findings": pl.List(FINDING),
        "considered": pl.List(pl.String()),
        "fingerprint": pl.String(),
        "withdrawn": pl.Boolean(),
    }
)
ARCHIVED_ROWS = pl.Schema(
    {
        "row_sha256": pl.String(),
        "feed": pl.String(),
        "key": pl.String(),
        "file": pl.String(),
        "line": pl.Int64(),
        "file_sha256": pl.String(),
        "values": pl.String(),
        "arrived_on": pl.Date(),
        "left_on": pl.Date(),
    }
)
ARCHIVED_FILES = pl.Schema(
    {"sha256": pl.String(), "kind": pl.String(), "path": pl.String(), "content": pl.Binary()}
)
ARCHIVE_TABLES = {
    "publications": PUBLICATIONS,
    "decision_archive": DECISION_ARCHIVE,
    "archived_rows": ARCHIVED_ROWS,
    "archived_files": ARCHIVED_FILES,
}
