"""One table judged as one feed: all that a draft says of it, before it is written.

Belongs here: joining pairs, steps, dates, marks, words and rows. Does not belong here: the text of
a draft (`writing`), which feed it is (`ranking`).
"""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipelines.assist.drafts.files import FoundTable
from pipelines.assist.drafts.fit import kind_of
from pipelines.assist.drafts.forms import DateForms
from pipelines.assist.drafts.judged_forms import judge_dates, judge_marks
from pipelines.assist.drafts.judged_units import judge_analytes, judge_units
from pipelines.assist.drafts.judgment import Judged, Question, pair_header
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.pairing import ACTIVE, PERHAPS, Pair
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.proposed_rows import (
    data_rows,
    rows_to_leave_out,
)
from pipelines.assist.drafts.proposed_steps import steps_for
from pipelines.assist.drafts.proposed_words import (
    alias_proposals,
    phrases,
    translations,
)
from pipelines.assist.drafts.ranking import Guess
from pipelines.exports.header_rows import bare
from pipelines.records.numerals import Marks


def profiles_of(table: FoundTable) -> list[Profile]:
    """The columns of a table, by its rows of data: headers that come again, and units, are none."""
    rows = data_rows(table.reading)
    return [
        Profile(place, header, rows[f"c{place}"], rows.height)
        for place, header in enumerate(table.reading.header)
    ]


def header_names(header: list[str]) -> list[str]:
    """The headers as a mapping names them: the second of equal ones is `Text#2`."""
    seen: dict[str, int] = {}
    names = []
    for name in header:
        key = bare(name)
        seen[key] = seen.get(key, 0) + 1
        names.append(name if seen[key] == 1 else f"{name}#{seen[key]}")
    return names


def judge(table: FoundTable, guess: Guess, profiles: list[Profile], known: Known) -> Judged:
    """Everything about a table as one of the guessed feed."""
    feed = guess.feed
    by_place = {profile.place: profile for profile in profiles}
    names = header_names(table.reading.header)
    pairs = _first_of_equals(guess.pairs, table.reading.header)
    steps = {
        pair.column: steps_for(feed, pair.column, by_place[pair.place], known) for pair in pairs
    }
    left_out = rows_to_leave_out(table.reading, names, pairs, by_place)
    judged = Judged(
        table,
        guess,
        names,
        by_place,
        pairs,
        steps,
        {},
        Marks(),
        "",
        False,
        DateForms([], {}, {}, (0, "")),
        [],
        [],
        [],
        "",
        [],
        left_out,
        [],
    )
    judge_marks(judged)
    judge_dates(judged)
    judge_units(judged)
    if guess.is_long:
        judge_analytes(judged)
    for pair in judged.pairs:
        profile = by_place[pair.place]
        emptied = [
            str(text) for step in steps[pair.column].steps for text in (step.get("empty") or [])
        ]
        judged.translations += translations(feed, pair.column, profile, emptied)
        judged.aliases += alias_proposals(pair.column, profile, known)
    _phrases(judged, known)
    _splits(judged)
    _unread_words(judged)
    return judged


def _first_of_equals(pairs: list[Pair], header: list[str]) -> list[Pair]:
    """The first of equal headers cannot be named alone, so it waits for a person."""
    plain = [bare(name) for name in header]
    out = []
    for pair in pairs:
        first = plain.index(plain[pair.place]) == pair.place
        if first and plain.count(plain[pair.place]) > 1 and pair.state == ACTIVE:
            reason = f"{pair.reason}; the export has this header several times"
            pair = replace(pair, state=PERHAPS, reason=reason)
        out.append(pair)
    return out


def _phrases(judged: Judged, known: Known) -> None:
    """Free text that may tell the cause, where no column of codes does."""
    names = known.names.get("cause", {})
    if judged.guess.feed != "service_calls" or not names:
        return
    cause = next((pair for pair in judged.pairs if pair.column == "cause"), None)
    notes = next((pair for pair in judged.pairs if pair.column == "notes"), None)
    if cause is not None and judged.profiles[cause.place].length < 18 and cause.fit.is_strong:
        return
    source = cause or notes
    if source is not None:
        judged.phrases = phrases(judged.profiles[source.place].texts, names)
        judged.phrases_of = pair_header(judged, source)


def _unread_words(judged: Judged) -> None:
    """Words that stand where numbers are due, and that no step reads."""
    for pair in judged.pairs:
        if kind_of(judged.guess.feed, pair.column) not in ("number", "integer", "money", "hours"):
            continue
        profile = judged.profiles[pair.place]
        steps = judged.steps[pair.column].steps
        put = [step["replace"][0] for step in steps if "replace" in step]
        is_word = pl.col("text").str.contains(r"^[\p{L} .]+$") & ~pl.col("text").is_in(put)
        words = profile.texts.filter(is_word).head(5)
        rows = int(words["rows"].sum())
        if words.height and rows < 0.3 * profile.count:
            listed = ", ".join(f'"{text}"' for text in words["text"])
            question = (
                f'{rows} rows of "{pair_header(judged, pair)}" hold {listed} where a number is '
                "due, and are set aside. If that says nothing, add it to a step { empty = [...] }."
            )
            judged.questions.append(Question(pair.column, question))


def _splits(judged: Judged) -> None:
    """Cells with several codes."""
    for pair in judged.pairs:
        steps = judged.steps[pair.column]
        if steps.splits:
            question = (
                f'{steps.split_rows} rows hold several codes in "{pair_header(judged, pair)}"; is '
                "each of them a row of its own? Then split them, and tell parts apart in the key."
            )
            judged.questions.append(Question(pair.column, question))
