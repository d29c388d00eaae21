"""A judged table as the text of a mapping: what is sure as lines, what is not commented out.

Belongs here: the entries and their reasons. Does not belong here: guesses (`judged`), TOML itself
(`toml_text`).
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from typing import Any

from pipelines.assist.drafts.judgment import Judged, pair_header
from pipelines.assist.drafts.pairing import ACTIVE, Pair
from pipelines.assist.drafts.proposed_rows import LeaveOutProposal
from pipelines.assist.drafts.toml_text import Draft, flat, toml_value
from pipelines.assist.drafts.units import is_plain
from pipelines.assist.drafts.written_words import rows_of, write_transforms, write_words
from pipelines.records.headers import EITHER, required
from pipelines.records.mapping import Mapping, read_mapping
from pipelines.records.mapping_checks import BASES, faults_of
from schemas.columns import fields, key_columns
from schemas.feeds import FEED_TABLES

_MOST_UNKNOWN = 100


def written(
    judged: Judged,
    name: str,
    files: list[str],
    file_date: str | None,
    sheets: list[str],
    left_out: list[LeaveOutProposal],
) -> Draft:
    """The draft of a mapping.

    Args:
        judged: the table.
        name: the file, as the draft tells of it.
        files: patterns of the files that are like it.
        file_date: how its name writes its day; None where it has none or plainly.
        sheets: the sheets that it is for; empty for all.
        left_out: rows and sheets that are no data.
    """
    rows = judged.table.rows_read
    draft = Draft(
        [
            f"A draft of a mapping for {judged.guess.feed}, made from the headers and "
            f"{rows_of(rows)} of {name}. Nothing has been applied.",
            "Read it and correct it. A line that is commented out waits for your decision; each "
            "says why. help/mappings.md tells every key.",
        ]
    )
    _opening(draft, judged, files, file_date, sheets)
    _columns(draft, judged)
    _constants(draft, judged)
    _units(draft, judged)
    _analytes(draft, judged)
    write_transforms(draft, judged)
    write_words(draft, judged)
    for left in left_out:
        reason = f"{left.reason}: {rows_of(left.rows)}" + (
            "" if left.state == ACTIVE else "; perhaps"
        )
        draft.add(
            "[[leave_out]]", "", {"reason": left.reason, **left.tests}, left.state == ACTIVE, reason
        )
    return sound(judged.guess.feed, draft)


def _opening(
    draft: Draft, judged: Judged, files: list[str], file_date: str | None, sheets: list[str]
) -> None:
    draft.add("", "feed", judged.guess.feed)
    if files:
        draft.add("", "files", files, reason="below exports/; `*` stands for anything")
    if sheets:
        draft.add("", "sheets", sheets, reason="the sheets with these headers")
    if file_date:
        draft.add("", "file_date", file_date, reason="how the file's name writes its day")
    if judged.marks_unsure:
        reason = f"every comma may be for thousands or for fractions; either {judged.marks_told}"
        draft.add("", "decimal", ",", False, reason)
        draft.add("", "thousands", ",", False, "or this; keep one of the two")
    if judged.marks.decimal == ",":
        draft.add("", "decimal", ",", reason=judged.marks_told)
    if judged.marks.thousands:
        draft.add("", "thousands", judged.marks.thousands, reason=judged.marks_told)
    _dates(draft, judged)
    if judged.guess.is_long:
        reason = "each row is one result: an analyte and its value"
        draft.add("", "layout", "long", reason=reason)


def _dates(draft: Draft, judged: Judged) -> None:
    forms = judged.dates
    if forms.sound:
        reason = ""
        unsure = [(form, *forms.unsure[form]) for form in forms.sound if form in forms.unsure]
        if unsure:
            form, other, rows, lines = unsure[0]
            shown = ", ".join(map(str, lines))
            reason = (
                f"{other} would read {rows_of(rows)} (lines {shown}) as other days, but cannot "
                "read all of them"
            )
        draft.add("", "dates", forms.sound, reason=reason)
    for form, other in forms.rivals.items():
        rows = forms.unsure[form][1]
        reason = f"both read all of these dates, but {rows_of(rows)} as different days; keep one"
        draft.add("", "dates", [*forms.sound, form], False, reason)
        draft.add("", "dates", [*forms.sound, other], False, reason)
    if forms.unread[0]:
        count, text = forms.unread
        dates = "1 date" if count == 1 else f"{count:,} dates, such as"
        draft.remark("", f"No format reads {dates} {toml_value(text)}.")


def _columns(draft: Draft, judged: Judged) -> None:
    own = [pair.column for pair in judged.pairs if pair.by_own_name]
    draft.remark("columns", *([f"by their own names: {', '.join(own)}"] if own else []))
    for pair in judged.pairs:
        reason = f"{pair.state}: {pair.reason}"
        if not pair.by_own_name:
            header = pair_header(judged, pair)
            draft.add("columns", pair.column, header, pair.state == ACTIVE, reason)
        elif pair.state != ACTIVE:
            draft.remark("columns", f"{pair.column} is read by its own name, but {pair.reason}")
    for pair in judged.pairs:
        steps = judged.steps[pair.column]
        if steps.splits:
            _split_key(draft, judged, pair)
    extra = unused(judged)
    if extra:
        listed = ", ".join(toml_value(flat(name)) for name in extra)
        draft.remark("columns", f"no column of the feed (kept with the landed row): {listed}")


def _split_key(draft: Draft, judged: Judged, pair: Pair) -> None:
    """The key that a split needs, where it does not hold the split column itself."""
    keys = (
        ["sample", "analyte"]
        if judged.guess.is_long
        else key_columns(FEED_TABLES[judged.guess.feed])
    )
    if pair.column in keys:
        return
    key = next((one for one in judged.pairs if one.column in keys), None)
    if key is not None:
        value = {"join": [pair_header(judged, key), "#part"], "with": "-"}
        draft.add("columns", key.column, value, False, "in its place, where rows are split")


def unused(judged: Judged) -> list[str]:
    """The headers that no line of the draft names."""
    used = {pair.place for pair in judged.pairs}
    return [name for place, name in enumerate(judged.names) if place not in used and name]


def missing(judged: Judged) -> list[str]:
    """The required columns, and parts of the layout, for which no header was found."""
    feed = judged.guess.feed
    plain = read_mapping(feed, "", {"layout": "long"} if judged.guess.is_long else {})
    paired = {pair.column for pair in judged.pairs}
    lacking = [column for column in required(feed, plain) if column not in paired]
    either = EITHER.get(feed, ())
    if either and not paired & set(either):
        lacking += list(either)
    return lacking


def _constants(draft: Draft, judged: Judged) -> None:
    table = fields(FEED_TABLES[judged.guess.feed])
    for column in missing(judged):
        if column not in table:
            draft.remark("columns", f"No header looks like the {column}; name it here.")
            continue
        if column in EITHER.get(judged.guess.feed, ()):
            hint = "no header looks like site or serial; one of the two is needed"
            draft.remark("columns", hint)
            continue
        words = (table[column].metadata or {})["words"]
        hint = f"one of {', '.join(words)}" if words else "one value for all rows"
        reason = (
            "every row needs it and no header looks like it: name its header under [columns], or "
            f"here {hint}"
        )
        draft.add("constants", column, words[0] if words else "…", False, reason)


def _units(draft: Draft, judged: Judged) -> None:
    states = {pair.column: pair.state for pair in judged.pairs}
    for column, (unit, is_sure, why) in judged.units.items():
        if is_sure and is_plain(column, unit):
            continue
        draft.add("units", column, unit, is_sure and states[column] == ACTIVE, why)


def _analytes(draft: Draft, judged: Judged) -> None:
    unknown = 0
    for one in judged.analytes:
        how_many = rows_of(one.rows)
        if not one.column:
            unknown += 1
            if unknown <= _MOST_UNKNOWN:
                draft.add(
                    "analytes", one.written, "…", False, f"no analyte of the feed, {how_many}"
                )
        elif one.basis is not None:
            for basis in BASES[one.column]:
                value = {"column": one.column, "basis": basis}
                why = f"ask the laboratory what it is expressed as, and keep one; {how_many}"
                draft.add("analytes", one.written, value, False, why)
        else:
            draft.add("analytes", one.written, one.column, one.state == ACTIVE, how_many)
    if judged.guess.is_long and not any(
        e.table == "analytes" and e.is_active for e in draft.entries
    ):
        draft.remark("analytes")


def sound(feed: str, draft: Draft) -> Draft:
    """The draft with all lines that a mapping may not say commented out; mostly there are none."""
    for _ in range(len(draft.entries) + 1):
        keys = [key for key, _ in faults_of(feed, parsed(draft.text()))]
        if not keys:
            break
        for entry in draft.entries:
            place = (*entry.table.strip("[]").split("."), entry.key)
            if entry.is_active and any(_is_at(place, entry.table, key) for key in keys):
                entry.is_active = False
    return draft


def _is_at(place: tuple[str, ...], table: str, key: tuple[str, ...]) -> bool:
    path = tuple(part for part in place if part)
    if table.startswith("[["):
        return key[: len(path)] == path
    return path[: len(key)] == key


def parsed(text: str) -> dict[str, Any]:
    """A draft's active lines as a mapping's TOML is read."""
    return tomllib.loads(text, parse_float=Decimal)


def mapping_of(feed: str, text: str, name: str = "the draft") -> Mapping:
    """The mapping that the active lines of a draft say."""
    return read_mapping(feed, name, parsed(text))
