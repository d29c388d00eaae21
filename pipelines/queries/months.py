"""Month end out of the store and the desk: the figures of a month, frozen or as they come out now.

Belongs here: reading books and closings, and what is told of a month. Does not belong here: how a
measure is counted (`pipelines.months`), or closing one (`pipelines.actions.closing`).
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

import duckdb
import polars as pl
import xlsxwriter

from pipelines.errors import UsageError
from pipelines.events import Desk
from pipelines.months.calendar import Month
from pipelines.months.closing import adjustments, first_open
from pipelines.months.measures import Books, rows_of
from pipelines.records.harmless import harmless
from pipelines.store.database import query_frame, read_frame
from pipelines.store.evidence import records
from pipelines.store.reading import open_store, published_state
from schemas.months import DIMENSIONS, LINES, MEASURES, ROWS

CLOSING: Final = "closing"
AMOUNTS = (*LINES, "total")
_IN_ORDER: Final = pl.col("measure").cast(pl.Enum(MEASURES))  # as a month goes, not by their names


@dataclass(frozen=True)
class Closing:
    """One closed month: its rows as they were frozen, by whom and when."""

    month: Month
    rows: pl.DataFrame
    at: str
    by: str
    as_of: dt.date


@dataclass(frozen=True)
class MonthEnd:
    """A month: its rows (`schemas.months.ROWS`) and the shares that its reserve rests on.

    closed: None while it is open.
    """

    month: Month
    as_of: dt.date
    rows: pl.DataFrame
    shares: pl.DataFrame
    closed: Closing | None = None
    closings: tuple[Closing, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """For JSON: money as texts with two decimals."""
        return {
            "month": str(self.month),
            "state": "closed" if self.closed else "open",
            "closed_at": self.closed.at if self.closed else None,
            "closed_by": self.closed.by if self.closed else None,
            "as_of": self.as_of.isoformat(),
            "rows": written_rows(self.rows),
            "shares": self.shares.to_dicts(),
        }

    def csv(self) -> str:
        """The rows as CSV, without a cell that a spreadsheet would run."""
        return harmless(self.rows).write_csv()

    def xlsx(self) -> bytes:
        """The rows as a workbook, with a sheet of totals by measure."""
        made = io.BytesIO()
        as_texts = {"strings_to_formulas": False, "strings_to_urls": False}
        with xlsxwriter.Workbook(made, as_texts) as book:
            for name, frame in (("Rows", self.rows), ("Totals", totals(self.rows))):
                sheet = book.add_worksheet(name)
                sheet.write_row(0, 0, frame.columns)
                for place, row in enumerate(harmless(frame).rows(), start=1):
                    sheet.write_row(place, 0, [_cell(value) for value in row])
        return made.getvalue()


def _cell(value: Any) -> Any:
    return float(value) if isinstance(value, Decimal) else value


def month_of(text: str) -> Month:
    """A month as it was typed.

    Raises:
        UsageError: it is none.
    """
    try:
        return Month.of(text)
    except ValueError:
        raise UsageError(f'"{text}" is no month; write it as YYYY-MM, such as 2026-03.') from None


def totals(rows: pl.DataFrame) -> pl.DataFrame:
    """The sums of each measure, by state and the month that it mends."""
    return (
        rows.group_by("measure", "state", "adjusts", maintain_order=True)
        .agg(pl.col("claims").sum(), *(pl.col(name).sum() for name in AMOUNTS))
        .sort(_IN_ORDER, "state", "adjusts", nulls_last=True)
    )


def month_end(desk: Desk, month: Month) -> MonthEnd:
    """The month as of the last refresh.

    A closed month has its frozen rows, and beside them those that come out now; the first open one
    has the adjustments of closed ones.
    """
    closings = read_closings(desk)
    closed = next((one for one in closings if one.month == month), None)
    with open_store(desk.workspace) as con:
        as_of = published_state(desk.workspace, con).as_of
        books = read_books(con, as_of)
    rows, shares = rows_of(books, month)
    if closed is not None:
        rows = pl.concat([closed.rows, rows])
    elif month == first_open([one.month for one in closings]):
        frozen = {one.month: one.rows for one in closings}
        mended = adjustments(month, frozen, lambda one: rows_of(books, one)[0])
        rows = pl.concat([rows, mended])
    return MonthEnd(month, as_of, rows, shares, closed, closings=tuple(closings))


def read_books(con: duckdb.DuckDBPyConnection, as_of: dt.date) -> Books:
    """The tables that a month is told from."""
    return Books(
        read_frame(con, "decisions"),
        read_frame(con, "decision_history"),
        query_frame(
            con,
            "select claim, ruled_at, ruled_by, parts_granted, labor_granted, travel_granted "
            "from rulings where cast(ruled_at as date) <= ?",
            [as_of],
        ),
        records(con, "credits").filter(pl.col("credited_on") <= as_of),
    )


def read_closings(desk: Desk) -> list[Closing]:
    """The closed months, in the order in which they were closed."""
    with desk.reading() as connection:
        events = desk.events(connection, kinds=[CLOSING])
    return [
        Closing(
            Month.of(event.payload["month"]),
            read_rows(event.payload["rows"]),
            event.at,
            event.payload.get("by") or event.actor,
            dt.date.fromisoformat(event.payload["as_of"]),
        )
        for event in events
    ]


def written_rows(rows: pl.DataFrame) -> list[dict[str, Any]]:
    """Rows as JSON holds them."""
    return rows.with_columns(pl.col(AMOUNTS).cast(pl.String)).to_dicts()


def read_rows(written: list[Mapping[str, Any]]) -> pl.DataFrame:
    """Rows as they were before `written_rows`."""
    texts = {**ROWS, **dict.fromkeys(AMOUNTS, pl.String())}
    return pl.DataFrame(written, schema=texts).cast(ROWS)


def by_dimension(rows: pl.DataFrame, name: str) -> pl.DataFrame:
    """The sums of each measure by one of its dimensions, or by person."""
    assert name in (*DIMENSIONS, "person"), name
    return (
        rows.drop_nulls(name)
        .group_by("measure", "state", name)
        .agg(pl.col("claims").sum(), *(pl.col(amount).sum() for amount in AMOUNTS))
        .sort(_IN_ORDER, "state", name)
    )
