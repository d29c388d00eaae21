"""The bundles of frames that decisions and histories look at, read from the store.

Belongs here: reading records and through dates, of the whole fleet or of a part of it that nothing
outside can bear on. Does not belong here: what follows from them.

What is known of a unit rests on its own records and on those of its site; so a part of the fleet is
a set of units with all others at their sites. Its clock may rest on the units that it took over
from, which come along wherever they stood.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator

import duckdb
import polars as pl

from pipelines.coverage.evidence import Evidence
from pipelines.engine.ground import DECIDING, Ground
from pipelines.engine.groups import Parts, divided, number_of_parts
from pipelines.events.ruling_days import days_of
from pipelines.store.database import has_table, identifier, query_frame, read_frame
from pipelines.store.frames_for_sql import registered
from pipelines.store.inputs import Inputs
from schemas.codes import REFERENCES
from schemas.feeds import record_schema


def load_evidence(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, *, only: Collection[str] = DECIDING
) -> Evidence:
    """All records of the store, or those of some feeds alone, with the checked reference files."""
    return _bundle(
        inputs,
        con,
        {
            feed: records(con, feed) if feed in only else pl.DataFrame(schema=record_schema(feed))
            for feed in DECIDING
        },
    )


def evidence_around(inputs: Inputs, con: duckdb.DuckDBPyConnection, serials: pl.Series) -> Evidence:
    """The records that bear on the named units: theirs, and those of the others at their sites.

    So do those of the units that they took over from, and that took over from them.

    Serials that are not on the register bring their records all the same. Feeds that name neither
    unit nor site come whole.
    """
    return _bundle(inputs, con, _records_around(con, serials))


def _records_around(con: duckdb.DuckDBPyConnection, serials: pl.Series) -> dict[str, pl.DataFrame]:
    with registered(
        con, pl.DataFrame({"serial": serials}, schema={"serial": pl.String})
    ) as serials_view:
        con.execute(
            "create or replace temp table sites_around as select distinct site from units "
            f"where site is not null and serial in (select serial from {serials_view})"
        )
        con.execute(
            "create or replace temp table linked_units as "
            "select serial as here, replaces as there from units where replaces is not null "
            "union select replaces, serial from units where replaces is not null"
        )
        con.execute(
            "create or replace temp table serials_around as with recursive around(serial) as ("
            "(select serial from units where site in (select site from sites_around) "
            f"union select serial from {serials_view} where serial is not null) "
            "union select there from linked_units join around on here = around.serial) "
            "select serial from around"
        )
    return {feed: _around(con, feed) for feed in DECIDING}


def ground_of(inputs: Inputs, con: duckdb.DuckDBPyConnection) -> Ground:
    """What all parts of a run share."""
    return Ground.of(inputs.terms, inputs.reference, inputs.settings, _through(con), inputs.as_of)


def fleet(con: duckdb.DuckDBPyConnection, requested: int = 0) -> Parts:
    """The fleet divided: into so many parts, or as many as it asks for where that is 0."""
    units = read_frame(con, "units", columns=["serial", "site", "replaces"])
    if number_of_parts(units.height, requested) == 1:
        return Parts.undivided()
    # What names a unit and its own site ties nothing together that is not tied already.
    ties = query_frame(
        con,
        "select serial, site from water_tests union select serial, site from treatment_purchases "
        "except select serial, site from units",
    )
    return divided(units, ties, requested)


def part_records(con: duckdb.DuckDBPyConnection, parts: Parts) -> Iterator[dict[str, pl.DataFrame]]:
    """The records of each part of the fleet, by DECIDING; of rulings those on its claims."""
    units = read_frame(con, "units", columns=["serial", "site"])
    placed = units.select("serial", part=parts.of(units))
    for part in range(parts.count):
        yield records_around(con, placed.filter(pl.col("part") == part)["serial"])


def records_around(con: duckdb.DuckDBPyConnection, serials: pl.Series) -> dict[str, pl.DataFrame]:
    """The records of `evidence_around`, by DECIDING; of rulings those on the claims among them."""
    around = _records_around(con, serials)
    claims = around["service_calls"].select("claim").drop_nulls().unique()
    rulings = around["rulings"].join(claims, on="claim", how="semi", maintain_order="left")
    return around | {"rulings": rulings}


def records(con: duckdb.DuckDBPyConnection, feed: str) -> pl.DataFrame:
    """The records of one feed."""
    schema = record_schema(feed)
    return read_frame(con, feed, columns=schema.names(), schema=schema)


def _bundle(
    inputs: Inputs, con: duckdb.DuckDBPyConnection, feeds: dict[str, pl.DataFrame]
) -> Evidence:
    return Evidence(
        **feeds,
        **{name: getattr(inputs.reference, name) for name in REFERENCES},
        through=_through(con),
        as_of=inputs.as_of,
        **days_on_rulings(inputs),
    )


def _through(con: duckdb.DuckDBPyConnection) -> dict[str, dt.date | None]:
    states = read_frame(con, "feed_states", columns=["feed", "through_date"])
    return dict(states.iter_rows())


def _around(con: duckdb.DuckDBPyConnection, feed: str) -> pl.DataFrame:
    """The records of a feed that are of the units or the sites at hand."""
    schema = record_schema(feed)
    if not has_table(con, feed):
        return pl.DataFrame(schema=schema)
    tests = []
    if "serial" in schema:
        tests.append("serial in (select serial from serials_around)")
    if "site" in schema and feed != "units":
        tests.append("site in (select site from sites_around)")
    where = f"where {' or '.join(tests)}" if tests else ""
    columns = ", ".join(identifier(name) for name in schema)
    return query_frame(con, f'select {columns} from "{feed}" {where}').cast(schema)


def days_on_rulings(inputs: Inputs) -> dict[str, pl.DataFrame]:
    """The approvals and withdrawals of the desk, as `Evidence` has them."""
    return days_of(inputs.recorded.rulings, inputs.settings.zone)
