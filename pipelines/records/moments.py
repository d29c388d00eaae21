"""Dates with a time of day, brought into the workspace's time zone.

Belongs here: clock times and offsets. Does not belong here: days and their formats (`dates`).

A moment without an offset is in the workspace's time zone already; one with an offset is
converted. A day alone is no moment: two rulings of one day would have no order.
"""

from __future__ import annotations

import re

import polars as pl

from pipelines.records.dates import FIRST_YEAR, LAST_YEAR, written_day

_ISO = (
    r"^(?P<year>[0-9]{4})-(?P<month>[0-9]{2})-(?P<day>[0-9]{2})[Tt ]"
    r"(?P<hour>[01][0-9]|2[0-3]):(?P<minute>[0-5][0-9])"
    r"(?::(?P<second>[0-5][0-9])(?:[.,](?P<fraction>[0-9]+))?)?"
    r" ?(?P<offset>[Zz]|[+-](?:[01][0-9]|2[0-3])(?::?[0-5][0-9])?)?$"
)


def moments(text: pl.Expr, patterns: tuple[str, ...], timezone: str) -> pl.Expr:
    """Naive date-times in the workspace's zone; null where the text is none or is ambiguous."""
    readings = _readings(text, patterns, timezone)
    earliest, latest = pl.min_horizontal(readings), pl.max_horizontal(readings)
    return pl.when(earliest == latest).then(earliest)


def has_two_moments(text: pl.Expr, patterns: tuple[str, ...], timezone: str) -> pl.Expr:
    """Whether two forms read the text as different moments."""
    readings = _readings(text, patterns, timezone)
    return pl.min_horizontal(readings) != pl.max_horizontal(readings)


def _readings(text: pl.Expr, patterns: tuple[str, ...], timezone: str) -> list[pl.Expr]:
    timed = [pattern for pattern in patterns if "?P<hour>" in pattern]
    return [_moments_as(text, pattern, timezone) for pattern in (_ISO, *timed)]


def _moments_as(text: pl.Expr, pattern: str, timezone: str) -> pl.Expr:
    parts = text.str.extract_groups(pattern)
    names = re.findall(r"\?P<(\w+)>", pattern)

    def part(name: str, missing: str) -> pl.Expr:
        if name not in names:
            return pl.lit(missing)
        piece = parts.struct.field(name)
        return pl.when(piece.is_null() | (piece == "")).then(pl.lit(missing)).otherwise(piece)

    hour = part("hour", "0").cast(pl.Int32, strict=False)
    if "half" in names:
        half = part("half", "").str.to_lowercase().str.head(1)
        hour = pl.when(hour.is_between(1, 12)).then(
            hour % 12 + pl.when(half == "p").then(12).otherwise(0)
        )
    clock = pl.concat_str(
        written_day(text, pattern),
        pl.lit(" "),
        hour.cast(pl.String).str.zfill(2),
        pl.lit(":"),
        part("minute", "0").str.zfill(2),
        pl.lit(":"),
        part("second", "0").str.zfill(2),
        pl.lit("."),
        part("fraction", "0").str.head(6).str.pad_end(6, "0"),
    )
    as_written = clock.str.to_datetime("%Y-%m-%d %H:%M:%S%.6f", time_unit="us", strict=False)
    offset = part("offset", "").str.replace(":", "", literal=True)
    sign = pl.when(offset.str.starts_with("-")).then(-1).otherwise(1)
    ahead = offset.str.slice(1, 2).cast(pl.Int64, strict=False).fill_null(0) * 60
    ahead = ahead + offset.str.slice(3, 2).cast(pl.Int64, strict=False).fill_null(0)
    utc = as_written - pl.duration(minutes=sign * ahead)
    local = (
        utc.dt.replace_time_zone("UTC").dt.convert_time_zone(timezone).dt.replace_time_zone(None)
    )
    moment = pl.when(offset == "").then(as_written).otherwise(local)
    return pl.when(moment.dt.year().is_between(FIRST_YEAR, LAST_YEAR)).then(moment)
