"""The inputs of a past publication, laid out in a scratch place and read as a refresh reads them.

Belongs here: settings, reference files and terms of then. Does not belong here: records
(`pipelines.store.archive.reading`), or deciding with any of it.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

import polars as pl

from pipelines.coverage import Evidence
from pipelines.errors import WorkspaceError
from pipelines.events.ruling_days import Days, read_days
from pipelines.terms import Terms, load_terms
from pipelines.workspace.layout import SETTINGS_FILE, find
from pipelines.workspace.reference import Reference, load_reference
from pipelines.workspace.settings import Settings, read_settings
from schemas.codes import DESK_FILE, REFERENCES


@dataclass(frozen=True)
class LaidOut:
    """What a decision rests on beside the records."""

    settings: Settings
    reference: Reference
    terms: Terms


@contextmanager
def laid_out(files: Mapping[str, list[dict[str, Any]]]) -> Iterator[LaidOut]:
    """The files of a publication, read in a folder of their own.

    Args:
        files: of `pipelines.store.archive.reading.files_of`.

    Raises:
        WorkspaceError: this version of the tool cannot read them.
    """
    with tempfile.TemporaryDirectory(prefix="limeledger-") as folder:
        root = Path(folder)
        for kind in ("settings", "reference", "terms"):
            for file in files[kind]:
                _lay(root, file["path"], bytes(file["content"]))
        try:
            settings = read_settings(find(root, SETTINGS_FILE))
            reference = load_reference(find(root, "reference"), settings)
            terms = load_terms(find(root, settings.terms), reference.families, reference.abilities)
        except WorkspaceError as error:
            raise WorkspaceError(
                "The settings, reference files or terms of then cannot be read by this version of "
                "the tool:",
                *error.faults,
            ) from None
        yield LaidOut(settings, reference, terms)


def _lay(root: Path, name: str, content: bytes) -> None:
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts:
        raise WorkspaceError(f"The archive is damaged: it names a file {name}.")
    target = root.joinpath(*path.parts)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(content)


def evidence_of(
    records: Mapping[str, pl.DataFrame],
    laid: LaidOut,
    through: Mapping[str, dt.date | None],
    as_of: dt.date,
    days: Days,
) -> Evidence:
    """The bundle that a decision looks at."""
    return Evidence(
        **records,
        **{name: getattr(laid.reference, name) for name in REFERENCES},
        through=dict(through),
        as_of=as_of,
        **days,
    )


def days_in(files: Mapping[str, list[dict[str, Any]]]) -> Days:
    """On which days rulings at the desk were approved and withdrawn, as a publication knew it."""
    content = (bytes(one["content"]) for one in files["recorded"] if one["path"] == DESK_FILE)
    return read_days(next(content, None))
