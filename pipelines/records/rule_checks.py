"""What may be wrong with the parts of a mapping that change, code and leave out cells.

Belongs here: the checks of transforms, phrases and leave_out entries, each fault with its key. Does
not belong here: scope, columns and values (`mapping_checks`, `scope_checks`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from decimal import Decimal
from typing import Any

import polars as pl

from pipelines.records.dates import FormatFault, format_pattern
from pipelines.workspace.toml_file import is_number, is_whole, show, suggest

Fault = tuple[tuple[str, ...], str]  # key, the rest of a sentence that begins with it
TESTS = ("is", "is_not", "matches", "empty", "below", "above")
# Of an entry of leave_out beside its tests; of a phrase.
ENTRY_PARTS = ("reason", "header", "first_cell", "also", "sheets")
PHRASE_PARTS = ("any", "matches", "otherwise", "code")
_DAYS = ("day", "moment")
_NUMBERS = ("integer", "money", "hours", "number", "analyte")
_MEASURED = ("number", "analyte")
_LONGEST_PAD = 64
_THOUSANDS = (",", ".", " ", "'")


def regex_fault(pattern: object) -> str | None:
    """Why the engine that searches whole columns cannot take a regular expression; else None."""
    if not isinstance(pattern, str) or not pattern:
        return f"is {show(pattern)}; write a regular expression in quotes."
    try:
        pl.select(pl.lit("").str.contains(f"(?i){pattern}", strict=True))
    except pl.exceptions.PolarsError:
        return (
            f"is {show(pattern)}, which is no regular expression of the linear-time kind; back "
            "references and look-around are not known to it, so write it without."
        )
    return None


def texts_fault(value: object) -> str | None:
    """What is wrong with a list of texts; None where nothing is."""
    if isinstance(value, list) and value and all(isinstance(t, str) and t for t in value):
        return None
    return f'is {show(value)}; write a list of texts, such as ["N/A"].'


def _text(value: object) -> str | None:
    if isinstance(value, str) and value:
        return None
    return f'is {show(value)}; write a text in quotes, such as " / ".'


def _pair(value: object) -> str | None:
    if isinstance(value, list) and len(value) == 2 and all(isinstance(t, str) for t in value):
        return None if value[0] else "looks for nothing; write the text to replace first."
    return f'is {show(value)}; write two texts, such as ["old", "new"].'


def _true(value: object) -> str | None:
    return None if value is True else f"is {show(value)}; write true, or take the step out."


def _width(value: object) -> str | None:
    if is_whole(value) and 1 <= int(str(value)) <= _LONGEST_PAD:
        return None
    return f"is {show(value)}; write a whole number from 1 to {_LONGEST_PAD}."


def _epoch(value: object) -> str | None:
    return None if value in (1900, 1904) else f"is {show(value)}; write 1900 or 1904."


def _formats(value: object) -> str | None:
    if problem := texts_fault(value):
        return problem
    assert isinstance(value, list)
    for form in value:
        try:
            format_pattern(form)
        except FormatFault as fault:
            return f"holds {show(form)}, which {fault}"
    return None


# What each verb takes, and the kinds of columns that it may change (none: all).
VERBS: dict[str, tuple[Callable[[object], str | None], tuple[str, ...]]] = {
    "split": (texts_fault, ()),
    "before": (_text, ()),
    "after": (_text, ()),
    "extract": (regex_fault, ()),
    "remove": (texts_fault, ()),
    "replace": (_pair, ()),
    "empty": (texts_fault, ()),
    "pad": (_width, ()),
    "strip_zeros": (_true, ()),
    "upper": (_true, ()),
    "key": (_true, ()),
    "excel_date": (_epoch, _DAYS),
    "date": (_formats, _DAYS),
    "trailing_minus": (_true, _NUMBERS),
    "negate": (_true, _NUMBERS),
    "cell_unit": (_true, _MEASURED),
}
_WANTED = {_DAYS: "dates", _NUMBERS: "numbers", _MEASURED: "measurements"}


def marks_faults(
    data: dict[str, Any], above: tuple[str, ...] = (), decimal: object = "."
) -> Iterator[Fault]:
    """Faults of decimal and thousands; `above` is their key, `decimal` what holds without one."""
    decimal, thousands = data.get("decimal", decimal), data.get("thousands")
    if decimal not in (".", ","):
        yield (*above, "decimal"), f'is {show(decimal)}; write "." or ",".'
    elif thousands is not None and thousands not in _THOUSANDS:
        yield (*above, "thousands"), f'is {show(thousands)}; write ",", ".", " " or "\'".'
    elif thousands == decimal:
        why = "the decimal mark already; a number cannot use it for both"
        yield (*above, "thousands"), f"is {show(thousands)}, {why}: correct one of them."


def transform_faults(
    feed: str, transforms: object, known: Collection[str], kind: Callable[[str], str]
) -> Iterator[Fault]:
    """Faults of [transforms].

    Args:
        feed: the feed.
        transforms: the table as written.
        known: the columns that may have steps.
        kind: tells what a column holds.
    """
    if not isinstance(transforms, dict):
        return
    splits = []
    for column, steps in transforms.items():
        key = ("transforms", column)
        if column not in known:
            yield key, f"is no column of {feed}; {suggest(column, known)}"
            continue
        if not isinstance(steps, list) or not all(isinstance(step, dict) for step in steps):
            yield key, f"is {show(steps)}; write a list of steps, such as [ {{ pad = 7 }} ]."
            continue
        for place, step in enumerate(steps):
            yield from ((key, fault) for fault in step_faults(step, place, kind(column)))
            if "split" in step:
                splits.append(column)
    if len(splits) > 1:
        fault = f"splits too, as {splits[0]} does; one column a mapping may be split"
        yield ("transforms", splits[1]), f"{fault}, so keep one of the two."


def step_faults(step: dict[str, Any], place: int, kind: str) -> Iterator[str]:
    """Faults of one step at its place, for a column of a kind."""
    if len(step) != 1:
        verbs = " and ".join(step) or "nothing"
        yield f"has a step with {verbs}; write one verb a step, {{ pad = 7 }}, {{ upper = true }}."
        return
    ((verb, value),) = step.items()
    if verb not in VERBS:
        yield f"has the step {verb}, which is not known; {suggest(verb, VERBS)}"
        return
    check, kinds = VERBS[verb]
    if kinds and kind not in kinds:
        yield f"has the step {verb}, which is for {_WANTED[kinds]} alone; take it out."
    elif fault := check(value):
        yield f"has the step {verb}, which {fault}"
    elif verb == "split" and place:
        yield "has the step split behind others; write it first."


def phrase_faults(
    feed: str, phrases: object, known: Collection[str], reads: Callable[[str, str], str | None]
) -> Iterator[Fault]:
    """Faults of [[phrases.<column>]]; `reads` says what is wrong with a code of a column."""
    if not isinstance(phrases, dict):
        return
    for column, entries in phrases.items():
        if column not in known:
            yield ("phrases", column), f"is no column of {feed}; {suggest(column, known)}"
            continue
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            remedy = f"write entries that begin with [[phrases.{column}]]"
            yield ("phrases", column), f"is {show(entries)}; {remedy}."
            continue
        for number, entry in enumerate(entries, 1):
            key = ("phrases", column, str(number))
            is_last = number == len(entries)
            yield from ((key, fault) for fault in _phrase_faults(entry, is_last))
            code = entry.get("code")
            if not isinstance(code, str) or not code.strip():
                yield key, "has no code; write code = and a text in quotes."
            elif wanted_kind := reads(column, code.strip()):
                yield key, f"has the code {show(code)}, which is no {wanted_kind}."


def _phrase_faults(entry: dict[str, Any], is_last: bool) -> Iterator[str]:
    for name in entry:
        if name not in PHRASE_PARTS:
            near = suggest(name, PHRASE_PARTS)
            yield f"has {name}, which is no part of a phrase; {near}"
    tests = [name for name in ("any", "matches", "otherwise") if name in entry]
    if len(tests) != 1:
        yield f"has {' and '.join(tests) or 'no test'}; write one of any, matches and otherwise."
    elif "any" in entry and (fault := texts_fault(entry["any"])):
        yield f"has any, which {fault}"
    elif "matches" in entry and (fault := regex_fault(entry["matches"])):
        yield f"has matches, which {fault}"
    elif "otherwise" in entry and (fault := _true(entry["otherwise"])):
        yield f"has otherwise, which {fault}"
    elif "otherwise" in entry and not is_last:
        yield "has otherwise before others, which would never be reached; write it last."


def leave_out_faults(
    entries: object, above: tuple[str, ...] = (), *, with_sheets: bool = True
) -> Iterator[Fault]:
    """Faults of [[leave_out]]; `above` is the key of what the entries stand in."""
    if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
        yield (*above, "leave_out"), "is no list of entries; begin each with [[leave_out]]."
        return
    parts = [*ENTRY_PARTS[: None if with_sheets else -1], *TESTS]
    for number, entry in enumerate(entries, 1):
        key = (*above, "leave_out", str(number))
        yield from ((key, fault) for fault in _entry_faults(entry, parts))


def _entry_faults(entry: dict[str, Any], parts: list[str]) -> Iterator[str]:
    for name in entry:
        if name not in parts:
            yield f"has {name}, which is no part of an entry; {suggest(name, parts)}"
    reason = entry.get("reason")
    if not isinstance(reason, str) or not reason.strip():
        yield "has no reason, which stands in the accounts; write reason = and a text in quotes."
    for name in ("first_cell", "sheets"):
        if name in entry and (fault := texts_fault(entry[name])):
            yield f"has {name}, which {fault}"
    has_tests = any(name in entry for name in TESTS)
    if "header" in entry or has_tests:
        yield from _test_faults(entry)
    also = entry.get("also", [])
    if not isinstance(also, list) or not all(isinstance(test, dict) for test in also):
        yield f"has also, which is {show(also)}; write a list of tests on other headers."
    else:
        for test in also:
            for name in test:
                if name not in ("header", *TESTS):
                    yield f"has also with {name}; {suggest(name, ('header', *TESTS))}"
            yield from _test_faults(test)
    if not ({"header", "first_cell", "sheets", "also"} & set(entry)) and not has_tests:
        yield "tests nothing; write a header and a test, first_cell, or sheets."


def _test_faults(test: dict[str, Any]) -> Iterator[str]:
    header = test.get("header")
    if not isinstance(header, str) or not header.strip():
        yield "has a test without a header; write header = and the export's header in quotes."
    told_tests = [name for name in TESTS if name in test]
    if not told_tests:
        yield f"has a header and no test; write one of {', '.join(TESTS)}."
    for name in ("is", "is_not"):
        if name in test and not isinstance(test[name], str) and (fault := _cells(test[name])):
            yield f"has {name}, which {fault}"
    if "matches" in test and (fault := regex_fault(test["matches"])):
        yield f"has matches, which {fault}"
    if "empty" in test and not isinstance(test["empty"], bool):
        yield f"has empty, which is {show(test['empty'])}; write true or false."
    for name in ("below", "above"):
        if name in test and not (is_number(test[name]) and isinstance(test[name], int | Decimal)):
            yield f"has {name}, which is {show(test[name])}; write a number."


def _cells(value: object) -> str | None:
    if isinstance(value, list) and value and all(isinstance(t, str) for t in value):
        return None
    return f'is {show(value)}; write a list of cells, such as ["FREIGHT", "FEE*"].'
