"""The index of the archive: one line a file, each with the SHA-256 of the line before.

Belongs here: reading, checking and lengthening the chain. Does not belong here: what the files
hold.

A line is a JSON object: `publication`, `file` (its name below store/archive/), `sha256`, `rows`,
`previous` (the SHA-256 of the line before, without its end; 64 zeros for the first) and `format`.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipelines.errors import WorkspaceError
from pipelines.exports.delivery import sha256_of
from pipelines.workspace.layout import Workspace

FOLDER, INDEX = "archive", "index.jsonl"
FORMAT = 1
BEFORE_THE_FIRST = "0" * 64


@dataclass(frozen=True)
class Line:
    """One file of the archive, as its index tells of it."""

    publication: int
    file: str
    sha256: str
    rows: int
    previous: str
    format: int = FORMAT

    @property
    def text(self) -> str:
        """The line as it stands in the index, without its end."""
        return json.dumps(
            {
                "publication": self.publication,
                "file": self.file,
                "sha256": self.sha256,
                "rows": self.rows,
                "previous": self.previous,
                "format": self.format,
            }
        )

    @property
    def digest(self) -> str:
        """What the next line has as `previous`."""
        return hashlib.sha256(self.text.encode()).hexdigest()


@dataclass(frozen=True)
class Fault:
    """One thing wrong with the archive: which publications it bears on, and a sentence."""

    publications: tuple[int, ...]
    sentence: str


@dataclass(frozen=True)
class Chain:
    """The index as it lies there: its sound lines, and what is wrong with it."""

    lines: tuple[Line, ...]
    faults: tuple[Fault, ...] = ()

    @property
    def publications(self) -> list[int]:
        """Every publication that the index tells of, each once, in order."""
        return sorted({line.publication for line in self.lines})

    @property
    def last_digest(self) -> str:
        """What a line to come has as `previous`."""
        return self.lines[-1].digest if self.lines else BEFORE_THE_FIRST


def archive_folder(workspace: Workspace) -> Path:
    """Where the archive lies."""
    return workspace.store / FOLDER


def read_chain(folder: Path) -> Chain:
    """The index of an archive; an empty one where there is none.

    Raises:
        WorkspaceError: it was written by a newer tool.
    """
    try:
        text = (folder / INDEX).read_bytes().decode("utf-8", errors="replace")
    except FileNotFoundError:
        return Chain(())
    lines: list[Line] = []
    faults: list[Fault] = []
    whole, _, torn = text.rpartition("\n")
    for number, written in enumerate(whole.split("\n") if whole else [], 1):
        line = _line(written)
        if line is None:
            faults.append(_broken(folder, number, lines))
            continue
        if line.format > FORMAT:
            raise WorkspaceError(
                f"{folder} was written by a newer tool (format {line.format}; this one knows "
                f"{FORMAT}). Use the newer tool; nothing was written."
            )
        before = lines[-1].digest if lines else BEFORE_THE_FIRST
        if line.previous != before:
            faults.append(
                Fault(
                    (line.publication,),
                    f"{folder / INDEX} line {number} (publication {line.publication}) does not "
                    "follow from the line before: one of them was changed, or a line is missing.",
                )
            )
        elif line.text != written:
            faults.append(_broken(folder, number, lines))
        lines.append(line)
    if torn:
        faults.append(_broken(folder, len(lines) + 1, lines))
    return Chain(tuple(lines), tuple(faults))


def _broken(folder: Path, number: int, lines: Sequence[Line]) -> Fault:
    after = lines[-1].publication if lines else 0
    return Fault(
        (max(after, 1),),
        f"{folder / INDEX} line {number}, at publication {max(after, 1)} or the one after it, is "
        "not as the tool writes it.",
    )


def _line(text: str) -> Line | None:
    try:
        fields = json.loads(text)
        return Line(
            int(fields["publication"]),
            str(fields["file"]),
            str(fields["sha256"]),
            int(fields["rows"]),
            str(fields["previous"]),
            int(fields.get("format", FORMAT)),
        )
    except (ValueError, KeyError, TypeError):
        return None


def faults_of(folder: Path, chain: Chain) -> list[Fault]:
    """What is wrong with an archive: breaks of the chain, files that are changed or missing."""
    faults = list(chain.faults)
    for line in chain.lines:
        path = folder / line.file
        name = f"{path} (publication {line.publication})"
        if Path(line.file).name != line.file or not path.is_file():
            faults.append(Fault((line.publication,), f"{name} is missing."))
            continue
        try:
            is_same = sha256_of(path) == line.sha256
        except OSError as error:
            faults.append(Fault((line.publication,), f"{name} cannot be read ({error.strerror})."))
            continue
        if not is_same:
            faults.append(
                Fault(
                    (line.publication,),
                    f"{name} is no longer what was published: its SHA-256 is another.",
                )
            )
    return faults


def append_lines(folder: Path, lines: Iterable[Line]) -> None:
    """Adds lines to the index, on the disk before it returns.

    A line that a kill cut off is taken away first: nothing that was whole is changed.
    """
    texts = "".join(f"{line.text}\n" for line in lines).encode()
    path = folder / INDEX
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        with os.fdopen(os.dup(descriptor), "rb") as file:
            known = file.read()
        os.ftruncate(descriptor, known.rfind(b"\n") + 1)
        os.lseek(descriptor, 0, os.SEEK_END)
        while texts:
            texts = texts[os.write(descriptor, texts) :]
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    sync_folder(folder)


def sync_folder(folder: Path) -> None:
    """Makes sure that the names in a folder are on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
