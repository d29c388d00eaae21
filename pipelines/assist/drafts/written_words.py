"""Lines of a draft about single cells: steps, translations, phrases, and aliases in its opening.

Belongs here: the entries and their reasons. Does not belong here: columns and units (`writing`).
"""

from __future__ import annotations

from pipelines.assist.drafts.judgment import Judged
from pipelines.assist.drafts.pairing import ACTIVE
from pipelines.assist.drafts.toml_text import Draft
from schemas.columns import fields
from schemas.feeds import FEED_TABLES


def write_words(draft: Draft, judged: Judged) -> None:
    """Translations, phrases, and other spellings of known codes."""
    states = {pair.column: pair for pair in judged.pairs}
    for one in judged.translations:
        listed = (fields(FEED_TABLES[judged.guess.feed])[one.column].metadata or {})["words"]
        remark = rows_of(one.rows)
        pair = states[one.column]
        is_active = one.state == ACTIVE and (pair.state == ACTIVE or pair.by_own_name)
        if one.state != ACTIVE:
            remark += (
                f", set aside until translated into one of: {', '.join(listed or ['yes', 'no'])}"
            )
        draft.add(f"values.{one.column}", one.written, one.means or "…", is_active, remark)
    for phrase in judged.phrases[:20]:
        value = {"any": phrase.any, "code": phrase.code}
        remark = f'"{judged.phrases_of}" holds these words in {rows_of(phrase.rows)}'
        draft.add("[[phrases.cause]]", "", value, False, remark)
    if judged.aliases:
        lines = [
            f"{one.kind},{_csv(one.written)},{_csv(one.means)}  ({rows_of(one.rows)})"
            for one in judged.aliases
        ]
        remark = "Other spellings of known codes; lines for reference/aliases.csv, if you agree:"
        draft.opening += [remark, *(f"    {line}" for line in lines)]


def _csv(text: str) -> str:
    quoted = '"' + text.replace('"', '""') + '"'
    return quoted if any(mark in text for mark in ',"\n\r') else text


def write_transforms(draft: Draft, judged: Judged) -> None:
    """The steps of each column; splits wait for a person."""
    for pair in judged.pairs:
        steps = judged.steps[pair.column]
        if steps.steps:
            is_active = pair.state == ACTIVE or pair.by_own_name
            draft.add("transforms", pair.column, steps.steps, is_active, "; ".join(steps.reasons))
        if steps.splits:
            place = "in place of the line above: " if steps.steps else ""
            rows = rows_of(steps.split_rows)
            remark = f"{place}{rows} hold several; the key must tell the parts apart"
            value = [{"split": steps.splits}, *steps.steps]
            draft.add("transforms", pair.column, value, False, remark)


def rows_of(number: int) -> str:
    """A number of rows, in words."""
    return f"{number} row{'' if number == 1 else 's'}"
