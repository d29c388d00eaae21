"""Where things stand in a workspace.

Belongs here: the paths. Does not belong here: what the files hold.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pipelines.errors import WorkspaceError

SETTINGS_FILE = "limeledger.toml"
DATABASE_FILE = "limeledger.duckdb"
# Below desk/: what people did, where no server holds it.
DESK_DATABASE = "desk.sqlite"
# Below store/, beside the DuckDB file: what people thought of claims that they checked.
OPINIONS = "second_opinions.csv"
# Below store/: what a cluster works on, and what it says; both may go at any time.
PARTS, ENGINE_LOG = "parts", "engine.log"


@dataclass(frozen=True)
class Workspace:
    """The paths of one workspace; `store` and `published` may not be there yet."""

    root: Path
    settings_file: Path
    exports: Path
    mappings: Path
    reference: Path
    letters: Path
    store: Path
    published: Path

    @property
    def database(self) -> Path:
        """The DuckDB file."""
        return self.store / DATABASE_FILE

    @property
    def desk(self) -> Path:
        """The folder of people's own work: the desk's database and documents."""
        return self.root / "desk"

    @property
    def own_folders(self) -> list[Path]:
        """The folders that the tool itself writes, there or not: not everybody may read them."""
        names = ("published.new", "published.old")
        own = [self.store, self.published, self.desk]
        return [*own, *(self.root / name for name in names)]

    @classmethod
    def open(cls, folder: Path | str) -> Workspace:
        """The workspace in `folder`.

        Raises:
            WorkspaceError: there is no such folder, it may not be looked into, it has no settings
                or no exports folder, one of its parts is a link that leads out of it, or a pipe
                lies where a file should.
        """
        try:
            return cls._open(folder)
        except OSError as error:
            raise WorkspaceError(_not_readable(error, folder)) from None

    @classmethod
    def _open(cls, folder: Path | str) -> Workspace:
        shown = str(folder)
        root = Path(folder).absolute()
        if not root.exists():
            raise WorkspaceError(
                f"{shown}: there is no such folder; check the path, or make an empty workspace "
                f"with `limeledger new {shown}`."
            )
        if not root.is_dir():
            raise WorkspaceError(f"{shown} is a file; name the folder of a workspace.")
        refuse_name(root)
        settings = find(root, SETTINGS_FILE)
        if not settings.is_file():
            raise WorkspaceError(
                f"{shown}: {SETTINGS_FILE} is missing, so this is no workspace; name another "
                "folder, or make an empty workspace with `limeledger new FOLDER`."
            )
        exports = find(root, "exports")
        if not exports.is_dir():
            raise WorkspaceError(
                f"{shown}: the folder exports/ is missing; make it and put the CSV exports there."
            )
        opened = cls(
            root=root,
            settings_file=settings,
            exports=exports,
            mappings=find(root, "mappings"),
            reference=find(root, "reference"),
            letters=find(root, "letters"),
            store=root / "store",
            published=root / "published",
        )
        if faults := opened.links_out([path for path in vars(opened).values() if path != root]):
            raise WorkspaceError(*faults)
        inputs = (root, opened.mappings, opened.reference, opened.letters)
        own = (opened.store, opened.store / "archive", opened.published, opened.desk)
        for folder in (*inputs, *own, opened.published / "assets"):
            _refuse_pipes(folder)
        return opened

    def terms(self, name: str) -> Path:
        """The terms folder that the settings name."""
        return find(self.root, name)

    def links_out(self, paths: Iterable[Path]) -> list[str]:
        """A sentence for each of these paths of the workspace that leads out of it."""
        root = os.path.realpath(self.root)
        return [
            f"{path.relative_to(self.root)} is a link that leads out of the workspace; put the "
            "file or folder itself there."
            for path in paths
            if not Path(os.path.realpath(path)).is_relative_to(root)
        ]


def refuse_name(folder: Path) -> None:
    """Refuses a path that DuckDB takes for another: it cuts at ? and has / for a backslash.

    Raises:
        WorkspaceError: the path has one of them.
    """
    if sign := next((sign for sign in "?\\" if sign in str(folder.absolute())), None):
        raise WorkspaceError(
            f"{folder}: there is a {sign} in the path, with which no database can be written; give "
            "the folder another name."
        )


def _not_readable(error: OSError, folder: Path | str) -> str:
    return (
        f"{error.filename or folder} cannot be read ({error.strerror or error}); give this user "
        "access to the workspace."
    )


def _refuse_pipes(folder: Path) -> None:
    """Raises `WorkspaceError` where a folder holds a pipe: whoever opened it would wait for ever.

    A folder that is not there, or may not be looked into, is told by whoever needs it.
    """
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if not (entry.is_file() or entry.is_dir()) and Path(entry.path).is_fifo():
                raise WorkspaceError(
                    f"{entry.path} is a named pipe, which nothing in a workspace can be; move it "
                    "away."
                )


def entries_in(folder: Path) -> list[Path]:
    """What lies in a folder by name, without what is hidden; nothing where there is no folder.

    Raises:
        WorkspaceError: it cannot be read, something else lies in its place, or a pipe lies in it.
    """
    _refuse_pipes(folder)
    try:
        if not folder.is_dir():
            if os.path.lexists(folder):  # read as none it would change what is decided, unseen
                raise WorkspaceError(
                    f"{folder} is no folder, or a link that leads nowhere; put the folder there, "
                    "or take that away."
                )
            return []
        return sorted(path for path in folder.iterdir() if not path.name.startswith("."))
    except OSError as error:
        raise WorkspaceError(_not_readable(error, folder)) from None


def find(folder: Path, name: str) -> Path:
    """`folder / name`, or the entry of that name in other letter case where there is one.

    Raises:
        WorkspaceError: several entries differ from `name` only by letter case, or the folder
            cannot be read.
    """
    exact = folder / name
    try:
        if exact.exists() or "/" in name:
            return exact
        entries = list(folder.iterdir())
    except OSError as error:
        raise WorkspaceError(_not_readable(error, folder)) from None
    same = sorted(path for path in entries if path.name.casefold() == name.casefold())
    if len(same) > 1:
        names = " and ".join(path.name for path in same)
        raise WorkspaceError(f"{folder}: {names} have one name in other letters; keep one.")
    return same[0] if same else exact
