"""What stands under exports/: which file is of which feed, and which is refused whole.

Belongs here: names, links, permissions, hashes, the date in a name. Does not belong here: what
is inside a file (`text_rows`, `sheets`).

Read are files directly in exports/ and directly in a feed's folder, and those that a mapping names.
Others in folders deeper down or of another name are refused one by one, so that none is lost
unheard; links to such folders are not followed. Files that are neither .csv nor a workbook, and
that no mapping names, are passed over.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
import stat
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pipelines.errors import WorkspaceError

WORKBOOKS = (".xlsx", ".xlsm")  # macros are never run
_OTHER_WORKBOOKS = (".xls", ".xlsb", ".ods")
_SUFFIXES = (".csv", *WORKBOOKS, *_OTHER_WORKBOOKS)
_LOCK_FILE = "~$"  # what spreadsheet programs lay beside a workbook that is open
_DAY = re.compile(r"(?<![0-9])(?P<year>[0-9]{4})-(?P<month>[0-9]{2})-(?P<day>[0-9]{2})(?![0-9])")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


@dataclass(frozen=True)
class ExportFile:
    """One file that arrived.

    `path` is its path below exports/ with forward slashes; bytes of a name that are no UTF-8
    stand there as \\xNN. `feed` is None for a file of no feed. `refusal` is (rule, sentence)
    where the file is set aside whole without being opened, else None. `size` is in bytes.
    """

    path: str
    absolute: Path
    feed: str | None
    refusal: tuple[str, str] | None
    size: int


def find_exports(
    workspace: Path, feeds: Sequence[str], is_named: Callable[[str], bool] = lambda path: False
) -> list[ExportFile]:
    """Every file under the workspace's exports/ that is read or refused, sorted by path.

    Names are matched in any letter case; names that begin with a dot are not read, nor are the
    lock files (`~$…`) that spreadsheet programs lay beside an open workbook. A feed's folder that
    cannot be entered is refused like a file. Any other file that is named is read wherever it lies
    and whatever it is called.

    Args:
        workspace: the workspace's folder.
        feeds: the names of the feeds.
        is_named: whether a mapping names a path below exports/.

    Raises:
        WorkspaceError: exports/ itself is missing or cannot be read.
    """
    root = _Root(Path(os.path.realpath(workspace)), is_named)
    exports: list[ExportFile] = []
    for entry in _exports_entries(Path(workspace)):
        feed = _feed_of_folder(entry.name, feeds)
        if feed is not None and (os.path.isdir(entry) or entry.is_symlink()):
            exports += _in_feed_folder(root, entry, feed)
        elif root.takes(entry, entry.name):
            exports.append(_judge(root, entry, entry.name, _feed_of_file(entry.name, feeds)))
        else:
            exports += _out_of_place(root, entry, entry.name)
    return sorted(exports, key=lambda file: file.path)


def feed_of_path(path: str, feeds: Sequence[str]) -> str | None:
    """The feed that a file's folder or name below exports/ gives it; None where neither does."""
    folder, slash, _ = path.partition("/")
    return _feed_of_folder(folder, feeds) if slash else _feed_of_file(path, feeds)


def through_date_in_name(name: str) -> dt.date | None:
    """The latest day written as YYYY-MM-DD in a file's name; days that no calendar has are none."""
    return day_in_name(name)


def day_in_name(name: str, pattern: str | None = None) -> dt.date | None:
    """The latest day in a file's name.

    Args:
        name: the file's name or path.
        pattern: how days are written: an expression with groups named year (or short_year), month
            (or month_name) and day; None: YYYY-MM-DD.
    """
    written = _DAY if pattern is None else re.compile(_inside(pattern))
    days = (_day_of(match.groupdict()) for match in written.finditer(name.rpartition("/")[2]))
    return max((day for day in days if day is not None), default=None)


def _inside(pattern: str) -> str:
    """The expression of a whole text as one of a part of a text, between other than digits."""
    return f"(?<![0-9])(?:{pattern.removeprefix('^').removesuffix('$')})(?![0-9])"


def _day_of(parts: dict[str, str]) -> dt.date | None:
    if "year" in parts:
        year = int(parts["year"])
    else:  # as strptime does: 69-99 are of the last century
        short = int(parts["short_year"])
        year = short + (1900 if short >= 69 else 2000)
    if "month" in parts:
        month = int(parts["month"])
    else:
        month = _MONTHS.index(parts["month_name"][:3].casefold()) + 1
    try:
        return dt.date(year, month, int(parts["day"]))
    except ValueError:
        return None


def is_workbook(path: str) -> bool:
    """Whether a file of this name is read as a workbook."""
    return path.casefold().endswith(WORKBOOKS)


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file's bytes, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _exports_entries(workspace: Path) -> list[Path]:
    try:
        folder = workspace / "exports"
        if not os.path.isdir(folder):
            same = (entry for entry in _entries(workspace) if entry.name.casefold() == "exports")
            folder = next((entry for entry in same if os.path.isdir(entry)), folder)
        return _entries(folder)
    except OSError as error:
        raise WorkspaceError(
            f"{workspace}: the folder exports/ cannot be read ({error.strerror or error}); make "
            "it, or correct its permissions."
        ) from None


def _entries(folder: Path) -> list[Path]:
    return sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))


@dataclass(frozen=True)
class _Root:
    """The workspace's real folder, and which paths below exports/ a mapping names."""

    folder: Path
    is_named: Callable[[str], bool]

    def takes(self, entry: Path, below: str) -> bool:
        """Whether an entry is read or refused as a file."""
        if entry.name.startswith(_LOCK_FILE):
            return False
        if entry.name.casefold().endswith(_SUFFIXES):
            return True
        return not os.path.isdir(entry) and self.is_named(_shown(below))


def _feed_of_folder(name: str, feeds: Sequence[str]) -> str | None:
    return next((feed for feed in feeds if feed.casefold() == name.casefold()), None)


def _feed_of_file(name: str, feeds: Sequence[str]) -> str | None:
    begun = [feed for feed in feeds if name.casefold().startswith(feed.casefold())]
    return max(begun, key=len, default=None)


def _in_feed_folder(root: _Root, folder: Path, feed: str) -> Iterator[ExportFile]:
    shown = _shown(folder.name)
    refusal = _refuse_link(root, folder, shown)
    if refusal is None:
        if not os.path.isdir(folder):
            return
        try:
            entries = _entries(folder)
        except OSError as error:
            refusal = _unreadable(shown, error)
    if refusal is not None:
        yield ExportFile(shown, folder, feed, refusal, 0)
        return
    yield from _in_folder(root, entries, folder.name, feed)


def _in_folder(
    root: _Root, entries: list[Path], below: str, feed: str | None
) -> Iterator[ExportFile]:
    """The files of a folder, and those too deep below it."""
    for entry in entries:
        name = f"{below}/{entry.name}"
        if root.takes(entry, name):
            yield _judge(root, entry, name, feed)
        else:
            yield from _out_of_place(root, entry, name)


def _out_of_place(root: _Root, folder: Path, below: str) -> Iterator[ExportFile]:
    """The files below a folder that is no feed's, each refused."""
    if folder.is_symlink() or not os.path.isdir(folder):
        return
    try:
        entries = _entries(folder)
    except OSError as error:
        shown = _shown(below)
        yield ExportFile(shown, folder, None, _unreadable(shown, error), 0)
        return
    yield from _in_folder(root, entries, below, None)


def _judge(root: _Root, file: Path, below: str, feed: str | None) -> ExportFile:
    shown = _shown(below)
    refusal = _refuse_link(root, file, shown)
    size = 0
    if refusal is None:
        try:
            status = file.stat()
        except OSError as error:
            refusal = _unreadable(shown, error)
        else:
            size = status.st_size
            refusal = _refuse_kind(shown, file, status.st_mode, feed, root.is_named(shown))
    return ExportFile(shown, file, feed, refusal, size)


def _refuse_link(root: _Root, entry: Path, shown: str) -> tuple[str, str] | None:
    try:
        target = os.path.realpath(entry, strict=True)
    except PermissionError as error:
        return _unreadable(shown, error)
    except OSError:
        return (
            "link_nowhere",
            f"{shown} is a link that leads nowhere; put the file itself into exports/.",
        )
    if not Path(target).is_relative_to(root.folder):
        return (
            "link_outside",
            f"{shown} is a link that leads out of the workspace; put the file itself into "
            "exports/.",
        )
    return None


def _refuse_kind(
    shown: str, file: Path, mode: int, feed: str | None, is_named: bool
) -> tuple[str, str] | None:
    if stat.S_ISDIR(mode):
        return "folder", f"{shown} is a folder; put the files in a feed's folder, or rename it."
    if not stat.S_ISREG(mode):
        return "not_a_file", f"{shown} is no file that can be read; put a CSV file in its place."
    if file.name.casefold().endswith(_OTHER_WORKBOOKS):
        kind = "an old Excel" if file.name.casefold().endswith(".xls") else "another kind of"
        suffix = file.suffix.lower()
        return "old_workbook", f"{shown} is {kind} workbook ({suffix}); save it as .xlsx or CSV."
    if feed is None and not is_named:
        return (
            "no_feed",
            f"{shown} is of no feed; put it directly into a feed's folder, such as exports/units/, "
            "or into exports/ under a name that begins with the feed's, or name it under "
            "files in a mapping, which `limeledger map` drafts.",
        )
    try:
        with file.open("rb"):
            return None
    except OSError as error:
        return _unreadable(shown, error)


def _unreadable(shown: str, error: OSError) -> tuple[str, str]:
    return (
        "unreadable",
        f"{shown} cannot be read ({error.strerror or error}); correct its permissions.",
    )


def _shown(name: str) -> str:
    """A name that any table can hold, also where its bytes are no UTF-8."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")
