"""Append-only logs in CSV, below store/: rulings, second opinions, draws, as people recorded them.

Belongs here: adding records so that they are on the disk and read back as they were given, all of
them or none. Does not belong here: what the records say (`pipelines.store.recorded_rulings`,
`pipelines.steps.second_opinions`), or logs of JSON lines (`json_lines`).

A log may have been cut off, or changed by a hand: what is recorded next is a record of its own
all the same, and swallows or changes none that is there.
"""

from __future__ import annotations

import codecs
import csv
import os
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pipelines.errors import UsageError, WorkspaceError

# No quote that is still open reaches past it; itself it is set aside, so it is the last resort.
_BAR = '" "'


@dataclass(frozen=True)
class Contents:
    """What a log holds, as whoever uses it reads it.

    `places` says in which field of a row each column stands; `records` are the sound ones with
    their lines, in order, with an empty text for nothing; `faults` is a sentence a damaged line.
    """

    places: Mapping[str, int]
    width: int
    records: Sequence[tuple[int, Mapping[str, str]]]
    delimiter: str = ","
    encoding: str = "utf-8"
    faults: Sequence[str] = field(default_factory=tuple)


Reader = Callable[[Path], Contents]


def append_rows(
    path: Path,
    columns: Sequence[str],
    rows: Iterable[Mapping[str, object]],
    read: Reader | None = None,
) -> Contents:
    """Adds records at the end of a log, with a header where it is new, and syncs it to the disk.

    The log is written anew beside the old one, read back, and takes its name when it is whole and
    says what was given: on a disk that runs full, half a record would else be left, which may read
    as a ruling that nobody made. The caller holds the workspace's lock.

    Args:
        path: the log.
        columns: the columns of a new log, in their order.
        rows: the records; each has every column, None where there is nothing.
        read: how the log's user reads it; None: strictly, as the tool itself wrote it.

    Returns:
        The log as it is now.

    Raises:
        UsageError: a text holds what no text file can.
        WorkspaceError: what was given would not be read back; the log is as it was.
        OSError: the disk is full or cannot be written; the log is as it was.
    """
    given = [
        {name: "" if row[name] is None else str(row[name]) for name in columns} for row in rows
    ]
    _refuse_unwritable(given)
    read = read or _read_own
    new = path.with_name(path.name + ".new")
    try:
        before = _copy(path, new, columns, read)
        kept = new.stat().st_size
        for bar in ("", _BAR):
            os.truncate(new, kept)
            _append(new, before, given, bar)
            after = read(new)
            if _is_as_given(before, given, after):
                os.replace(new, path)
                _sync(path.parent)
                return after
        raise WorkspaceError(_not_read_back(path, before))
    finally:
        new.unlink(missing_ok=True)


def _refuse_unwritable(rows: Iterable[Mapping[str, str]]) -> None:
    for row in rows:
        for column, text in row.items():
            if "\0" in text or not _is_unicode(text):
                raise UsageError(
                    f"{column} holds a character that no text file can hold; write it without. "
                    "Nothing was recorded."
                )


def _is_unicode(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:  # half of a pair, as from bytes that are no UTF-8
        return False
    return True


def _copy(path: Path, new: Path, columns: Sequence[str], read: Reader) -> Contents:
    """Copies the log, or begins it, and ends its last line; what it holds."""
    if path.exists():
        shutil.copy(path, new)  # with its mode: whoever could read it still can
        os.truncate(new, new.stat().st_size - _half_a_character(new))
    else:
        new.unlink(missing_ok=True)
    if not new.exists() or new.stat().st_size == 0:
        new.write_text(_line(columns, ","), encoding="utf-8", newline="")
    contents = read(new)
    end = "\n".encode(contents.encoding)
    with new.open("rb+") as file:
        last = file.read()[-len(end) :]
        if last not in (end, "\r".encode(contents.encoding)):
            file.write(end)
    return contents


def _half_a_character(path: Path) -> int:
    """How many bytes at the end of a UTF-8 text are the beginning of a character cut in two.

    They stand for nothing, and with them the whole text would be taken for another encoding.
    """
    raw = path.read_bytes()
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        decoder.decode(raw)
    except UnicodeDecodeError:
        return 0
    return len(decoder.getstate()[0])


def _append(new: Path, log: Contents, rows: Sequence[Mapping[str, str]], bar: str) -> None:
    text = f"{bar}\n" if bar else ""
    for row in rows:
        fields = [""] * log.width
        for column, value in row.items():
            place = log.places.get(column)
            if place is None:
                if value:
                    raise WorkspaceError(
                        f"{new.name.removesuffix('.new')} has no column {column}; restore the "
                        "header that the tool wrote. Nothing was recorded."
                    )
                continue
            fields[place] = value
        text += _line(fields, log.delimiter)
    try:
        raw = text.encode(log.encoding)
    except UnicodeEncodeError:
        raise WorkspaceError(
            f"{new.name.removesuffix('.new')} is no UTF-8 text and cannot hold every character "
            "that was given; save it as UTF-8. Nothing was recorded."
        ) from None
    with new.open("ab") as file:
        file.write(raw)
        file.flush()
        os.fsync(file.fileno())


def _line(fields: Iterable[str], delimiter: str) -> str:
    return delimiter.join(_quoted(text, delimiter) for text in fields) + "\n"


def _quoted(text: str, delimiter: str) -> str:
    if any(sign in text for sign in ('"', "\r", "\n", delimiter)):
        return '"' + text.replace('"', '""') + '"'
    return text


def _is_as_given(before: Contents, given: Sequence[Mapping[str, str]], after: Contents) -> bool:
    """Whether the log reads as before, and behind that as what was given."""
    kept = len(before.records)
    added = [dict(record) for _, record in after.records[kept:]]
    wanted = [{name: row.get(name, "") for name in after.places} for row in given]
    return list(after.records[:kept]) == list(before.records) and added == wanted


def _not_read_back(path: Path, before: Contents) -> str:
    damaged = f" Mend this first: {before.faults[0]}" if before.faults else ""
    return (
        f"{path.parent.name}/{path.name} would not say what was given, so nothing was recorded."
        f"{damaged or ' Write the text without line breaks and quotes.'}"
    )


def _read_own(path: Path) -> Contents:
    """A log that nobody but the tool wrote; any fault of form is one sentence."""
    with path.open(encoding="utf-8-sig", newline="") as text:
        reader = csv.reader(text, strict=True)
        header: list[str] = []
        records: list[tuple[int, dict[str, str]]] = []
        line = 1
        try:
            for fields in reader:
                if not header:
                    header = fields
                elif len(fields) == len(header):
                    records.append((line, dict(zip(header, fields, strict=True))))
                elif any(value.strip() for value in fields):
                    raise csv.Error(f"it has {len(fields)} fields for {len(header)} columns")
                line = reader.line_num + 1
        except (csv.Error, UnicodeDecodeError) as error:
            raise WorkspaceError(
                f"{path.parent.name}/{path.name.removesuffix('.new')} line {line} cannot be read "
                f"({error}); the tool wrote the file, so restore it from a copy. "
                "Nothing was recorded."
            ) from None
    return Contents({name: at for at, name in enumerate(header)}, len(header), records)


def _sync(folder: Path) -> None:
    """Makes sure that the new name is on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
