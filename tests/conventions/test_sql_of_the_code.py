"""No SQL is built from data: what is put into a statement is a name of the code's own.

Every call that hands SQL to DuckDB is found in the syntax trees. What stands in its braces must be
the quoting helper, a constant, or the name of a registered frame; any other is listed here with
where it comes from, and one that is not listed fails.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SQL_AT = {"execute": 0, "executemany": 0, "sql": 0, "query_frame": 1, "one_row": 1}
# Rooms whose statements SQLAlchemy builds, with parameters: text goes into one only by these.
BUILT = ("pipelines/events", "pipelines/actions", "pipelines/desk")
# The rooms in which SQL stands; all others ask these for rows.
SQL_ROOMS = ("store", "queries", "events")
BUILT_SQL_AT = {"text": 0, "exec_driver_sql": 0, "sql": 0, "query_frame": 1, "one_row": 1}
HELPERS = {"identifier", "_quoted"}
# By file and expression; each is made of names in the code, and of no cell of any export.
REVIEWED: dict[tuple[str, str], str] = {
    ("pipelines/queries/laid_over.py", "stored"): "what identifier made",
    ("pipelines/queries/laid_over.py", "overlay"): "what identifier made",
    ("pipelines/queries/laid_over.py", "table"): "what identifier made",
    ("pipelines/queries/laid_over.py", "names"): "what identifier made",
    ("pipelines/queries/laid_over.py", "archive"): "what identifier made",
    ("pipelines/queries/laid_over.py", "day"): "a date in ISO 8601",
    ("pipelines/queries/laid_over.py", "left"): "what read_values made, and literals",
    ("pipelines/queries/laid_over.py", "feed"): "a name of DECIDING",
    ("pipelines/store/searched.py", "sql"): "our own texts, without a value",
    ("pipelines/store/searched.py", "column"): "names of our own texts' columns",
    ("pipelines/store/searched.py", "_no_records(feed)"): "names of feeds",
    ("pipelines/queries/blind_sheet.py", "columns"): "two tuples of the module",
    ("pipelines/store/claim_reads.py", "where"): "literals of the callers; values are parameters",
    ("pipelines/store/lookups.py", "chosen"): "what identifier made",
    ("pipelines/store/lookups.py", "known"): "two literals",
    ("pipelines/store/startup_reads.py", "known"): "two literals",
    ("pipelines/store/startup_reads.py", "now"): "a literal of the module and one of a name",
    ("pipelines/store/startup_reads.py", "before"): "the same around the published store's name",
    ("pipelines/store/startup_reads.py", "sql"): "literals of the module",
    ("pipelines/queries/unit_life.py", "sql"): "literals of the module",
    ("pipelines/store/claim_reads.py", "added"): "two literals",
    (
        "pipelines/store/contents.py",
        "' union all '.join(parts[at:at + _TOGETHER])",
    ): "what identifier made, and a table's name in quotes",
    ("pipelines/store/states.py", "columns"): "what identifier made",
    ("pipelines/store/states.py", "places"): "question marks",
    ("pipelines/store/states.py", "marks"): "question marks",
    ("pipelines/store/invalidation.py", "now"): "a literal around export_files",
    ("pipelines/store/invalidation.py", "before"): "a literal around export_files",
    ("pipelines/store/evidence.py", "feed"): "a name of FEEDS",
    ("pipelines/store/evidence.py", "where"): "two literals",
    ("pipelines/store/lookups.py", "table"): "literals of the callers",
    ("pipelines/store/lookups.py", "keys.name"): "names that the callers' own schemas give",
    ("pipelines/store/lookups.py", "feed"): "a name of FEEDS",
    ("pipelines/store/lookups.py", "value"): "what identifier made",
    (
        "pipelines/store/invalidation.py",
        "' union '.join((f'select {place} {part}' for place in places for part in parts))",
    ): "literals around what identifier made",
    ("pipelines/store/database.py", "folders"): "paths that _quoted made",
    (
        "pipelines/store/database.py",
        "sql",
    ): "the parameter of query_frame; its callers are looked at",
    ("pipelines/store/database.py", "' union all '.join(parts)"): "names of tables, quoted",
    ("pipelines/store/database.py", "chosen"): "what identifier made",
    ("pipelines/store/merging.py", "column"): "what identifier made",
    ("pipelines/store/merging.py", "columns"): "what identifier made",
    ("pipelines/store/merging.py", "within"): "literals around what identifier made",
    ("pipelines/store/row_parts.py", "table"): "what identifier made",
    ("pipelines/store/row_parts.py", "key"): "what identifier made",
    ("pipelines/store/row_parts.py", "chosen"): "what identifier made",
    ("pipelines/store/row_parts.py", "part"): "literals around what identifier made, and a number",
    ("pipelines/store/views.py", "columns"): "what identifier made",
    ("pipelines/store/views.py", "day"): "a date in ISO 8601",
    ("pipelines/store/views.py", "_SQL[name]"): "literals of the module",
    ("pipelines/store/descriptions.py", "key"): "what identifier made",
    (
        "pipelines/store/descriptions.py",
        "' union all '.join(map(_twice, some))",
    ): "what identifier made",
    ("pipelines/store/descriptions.py", "kind"): "one of two literals",
    ("pipelines/store/table_files.py", "source"): "what identifier made, or a registered frame",
    ("pipelines/store/table_files.py", "hashed"): "what identifier made",
    ("pipelines/queries/past_explanation.py", "columns"): "names and literals of the code",
    ("pipelines/store/claim_reads.py", "columns"): "names and literals of the code",
    ("pipelines/store/archive/seals.py", "names"): "names and literals of the code",
    ("pipelines/store/archive/files.py", "form"): "a Parquet form of the code",
    ("pipelines/store/archive/files.py", "quoted"): "a path, quotes doubled",
    ("pipelines/store/archive/files.py", "rows"): "names and literals of the code",
    ("pipelines/store/archive/reading.py", "feed"): "feeds and tables",
    ("pipelines/store/archive/reading.py", "names"): "names and literals of the code",
    ("pipelines/store/archive/reading.py", "one"): "names and literals of the code",
    ("pipelines/store/archive/reading.py", "places"): "names and literals of the code",
    ("pipelines/store/archive/reading.py", "publication"): "a whole number, the publication's",
    (
        "pipelines/store/archive/reading.py",
        "read_values(feed)",
    ): "names of columns",
    ("pipelines/store/archive/recovery.py", "columns"): "names and literals of the code",
    ("pipelines/store/archive/recovery.py", "fields"): "names and literals of the code",
    ("pipelines/store/archive/recovery.py", "name"): "feeds and tables",
    ("pipelines/store/archive/moved.py", "publication"): "a whole number, the publication's",
    ("pipelines/store/archive/moved.py", "same"): "names and literals of the code",
    (
        "pipelines/store/archive/tables.py",
        "_listed(columns, 'd')",
    ): "names and literals of the code",
    ("pipelines/store/archive/tables.py", "name"): "feeds and tables",
    ("pipelines/store/archive/tables.py", "publication"): "a whole number, the publication's",
    ("pipelines/store/archive/tables.py", "same"): "names of columns",
    ("pipelines/store/arrivals.py", "before"): "feeds and tables",
    ("pipelines/store/arrivals.py", "feed"): "feeds and tables",
    ("pipelines/store/arrivals.py", "key_text(feed)"): "names of columns",
    ("pipelines/store/arrivals.py", "parsed"): "feeds and tables",
    ("pipelines/store/arrivals.py", "row_sha256(feed)"): "names of columns",
    (
        "pipelines/store/arrivals.py",
        "same_content(feed, 'n', 'o')",
    ): "names of columns",
    (
        "pipelines/store/arrivals.py",
        "same_content(feed, 'n', 'p')",
    ): "names of columns",
    (
        "pipelines/store/arrivals.py",
        "same_key(feed, 'n', 'o')",
    ): "names of columns",
    (
        "pipelines/store/arrivals.py",
        "same_key(feed, 'n', 'p')",
    ): "names of columns",
    ("pipelines/store/arrivals.py", "table"): "feeds and tables",
    (
        "pipelines/store/considered.py",
        "' union all '.join(parts)",
    ): "names and literals of the code",
    ("pipelines/store/considered.py", "name"): "feeds and tables",
    ("pipelines/store/evidence.py", "columns"): "names and literals of the code",
    ("pipelines/store/archive/rows.py", "came"): "names and literals of the code",
    ("pipelines/store/archive/rows.py", "feed"): "feeds and tables",
    ("pipelines/store/archive/rows.py", "files"): "paths, quotes doubled",
    ("pipelines/store/archive/rows.py", "row_sha256(feed)"): "names of columns",
    ("pipelines/store/archive/rows.py", "rows_as_archived(feed, left)"): "names of columns",
    ("pipelines/store/archive/rows.py", "table"): "feeds and tables",
    ("pipelines/store/archive/views.py", "files"): "paths, quotes doubled",
    ("pipelines/store/archive/views.py", "quoted"): "paths, quotes doubled",
    (
        "pipelines/store/archive/views.py",
        'str(into).replace("\'", "\'\'")',
    ): "paths, quotes doubled",
    ("pipelines/store/archive/views.py", "table"): "feeds and tables",
    ("pipelines/queries/judging_now.py", "columns"): "what identifier made",
    ("pipelines/queries/judging_now.py", "joined"): "what identifier made",
    ("pipelines/queries/slices.py", "table"): "what identifier made",
    ("pipelines/queries/slices.py", "where"): "literals of the callers; values are parameters",
    ("pipelines/queries/unused_rows.py", "keys"): "what identifier made",
    ("pipelines/queries/unused_rows.py", "joined"): "what identifier made",
    ("pipelines/queries/store_now.py", "columns"): "what identifier made",
    ("pipelines/queries/store_now.py", "keys"): "what identifier made",
    ("pipelines/queries/store_now.py", "records"): "what identifier made",
    ("pipelines/queries/store_now.py", "stored"): "what identifier made",
    ("pipelines/store/correction_states.py", "where"): "what identifier made",
    ("pipelines/store/correction_states.py", "columns"): "what identifier made",
    ("pipelines/queries/decided_since.py", "columns"): "what identifier made",
    ("pipelines/queries/decided_since.py", "table"): "what identifier made",
    ("pipelines/queries/decided_since.py", "joined"): "what identifier made",
    ("pipelines/queries/store_now.py", "table"): "what identifier made",
    (
        "pipelines/events/connecting.py",
        "'begin immediate' if writes else 'begin'",
    ): "two literals",
}


def pieces(tree: ast.Module, sql_at: Mapping[str, int] = SQL_AT) -> Iterator[tuple[int, str]]:
    """Line and source of everything that is put into SQL and is not plainly of the code."""
    frames = {
        item.optional_vars.id
        for node in ast.walk(tree)
        if isinstance(node, ast.With)
        for item in node.items
        if isinstance(item.context_expr, ast.Call)
        and getattr(item.context_expr.func, "id", "") in ("registered", "read_once")
        and isinstance(item.optional_vars, ast.Name)
    }
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "attr", None) or getattr(node.func, "id", "")
        at = sql_at.get(name)
        if at is None:
            continue
        named = [word.value for word in node.keywords if word.arg in ("sql", "query")]
        for sql in [*node.args[at : at + 1], *named]:
            for part in parts_of(sql):
                if not is_of_the_code(part, frames):
                    yield node.lineno, ast.unparse(part)


def parts_of(sql: ast.expr) -> list[ast.expr]:
    """What a statement is put together from, without its literal text."""
    if isinstance(sql, ast.Constant):
        return []
    if isinstance(sql, ast.JoinedStr):
        return [part.value for part in sql.values if isinstance(part, ast.FormattedValue)]
    if isinstance(sql, ast.BinOp) and isinstance(sql.op, ast.Add):
        return [*parts_of(sql.left), *parts_of(sql.right)]
    return [sql]


def is_of_the_code(part: ast.expr, frames: set[str]) -> bool:
    """The helper around a name, a constant of the module, or a registered frame."""
    if isinstance(part, ast.Call):
        return getattr(part.func, "id", "") in HELPERS
    return isinstance(part, ast.Name) and (part.id.isupper() or part.id in frames)


def found() -> dict[tuple[str, str], int]:
    """What is not plainly of the code, by file and source, with its line."""
    return {
        (name, source): line
        for folder in ("pipelines", "dashboards")
        for path in sorted((ROOT / folder).rglob("*.py"))
        for name in [str(path.relative_to(ROOT))]
        for line, source in pieces(
            ast.parse(path.read_text(encoding="utf-8")),
            BUILT_SQL_AT if name.startswith(BUILT) else SQL_AT,
        )
    }


def test_no_sql_is_built_from_data() -> None:
    """A piece that is new is to be quoted by `identifier`, passed as a parameter, or reviewed."""
    new = {
        f"{file}:{line}: {source}"
        for (file, source), line in found().items()
        if (file, source) not in REVIEWED
    }
    assert new == set()


def test_the_list_names_nothing_that_is_gone() -> None:
    """A reviewed piece that no statement holds any more must not cover a later one."""
    assert set(REVIEWED) - set(found()) == set()


@pytest.mark.parametrize(
    "snippet",
    [
        "con.execute(f\"select * from t where claim = '{claim}'\")",
        "con.execute('select * from t where claim = ' + row[0])",
        "con.sql('select {}'.format(value))",
        "con.execute('select %s' % value)",
        "query_frame(con, f\"select * from {frame['table'][0]}\")",
        "one_row(con, sql=f'select {value}')",
        "con.execute(text)",
    ],
)
def test_sql_from_data_would_be_told(snippet: str) -> None:
    """The check can fail."""
    assert list(pieces(ast.parse(snippet)))


@pytest.mark.parametrize(
    "snippet",
    [
        "con.execute('select * from t where claim = ?', [claim])",
        "con.execute(f'select * from {identifier(name)} limit {MOST}')",
        "with registered(con, frame) as source:\n    con.execute(f'select * from {source}')",
    ],
)
def test_names_of_the_code_pass(snippet: str) -> None:
    """And it can pass."""
    assert not list(pieces(ast.parse(snippet)))


def test_sql_stands_where_it_is_looked_for() -> None:
    """No module outside the store, the queries and the desk's database hands text to a database."""
    modules = [
        path
        for path in sorted((ROOT / "pipelines").rglob("*.py"))
        if path.relative_to(ROOT / "pipelines").parts[0] not in SQL_ROOMS
    ]
    assert modules
    found = [
        f"{path.relative_to(ROOT)} line {line}"
        for path in modules
        for line in lines_with_sql(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert found == []


def lines_with_sql(tree: ast.Module) -> Iterator[int]:
    """Lines of calls that hand a database SQL as text, by whatever name it goes."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "attr", None) or getattr(node.func, "id", "")
        at = SQL_AT.get(name)
        # A statement that SQLAlchemy built is no text.
        handed = node.args[at : at + 1] if at is not None and name != "execute" else []
        if name == "execute":
            handed = [one for one in node.args[:1] if isinstance(one, ast.Constant | ast.JoinedStr)]
        if handed:
            yield node.lineno


def test_a_text_handed_over_elsewhere_would_be_seen() -> None:
    """Each way is found; a statement that SQLAlchemy built is none."""
    code = """
con.execute("select 1")
query_frame(con, SQL)
con.sql(f"from {name}")
connection.execute(sa.select(USERS))
"""
    assert list(lines_with_sql(ast.parse(code))) == [2, 3, 4]
