"""How many failures each row of a field table selects, from the contract's page alone.

A figure's failures are the lines of `field_failures` whose dimensions are those of its row (`need`:
contained in `needs`), with its event, up to its age, of its month; for first failures those marked
first. Here all rows of a table are selected at once: lines are counted by the row's own columns.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import polars as pl

Tables = Mapping[str, pl.DataFrame]
ALL = "all"
SIX = ("family", "region", "profile", "cause_class", "startup", "treatment")
MONTH_DAYS = 30.4375
# What has a count of failures that no selection of lines tells, and why.
NOT_SELECTED = {
    "forecast": "expected ones; what came stands in `actual`",
    "forecast_year": "expected ones; what came stands in `actual`",
    "reporting_lags": "those with both days, of which the lines have one",
}


def of_event(failures: pl.DataFrame, event: str) -> pl.DataFrame:
    """The lines of an event: any, water-caused ones, or a cause class."""
    if event == "any":
        return failures
    if event == "water":
        return failures.filter("water_related")
    return failures.filter(pl.col("cause_class") == event)


def counted(rows: pl.DataFrame, failures: pl.DataFrame, keys: Mapping[str, str]) -> pl.DataFrame:
    """The rows with `lines`, how many failures have the values of `keys` (row: line)."""
    sizes = failures.group_by(list(dict.fromkeys(keys.values()))).len("lines")
    if not keys:
        return rows.with_columns(lines=pl.lit(failures.height, pl.Int64))
    told = rows.join(
        sizes, left_on=list(keys), right_on=list(keys.values()), how="left", maintain_order="left"
    )
    return told.with_columns(pl.col("lines").fill_null(0).cast(pl.Int64))


def up_to_ages(rows: pl.DataFrame, failures: pl.DataFrame, keys: Mapping[str, str]) -> pl.DataFrame:
    """The same up to the age that the row's `months` come to."""
    one = pl.lit(0).alias("_")
    lines = failures.with_columns(one).sort("age_days").rename({v: k for k, v in keys.items()})
    by = ["_", *keys]
    lines = lines.select(*by, age=pl.col("age_days").cast(pl.Int64)).with_columns(
        lines=pl.int_range(1, pl.len() + 1).over(by).cast(pl.Int64)
    )
    asked = rows.with_columns(one, age=(pl.col("months") * MONTH_DAYS).floor().cast(pl.Int64))
    told = asked.sort("age").join_asof(lines, on="age", by=by, check_sortedness=False)
    return told.with_columns(pl.col("lines").fill_null(0)).drop("_", "age")


def dims_of(rows: pl.DataFrame) -> list[str]:
    """The dimensions of rows that have the same `by`."""
    return [name for name in SIX if name in rows.columns and rows[name][0] != ALL]


def apart(rows: pl.DataFrame, *names: str) -> Iterator[tuple[pl.DataFrame, list[str]]]:
    """Rows that are selected by the same columns, with their dimensions."""
    for part in rows.partition_by([name for name in ("by", *names) if name in rows.columns]):
        yield part, dims_of(part)


def plain(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """By the dimensions, and the event where there is one."""
    event = ("event",) if "event" in rows.columns else ()
    return pl.concat(
        counted(
            part, of_event(failures, part["event"][0] if event else "any"), {n: n for n in dims}
        )
        for part, dims in apart(rows, *event)
    )


def more(**keys: str) -> Callable[[pl.DataFrame, pl.DataFrame], pl.DataFrame]:
    """The same, and by further columns (row: line)."""

    def of(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
        event = ("event",) if "event" in rows.columns else ()
        return pl.concat(
            counted(
                part,
                of_event(failures, part["event"][0] if event else "any"),
                {n: n for n in dims} | keys,
            )
            for part, dims in apart(rows, *event)
        )

    return of


def firsts(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """First failures of the event, or of the class that the row is about, up to the row's age."""
    parts = []
    for part, dims in apart(rows, "event"):
        event = part["event"][0]
        if event == "any" and "cause_class" in dims:
            mark = "first_of_class"
        else:
            mark = {"any": "first_any", "water": "first_water"}.get(event, "first_of_class")
        own = of_event(failures, event).filter(mark)
        parts.append(up_to_ages(part, own, {name: name for name in dims}))
    return pl.concat(parts)


def of_cohorts(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Of the quarter of entry, up to the row's age."""
    return pl.concat(
        up_to_ages(
            part,
            of_event(failures, part["event"][0]),
            {name: name for name in dims} | {"cohort": "entry"},
        )
        for part, dims in apart(rows, "event")
    )


def of_months(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Of the row's calendar month."""
    told = rows.with_columns(_month=pl.col("month").dt.strftime("%Y-%m"))
    return more(_month="month")(told, failures).drop("_month")


def of_alarms(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Of the pair in the months of the alarm."""
    inside = pl.col("month").is_between(
        pl.col("first_month").dt.strftime("%Y-%m"), pl.col("last_month").dt.strftime("%Y-%m")
    )
    keyed = rows.with_row_index("_")
    pair = failures.select("family", "cause_class", "month")
    found = keyed.join(pair, on=["family", "cause_class"]).filter(inside)
    sizes = found.group_by("_").len("lines")
    told = keyed.join(sizes, on="_", how="left", maintain_order="left").drop("_")
    return told.with_columns(pl.col("lines").fill_null(0).cast(pl.Int64))


def of_slices(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Of one or two dimensions, those of `need` one by one."""
    parts = []
    for part in rows.partition_by("by", "event"):
        pairs = [(f"dimension_{n}", f"value_{n}") for n in (1, 2)]
        keys = {value: part[name][0] for name, value in pairs if part[name][0] != ALL}
        own = of_event(failures, part["event"][0])
        own = own.explode("need") if "need" in keys.values() else own
        parts.append(counted(part, own, keys))
    return pl.concat(parts)


def of_doses(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Of the bin of an analyte's limit; a bin of 0 is that of days without the analyte."""
    asked = rows.with_columns(
        _word=pl.format(
            "{}/{}:{}", "analyte", pl.col("limit").map_elements("{:g}".format, pl.String), "bin"
        )
    )
    lines = (
        failures.explode("dose")
        .drop_nulls("dose")
        .with_columns(
            _word=pl.col("dose").str.strip_suffix(":unprotected"),
            bare=pl.col("dose").str.ends_with(":unprotected"),
        )
    )
    parts = []
    for part, dims in apart(asked, "event", "days"):
        own = of_event(lines, part["event"][0])
        own = own.filter("bare") if part["days"][0] == "unprotected" else own
        parts.append(counted(part, own, {name: name for name in dims} | {"_word": "_word"}))
    return pl.concat(parts).drop("_word")


def of_steps(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Of all bins with a value, on unprotected days."""
    asked = rows.with_columns(
        _word=pl.format("{}/{}", "analyte", pl.col("limit").map_elements("{:g}".format, pl.String))
    )
    lines = failures.explode("dose").drop_nulls("dose")
    lines = lines.filter(
        pl.col("dose").str.ends_with(":unprotected"), ~pl.col("dose").str.contains(":0:")
    ).with_columns(_word=pl.col("dose").str.extract("^(.*?):"))
    return more(_word="_word")(asked, lines).drop("_word")


def of_screen(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Of a value (two joined by a comma) and a class, or a cause of it."""
    parts = []
    for part in rows.with_columns(_all=pl.col("cause") == ALL).partition_by("dimension", "_all"):
        names = part["dimension"][0].split(",")
        own = failures.with_columns(value=pl.concat_str(names, separator=","))
        keys = {"value": "value", "cause_class": "cause_class"}
        keys |= {} if part["_all"][0] else {"cause": "cause"}
        parts.append(counted(part, own, keys))
    return pl.concat(parts).drop("_all")


def of_regions_watched(rows: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Of the region, as watched."""
    own = rows.filter(pl.col("assumption") == "as watched")
    whole = own.filter(pl.col("region") == ALL)
    one = own.filter(pl.col("region") != ALL)
    return pl.concat([counted(whole, failures, {}), counted(one, failures, {"region": "region"})])


# How the failures of a table's rows are selected.
SELECTIONS: dict[str, Callable[[pl.DataFrame, pl.DataFrame], pl.DataFrame]] = {
    "rates": plain,
    "regions": plain,
    "slice_rates": of_slices,
    "survival": firsts,
    "cohorts": of_cohorts,
    "cohort_ratios": more(cohort="entry"),
    "treatment_effect": more(state="treatment"),
    "warnings": of_months,
    "alarms": of_alarms,
    "dose_bins": of_doses,
    "dose_step": of_steps,
    "screen": of_screen,
    "sensitivity": of_regions_watched,
}


def came(tables: Tables) -> pl.DataFrame:
    """What came of earlier forecasts of all units, month by month: actual, lines."""
    rows = tables["forecast"].filter(pl.col("basis") == ALL).drop_nulls("actual")
    return of_months(rows, tables["field_failures"]).with_columns(failures="actual")


def selected(tables: Tables, name: str) -> pl.DataFrame:
    """The rows of a table with `lines` beside `failures`."""
    return SELECTIONS[name](tables[name], tables["field_failures"])


def wrong(rows: pl.DataFrame) -> pl.DataFrame:
    """Those whose failures are not as many as the figure says."""
    return rows.filter(pl.col("lines").cast(pl.Float64) != pl.col("failures").cast(pl.Float64))


def tables_of(names: Sequence[str], read: Callable[[str], pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """Those tables and the failures behind them."""
    return {name: read(name) for name in (*names, "field_failures")}
