"""What a step of a refresh is: what it reads, which tables it makes, and the function that does it.

Belongs here: the form of a step. Does not belong here: any one step (its own module), or how it
becomes assets (`pipelines.orchestration.assets`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import duckdb

from pipelines.store.transaction import RefreshSession
from schemas.columns import Table
from schemas.dictionary import grain


class Written(NamedTuple):
    """A table that a step has put in its place, with what is to be told of it beside its rows."""

    table: str
    facts: Mapping[str, Any] = {}


@dataclass(frozen=True)
class Check:
    """A look at a table that stands: what is wrong, in words; nothing where all is well.

    A blocking one stops the run and takes the table its state; any other warns.
    """

    name: str
    table: str
    description: str
    look: Callable[[duckdb.DuckDBPyConnection], list[str]]
    blocking: bool = False


@dataclass(frozen=True)
class Step:
    """One step: tables that are made together from the same things.

    tables: by name the class of the table, or the sentence that says what one row is; in an order
        in which each comes after those of the same step that it rests on.
    reads: the tables of other steps that it reads: each must be of the run's inputs.
    sources: what people lay in and it reads itself.
    work: makes the tables that are wanted, and yields each as soon as it stands.
    rooms: the folders and files of the source on which its tables depend, for its code version.
    within: by table, those of the same step on which it rests.
    reads_of: by table, what it alone is made from, where that is less than `reads`.
    about: by table, what else its description says.
    """

    name: str
    group: str
    title: str
    tables: Mapping[str, type[Table] | str]
    work: Callable[[RefreshSession, Collection[str]], Iterator[Written]]
    reads: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    rooms: tuple[str, ...] = ()
    within: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    reads_of: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)
    checks: tuple[Check, ...] = ()
    kinds: tuple[str, ...] = ("polars", "duckdb")
    publishes: bool = False

    def table_class(self, name: str) -> type[Table] | None:
        """The class of a table; None where it has none."""
        declared = self.tables[name]
        return None if isinstance(declared, str) else declared

    def description(self, name: str) -> str:
        """What one row of a table is, and what else is to be said of it."""
        declared = self.tables[name]
        row = declared if isinstance(declared, str) else grain(declared)
        return f"{row} {self.about.get(name, '')}".strip()

    def read_for(self, tables: Iterable[str]) -> tuple[str, ...]:
        """The tables of other steps that are read to make these."""
        # In the order of declaration, each once: it is that of the graph and of refusals.
        read = (name for table in tables for name in self.reads_of.get(table, self.reads))
        return tuple(dict.fromkeys(read))

    def is_current(self, session: RefreshSession, table: str) -> bool:
        """Whether a table, or what is published, is there already and of the run's inputs."""
        return session.is_published if self.publishes else session.fault(table) is None
