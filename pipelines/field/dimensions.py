"""The dimensions of the figures: of a unit, of a day, of a failure; and days split by them.

Belongs here: names, words, and splitting stretches of days at bands of age and at months. Does not
belong here: days summed by groups (`unit_days`), rates of what comes out.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

OF_UNIT = (
    "family",
    "model",
    "region",
    "cold_supply",
    "profile",
    "startup",
    "entry",
    "shipped",
    "lot",
)
OF_DAY = (
    "need",
    "needs",
    "severity",
    "treatment",
    "product",
    "installation",
    "season",
    "month_of_year",
    "year",
    "age",
)
OF_FAILURE = ("cause_class", "cause", "part")
ALL_DIMENSIONS = (*OF_UNIT, *OF_DAY, *OF_FAILURE)
OF_SPAN = ("needs", "severity", "treatment", "product", "installation")
OF_CALENDAR = ("season", "month_of_year", "year")
# Ages, in days, at which a new band begins, and what each is called in months.
BAND_STARTS = (0, 183, 366, 731)
BANDS = ("0-6", "6-12", "12-24", "24+")
SEASONS = ("winter", "winter", *["spring"] * 3, *["summer"] * 3, *["autumn"] * 3, "winter")
UNKNOWN = "unknown"
# Where the frame of failures has a dimension under another name, since `age` and `entry` are days
# there and a cause that nobody told is null.
COLUMN_OF = {"age": "band", "entry": "entered", "cause": "cause_told", "part": "part_told"}
_NO_END = 10**6


def season_of(day: pl.Expr) -> pl.Expr:
    """Winter is December to February."""
    by_month = dict(enumerate(SEASONS, start=1))
    return day.dt.month().replace_strict(by_month, return_dtype=pl.String)


def band_of(age: pl.Expr) -> pl.Expr:
    """The age band of whole days since the clock start."""
    band = pl.lit(BANDS[0])
    for start, word in zip(BAND_STARTS[1:], BANDS[1:], strict=True):
        band = pl.when(age >= start).then(pl.lit(word)).otherwise(band)
    return band


def need_of(needs: pl.Expr) -> pl.Expr:
    """The needs of a day one by one, as a list; `none` and `untested` are one too."""
    return needs.str.split("+")


def words_of_failures() -> dict[str, pl.Expr]:
    """The dimensions of a failure that its day and record give, by column."""
    day = pl.col("failed_on")
    return {
        "cause_class": pl.col("cause_class").fill_null(UNKNOWN),
        "cause_told": pl.col("cause").fill_null(UNKNOWN),
        "part_told": pl.col("part").fill_null("none"),
        "season": season_of(day),
        "month_of_year": day.dt.strftime("%m"),
        "year": day.dt.strftime("%Y"),
        "band": band_of(pl.col("age")),
    }


def failure_values(failures: pl.DataFrame, dims: Sequence[str]) -> pl.DataFrame:
    """The failures with a column for each dimension, one row a need where `need` is among them."""
    columns = {name: pl.col(COLUMN_OF.get(name, name)) for name in dims if name != "need"}
    if "need" in dims:
        columns["need"] = need_of(pl.col("needs"))
    kept = [name for name in failures.columns if name not in columns]
    valued = failures.select(*kept, **columns)
    return valued.explode("need") if "need" in dims else valued


def numbered_failures(failures: pl.DataFrame, dims: Sequence[str]) -> pl.DataFrame:
    """`failure_values` with the failures' unit and row alone beside the dimensions."""
    columns = {COLUMN_OF.get(name, "needs" if name == "need" else name) for name in dims}
    return failure_values(failures.select("unit", *sorted(columns)).with_row_index("row"), dims)


def split_bands(spans: pl.DataFrame) -> pl.DataFrame:
    """Spans split at each band of age, with `age`, the band's words; by band."""
    parts = []
    for word, start, end in zip(BANDS, BAND_STARTS, (*BAND_STARTS[1:], _NO_END), strict=True):
        first = pl.max_horizontal("entry", pl.lit(start, pl.Int64))
        last = pl.min_horizontal("exit", pl.lit(end, pl.Int64))
        columns = {
            "from_on": pl.col("from_on") + pl.duration(days=first - pl.col("entry")),
            "until_on": pl.col("until_on") - pl.duration(days=pl.col("exit") - last),
            "entry": first,
            "exit": last,
            "age": pl.lit(word),
        }
        if "last" in spans.columns:
            columns["last"] = pl.col("last") & (last == pl.col("exit"))
        parts.append(spans.filter(first < last).with_columns(**columns))
    return pl.concat(parts)


def split_months(spans: pl.DataFrame, step: str = "1mo") -> pl.DataFrame:
    """Spans split at the first day of each month, with season, month_of_year and year.

    `step` `1y` splits at the years alone, and tells only the year.
    """
    day = pl.col("begun")
    final = pl.col("until_on") - pl.duration(days=1)
    begun = pl.date_ranges(
        pl.col("from_on").dt.truncate(step), final.dt.truncate(step), interval=step
    )
    first = pl.max_horizontal("from_on", "begun")
    until = pl.min_horizontal("until_on", day.dt.offset_by(step))
    start = (first - pl.col("from_on")).dt.total_days()
    gone = (pl.col("until_on") - until).dt.total_days()
    split = (
        spans.with_columns(begun=begun)
        .explode("begun")
        .with_columns(
            from_on=first,
            until_on=until,
            entry=pl.col("entry") + start,
            exit=pl.col("exit") - gone,
            **({"last": pl.col("last") & (gone == 0)} if "last" in spans.columns else {}),
        )
    )
    words = {"year": day.dt.strftime("%Y")}
    if step == "1mo":
        words |= {"season": season_of(day), "month_of_year": day.dt.strftime("%m")}
    # Months are few and stretches many, so that each month is put into words once.
    months = split.select("begun").unique().with_columns(**words)
    return split.join(months, on="begun", how="left", maintain_order="left").drop("begun")
