"""A file to drafts of mappings: its likeliest feed, and one draft for sheets of the same headers.

Belongs here: the order of the work, and a draft as data. Does not belong here: judging (`judged`),
writing (`writing`), reading the workspace (`pipelines.queries.drafting`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pipelines.assist.drafts.file_patterns import pattern_of, sheet_patterns
from pipelines.assist.drafts.files import FoundTable
from pipelines.assist.drafts.judged import judge, profiles_of
from pipelines.assist.drafts.judgment import Judged, pair_header
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.pairing import ACTIVE, PERHAPS
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.proposed_joins import Beside, proposed_joins
from pipelines.assist.drafts.proposed_rows import LeaveOutProposal, is_cover
from pipelines.assist.drafts.ranking import Guess, guesses_of
from pipelines.assist.drafts.writing import mapping_of, missing, sound, unused, written
from pipelines.exports.header_rows import choose_header
from pipelines.records.headers import header_sought
from schemas.codes import FEEDS
from schemas.columns import key_columns
from schemas.feeds import FEED_TABLES

# Scores under which a sheet is of no feed, if another one of the file is.
_NO_FEED = 0.34


@dataclass(frozen=True)
class Source:
    """The file: its name for people, its path below exports/ (else None) and its folder's feed."""

    shown: str
    below: str | None = None
    folder_feed: str | None = None


@dataclass(frozen=True)
class MappingDraft:
    """One draft, and what it rests on."""

    judged: Judged
    left_out: list[LeaveOutProposal]
    toml: str

    def to_dict(self) -> dict[str, Any]:
        """For JSON, as the contract names it."""
        judged = self.judged
        data = mapping_of(judged.guess.feed, self.toml)
        return {
            "feed": judged.guess.feed,
            "sheets": list(judged.table.sheets),
            "header_line": judged.table.reading.header_line,
            "rows": judged.table.rows_read,
            "layout": "long" if judged.guess.is_long else "wide",
            "decimal": data.marks.decimal,
            "thousands": data.marks.thousands,
            "dates": list(data.dates),
            "toml": self.toml,
            "columns": [self._column(number) for number in range(len(judged.pairs))],
            "analytes": [
                {
                    "written": one.written,
                    "column": one.column or None,
                    "basis": one.basis,
                    "state": one.state if one.column else PERHAPS,
                    "rows": one.rows,
                }
                for one in judged.analytes
            ],
            "values": [vars(one) for one in judged.translations],
            "leave_out": [
                {"reason": one.reason, **one.tests, "state": one.state, "rows": one.rows}
                for one in self.left_out
            ],
            "unused": unused(judged),
            "missing": missing(judged),
            "questions": [vars(one) for one in judged.questions],
        }

    def _column(self, number: int) -> dict[str, Any]:
        judged = self.judged
        pair = judged.pairs[number]
        unit = judged.units.get(pair.column)
        return {
            "column": pair.column,
            "headers": [pair_header(judged, pair)],
            "state": pair.state,
            "name_likeness": round(min(1.0, pair.name), 3),
            "value_likeness": round(max(0.0, min(1.0, pair.fit.likeness)), 3),
            "unit": unit[0] if unit else None,
            "steps": judged.steps[pair.column].steps,
            "reason": pair.reason,
        }


@dataclass(frozen=True)
class Drafted:
    """A file's drafts, the first of the likeliest feed, and how likely each feed is."""

    feeds: list[tuple[str, float]]
    drafts: list[MappingDraft]


def draft_file(
    source: Source,
    tables: Sequence[FoundTable],
    known: Known,
    feed: str | None = None,
    beside: Sequence[Beside] = (),
) -> Drafted:
    """Drafts for all tables of a file.

    Args:
        source: the file.
        tables: its tables, at least one.
        known: the register and the reference files.
        feed: the feed that it is of; None: the likeliest one is drafted.
        beside: other exports, whose rows may belong to this file's.
    """
    profiles = [profiles_of(table) for table in tables]
    guesses = [guesses_of(columns, known, source.folder_feed, feed) for columns in profiles]
    best = {
        one: max(guess.score for listed in guesses for guess in listed if guess.feed == one)
        for one in FEEDS
    }
    ranked = sorted(best.items(), key=lambda pair: -pair[1])
    chosen = [_chosen(listed, feed) for listed in guesses]
    order = sorted(range(len(tables)), key=lambda place: (-chosen[place].score, place))
    used = [
        place
        for place in order
        if place == order[0] or chosen[place].score >= max(_NO_FEED, 0.5 * chosen[order[0]].score)
    ]
    covers = [place for place in order if place not in used]
    drafts = [
        _draft(source, tables, place, chosen[place], profiles[place], known, covers, beside)
        for place in used
    ]
    return Drafted(ranked, drafts)


def _chosen(guesses: Sequence[Guess], feed: str | None) -> Guess:
    return guesses[0] if feed is None else next(one for one in guesses if one.feed == feed)


def _draft(
    source: Source,
    tables: Sequence[FoundTable],
    place: int,
    guess: Guess,
    profiles: list[Any],
    known: Known,
    covers: Sequence[int],
    beside: Sequence[Beside],
) -> MappingDraft:
    table = tables[place]
    judged = judge(table, guess, profiles, known)
    left_out = [*judged.left_out, *_sheets_left_out(tables, covers)]
    pattern, file_date = pattern_of(source.below, source.shown)
    several = len(tables) > 1
    others = [name for one in tables if one is not table for name in one.sheets]
    sheets = sheet_patterns(table.sheets, others) if several else []
    draft = written(judged, source.shown, [pattern], file_date, sheets, left_out)
    for join in proposed_joins(_own_keys(judged, profiles), beside):
        draft.add("[[join]]", "", join.block, False, join.reason)
    line = table.reading.header_line
    mapping = mapping_of(guess.feed, draft.text())
    chosen_line = (
        choose_header(table.top, header_sought(guess.feed, mapping)) if table.top else line
    )
    if line != table.top[0][0]:
        reason = "the line of the header" if chosen_line != line else "found by its names anyway"
        draft.add("", "header_row", line, chosen_line != line, reason)
    return MappingDraft(judged, left_out, sound(guess.feed, draft).text())


def _own_keys(judged: Judged, profiles: Sequence[Profile]) -> dict[str, Profile]:
    """By header the columns that may name one row: the feed's key, and what is of no column.

    A serial or a site names what many exports speak of, and ties no rows together.
    """
    others = {
        pair.place for pair in judged.pairs if pair.column not in key_columns_of(judged.guess.feed)
    }
    return {
        judged.names[one.place]: one
        for one in profiles
        if one.place not in others and judged.names[one.place]
    }


def key_columns_of(feed: str) -> set[str]:
    """The columns of a feed that are numbers of its own rows."""
    return {"claim", *key_columns(FEED_TABLES[feed])} - {"serial"}


def _sheets_left_out(tables: Sequence[FoundTable], covers: Sequence[int]) -> list[LeaveOutProposal]:
    """Sheets that are of no feed."""
    return [
        LeaveOutProposal(
            {"sheets": [name]},
            "a sheet of explanations" if is_cover(name) else "a sheet of no feed",
            ACTIVE if is_cover(name) else PERHAPS,
            tables[place].rows_read,
        )
        for place in covers
        for name in tables[place].sheets
    ]


def beside(below: str, tables: Sequence[FoundTable]) -> list[Beside]:
    """Another export as a file that may be joined, by its path below exports/."""
    shown = below.rpartition("/")[2]
    pattern, _ = pattern_of(below, shown)
    return [Beside(pattern, shown, profiles_of(table)) for table in tables[:1]]
