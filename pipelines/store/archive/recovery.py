"""What a store that is damaged or gone had decided, put together again from the archive.

Belongs here: the tables that a run reads of the last publication, out of the archive's files. Does
not belong here: the run (`pipelines.store.transaction`), which makes all else anew.
"""

from __future__ import annotations

import contextlib
import itertools
import re
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipelines.errors import StorageError
from pipelines.exports.delivery import sha256_of
from pipelines.store.archive.chain import INDEX, Chain, archive_folder, read_chain
from pipelines.store.archive.files import HISTORY, KEPT, publications_named
from pipelines.store.archive.seals import store_seals
from pipelines.store.archive.tables import LISTED
from pipelines.store.archive.views import archive_views
from pipelines.store.database import connect, one_row, row_counts
from pipelines.store.published_state import published_manifest
from pipelines.store.same_file import once_a_file
from pipelines.store.states import read_states
from pipelines.workspace.layout import Workspace
from schemas.archive import DECIDED, FINDING

RECOVERED_FILE = "limeledger.duckdb.recovered"
UNLISTED = ".unlisted-"  # and a number, behind the name of an archive that lost its index
# In what DuckDB says of a file that is there and sound.
_NOT_TO_BE_HAD = re.compile("set lock|conflicting lock|permission denied", re.IGNORECASE)


@dataclass(frozen=True)
class Loss:
    """What making the store anew loses: publications whose files are damaged or missing."""

    publications: tuple[int, ...]

    def advice(self, workspace: Workspace) -> str:
        """What is lost, first, and what is then other than it was, in one sentence each."""
        lost = (
            f"What {publications_named(self.publications)} decided would be lost: "
            f"{archive_folder(workspace)} is damaged too. Restore it from a backup first."
            if self.publications
            else "Nothing that was decided is lost."
        )
        return (
            f"{lost} A refresh makes the store anew from the exports, the recorded rulings and "
            "the archive; rows that no decision considered then have arrived with the earliest "
            "file, known to the archive, that holds them."
        )


def is_sound(workspace: Workspace) -> bool:
    """Whether there is a store that can be opened and holds all that was published.

    Raises:
        StorageError: another program holds it to write, or this user may not read it: it is not
            damaged, only not to be had.
        WorkspaceError: the archive was written by a newer tool.
    """
    if not workspace.database.is_file():
        return False
    can_be_opened = once_a_file(workspace.database, "is_sound", lambda: _can_be_opened(workspace))
    return can_be_opened and not lacking_in_store(workspace)


def lacking_in_store(workspace: Workspace) -> list[int]:
    """The publications of the archive that came after all that the store knows of.

    A line is put into the index once its store is in place: so there are none, but where somebody
    put an older store back.
    """
    index = archive_folder(workspace) / INDEX
    if not index.is_file():
        return []
    listed = once_a_file(index, "listed", lambda: read_chain(index.parent).publications)
    newest = max((line.publication for line in store_seals(workspace)), default=0)
    return [number for number in listed if number > newest]


def _can_be_opened(workspace: Workspace) -> bool:
    try:
        con = connect(workspace.database, read_only=True)
    except StorageError as error:
        if _NOT_TO_BE_HAD.search(str(error.__cause__)):
            raise
        return False
    except duckdb.Error:
        return False
    try:
        one_row(con, "select count(*) from information_schema.tables")
        return _holds_what_is_kept(con)
    except duckdb.Error:
        return False
    finally:
        con.close()


def _holds_what_is_kept(con: duckdb.DuckDBPyConnection) -> bool:
    """Whether the tables that the archive holds too have the rows that were put there."""
    states = {name: row for name, row in read_states(con).items() if name in KEPT}
    counts = row_counts(con) if states else {}
    return all(counts.get(name) == row["rows"] for name, row in states.items())


def loss(workspace: Workspace) -> Loss:
    """What would be lost were the store made anew now."""
    folder = archive_folder(workspace)
    chain = read_chain(folder)
    whole = {line.file for line in _whole(folder, chain).lines}
    numbers = {line.publication for line in chain.lines if line.file not in whole}
    numbers.update(number for fault in chain.faults for number in fault.publications)
    numbers.update(_known_elsewhere(workspace).difference(chain.publications))
    return Loss(tuple(sorted(numbers)))


def was_published(workspace: Workspace) -> bool:
    """Whether anything was ever published here, as archive or pages tell."""
    return bool(read_chain(archive_folder(workspace)).lines or _known_elsewhere(workspace))


def _known_elsewhere(workspace: Workspace) -> set[int]:
    """The publications that the pages tell of, or, without pages, the names of archived files.

    An index that is gone tells of nothing that was lost with it; a file of a publication that
    stopped before its swap is of none.
    """
    newest = published_manifest(workspace.published).get("publication")
    if isinstance(newest, int):
        return set(range(1, newest + 1))
    names = (path.stem.rpartition("-") for path in archive_folder(workspace).glob("*.parquet"))
    return {int(number) for table, _, number in names if table in KEPT and number.isdecimal()}


def last_store(workspace: Workspace) -> Path | None:
    """The store that a run continues: the published one, else what the archive gives; or none."""
    if is_sound(workspace):
        return workspace.database
    recovered = workspace.store / RECOVERED_FILE
    return recovered if recovered.is_file() else None


def recover(workspace: Workspace) -> Loss | None:
    """Puts together what the archive holds where there is no sound store; else removes it.

    Returns:
        what is lost; None where nothing had to be done.
    """
    path = workspace.store / RECOVERED_FILE
    forget_recovered(workspace)
    if is_sound(workspace):
        return None
    folder = archive_folder(workspace)
    listed = read_chain(folder)
    if not listed.lines:
        lost = loss(workspace)
        _set_unlisted_aside(folder)
        return lost if lost.publications else None
    chain = _whole(folder, listed)
    half = path.with_name(f"{RECOVERED_FILE}.half")
    half.unlink(missing_ok=True)
    with archive_views(folder, chain, into=half) as con:
        # The next publication has a number of its own also where the last one's files are gone.
        con.execute(
            f"create table made.{LISTED} as select unnest(?::bigint[]) as publication",
            [sorted(_known_elsewhere(workspace).union(listed.publications))],
        )
        for name in ("publications", "decision_archive", "archived_files", HISTORY):
            con.execute(f"create table made.{name} as select * from {name}")
        con.execute(
            "create table made.archived_rows as select distinct on (row_sha256) "
            "* exclude (publication) from row_versions order by row_sha256, publication desc"
        )
        columns = ", ".join(f'"{name}"' for name in DECIDED)
        con.execute(
            "create table made.standing as select a.* from decision_archive a join "
            "(select claim, max(publication) as publication from decision_archive group by claim) "
            "using (claim, publication) where not withdrawn"
        )
        con.execute(
            f"create table made.decisions as select {columns} from made.standing order by claim"
        )
        fields = ", ".join(f"f.{field.name}" for field in FINDING.fields)
        con.execute(
            f"create table made.findings as select claim, {fields} from "
            "(select claim, unnest(findings) as f from made.standing) order by claim, f.position"
        )
        con.execute("drop table made.standing")
    half.replace(path)
    return loss(workspace)


def _set_unlisted_aside(folder: Path) -> None:
    """Moves away files that no index tells of: the new archive would take their names."""
    if not any(folder.glob("*.parquet")):
        return
    aside = (folder.with_name(f"{folder.name}{UNLISTED}{number}") for number in itertools.count(1))
    folder.rename(next(path for path in aside if not path.exists()))


def unlisted_folders(workspace: Workspace) -> list[Path]:
    """Where files lie that lost their index."""
    folder = archive_folder(workspace)
    return sorted(folder.parent.glob(f"{folder.name}{UNLISTED}*"))


def forget_recovered(workspace: Workspace) -> None:
    """Removes what `recover` put there."""
    for path in workspace.store.glob(f"{RECOVERED_FILE}*"):
        with contextlib.suppress(FileNotFoundError):
            path.unlink()


def _whole(folder: Path, chain: Chain) -> Chain:
    """The lines of an archive whose files are as they were published."""
    lines = []
    for line in chain.lines:
        path = folder / line.file
        with contextlib.suppress(OSError):
            if path.is_file() and sha256_of(path) == line.sha256:
                lines.append(line)
    return Chain(tuple(lines))
