"""The codes that exports use, read through the mappings, and drafts of reference files from them.

Belongs here: reading the workspace, and writing drafts/. Does not belong here: what is one name
(`pipelines.assist.codes`).
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.assist.codes.drafts import (
    ALIAS_COLUMNS,
    FILES,
    CodeLine,
    KnownCodes,
    code_lines,
    columns_of,
)
from pipelines.assist.codes.usage import COLUMNS, KINDS, added_up, used_codes
from pipelines.assist.drafts.plain_names import plain_words
from pipelines.errors import StorageError, WorkspaceError
from pipelines.exports.header_rows import places_of
from pipelines.records.serving import Mappings
from pipelines.steps.ingest import read_files
from pipelines.steps.read_part import ReadPart
from pipelines.store.deliveries import delivered
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.workspace.reference import Reference
from schemas.columns import polars_schema
from schemas.reference import Aliases

FOLDER = "drafts"
_NAMES = ("description", "name", "text")


@dataclass(frozen=True)
class CodeLists:
    """The drafts that were written, by their paths below the workspace, and the codes.

    `kept` counts by reference file the lines that its draft does not have, which would be lost if
    the draft were put in its place.
    """

    files: list[str]
    lines: list[CodeLine]
    aliases: list[dict[str, Any]]
    kept: dict[str, int]

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        columns = ("kind", "code", "name", "spellings", "rows", "known")
        return {
            "files": self.files,
            "codes": [{name: getattr(line, name) for name in columns} for line in self.lines],
        }


def draft_codes(folder: str | Path, progress: Callable[[str], None]) -> CodeLists:
    """Lists the codes of all exports and drafts reference files into drafts/.

    Raises:
        WorkspaceError: settings, mappings or reference files are faulty, or drafts is no folder.
        StorageError: drafts/ cannot be written.
    """
    inputs = load_inputs(folder)
    as_written = Mappings.of_workspace(inputs.mappings.all, polars_schema(Aliases).to_frame())
    plain = replace(inputs, mappings=as_written)
    frames = []
    for number, file in enumerate(read_files(plain, delivered(plain))):
        progress(f"Read {file.facts['file']}")
        frames += [
            used_codes(part.feed, _rows(part), number)
            for part in file.parts
            if part.feed and not part.join
        ]
    lines, aliases = code_lines(added_up(frames), _known(inputs))
    written = _write(inputs.workspace.root, lines, aliases)
    return CodeLists(written, lines, aliases, _kept(inputs.reference, lines))


def _kept(reference: Reference, lines: Sequence[CodeLine]) -> dict[str, int]:
    """Lines of codes that no export uses, further lines of one code, and aliases."""
    kept = {"aliases": reference.aliases.height}
    for kind, (file, _) in FILES.items():
        if kind != "site":
            codes: pl.Series = getattr(reference, file)[kind]
            drafted = {line.code for line in lines if line.kind == kind}
            kept[file] = codes.len() - len(drafted.intersection(codes))
    return {file: count for file, count in kept.items() if count}


def _rows(part: ReadPart) -> pl.DataFrame:
    """The rows of a part, sound or not, with what stands beside their codes."""
    parsed = part.parsed
    frames = [frame for frame in (parsed.rows, parsed.unsound) if frame.height]
    if not frames:
        return pl.DataFrame()
    rows = pl.concat(frames, how="diagonal_relaxed")
    if part.reading is None or part.mapping is None:
        return rows
    for of_feed, column in (pair for pairs in COLUMNS.values() for pair in pairs):
        if of_feed == part.feed and column in rows.columns:
            place = _beside(part, column)
            if place is not None:
                beside = part.reading.rows.select(
                    source_line="line",
                    **{f"name:{column}": pl.when(pl.col(f"c{place}") != "").then(f"c{place}")},
                )
                rows = rows.join(beside, on="source_line", how="left", maintain_order="left")
    return rows


def _beside(part: ReadPart, column: str) -> int | None:
    """The header of a description or name of the codes below another header."""
    assert part.reading is not None
    assert part.mapping is not None
    header = part.reading.header
    at = [place for name in part.mapping.headers_of(column) for place in places_of(name, header)]
    if len(at) != 1:
        return None
    own = set(plain_words(header[at[0]])) - {"number", "code"} | {column.split("_")[-1]}
    for place, name in enumerate(header):
        words = set(plain_words(name))
        left = words - set(_NAMES)
        if (
            place != at[0]
            and words & set(_NAMES)
            and (left & own or (not left and place == at[0] + 1))
        ):
            return place
    return None


def _known(inputs: Inputs) -> dict[str, KnownCodes]:
    reference, known_codes = inputs.reference, {}
    for kind in KINDS:
        file, name_column = FILES[kind]
        aliases = reference.aliases.filter(kind=kind)
        pairs = dict(zip(aliases["written"], aliases["means"], strict=True))
        if kind == "site":
            known_codes[kind] = KnownCodes(aliases=pairs)
            continue
        frame: pl.DataFrame = getattr(reference, file)
        names = frame.select(kind, name_column).drop_nulls()
        known_codes[kind] = KnownCodes(
            tuple(frame[kind].unique(maintain_order=True)),
            dict(zip(names[name_column], names[kind], strict=True)),
            pairs,
            _texts_of(reference, file, kind),
        )
    return known_codes


def _texts_of(reference: Reference, file: str, kind: str) -> Mapping[str, Mapping[str, str]]:
    """The lines of a reference file as it would be written, by code; of several the last."""
    frame: pl.DataFrame = getattr(reference, file)
    return {
        str(row[kind]): {name: _text(value) for name, value in row.items()}
        for row in frame.to_dicts()
    }


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " ".join(map(str, value))
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _write(
    root: Path, lines: Sequence[CodeLine], aliases: Sequence[Mapping[str, Any]]
) -> list[str]:
    folder = root / FOLDER
    drafts = {
        FILES[kind][0]: _csv(columns_of(kind), [one.line for one in lines if one.kind == kind])
        for kind in KINDS
    }
    drafts["aliases"] = _csv(ALIAS_COLUMNS, aliases)
    written = []
    try:
        folder.mkdir(exist_ok=True)
        for name, text in drafts.items():
            path = _free(folder, name)
            path.write_text(text, encoding="utf-8", newline="\n")
            written.append(f"{FOLDER}/{path.name}")
    except (FileExistsError, NotADirectoryError):
        raise WorkspaceError(
            f"{folder} is no folder, and the drafts belong there; move it away, then try again."
        ) from None
    except OSError as error:
        raise StorageError(
            f"{folder} cannot be written ({error.strerror or error}); free space on the disk or "
            "give write permission, then try again."
        ) from None
    return written


def _free(folder: Path, name: str) -> Path:
    """A file that is not there yet: models.csv, else models-2.csv, and so on."""
    path, number = folder / f"{name}.csv", 1
    while path.exists():
        number += 1
        path = folder / f"{name}-{number}.csv"
    return path


def _csv(columns: Iterable[str], lines: Iterable[Mapping[str, Any]]) -> str:
    names, text = list(columns), io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([line.get(name, "") for name in names] for line in lines)
    return text.getvalue()
