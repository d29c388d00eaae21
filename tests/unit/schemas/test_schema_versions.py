"""No column goes or changes without a version that says so and a line that tells what to use."""

import json
from pathlib import Path

from schemas.catalog import CATALOG
from schemas.versions import CHANGES, SCHEMA_VERSION, changes_markdown

SNAPSHOT = json.loads(
    Path(__file__).with_name("schema_snapshot.json").read_text(encoding="utf-8")
)  # the columns of the version before: table, column, kind and unit
NOW = {
    name: {column.name: [column.kind, column.unit] for column in table.columns}
    for name, table in CATALOG.items()
}


def untold(before: dict, now: dict, version: str, since: str, lines: list) -> list[str]:
    """What changed between two versions' columns and is not told, or by too small a number."""
    was, is_now = ([int(part) for part in text.split(".")] for text in (since, version))
    told = {(change.table, change.column) for change in lines if change.version == version}
    faults = []
    for table, columns in before.items():
        for column, form in columns.items():
            if now.get(table, {}).get(column) == form:
                continue
            if not {(table, column), (table, "")} & told:
                faults.append(f"{table}.{column} has no line")
            if is_now[0] <= was[0]:
                faults.append(f"{table}.{column} needs a new first number")
    added = [
        f"{table}.{column}"
        for table, columns in now.items()
        for column in columns
        if column not in before.get(table, {})
    ]
    if added and is_now[:2] <= was[:2]:
        faults.append(f"{added[0]} needs a new second number")
    return faults


def test_every_change_since_the_last_version_is_told():
    """Columns that went or changed have a line, and the version went up far enough."""
    assert len(SNAPSHOT["tables"]) > 30
    assert not untold(SNAPSHOT["tables"], NOW, SCHEMA_VERSION, SNAPSHOT["version"], list(CHANGES))


def test_a_change_that_is_not_told_is_noticed():
    """The check can fail: for a column that went, one of another kind, and one that was added."""
    before = {"t": {"a": ["text", None], "b": ["number", "mg/L"]}}
    of_another_unit = {"t": {"a": ["text", None], "b": ["number", "g/L"]}}
    more = {"t": {**before["t"], "c": ["day", None]}}
    assert untold(before, before, "1.0.0", "1.0.0", []) == []
    assert untold(before, of_another_unit, "2.0.0", "1.0.0", []) == ["t.b has no line"]
    assert untold(before, {"t": {}}, "1.1.0", "1.0.0", []) == [
        "t.a has no line",
        "t.a needs a new first number",
        "t.b has no line",
        "t.b needs a new first number",
    ]
    assert untold(before, more, "1.0.1", "1.0.0", []) == ["t.c needs a new second number"]
    assert untold(before, more, "1.1.0", "1.0.0", []) == []


def test_the_changes_are_told_newest_first_with_what_to_use():
    """CHANGES.md opens with the current version; what went names its stand-in."""
    text = changes_markdown()
    assert text.index(f"## {SCHEMA_VERSION}") < text.index("`findings.evidence`")
    assert "Use instead" in text.split("`findings.evidence`")[1].split("\n")[0]
    versions = [change.version for change in CHANGES]
    assert versions == sorted(versions, reverse=True)


def test_every_addition_is_told():
    """A table or column that readers find for the first time has its line."""
    told = {(change.table, change.column) for change in CHANGES}
    published = {name: table for name, table in CATALOG.items() if table.published}
    new = {
        (name, column.name)
        for name, table in published.items()
        for column in table.columns
        if column.name not in SNAPSHOT["tables"].get(name, {})
    }
    assert len(new) > 100
    assert {one for one in new if not {one, (one[0], "")} & told} == set()
