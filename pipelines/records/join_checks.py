"""What may be wrong with the [[join]] entries of a mapping, each fault with its key.

Belongs here: the checks of entries and of what names their headers. Does not belong here: the rest
of a mapping (`mapping_checks`), files and their headers (`joining`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from pipelines.records.rule_checks import (
    Fault,
    leave_out_faults,
    marks_faults,
    step_faults,
    texts_fault,
)
from pipelines.records.scope_checks import scope_faults
from pipelines.workspace.toml_file import show, suggest

JOIN_PARTS = (
    "name",
    "files",
    "sheets",
    "header_row",
    "decimal",
    "thousands",
    "valid_from",
    "valid_until",
    "on",
    "on_steps",
    "sum",
    "first",
    "leave_out",
)
_NAME = re.compile(r"[^\W\d][\w-]*")


def join_faults(data: dict[str, Any]) -> Iterator[Fault]:
    """Faults of every entry of a mapping's parsed TOML."""
    entries = data.get("join", [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        yield ("join",), "is no list of entries; begin each with [[join]]."
        return
    decimal = data.get("decimal")
    seen: set[str] = set()
    for number, entry in enumerate(entries, 1):
        key = ("join", str(number))
        yield from ((key, fault) for fault in _entry_faults(entry))
        yield from scope_faults({n: v for n, v in entry.items() if n != "file_date"}, key)
        yield from marks_faults(entry, key, decimal if decimal in (".", ",") else ".")
        yield from leave_out_faults(entry.get("leave_out", []), key)
        name = entry.get("name")
        if isinstance(name, str) and name.casefold() in seen:
            yield key, f"has the name {show(name)}, which another join has; give it its own."
        seen.add(str(name).casefold())


def _entry_faults(entry: dict[str, Any]) -> Iterator[str]:
    for part in entry:
        if part not in JOIN_PARTS:
            yield f"has {part}, which is no part of a join; {suggest(part, JOIN_PARTS)}"
    name = entry.get("name")
    if not isinstance(name, str) or not _NAME.fullmatch(name):
        fault = "has no name" if name is None else f"has the name {show(name)}"
        yield f'{fault}; write letters and digits in quotes, name = "claim".'
    if "files" not in entry:
        yield 'has no files; write a list of names, files = ["claims_header*.csv"].'
    yield from _key_faults(entry)
    seen: set[str] = set()
    for part in ("sum", "first"):
        made = entry.get(part, {})
        if not isinstance(made, dict):
            yield f'has {part}, which is {show(made)}; write {part}.parts = {{ header = "Ext" }}.'
            continue
        for header, one in made.items():
            yield from (f"has {part}.{header}, which {fault}" for fault in _made_faults(one))
            if header.casefold() in seen:
                yield f"makes {header} twice, by sum and by first; give each its own name."
            seen.add(header.casefold())


def _key_faults(entry: dict[str, Any]) -> Iterator[str]:
    pairs = entry.get("on")
    if (
        not isinstance(pairs, dict)
        or not pairs
        or not all(map(_is_text, (*pairs, *pairs.values())))
    ):
        fault = "has no on" if pairs is None else f"has on, which is {show(pairs)}"
        example = '{ "Order" = "Order_Ref" }'
        yield f"{fault}; write a header so far and one of the joined file, as in {example}."
    steps = entry.get("on_steps", [])
    if not isinstance(steps, list) or not all(isinstance(step, dict) for step in steps):
        yield f"has on_steps, which is {show(steps)}; write a list, [ {{ strip_zeros = true }} ]."
        return
    for step in steps:
        if "split" in step:
            yield "has on_steps with split, which is for columns alone; take it out."
            continue
        yield from (f"has on_steps: it {fault}" for fault in step_faults(step, 0, "text"))


def _made_faults(entry: object) -> Iterator[str]:
    """Faults of one header that is made, as the end of a sentence."""
    if not isinstance(entry, dict):
        yield f'is {show(entry)}; write {{ header = "Ext", where = {{ Type = ["MAT"] }} }}.'
        return
    for name in entry:
        if name not in ("header", "where"):
            yield f"has {name}; {suggest(name, ('header', 'where'))}"
    if not _is_text(entry.get("header")):
        yield "names no header; write header = and the joined file's header in quotes."
    where = entry.get("where", {})
    if not isinstance(where, dict) or not all(map(_is_text, where)):
        yield f'has where, which is {show(where)}; write {{ Type = ["MAT"] }}.'
        return
    for header, cells in where.items():
        if not isinstance(cells, str) and (fault := texts_fault(cells)):
            yield f"has where.{header}, which {fault}"


def unmade_headers(data: dict[str, Any]) -> Iterator[Fault]:
    """Headers that are named of a join that makes its own and does not make these."""
    entries = [entry for entry in _tables(data.get("join")) if isinstance(entry.get("name"), str)]
    made = {
        entry["name"].casefold(): [
            name for part in ("sum", "first") for name in _table(entry.get(part))
        ]
        for entry in entries
        if "sum" in entry or "first" in entry
    }
    for key, header in _headers_named(data, entries):
        name, dot, rest = header.partition(".")
        names = made.get(name.strip().casefold())
        if not dot or names is None or rest.strip().startswith("#"):
            continue
        if rest.strip().casefold() not in [one.casefold() for one in names]:
            near = suggest(rest.strip(), names)
            yield key, f"names {show(header)}, which the join {name} does not make; {near}"


def _headers_named(
    data: dict[str, Any], entries: list[dict[str, Any]]
) -> Iterator[tuple[tuple[str, ...], str]]:
    for column, source in _table(data.get("columns")).items():
        table = _table(source)
        listed = table.get("join", table.get("first", [])) if table else [source]
        for header in listed if isinstance(listed, list) else []:
            if isinstance(header, str):
                yield ("columns", column), header
    for number, entry in enumerate(_tables(data.get("leave_out")), 1):
        for test in (entry, *_tables(entry.get("also"))):
            if isinstance(test.get("header"), str):
                yield ("leave_out", str(number)), test["header"]
    for number, entry in enumerate(entries, 1):
        for left in _table(entry.get("on")):
            yield ("join", str(number)), left


def _table(value: object) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _tables(value: object) -> list[dict[str, Any]]:
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())
