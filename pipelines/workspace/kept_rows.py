"""The CSV files in store/ to which people's own words are added: rulings, second opinions, draws.

Belongs here: adding rows to such a file, all of them or none. Does not belong here: what the rows
say (`pipelines.store.recorded_rulings`, `pipelines.steps.second_opinions`).
"""

from __future__ import annotations

import contextlib
import csv
import os
import shutil
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path


def add_rows(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, object]]) -> None:
    """Adds rows at the end of the file, with a header where it is new, and syncs it to the disk.

    The file is written anew beside the old one and takes its name when it is whole: on a disk that
    runs full, half a row would else be left, which may read as a ruling that nobody made, and
    would swallow the beginning of the next one. The caller holds the workspace's lock.

    Raises:
        OSError: the disk is full or cannot be written; the file is as it was.
    """
    new = path.with_name(path.name + ".new")
    try:
        with contextlib.suppress(FileNotFoundError):
            shutil.copy(path, new)  # with its mode: others may have been let in
        with new.open("a" if path.exists() else "w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            if file.tell() == 0:
                writer.writerow(columns)
            writer.writerows([row[column] for column in columns] for row in rows)
            file.flush()
            os.fsync(file.fileno())
        os.replace(new, path)
    finally:
        new.unlink(missing_ok=True)
