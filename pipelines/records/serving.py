"""Which mapping serves which file and sheet, and mappings that stand in each other's way.

Belongs here: names, patterns and days. Does not belong here: what stands in a file (`feed_file`),
what lies in the exports folder (`pipelines.exports.delivery`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import polars as pl

from pipelines.exports.delivery import day_in_name, is_workbook
from pipelines.records.aliases import aliases_of
from pipelines.records.dates import format_pattern
from pipelines.records.globs import fits, fits_path
from pipelines.records.join_entries import Join
from pipelines.records.mapping import Mapping
from schemas.columns import polars_schema
from schemas.reference import Aliases


@dataclass(frozen=True)
class Mappings:
    """All mappings of a workspace, each with the workspace's aliases."""

    all: tuple[Mapping, ...] = ()
    aliases: pl.DataFrame = field(default_factory=polars_schema(Aliases).to_frame)

    @classmethod
    def of_workspace(cls, read: Sequence[Mapping], aliases: pl.DataFrame) -> Mappings:
        """The mappings with aliases (`schemas.reference.Aliases`) given to each."""
        with_aliases = (replace(one, aliases=aliases_of(one.feed, aliases)) for one in read)
        return cls(tuple(with_aliases), aliases)

    def __getitem__(self, feed: str) -> Mapping:
        """The mapping of a feed's own files: the first without `files`, else the plain one."""
        own = [one for one in self.of(feed) if one.files is None]
        return next(iter(own), self.plain(feed))

    def of(self, feed: str) -> list[Mapping]:
        """The mappings of a feed."""
        return [mapping for mapping in self.all if mapping.feed == feed]

    def plain(self, feed: str) -> Mapping:
        """The mapping of exports that are written as the feed's own columns."""
        return replace(Mapping.plain(feed), aliases=aliases_of(feed, self.aliases))

    def names(self, path: str) -> bool:
        """Whether any mapping, or a join of one, names the file, on whatever day."""
        return any(
            fits_path(globs, path)
            for one in self.all
            for globs in (one.files, *(join.files for join in one.joins))
            if globs is not None
        )

    def joining(self, path: str) -> list[tuple[Mapping, int]]:
        """The mappings that join a file to others, with the number of the join."""
        return [
            (one, number)
            for one in self.all
            for number, join in enumerate(one.joins)
            if join_names(one, join, path)
        ]

    def unused(self, paths: Sequence[str]) -> list[Mapping]:
        """The mappings whose `files` match none of the paths."""
        return [
            one
            for one in self.all
            if one.files is not None and not any(fits_path(one.files, path) for path in paths)
        ]

    def unused_sentences(self, paths: Sequence[str]) -> list[str]:
        """A sentence for each mapping, and each join, whose `files` match none of the paths."""
        joins = [
            f"{one.name}: no file below exports/ is named by files = {', '.join(join.files)} of "
            f"the join {join.name}."
            for one in self.all
            for join in one.joins
            if not any(fits_path(join.files, path) for path in paths)
        ]
        return [*map(unused_sentence, self.unused(paths)), *joins]

    def serving(self, path: str, own_feed: str | None) -> dict[str, list[Mapping]]:
        """By feed, the mappings that serve a file; `own_feed` is the one of its folder or name.

        A feed with two of them is at fault, unless they are for other sheets. A file that a join
        names is of no feed for that; of a workbook some sheets may be joined to others.
        """
        joining = [one for one, _ in self.joining(path)]
        serving: dict[str, list[Mapping]] = {}
        for one in self.all:
            if one in joining and not is_workbook(path):
                continue
            if one.files is not None and fits_path(one.files, path) and holds_on(one, path):
                serving.setdefault(one.feed, []).append(one)
        if own_feed is not None and own_feed not in serving:
            own = [one for one in self.of(own_feed) if one.files is None and holds_on(one, path)]
            of_feed = [one for one in joining if one.feed == own_feed]
            if not of_feed:
                serving[own_feed] = own or [self.plain(own_feed)]
            elif is_workbook(path) and own and all(one in own for one in of_feed):
                serving[own_feed] = own
        return serving


def unused_sentence(mapping: Mapping) -> str:
    """That no file is named by a mapping."""
    listed = ", ".join(mapping.files or ())
    return f"{mapping.name}: no file below exports/ is named by files = {listed}."


def named_day(mapping: Mapping, path: str) -> dt.date | None:
    """The day in a file's name, written as the mapping says; of several the latest."""
    pattern = None if mapping.file_date is None else format_pattern(mapping.file_date)
    return day_in_name(path, pattern)


def join_names(mapping: Mapping, join: Join, path: str) -> bool:
    """Whether a join names a file and holds for the day in its name."""
    return fits_path(join.files, path) and holds_on(mapping, path, join)


def holds_on(mapping: Mapping, path: str, join: Join | None = None) -> bool:
    """Whether a mapping, or a join of it, holds for the day in a file's name."""
    scope = mapping if join is None else join
    first, last = scope.valid_from, scope.valid_until
    if first is None and last is None:
        return True
    day = named_day(mapping, path)
    if day is None:
        return False
    return (first is None or first <= day) and (last is None or day <= last)


def takes_sheet(mapping: Mapping | Join, sheet: str) -> bool | None:
    """Whether a mapping or join is for a sheet; None: for it if its header is found there."""
    return None if mapping.sheets is None else fits(mapping.sheets, sheet)


def sheet_left_out(mapping: Mapping, sheet: str, join: str = "") -> tuple[int, str] | None:
    """Which entry, of a join where one is told, leaves a whole sheet out, and its reason."""
    for number, (of, entry) in enumerate(mapping.entries):
        if of == join and entry.is_of_sheets and fits(entry.sheets, sheet):
            return number, entry.reason
    return None


def conflicts(mappings: Sequence[Mapping]) -> Iterator[str]:
    """A sentence for each two mappings that are for a feed's own files on one day."""
    own = [one for one in mappings if one.files is None]
    for one, other in combinations(sorted(own, key=lambda m: m.name), 2):
        if one.feed == other.feed and _first(one) <= _last(other) and _first(other) <= _last(one):
            yield (
                f"{other.name}: is for all files of {other.feed} without files, and so is "
                f"{one.name}; name the files of one of them, or give them other days by "
                "valid_from and valid_until."
            )


def _first(mapping: Mapping) -> dt.date:
    return mapping.valid_from or dt.date.min


def _last(mapping: Mapping) -> dt.date:
    return mapping.valid_until or dt.date.max
