"""The small CSV files of reference/, read strictly: any fault of form is an error, with its line.

Belongs here: bytes to rows of text with line numbers. Does not belong here: what the values mean
(`reference`), and exports, whose faults set rows aside (`pipelines.exports`).
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pipelines.workspace.toml_file import nearest

_DELIMITERS = ",;\t|"


class FormFault(Exception):
    """What is wrong with the form of a file: a whole sentence."""


@dataclass(frozen=True)
class SmallFile:
    """Rows as text: `rows` holds (line, {column: value or None}), with one entry a column.

    `headers` has those of columns that files may call in two ways, as this one does.
    """

    name: str
    sha256: str
    rows: list[tuple[int, dict[str, str | None]]]
    headers: Mapping[str, str] = field(default_factory=dict)


def read_small_csv(
    path: Path,
    name: str,
    columns: Sequence[str],
    optional: Sequence[str],
    max_mb: int,
    headers: Mapping[str, str] | None = None,
) -> SmallFile:
    """Reads the named columns of one file; others are passed over.

    Header names match in any case and without spaces, dots, dashes and underscores; `headers` has
    those of columns that files call otherwise, whose own names do as well. Values are
    trimmed; an empty one is None. Rows without any value are no rows. A row may end before columns
    that are passed over, so that a line can be added to a draft that counts rows behind its own.

    Raises:
        FormFault: the file cannot be read, or lacks a column that is not optional.
    """
    try:
        if path.stat().st_size > max_mb * 1_000_000:
            raise FormFault(f"{name} is larger than max_file_mb = {max_mb}; raise that setting.")
        raw = path.read_bytes()
    except FileNotFoundError:
        raise FormFault(f"{name} is missing; put the file there.") from None
    except OSError as error:
        reason = error.strerror or error
        raise FormFault(f"{name} cannot be read ({reason}); correct that.") from None
    text = _decode(raw, name)
    lines = [line for line in re.split(r"\r\n|\r|\n", text) if line.strip()]
    if not lines:
        raise FormFault(f"{name} is empty; it needs a header line: {', '.join(columns)}.")
    names = {column: (headers or {}).get(column, column) for column in columns}
    known = [*columns, *names.values()]
    delimiter = max(_DELIMITERS, key=lambda d: len(_known(lines[0].split(d), known)))
    records = _records(text, delimiter, name)
    header_line, header = next(records)
    places = _places(header, header_line, name, names, optional)
    last = max(places.values(), default=0)
    rows = []
    for line, fields in records:
        if not any(field.strip() for field in fields):
            continue
        if not last < len(fields) <= len(header):
            remedy = "put values with a delimiter inside into quotes"
            if len(fields) < len(header):
                remedy = f"write a {delimiter} for each value that is not there"
            raise FormFault(
                f"{name} line {line}: the row has {len(fields)} fields, the header has "
                f"{len(header)}; {remedy}."
            )
        rows.append((line, {c: fields[at].strip() or None for c, at in places.items()}))
    written = {c: header[places[c]].strip() for c in headers or {} if c in places}
    return SmallFile(name, hashlib.sha256(raw).hexdigest(), rows, written)


def _decode(raw: bytes, name: str) -> str:
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    else:
        try:
            raw.decode("utf-8-sig")
            encoding = "utf-8-sig"
        except UnicodeDecodeError:
            encoding = "cp1252"
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise FormFault(
            f"{name} line {line}: the file is neither UTF-8 nor Windows-1252 text; save it as "
            "CSV in UTF-8."
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise FormFault(f"{name} line {line}: there is a NUL byte; save the file again as CSV.")
    return text


def _records(text: str, delimiter: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """The records that are not blank, each with the line on which it begins."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            fields = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise FormFault(
                f"{name} line {line}: the row cannot be read ({error}); check its quotes."
            ) from None
        if fields and not (len(fields) == 1 and not fields[0].strip()):
            yield line, fields


def _plain(header: str) -> str:
    return re.sub(r"[\s._-]", "", header).casefold()


def _known(header: Sequence[str], columns: Sequence[str]) -> set[str]:
    return {_plain(column) for column in columns} & {_plain(name.strip('" ')) for name in header}


def _places(
    header: Sequence[str],
    line: int,
    name: str,
    names: Mapping[str, str],
    optional: Sequence[str],
) -> dict[str, int]:
    """Where each column stands in a row, by its header; optional ones may be nowhere."""
    plain = [_plain(field) for field in header]
    places: dict[str, int] = {}
    for column, own in names.items():
        here = [at for at, one in enumerate(plain) if one in (_plain(own), _plain(column))]
        if len(here) > 1:
            raise FormFault(f"{name} line {line}: two headers mean {own}; keep one of them.")
        if here:
            places[column] = here[0]
    for column, own in names.items():
        if column not in places and column not in optional:
            taken = {header[at] for at in places.values()}
            near = nearest(own, [h.strip() for h in header if h.strip() and h not in taken])
            hint = f"is {near} meant? Rename it" if near else "add it to the header"
            raise FormFault(f"{name} line {line}: the column {own} is missing; {hint}.")
    return places
