"""How the exports are written: headers, dates, units, delimiters, encodings.

Belongs here: the form of each feed's files, as `written/mappings` describes it. Does not belong
here: which rows stand in which file (`deliveries`).
"""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from sample_data.deliveries import DAY, FILE, ROW
from sample_data.editions import WRITTEN

_GPG = 17.118  # mg/L of CaCO3 in a grain per US gallon
_US_DATE = "%m/%d/%Y"
_TIMED = (pl.date(2024, 3, 1), pl.date(2024, 8, 31))  # months in which the desk wrote times too


@dataclass(frozen=True)
class Form:
    """The outer form of a feed's files."""

    delimiter: str = ","
    encoding: str = "utf-8"
    line_end: str = "\n"


FORMS = {
    "units": Form(encoding="utf-8-sig"),
    "startups": Form(delimiter=";", encoding="cp1252", line_end="\r\n"),
}


def form(feed: str) -> Form:
    """The form of a feed's files; plain where nothing else is said."""
    return FORMS.get(feed, Form())


def as_text(feed: str, rows: pl.DataFrame) -> pl.DataFrame:
    """All columns as they are written, still under the feed's names; FILE, DAY and ROW stay."""
    dates = [name for name, kind in rows.schema.items() if kind == pl.Date and name != DAY]
    us = feed in ("startups", "treatment_purchases")
    written = [pl.col(name).dt.to_string(_US_DATE if us else "%Y-%m-%d") for name in dates]
    text = rows.with_columns(written)
    if feed == "service_calls":
        low, high = _TIMED
        timed = rows.select(pl.col("completed_on").is_between(low, high).fill_null(False))
        text = text.with_columns(
            pl.when(timed.to_series())
            .then(pl.col("completed_on") + "T15:30:00")
            .otherwise(pl.col("completed_on"))
            .alias("completed_on"),
            pl.col("parts_amount").str.replace(r"^(\d)(\d{3}\.)", "$1,$2"),
        )
    if feed == "water_tests":
        text = text.with_columns(_laboratory_units())
    return text


def _laboratory_units() -> list[pl.Expr]:
    grains = [
        (pl.col(name).cast(pl.Float64) / _GPG).round(1).cast(pl.String).alias(name)
        for name in ("hardness_mg_l_caco3", "calcium_mg_l_caco3")
    ]
    below = pl.col("iron_mg_l").str.starts_with("<")
    number = pl.col("iron_mg_l").str.strip_prefix("<").cast(pl.Float64, strict=False) * 1000
    micrograms = number.round(0).cast(pl.Int64).cast(pl.String)
    iron = pl.when(below).then(pl.lit("<") + micrograms).otherwise(micrograms)
    warm = pl.col("temperature_c").cast(pl.Float64) * 1.8 + 32
    return [
        *grains,
        pl.coalesce(iron, "iron_mg_l").alias("iron_mg_l"),
        warm.round(1).cast(pl.String).alias("temperature_c"),
    ]


def headers(feed: str, columns: Sequence[str]) -> list[str]:
    """The export's headers for the feed's columns."""
    entry = WRITTEN / "mappings" / f"{feed}.toml"
    given = tomllib.loads(entry.read_text("utf-8"))["columns"] if entry.is_file() else {}
    return [given.get(name, name) for name in columns]


def raw_line(feed: str, values: Sequence[str | None]) -> str:
    """One row as it stands in the file, without its line end."""
    line = io.StringIO()
    csv.writer(line, delimiter=form(feed).delimiter, lineterminator="").writerow(values)
    return line.getvalue()


def file_bytes(feed: str, text: pl.DataFrame, more: Sequence[str]) -> bytes:
    """One file: header, the rows of `text`, then the raw lines in `more`."""
    style = form(feed)
    columns = [name for name in text.columns if name not in (FILE, DAY, ROW)]
    table = text.select(columns)
    table.columns = headers(feed, columns)
    body = table.write_csv(separator=style.delimiter, line_terminator=style.line_end)
    return (body + style.line_end.join([*more, ""])).encode(style.encoding)
