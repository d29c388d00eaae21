"""How a table writes its numbers and days, and which days two formats read differently.

Belongs here: choosing forms for all columns together. Does not belong here: the forms (`forms`).
"""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipelines.assist.drafts.fit import kind_of
from pipelines.assist.drafts.forms import DateForms, date_forms, number_marks
from pipelines.assist.drafts.judgment import Judged, Question, pair_header
from pipelines.assist.drafts.pairing import PERHAPS, Pair
from pipelines.assist.drafts.proposed_rows import (
    data_rows,
)
from pipelines.records.numerals import Marks

_DAYS = ("day", "moment")
_NUMBERS = ("number", "analyte", "integer", "money", "hours")


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


def judge_marks(judged: Judged) -> None:
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
        question = "Every comma may be for thousands or for fractions; which of the two is it?"
        judged.questions.append(Question("decimal", question))
        return
    judged.marks = best[0]


def judge_dates(judged: Judged) -> None:
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
            reason = f"written as {', '.join(forms)}, unlike other columns"
            rows = judged.profiles[pair.place].count
            if forms:
                judged.steps[pair.column].add({"date": forms}, reason, rows)
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
    question = (
        f'{form} and {rival} both read all dates of "{pair_header(judged, pair)}", and {rows} '
        "rows as different days; which of the two does the export write?"
    )
    judged.questions.append(Question(pair.column, question))
    reason = f"{pair.reason}; two formats read its dates as different days"
    return replace(pair, state=PERHAPS, reason=reason)
