"""help/settings.md: every setting of limeledger.toml, what it is for, holds, and its default."""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import Any

from pipelines.workspace.desk_settings import DeskSettings
from pipelines.workspace.engine_settings import EngineSettings, StorageSettings
from pipelines.workspace.letter_settings import LETTERS, LetterSettings
from pipelines.workspace.night import RELAY_PORT, SUBMISSION_PORT
from pipelines.workspace.settings import FIELDS, REQUIRED, TABLES, Settings
from pipelines.workspace.toml_file import show

_OPENING = """# The settings

`limeledger.toml` at the top of the workspace. Keys with a dot stand in tables: `engine.kind` is
`kind` under `[engine]`. A setting that is unknown or cannot be read stops everything with its line.
No password and no key of a server ever stands here; the environment holds them.

The work is done in one process on this machine unless `engine.kind` is `"ray"`: then parts of the
fleet go to a cluster, by way of `storage.url`, and the tables come out the same. Both tables may
change from one night to the next.

This page is made from what checks the file and renewed by every refresh; changes to it are lost.
"""
# What nothing holds: each check answers it with what may be written.
_NEVER: list[list[Any]] = [[]]
ABOUT: dict[str, str] = {
    "maker": "The maker, as pages and letters name it.",
    "timezone": "Where a day begins: today, arrivals and the night go by it.",
    "currency": "Of all amounts.",
    "terms": "The folder of the terms.",
    "set_aside_tolerance": "The share of a feed's rows that may be set aside without exit code 1.",
    "stale_after_days": "A feed complete to a day longer ago than this is stale.",
    "tanks_l": "Storage tanks behind a membrane that the maker sells.",
    "duty_hours_per_day": "How long a kitchen cooks that tells nothing else.",
    "conductivity_to_tds": "Dissolved solids (mg/L) in each µS/cm, where they are not reported.",
    "calcium_share_of_hardness": "Taken where a test lacks calcium; such a row says `assumed`.",
    "readable_by": "Who may read what the tool writes, beside its owner.",
    "publish.hide": "Columns that appear nowhere below published/.",
    "publish.csv_max_rows": "A table of more rows is published as Parquet alone.",
    "limits.max_file_mb": "A larger CSV is set aside whole.",
    "limits.max_field_chars": "A row with a longer field is set aside.",
    "limits.max_columns": "A file or sheet whose header is wider is set aside whole.",
    "limits.max_cells": "A sheet of more cells, last row times last column, is set aside whole.",
    "limits.max_workbook_mb": "Memory of the process that reads a workbook.",
    "limits.max_workbook_seconds": "Time that it may take.",
    "joins.min_share": "A join that matches a smaller share of its rows makes the exit code 1 …",
    "joins.min_rows": "… if it has at least so many rows.",
    "joins.shares": "By feed.column, in place of min_share; 0: not judged.",
    "rulings.limits": "What each person's ruling may grant in all; `*`: whoever is not named.",
    "rulings.second_person_above": "A ruling that grants more waits for a second person.",
    "desk.database": "Where the desk's events are kept.",
    "desk.host": "The address that the desk listens on.",
    "desk.port": "Its port; 0: a free one.",
    "desk.session_hours": "How long a sign-in lasts.",
    "desk.public_url": "How people reach the desk where a proxy stands before it.",
    "desk.trusted_header": "The header in which the proxy names the user.",
    "desk.trusted_proxies": "The addresses from which that header counts.",
    "desk.max_document_mb": "A larger document is refused.",
    "desk.tls_certificate": "The desk's certificate, where it is reached from other machines.",
    "desk.tls_key": "Its key.",
    "nightly.at": "When the nightly refresh begins, in the workspace's time zone.",
    "nightly.watch_seconds": "How long a delivery must have been still before it is read.",
    "nightly.on_failure_command": "What is run when a night fails; the reason is its input.",
    "nightly.schedule": "Whether the schedule comes up running.",
    "nightly.sensor": "Whether the sensor of new deliveries does.",
    "nightly.mail.host": "The server that is handed the message of a failed night.",
    "nightly.mail.port": "Its port.",
    "nightly.mail.from": "Whom the message is from.",
    "nightly.mail.to": "Who is told.",
    "nightly.mail.starttls": "Whether the connection is encrypted before anything is said.",
    "nightly.mail.user_env": "The variable of the environment that holds the user.",
    "nightly.mail.password_env": "The variable that holds the password.",
    "letters.sender": "The address that letters come from.",
    "letters.signature": "The line that ends them.",
    "letters.since": "What became known as of an earlier day was told before.",
    "letters.reminders": "How many follow an unanswered request for documents.",
    "letters.kinds": "The kinds of letters that are made.",
    "letters.mail.host": "The server that is handed letters.",
    "letters.mail.port": "Its port.",
    "letters.mail.starttls": "Whether the connection is encrypted before anything is said.",
    "letters.mail.user_env": "The variable of the environment that holds the user.",
    "letters.mail.password_env": "The variable that holds the password.",
    "engine.kind": "Who works on the parts of the fleet.",
    "engine.address": "The cluster that does, where it is one.",
    "engine.parts": "Into how many parts the fleet goes; a group of units stays whole.",
    "storage.url": "Where parts lie for a cluster.",
    "storage.endpoint": "The object store's server, where it is not the usual one.",
}
# What holds without the setting, where no value says so.
_WITHOUT = {
    "calcium_share_of_hardness": "no index without calcium",
    "publish.hide": "nothing is hidden",
    "joins.shares": "none",
    "rulings.limits": "whoever may rule may rule any amount",
    "rulings.second_person_above": "nobody is asked twice",
    "desk.trusted_proxies": "none",
    "nightly.on_failure_command": "none",
    "nightly.mail": "no mail",
    "nightly.mail.port": f"{RELAY_PORT}; {SUBMISSION_PORT} with starttls",
    "letters.mail": "no mail; letters go out by hand",
    "letters.mail.port": f"{RELAY_PORT}; {SUBMISSION_PORT} with starttls",
    "letters.sender": "needed for mail alone",
    "letters.signature": "the maker",
    "letters.since": "the day on which the register is first filled",
    "letters.kinds": "all",
}
_PARTS: dict[str, Any] = {
    "desk": DeskSettings,
    "engine": EngineSettings,
    "storage": StorageSettings,
    "letters": LetterSettings,
}


def settings_page() -> str:
    """The text of help/settings.md."""
    rows = [
        f"| `{path}` | {ABOUT[path]} | {holds(path)} | {_default(path)} |"
        for path in setting_paths()
    ]
    head = ["| setting | meaning | holds | default |", "| --- | --- | --- | --- |"]
    return "\n".join([_OPENING, *head, *rows, ""])


def setting_paths() -> list[str]:
    """Every setting by its dotted path, in the order of the file's tables."""
    return [".".join((*table, key)) for table, keys in TABLES.items() for key in keys]


def holds(path: str) -> str:
    """What may be written there, as its check says to whoever wrote something else."""
    *table, key = path.split(".")
    fault = TABLES[tuple(table)][key](_NEVER) or ""
    said = fault.partition("; ")[2].removesuffix(".").removeprefix("write ").removeprefix("it as ")
    return said.replace("name an ", "the name of an ", 1).replace("|", "\\|")


def _default(path: str) -> str:
    *table, key = path.split(".")
    if path in REQUIRED:
        return "needed"
    for place in (path, ".".join(table)):
        if place in _WITHOUT:
            return _WITHOUT[place]
    of_part = table[:1] != ["letters"] or key in LETTERS
    shape = _PARTS.get(table[0] if table else "", Settings) if of_part else Settings
    name = FIELDS.get(key, key) if shape is Settings else key
    default = next(one.default for one in fields(shape) if one.name == name)
    assert default is not MISSING, path
    return f"`{_written(default)}`"


def _written(value: Any) -> str:
    """A default as the file would hold it."""
    if isinstance(value, tuple):
        return show([int(one) if float(one).is_integer() else one for one in value])
    return show(f"{value:%H:%M}" if hasattr(value, "hour") else value)
