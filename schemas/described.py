"""What is said of a table and of a column, for people and machines.

Belongs here: the two forms. Does not belong here: what is said (`schemas.catalog`).
"""

from __future__ import annotations

from dataclasses import dataclass

from schemas.keys import TOLD_BY_EACH_MAPPING


@dataclass(frozen=True)
class Column:
    """One column: what it holds, in which form, and what it joins to."""

    name: str
    kind: str
    description: str
    unit: str | None = None
    words: tuple[str, ...] = ()
    required: bool = False
    signed: bool = False
    references: str | None = None
    null: str | None = None

    @property
    def meaning(self) -> str:
        """What it holds, and what null means where it may be null."""
        return self.description if self.required else f"{self.description} Null: {self.null}"


@dataclass(frozen=True)
class Described:
    """One table or view: what one row is, its key, its columns, and what it always joins to.

    `links` maps columns of this table to the table whose key they always are.
    """

    name: str
    grain: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    links: tuple[tuple[tuple[str, ...], str, tuple[str, ...]], ...] = ()
    is_view: bool = False
    published: bool = True

    @property
    def key_is_checked(self) -> bool:
        """Whether two rows of one key are a fault: not where two mappings may read one row."""
        return not self.is_view and self.published and self.name not in TOLD_BY_EACH_MAPPING

    def column(self, name: str) -> Column:
        """One of its columns. Raises KeyError where it has none of the name."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(f"{self.name}.{name}")
