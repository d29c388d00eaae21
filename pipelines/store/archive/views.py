"""The files of the archive as tables: views of DuckDB over them.

Belongs here: opening them. Does not belong here: whether they are whole (`chain`), or what is read
of them (`reading`).
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import duckdb
import polars as pl

from pipelines.store.archive.chain import Chain
from pipelines.store.archive.files import HISTORY, KEPT
from pipelines.store.frames_for_sql import registered
from schemas.archive import ARCHIVE_TABLES
from schemas.columns import polars_schema
from schemas.decisions import DecisionHistory


@contextmanager
def archive_views(
    folder: Path, chain: Chain, into: Path | None = None
) -> Iterator[duckdb.DuckDBPyConnection]:
    """The tables of those files of an archive that are there, as views.

    `into` is a database to write, under the name `made`.
    """
    # What does not fit into memory goes where nobody else reads, and not into the workspace.
    with (
        tempfile.TemporaryDirectory(prefix="limeledger-") as spill,
        closing(duckdb.connect(":memory:", config={"temp_directory": spill})) as con,
    ):
        if into is not None:
            con.execute("attach '" + str(into).replace("'", "''") + "' as made")
        con.execute("set enable_progress_bar=false")
        schemas = {**ARCHIVE_TABLES, HISTORY: polars_schema(DecisionHistory)}
        for table in KEPT:
            names = [
                line.file
                for line in chain.lines
                if line.file.rpartition("-")[0] == table and (folder / line.file).is_file()
            ]
            empty = pl.DataFrame(schema=schemas[table])
            if not names:
                with registered(con, empty) as nothing:
                    con.execute(f"create table {table} as select * from {nothing}")
                continue
            files = ", ".join("'" + str(folder / name).replace("'", "''") + "'" for name in names)
            con.execute(
                f"create view {table} as "
                f"select * from read_parquet([{files}], union_by_name = true, filename = false)"
            )
            # What is told last of a row holds: whether it left.
            if table == "archived_rows":
                con.execute(
                    "create view row_versions as select * exclude (filename), "
                    "regexp_extract(filename, '-([0-9]+)[.]parquet$', 1)::bigint as publication "
                    f"from read_parquet([{files}], union_by_name = true, filename = true)"
                )
        if not _has(con, "row_versions"):
            con.execute(
                "create view row_versions as select *, 0::bigint as publication from archived_rows"
            )
        quoted = str(folder).replace("'", "''")
        con.execute(f"set allowed_directories=['{quoted}']")
        con.execute("set enable_external_access=false")
        yield con


def _has(con: duckdb.DuckDBPyConnection, name: str) -> bool:
    rows = con.execute(
        "select 1 from information_schema.tables where table_name = ?", [name]
    ).fetchall()
    return bool(rows)
