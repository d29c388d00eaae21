"""One table judged as one feed: all that a draft says of it, before it is written.

Belongs here: joining pairs, steps, dates, marks, words and rows. Does not belong here: the text of
a draft (`writing`), which feed it is (`ranking`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import polars as pl

from pipelines.assist.drafts.analytes import SURE, likely_analytes
from pipelines.assist.drafts.files import FoundTable
from pipelines.assist.drafts.fitness import kind_of
from pipelines.assist.drafts.forms import DateForms, date_forms, number_marks
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.pairing import ACTIVE, PERHAPS, Pair
from pipelines.assist.drafts.profiles import Profile
from pipelines.assist.drafts.proposed_rows import (
    UNITS_BELOW,
    LeaveOutProposal,
    data_rows,
    rows_to_leave_out,
)
from pipelines.assist.drafts.proposed_steps import Steps, steps_for
from pipelines.assist.drafts.proposed_words import (
    AliasProposal,
    Phrase,
    Translation,
    alias_proposals,
    phrases,
    translations,
)
from pipelines.assist.drafts.ranking import Guess
from pipelines.assist.drafts.units import (
    BASED,
    fitting_unit,
    is_measured,
    leaves_basis_open,
    unit_in_name,
)
from pipelines.exports.header_rows import bare
from pipelines.records.mapping_checks import BASES
from pipelines.records.numerals import Marks

_DAYS = ("day", "moment")
_NUMBERS = ("number", "analyte", "integer", "money", "hours")


@dataclass(frozen=True)
class Question:
    """What only a person can tell: the column that it is about, and the question."""

    about: str
    question: str


@dataclass(frozen=True)
class AnalyteGuess:
    """A laboratory's name: its column (empty: none of the feed), basis, state and rows."""

    written: str
    column: str
    basis: str | None
    state: str
    rows: int


@dataclass
class Judged:
    """All that is known of one table as one of a feed.

    `names` are the headers as a mapping names them, `units` (unit, is sure, why) by column,
    `marks` that read most and None where two read all, `dates` how days are written, `date_steps`
    the formats of columns that are written unlike the others.
    """

    table: FoundTable
    guess: Guess
    names: list[str]
    profiles: dict[int, Profile]
    pairs: list[Pair]
    steps: dict[str, Steps]
    units: dict[str, tuple[str, bool, str]]
    marks: Marks
    marks_told: str
    marks_unsure: bool
    dates: DateForms
    analytes: list[AnalyteGuess]
    translations: list[Translation]
    phrases: list[Phrase]
    phrases_of: str
    aliases: list[AliasProposal]
    left_out: list[LeaveOutProposal]
    questions: list[Question]


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
    _marks(judged)
    _dates(judged)
    _units(judged)
    if guess.is_long:
        _analytes(judged)
    for pair in judged.pairs:
        profile = by_place[pair.place]
        emptied = [
            str(text) for step in steps[pair.column].steps for text in (step.get("empty") or [])
        ]
        judged.translations += translations(feed, pair.column, profile, emptied)
        judged.aliases += alias_proposals(pair.column, profile, known)
    _phrases(judged, known)
    _splits(judged)
    return judged


def _first_of_equals(pairs: list[Pair], header: list[str]) -> list[Pair]:
    """The first of equal headers cannot be named alone, so it waits for a person."""
    plain = [bare(name) for name in header]
    out = []
    for pair in pairs:
        first = plain.index(plain[pair.place]) == pair.place
        if first and plain.count(plain[pair.place]) > 1 and pair.state == ACTIVE:
            told = f"{pair.reason}; the export has this header several times"
            pair = replace(pair, state=PERHAPS, reason=told)
        out.append(pair)
    return out


def _texts(judged: Judged, kinds: tuple[str, ...]) -> pl.DataFrame:
    """`line` and `text` of all columns of some kinds, none empty, without those that steps read."""
    frames = []
    for pair in judged.pairs:
        if kind_of(judged.guess.feed, pair.column) not in kinds:
            continue
        steps = judged.steps[pair.column].steps
        if any("excel_date" in step for step in steps):
            continue
        profile = judged.profiles[pair.place]
        texts = profile.numbers_text if kinds == _NUMBERS else profile.texts
        raw = pl.DataFrame({"raw": profile.texts["text"], "text": texts["text"]})
        column = data_rows(judged.table.reading).select("line", raw=f"c{pair.place}")
        frame = column.join(raw, on="raw").select("line", "text")
        if kinds == _DAYS:
            gone = [text for step in steps for text in (step.get("empty") or [])]
            frame = frame.filter(~pl.col("text").str.to_lowercase().is_in(gone))
        frames.append(frame)
    kind = pl.Schema({"line": pl.Int64(), "text": pl.String()})
    return pl.concat([kind.to_frame(), *frames])


def _marks(judged: Judged) -> None:
    """How numbers are written, where that is not with a plain decimal point."""
    numbers = _texts(judged, _NUMBERS)["text"]
    if numbers.is_empty():
        return
    read = number_marks(numbers)
    most = max(read.values())
    best = [form for form, count in read.items() if count == most]
    if most == 0 or best[0] == Marks():
        return
    judged.marks_told = (
        f"reads {most} of {len(numbers)} numbers, a plain decimal point {read[Marks()]}"
    )
    if Marks(",") in best and Marks(".", ",") in best:
        judged.marks_unsure = True
        told = "Every comma may be for thousands or for fractions; which of the two is it?"
        judged.questions.append(Question("decimal", told))
        return
    judged.marks = best[0]


def _dates(judged: Judged) -> None:
    """The formats of days; a column whose dates two formats read as other days waits."""
    values = _texts(judged, _DAYS)
    if values.is_empty():
        return
    judged.dates = date_forms(values)
    if not judged.dates.rivals and not judged.dates.clashes[0]:
        return
    feed = judged.guess.feed
    dated = [pair for pair in judged.pairs if kind_of(feed, pair.column) in _DAYS]
    own = {pair.column: date_forms(_own_days(judged, pair)) for pair in dated}
    decided = [pair for pair in dated if not own[pair.column].rivals]
    rivals: dict[str, str] = {}
    for pair in dated:
        rivals |= own[pair.column].rivals
    sure = [_own_days(judged, pair) for pair in decided]
    together = date_forms(pl.concat([values.clear(), *sure]))
    if together.rivals or together.clashes[0]:
        # Each column says its own format, so that none stands in another's way.
        for pair in decided:
            forms = own[pair.column].formats
            told = f"written as {', '.join(forms)}, unlike other columns"
            rows = judged.profiles[pair.place].count
            if forms:
                judged.steps[pair.column].add({"date": forms}, told, rows)
        together = DateForms([], {}, {}, (0, ""))
    unsure = {form: judged.dates.unsure[form] for form in rivals if form in judged.dates.unsure}
    unsure |= {f: o.unsure[f] for o in own.values() for f in o.rivals}
    judged.dates = replace(
        together,
        formats=[*together.formats, *(form for form in rivals if form not in together.formats)],
        rivals={form: other for form, other in rivals.items() if form not in together.formats},
        unsure={**unsure, **together.unsure},
    )
    judged.pairs = [
        _with_rivals(judged, pair, own[pair.column])
        if pair.column in own and own[pair.column].rivals
        else pair
        for pair in judged.pairs
    ]


def _own_days(judged: Judged, pair: Pair) -> pl.DataFrame:
    column = data_rows(judged.table.reading).select("line", text=f"c{pair.place}")
    known = judged.profiles[pair.place].texts["text"]
    return column.filter(pl.col("text").is_in(known.implode()))


def _with_rivals(judged: Judged, pair: Pair, own: DateForms) -> Pair:
    """A column whose dates two formats read as different days: a question, whatever others say."""
    form, rival = next(iter(own.rivals.items()))
    rows = own.unsure[form][1]
    told = (
        f'{form} and {rival} both read all dates of "{pair_header(judged, pair)}", and {rows} '
        "rows as different days; which of the two does the export write?"
    )
    judged.questions.append(Question(pair.column, told))
    reason = f"{pair.reason}; two formats read its dates as different days"
    return replace(pair, state=PERHAPS, reason=reason)


def pair_header(judged: Judged, pair: Pair) -> str:
    """The header of a pair, as a mapping names it."""
    return judged.names[pair.place]


def _units(judged: Judged) -> None:
    """Units that headers name; those that only the size suggests wait, and so do open bases."""
    pairs = []
    for pair in judged.pairs:
        if not is_measured(judged.guess.feed, pair.column):
            pairs.append(pair)
            continue
        header = judged.table.reading.header[pair.place]
        unit = unit_in_name(pair.column, header) or _unit_of_row(judged, pair)
        by_size = fitting_unit(pair.column, judged.profiles[pair.place].numbers)
        has_cells = any("cell_unit" in step for step in judged.steps[pair.column].steps)
        if unit is not None:
            judged.units[pair.column] = (unit, True, f'the header "{header}" says so')
        elif by_size is not None and not has_cells:
            told = f"perhaps: {by_size[1]}"
            judged.units[pair.column] = (by_size[0], False, told)
            question = f'In which unit is "{header}"? By its values it may be {by_size[0]}.'
            judged.questions.append(Question(pair.column, question))
            if pair.state == ACTIVE:
                reason = f"{pair.reason}; its unit is open: {by_size[1]}"
                pair = replace(pair, state=PERHAPS, reason=reason)
        if not has_cells and not pair.by_own_name and leaves_basis_open(pair.column, header, unit):
            pair = _with_open_basis(judged, pair, unit)
        pairs.append(pair)
    judged.pairs = pairs


def _unit_of_row(judged: Judged, pair: Pair) -> str | None:
    """The unit that stands in a row of units below the header."""
    if not any(left.reason == UNITS_BELOW for left in judged.left_out):
        return None
    cell = judged.table.reading.rows[f"c{pair.place}"][0]
    return unit_in_name(pair.column, f"x ({cell})")


def _with_open_basis(judged: Judged, pair: Pair, unit: str | None) -> Pair:
    bases = BASES[pair.column]
    header = pair_header(judged, pair)
    judged.questions.append(Question(pair.column, basis_question(header, bases)))
    if judged.units.get(pair.column, ("", True, ""))[1]:
        by_basis = f"{unit or 'mg/L'} as {bases[0]}"
        judged.units[pair.column] = (by_basis, False, f"or: {unit or 'mg/L'} as {bases[1]}")
    reason = f"{pair.reason}; what it is expressed as is open"
    return replace(pair, state=PERHAPS, reason=reason)


def basis_question(header: str, bases: tuple[str, ...]) -> str:
    """What a person must ask the laboratory."""
    return f'What is "{header}" expressed as: {" or ".join(bases)}? The laboratory can tell.'


def _analytes(judged: Judged) -> None:
    """Which of the laboratory's names is which column, and of which nobody can tell the basis."""
    place_of = {pair.column: pair.place for pair in judged.pairs}
    rows = judged.table.reading.rows
    place = place_of["analyte"]
    unit = pl.col(f"c{place_of['unit']}") if "unit" in place_of else pl.lit("")
    told = (
        rows.select(name=f"c{place}", unit=unit)
        .filter(pl.col("name") != "")
        .group_by("name", maintain_order=True)
        .agg(pl.len().alias("rows"), pl.col("unit").unique().alias("units"))
        .sort("rows", descending=True, maintain_order=True)
    )
    found = likely_analytes(told["name"].to_list())
    for name, count, units in zip(told["name"], told["rows"], told["units"], strict=True):
        column, score = found.get(name, ("", 0.0))
        basis, state = None, ACTIVE if score >= SURE else PERHAPS
        if column in BASED and any(leaves_basis_open(column, name, one) for one in units):
            state = PERHAPS
            basis = BASES[column][0]
            judged.questions.append(Question(column, basis_question(name, BASES[column])))
        judged.analytes.append(AnalyteGuess(name, column, basis, state, int(count)))


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


def _splits(judged: Judged) -> None:
    """Cells with several codes."""
    for pair in judged.pairs:
        steps = judged.steps[pair.column]
        if steps.splits:
            told = (
                f'{steps.split_rows} rows hold several codes in "{pair_header(judged, pair)}"; is '
                "each of them a row of its own? Then split them, and tell parts apart in the key."
            )
            judged.questions.append(Question(pair.column, told))
