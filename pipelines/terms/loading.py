"""The terms folder: every edition in it, or one error that lists every fault of every file.

Belongs here: finding the files and checks between editions. Does not belong here: what one file
may hold (`shape`, `editions`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from pathlib import Path

from pipelines.errors import WorkspaceError
from pipelines.terms.editions import Edition, read_edition
from pipelines.terms.frames import Terms, lay_out
from pipelines.terms.shape import terms_shape
from pipelines.workspace.layout import entries_in
from pipelines.workspace.toml_file import TomlFile, read_toml


def load_terms(folder: Path, families: Sequence[str], abilities: Collection[str]) -> Terms:
    """Reads every `.toml` file of the folder as one edition.

    Args:
        folder: the terms folder of the workspace.
        families: all families of models.csv; each edition is laid out for every one of them.
        abilities: what the systems of treatments.csv remove, taken together.

    Raises:
        WorkspaceError: one sentence for each fault of all files.
    """
    if not folder.is_dir():
        raise WorkspaceError(
            f"the folder {folder.name}/ of the warranty terms is missing; put one TOML file an "
            "edition there, or correct `terms` in limeledger.toml."
        )
    paths = [path for path in entries_in(folder) if path.suffix.casefold() == ".toml"]
    if not paths:
        raise WorkspaceError(
            f"{folder.name}/ holds no warranty terms; put one TOML file an edition there."
        )
    files: list[TomlFile] = []
    faults: list[str] = []
    for path in paths:
        try:
            files.append(read_toml(path, f"{folder.name}/{path.name}"))
        except WorkspaceError as error:
            faults += error.faults
    return terms_from_files(files, families, abilities, faults)


def terms_from_files(
    files: Iterable[TomlFile],
    families: Sequence[str],
    abilities: Collection[str],
    faults: Sequence[str] = (),
) -> Terms:
    """The terms of files that are already parsed; `faults` are those of files that were not.

    Raises:
        WorkspaceError: one sentence for each fault of all files.
    """
    shape = terms_shape(sorted(set(families)), sorted(set(abilities)))
    all_faults = list(faults)
    editions: list[Edition] = []
    for file in files:
        edition, own = read_edition(file, shape)
        all_faults += own
        if edition is not None:
            all_faults += _clashes(file, edition, editions)
            editions.append(edition)
    if all_faults:
        raise WorkspaceError(*all_faults)
    return lay_out(editions, families)


def _clashes(file: TomlFile, edition: Edition, others: Sequence[Edition]) -> list[str]:
    clashes = []
    for other in others:
        if edition.effective_from == other.effective_from:
            clashes.append(
                f"{file.at(['effective_from'])}: effective_from is {edition.effective_from}, as in "
                f"{other.file}; two editions cannot begin on one day, so change one of them."
            )
        if edition.name == other.name:
            clashes.append(
                f'{file.at(["edition"])}: edition is "{edition.name}", as in {other.file}; '
                "give each edition a name of its own."
            )
    return clashes
