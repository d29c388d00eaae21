"""Other terms to try: an edition from a file put in the place of one, of all, or beside them.

Belongs here: which editions hold then. Does not belong here: what follows for claims.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pipelines.errors import UsageError, WorkspaceError
from pipelines.terms.editions import Edition, read_edition
from pipelines.terms.frames import Terms, lay_out
from pipelines.terms.shape import terms_shape
from pipelines.workspace.toml_file import TomlFile, suggest

ALL, NEW = "all", "new"


@dataclass(frozen=True)
class OtherTerms:
    """Terms with the edition of a file in them, and how the file was taken, in one sentence."""

    terms: Terms
    edition: str
    reading: str


def other_terms(
    terms: Terms,
    file: TomlFile,
    families: Sequence[str],
    abilities: Collection[str],
    stands_for: str | None = None,
) -> OtherTerms:
    """The editions that hold with the one of the file.

    Args:
        terms: the workspace's own.
        file: one edition.
        families, abilities: as for `load_terms`.
        stands_for: an edition, in whose place and from whose day on the file holds; `all`: it
            holds for every unit that has terms; `new`: it is one edition more, from its own day.
            None: the edition of its name (from the file's own day), else that of its day, else
            `all`.

    Raises:
        WorkspaceError: what is wrong with the file, with line and key.
        UsageError: there is no edition `stands_for`.
    """
    edition, faults = read_edition(file, terms_shape(sorted(set(families)), sorted(set(abilities))))
    if edition is None:
        raise WorkspaceError(*faults)
    replaced, edition, reading = _placed(edition, terms.editions, file, stands_for)
    kept = [other for other in terms.editions if other.name not in replaced]
    for other in kept:
        if other.name == edition.name:
            raise WorkspaceError(
                f'{file.at(["edition"])}: edition is "{edition.name}", as in {other.file}; give it '
                "a name of its own."
            )
        if other.effective_from == edition.effective_from:
            raise WorkspaceError(
                f"{file.at(['effective_from'])}: effective_from is {edition.effective_from}, as in "
                f"{other.file}; two editions cannot begin on one day."
            )
    return OtherTerms(lay_out([*kept, edition], families), edition.name, reading)


def _placed(
    edition: Edition, editions: Sequence[Edition], file: TomlFile, stands_for: str | None
) -> tuple[set[str], Edition, str]:
    """Which editions give way, the edition with the day from which it holds, and a sentence."""
    names = {other.name: other for other in editions}
    days = {other.effective_from: other for other in editions}
    said = f"{Path(file.name).name} (edition {edition.name})"
    if stands_for is None:
        if edition.name in names:
            sentence = f"{said} stands in the place of the edition of that name"
            return {edition.name}, edition, f"{sentence}, {_from(edition)}."
        of_that_day = days.get(edition.effective_from)
        stands_for = of_that_day.name if of_that_day else ALL
    if stands_for in names:
        edition = replace(edition, effective_from=names[stands_for].effective_from)
        sentence = f"{said} stands in the place of edition {stands_for}, {_from(edition)}."
        return {stands_for}, edition, sentence
    if stands_for == ALL:
        edition = replace(edition, effective_from=min(days))
        sentence = f"{said} stands in the place of every edition, {_from(edition)}."
        return set(names), edition, sentence
    if stands_for == NEW:
        return set(), edition, f"{said} is one edition more, {_from(edition)}."
    raise UsageError(
        f'--for "{stands_for}": there is no such edition; name one, or all, or new: '
        f"{suggest(stands_for, [*names, ALL, NEW])}"
    )


def _from(edition: Edition) -> str:
    return f"for units bought from {edition.effective_from} on"
