"""What store and pages say of themselves: which state, which day, which publication.

Belongs here: reading it, and comparing it with the inputs. Does not belong here: writing it
(`pipelines.store.transaction`).
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from pipelines.store.database import LAST, has_table, read_frame, row_counts
from pipelines.store.inputs import Inputs
from pipelines.store.states import RunState, read_states
from schemas.columns import column_names
from schemas.states import StoreState
from schemas.versions import SCHEMA_VERSION

STORE_STATE = "store_state"
MANIFEST = "manifest.json"
FILES, _COUNTED = "assets/files.json", "files"  # which are published; how many, in MANIFEST
_NOTE = "assets/status.js"  # is written again by itself
STORE_VERSION = "6"  # for readers of manifests of before; `schema_version` says more
# Two publications may have one state: the same inputs are published again after a loss.
_TOLD_APART = ("state", "publication", "run", "published_at")


@dataclass(frozen=True)
class PublishedState:
    """The one row of the table `store_state`; moments are UTC."""

    state: str
    as_of: dt.date
    publication: int
    run: str
    published_at: dt.datetime
    decided_at: dt.datetime | None
    exports: str
    mappings: str
    reference: str
    terms: str
    settings: str
    recorded: str
    tool_version: str
    tool: str
    schema_version: str

    @property
    def fingerprint(self) -> str:
        """One hash over what was laid in but the exports, to compare with `Inputs.fingerprint`."""
        laid_in = {name: getattr(self, name) for name in ("mappings", "reference", "terms")}
        contents = laid_in | {"settings": self.settings}
        return hashlib.sha256(json.dumps(contents, sort_keys=True).encode()).hexdigest()

    def is_behind(self, inputs: Inputs) -> bool:
        """Whether settings, mappings, reference files, terms or letters have changed since."""
        return self.fingerprint != inputs.fingerprint

    def manifest(self) -> dict[str, Any]:
        """What the pages say of themselves."""
        facts = {name: getattr(self, name) for name in column_names(StoreState)}
        facts |= {
            "as_of": self.as_of.isoformat(),
            "published_at": self.published_at.isoformat(timespec="microseconds"),
            "decided_at": self.decided_at.isoformat() if self.decided_at else None,
            "refreshed_at": self.published_at.isoformat(timespec="seconds"),
            "inputs": self.fingerprint,
            "store_version": STORE_VERSION,
        }
        return facts


def state_of(con: duckdb.DuckDBPyConnection, last: bool = False) -> PublishedState | None:
    """What the store says of itself; None where it was made by an earlier version, or by none.

    With `last`, the store that is attached under the name of LAST is asked.
    """
    table = f"{LAST}.{STORE_STATE}" if last else STORE_STATE
    if not has_table(con, table):
        return None
    rows = read_frame(con, table)
    names = column_names(StoreState)
    if rows.height != 1 or not set(names) <= set(rows.columns):
        return None
    return PublishedState(**rows.select(names).row(0, named=True))


def published_manifest(published: Path) -> dict[str, Any]:
    """What the published folder says of itself; empty where there is none."""
    try:
        manifest = json.loads((published / MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return manifest if isinstance(manifest, dict) else {}


def mixture(con: duckdb.DuckDBPyConnection, last: bool = False) -> list[str]:
    """Which tables are not of the state that the store names, in words; empty where all are."""
    state = state_of(con, last)
    if state is None:
        return ["the store does not say of which state it is"]
    if state.schema_version != SCHEMA_VERSION:
        return [f"the store is of version {state.schema_version}, not {SCHEMA_VERSION}"]
    rows = read_states(con, f"{LAST}.table_states" if last else "table_states")
    if not rows:
        return ["no table of the store says of which state it is"]
    wrong = sorted(name for name, row in rows.items() if row["state"] != state.state)
    return [f"the table {name} is of another state than the store" for name in wrong]


def without_state(con: duckdb.DuckDBPyConnection, last: bool = False) -> list[str]:
    """Tables that say of no state what they hold, or not what is there, in words."""
    rows = read_states(con, f"{LAST}.table_states" if last else "table_states")
    counts = row_counts(con, last)
    wrong = []
    for name, count in counts.items():
        if name not in rows:
            wrong.append(f"the table {name} does not say of which state it is")
        elif rows[name]["rows"] != count:
            wrong.append(f"the table {name} has not the rows that were put there")
    return [*wrong, *(f"the table {name} is missing" for name in rows if name not in counts)]


def disagreement(con: duckdb.DuckDBPyConnection, last: bool = False) -> list[str]:
    """Why nothing is built upon a store: a mixture, or tables that are not what was put there."""
    return mixture(con, last) or without_state(con, last)


def pages_are_of(state: PublishedState, published: Path) -> bool:
    """Whether the published pages are those of the store."""
    manifest, ours = published_manifest(published), state.manifest()
    return all(manifest.get(name) == ours[name] for name in _TOLD_APART)


def write_manifest(folder: Path, facts: Mapping[str, Any]) -> None:
    """Writes what the pages in a folder say of themselves, and beside it which files they are.

    The note of a failed run, which is written again by itself, is none of them.
    """
    names = sorted({*_files_in(folder), MANIFEST, FILES} - {_NOTE})
    (folder / FILES).write_text(json.dumps(names, indent=0) + "\n", encoding="utf-8")
    text = json.dumps({**facts, _COUNTED: len(names)}, indent=2, sort_keys=True)
    (folder / MANIFEST).write_text(text + "\n", encoding="utf-8")


def missing_files(published: Path) -> list[str]:
    """The published files that are no longer there; none where it was not put down which are."""
    if _COUNTED not in published_manifest(published):
        return []
    try:
        names = json.loads((published / FILES).read_text(encoding="utf-8"))
        return sorted(set(names) - set(_files_in(published)))
    except (OSError, ValueError, TypeError):
        return [FILES]


def _files_in(folder: Path) -> Iterator[str]:
    for place, _, names in os.walk(folder):
        below = Path(place).relative_to(folder).as_posix()
        yield from (name if below == "." else f"{below}/{name}" for name in names)


def is_of(con: duckdb.DuckDBPyConnection, published: Path, state: RunState) -> bool:
    """Whether the store and the pages are of that state, each table of them."""
    stored = state_of(con)
    return (
        stored is not None
        and stored.state == state.state
        and not disagreement(con)
        and pages_are_of(stored, published)
        and not missing_files(published)
    )
