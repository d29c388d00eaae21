"""What may be wrong with the part of a mapping that says which files it is for.

Belongs here: feed, files, sheets, header row, days. Does not belong here: what is read from the
files (`mapping_checks`, `rule_checks`), two mappings beside each other (`serving`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from pipelines.records.dates import FormatFault, format_pattern
from pipelines.workspace.toml_file import is_whole, show, suggest
from schemas.codes import FEEDS

Fault = tuple[tuple[str, ...], str]
SCOPE = ("feed", "files", "sheets", "header_row", "file_date", "valid_from", "valid_until")
_LAST_ROW = 1_048_576


def feed_of(data: dict[str, Any], stem: str) -> str | None:
    """The feed that a mapping is for: the one that it names, else the one in its file's name."""
    feed = data.get("feed", stem.casefold())
    return feed if feed in FEEDS else None


def feed_fault(data: dict[str, Any], stem: str) -> Fault:
    """Why a mapping is for no feed."""
    if "feed" in data:
        feed = data["feed"]
        near = suggest(feed, FEEDS) if isinstance(feed, str) else "write its name in quotes."
        return ("feed",), f"is {show(feed)}, which is no feed; {near}"
    return (
        ("feed",),
        f"is missing, and {stem}.toml is not called after a feed; write feed = and one of: "
        f"{', '.join(FEEDS)}.",
    )


def scope_faults(data: dict[str, Any], above: tuple[str, ...] = ()) -> Iterator[Fault]:
    """Faults of all but `feed`; `above` is the key of what they stand in."""
    for name in ("files", "sheets"):
        if name in data and not _is_texts(data[name]):
            sentence = 'write a list of names, such as ["Orders 20*"]'
            yield (*above, name), f"is {show(data[name])}; {sentence}."
    row = data.get("header_row", 1)
    if not is_whole(row) or not 1 <= row <= _LAST_ROW:
        yield (
            (*above, "header_row"),
            f"is {show(row)}; write the number of a line, from 1 to {_LAST_ROW:,}.",
        )
    if "file_date" in data:
        form = data["file_date"]
        try:
            format_pattern(form if isinstance(form, str) else "")
        except FormatFault as fault:
            yield (*above, "file_date"), f"is {show(form)}, which {fault}"
    for name in ("valid_from", "valid_until"):
        day = data.get(name, dt.date.min)
        if not isinstance(day, dt.date) or isinstance(day, dt.datetime):
            yield (*above, name), f"is {show(day)}; write a day without quotes, as in 2025-03-01."
            return
    first, last = data.get("valid_from"), data.get("valid_until")
    if first is not None and last is not None and first > last:
        sentence = f"is {first}, which is after valid_until, {last}; exchange the two"
        yield (*above, "valid_from"), f"{sentence}."


def _is_texts(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, str) and v for v in value)
