"""What the columns of the archive's tables are, for the catalog.

Belongs here: kinds and descriptions. Does not belong here: their types (`schemas.archive`), or the
columns that a row of `decision_archive` has of `decisions`.
"""

from __future__ import annotations

# By table: what one row is, the key, and kind and description of each column.
ARCHIVE: dict[str, tuple[str, tuple[str, ...], dict[str, tuple[str, str]]]] = {
    "publications": (
        "One row is one publication: the moment at which a new state took the old one's place.",
        ("publication",),
        {
            "publication": ("integer", "Its number, from 1."),
            "run": ("text", "The run that published."),
            "published_at": ("moment", "When (UTC)."),
            "clock": ("text", "Whether the moment was given or is the machine's."),
            "as_of": ("day", "The as-of day."),
            "state": ("text", "SHA-256 over all inputs."),
            "exports": ("text", "SHA-256 over the exports."),
            "mappings": ("text", "SHA-256 over the mappings."),
            "reference": ("text", "SHA-256 over the reference files."),
            "terms": ("text", "SHA-256 over the terms."),
            "settings": ("text", "SHA-256 over the settings."),
            "recorded": ("text", "SHA-256 over what people recorded."),
            "tool_version": ("text", "The version of the tool."),
            "tool": ("text", "SHA-256 over the tool's source."),
            "through_dates": ("structs", "The through date of each feed."),
            "claims": ("integer", "Claims decided."),
            "archived": ("integer", "Claims with a new row in decision_archive."),
            "exports_files": (
                "structs",
                "Files of the exports, and when they came and left.",
            ),
        },
    ),
    "decision_archive": (
        "One row is one claim as one publication found it otherwise than before.",
        ("claim", "publication"),
        {
            "claim": ("text", "The claim."),
            "publication": ("integer", "The publication from which on the row holds."),
            "findings": ("structs", "All findings, with outcome, reason, document and evidence."),
            "considered": ("texts", "SHA-256 of every record that the rules looked at."),
            "fingerprint": ("text", "The fingerprint of the evidence."),
            "withdrawn": ("flag", "Whether the claim was no longer in the exports."),
        },
    ),
    "archived_rows": (
        "One row is one row of an export that a decision considered.",
        ("row_sha256",),
        {
            "row_sha256": ("text", "The hash of the row."),
            "feed": ("text", "Its feed."),
            "key": ("text", "Its key."),
            "file": ("text", "Its file."),
            "line": ("integer", "The line on which it begins."),
            "file_sha256": ("text", "The hash of the file."),
            "values": ("text", "Its values as typed."),
            "arrived_on": ("day", "The day on which a run that published first read it."),
            "left_on": ("day", "The day on which it was gone; null while it stands."),
        },
    ),
    "archived_files": (
        "One row is one file of terms, reference, mappings, settings or what people recorded.",
        ("sha256",),
        {
            "sha256": ("text", "The hash of its content."),
            "kind": ("text", "What it is."),
            "path": ("text", "Where it lay, below the workspace."),
            "content": ("binary", "What stood in it."),
        },
    ),
}
