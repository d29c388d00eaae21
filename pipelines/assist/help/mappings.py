"""help/mappings.md: every key of a mapping with an example, every step, test and unit."""

from __future__ import annotations

from collections.abc import Mapping

from pipelines.assist.help.mapping_examples import (
    ENTRIES,
    JOINS,
    KEYS,
    PHRASES,
    STEPS,
    TESTS,
)
from pipelines.records.mapping_checks import BASES
from pipelines.records.units_of_measure import units_of
from schemas.codes import ALIAS_KINDS, FEEDS
from schemas.columns import column_names, fields
from schemas.feeds import FEED_TABLES

_OPENING = """# Mappings

A mapping says how this company's files become a feed: `mappings/NAME.toml`, any number of them. Let
`limeledger map FILE` draft one, `--try` it, `--save` it, and correct it here. A fault in a mapping
stops the refresh with its line; what cannot be read is set aside and never guessed.

This page is made from what checks mappings and renewed by every refresh; changes to it are lost.

Feeds: """

_ROWS = """## Rows that stay out

An entry of `leave_out` needs a `reason`, and tests that must all hold: on a `header`, on the
`first_cell` that is not empty, or on `sheets`; `also` adds tests on other headers. They see cells
as they came.
"""

_ALIASES = f"""## Other spellings

`reference/aliases.csv` (kind, written, means) goes for every feed, after the steps and values of
the mappings. Kinds: {", ".join(ALIAS_KINDS)}. `limeledger codes` drafts it.
"""


# Keys whose entries have parts of their own.
_PARTS_OF = {"join": JOINS, "phrases": PHRASES, "leave_out": ENTRIES}


def mappings_page() -> str:
    """The text of help/mappings.md."""
    parts = [_OPENING + ", ".join(f"`{feed}`" for feed in FEEDS) + ".\n", "## Keys\n"]
    for key, (meaning, example) in KEYS.items():
        parts.append(f"### {key}\n\n{meaning}\n\n```toml\n{example}\n```\n")
        if key in _PARTS_OF:
            parts.append(_table("part", "is", _PARTS_OF[key]))
    parts.append("## Steps\n\nA step that does not apply leaves the text as it is.\n")
    rows = [
        f"| `{verb}` | {meaning} | `{example}` |" for verb, (meaning, example, _) in STEPS.items()
    ]
    parts.append("\n".join(["| step | does | example |", "| --- | --- | --- |", *rows]) + "\n")
    parts += [_ROWS, _table("test", "holds for", TESTS)]
    parts += [_ALIASES, _units(), _columns(), _words()]
    return "\n".join(parts)


def _table(name: str, does: str, entries: Mapping[str, tuple[str, str]]) -> str:
    """What each entry does, and its example."""
    rows = [f"| `{one}` | {says} | `{example}` |" for one, (says, example) in entries.items()]
    return "\n".join([f"| {name} | {does} | example |", "| --- | --- | --- |", *rows]) + "\n"


def _units() -> str:
    """The units that columns take, those that take the same together."""
    taking: dict[tuple[str, ...], list[str]] = {}
    for column in dict.fromkeys(c for table in FEED_TABLES.values() for c in column_names(table)):
        units = tuple(units_of(column)) if _is_measured(column) else ()
        if units:
            taking.setdefault(units, []).append(column)
    rows = [
        f"| {', '.join(f'`{c}`' for c in columns)} | {', '.join(f'`{u}`' for u in units)} |"
        for units, columns in taking.items()
    ]
    bases = "; ".join(f"`{column}`: {', '.join(choices)}" for column, choices in BASES.items())
    table_head = (
        "In any case, spaces and a closing `@25C` ignored; `µ` as `u`, with or without `°`.\n\n"
        "| columns | units |\n| --- | --- |\n"
    )
    return f"## Units\n\n{table_head}" + "\n".join(rows) + f"\n\nBases of analytes: {bases}.\n"


def _is_measured(column: str) -> bool:
    for table in FEED_TABLES.values():
        field = fields(table).get(column)
        if field is not None:
            return (field.metadata or {})["kind"] in ("number", "analyte")
    return False


def _columns() -> str:
    """The columns of each feed, as data-dictionary.md describes them."""
    rows = [
        f"| `{feed}` | {', '.join(_marked(name, field) for name, field in fields(table).items())} |"
        for feed, table in FEED_TABLES.items()
    ]
    head = ["| feed | columns, those with ! are needed |", "| --- | --- |"]
    return "\n".join(["## Columns\n", *head, *rows]) + "\n"


def _words() -> str:
    """What columns of few words say, in whatever way a mapping comes to it."""
    listed: dict[str, list[str]] = {}
    for feed, table in FEED_TABLES.items():
        for name, field in fields(table).items():
            metadata = field.metadata or {}
            words = metadata["words"] or (("yes", "no") if metadata["kind"] == "flag" else ())
            if words:
                entry = f"`{name}` of {feed}"
                listed.setdefault(", ".join(f"`{word}`" for word in words), []).append(entry)
    rows = [f"| {', '.join(columns)} | {words} |" for words, columns in listed.items()]
    opening = "What `values`, `phrases` and `constants` may give these columns, in any case."
    head = ["| columns | words |", "| --- | --- |"]
    return "\n".join(["## Words\n", opening, "", *head, *rows]) + "\n"


def _marked(name: str, field: object) -> str:
    metadata = getattr(field, "metadata", None) or {}
    return f"`{name}`!" if metadata.get("required") else f"`{name}`"
