"""Exports of invented companies, made with the truth about their columns beside them.

It reads nothing of the product: what a header means is written down where the file is made.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

Rows = int
Maker = Callable[["World", int], list[str]]


@dataclass(frozen=True)
class Column:
    """A header, the feed's column that it truly is (None: of none), and how its cells are made."""

    header: str
    truth: str | None
    cells: Maker


@dataclass(frozen=True)
class MadeExport:
    """One file: text as it is written, the feed, and header by column.

    `also` has headers that are as right as that of a column. A file with a `path` is there already.
    """

    name: str
    feed: str
    text: str
    encoding: str
    truth: dict[str, str]
    analytes: dict[str, str] = field(default_factory=dict)
    also: dict[str, tuple[str, ...]] = field(default_factory=dict)
    path: Path | None = None


class World:
    """A fleet of one company: serials with leading zeros, sites, agencies, products, models."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        draw = self.random
        self.serials = sorted({f"{draw.randrange(1_000, 900_000):07d}" for _ in range(160)})
        self.sites = [f"K{draw.randrange(10_000, 99_999)}" for _ in range(60)]
        self.agencies = ["ALDERBY", "BRINDLE", "CORWICK", "DUNSTER", "ELLMOOR"]
        self.products = ["SOFT-10", "SOFT-20", "CARB-5", "OSMO-60", "CART-10"]
        self.models = ["VX-2", "VX-4", "VX-6E", "BR-1"]
        self.causes = ["LIMED", "GASKET", "BOARD", "PROBE", "VALVE", "OTHER"]
        self.names = [
            "Lantern Canteen",
            "Grange Hall",
            "Mill Kitchen",
            "St. Orin School",
            "Quay Bistro",
        ]

    def day(self, first: int = 2022, years: int = 3) -> dt.date:
        """A day."""
        return dt.date(first, 1, 1) + dt.timedelta(days=self.random.randrange(365 * years))


def days(form: str, empty: float = 0.0, first: int = 2022, nothing: str = "") -> Maker:
    """Days in a format."""
    return lambda w, n: [
        nothing if w.random.random() < empty else w.day(first).strftime(form) for _ in range(n)
    ]


def counted(empty: float = 0.0) -> Maker:
    """Days as spreadsheets count them."""
    start = dt.date(1899, 12, 30)
    return lambda w, n: [
        "" if w.random.random() < empty else str((w.day() - start).days) for _ in range(n)
    ]


def one_of(words: Sequence[str], empty: float = 0.0) -> Maker:
    """One of some words."""
    return lambda w, n: [
        "" if w.random.random() < empty else w.random.choice(list(words)) for _ in range(n)
    ]


def of(name: str, empty: float = 0.0) -> Maker:
    """One of the world's codes."""
    return lambda w, n: [
        "" if w.random.random() < empty else w.random.choice(getattr(w, name)) for _ in range(n)
    ]


def serials(change: Callable[[str], str] = str, *, once: bool = False, empty: float = 0.0) -> Maker:
    """Serials of the register, changed as the export writes them."""

    def cells(w: World, n: int) -> list[str]:
        drawn = w.random.sample(w.serials, n) if once else w.random.choices(w.serials, k=n)
        return ["" if w.random.random() < empty else change(one) for one in drawn]

    return cells


def counter(form: str, start: int = 1, step: int = 1) -> Maker:
    """Numbers that never come twice."""
    return lambda w, n: [form.format(start + step * place) for place in range(n)]


def number(
    low: float,
    high: float,
    digits: int = 2,
    form: str = "{}",
    comma: bool = False,
    empty: float = 0.0,
    thousands: str = "",
) -> Maker:
    """Numbers between two."""

    def cell(w: World) -> str:
        if w.random.random() < empty:
            return ""
        text = f"{w.random.uniform(low, high):,.{digits}f}"
        whole, _, rest = text.partition(".")
        text = whole.replace(",", thousands) + (("," if comma else ".") + rest if rest else "")
        return form.format(text)

    return lambda w, n: [cell(w) for _ in range(n)]


def always(text: str) -> Maker:
    """The same in every row."""
    return lambda w, n: [text] * n


def texts(*sentences: str, empty: float = 0.0) -> Maker:
    """Free text."""
    return one_of(sentences, empty)


def made(
    name: str,
    feed: str,
    columns: Sequence[Column],
    *,
    world: World,
    rows: int = 60,
    mark: str = ",",
    titles: Sequence[str] = (),
    footers: Sequence[str] = (),
    encoding: str = "utf-8",
    unit_row: Sequence[str] = (),
    analytes: dict[str, str] | None = None,
) -> MadeExport:
    """A file of some columns."""
    cells = [column.cells(world, rows) for column in columns]
    quoted = [mark.join(_quoted(column.header, mark) for column in columns)]
    if unit_row:
        quoted.append(mark.join(_quoted(cell, mark) for cell in unit_row))
    quoted += [mark.join(_quoted(cell, mark) for cell in row) for row in zip(*cells, strict=True)]
    truth = {column.truth: column.header for column in columns if column.truth}
    text = "\n".join([*titles, *quoted, *footers]) + "\n"
    return MadeExport(name, feed, text, encoding, truth, analytes or {})


def _quoted(cell: str, mark: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if mark in cell or '"' in cell else cell


def long_lab(
    name: str,
    columns: Sequence[Column],
    parts: tuple[str, str, str, str],
    results: Sequence[tuple[str, str, str | None, Maker]],
    *,
    world: World,
    samples: int = 20,
    mark: str = ",",
    titles: Sequence[str] = (),
    encoding: str = "utf-8",
) -> MadeExport:
    """A laboratory file with one row a result.

    Args:
        columns: those of the sample.
        parts: the headers of analyte, value, unit and remark.
        results: an analyte's name, its unit, its true column and its values.
    """
    heads = [column.cells(world, samples) for column in columns]
    values = [one[3](world, samples) for one in results]
    lines = [mark.join(_quoted(h, mark) for h in [*(c.header for c in columns), *parts])]
    for place in range(samples):
        for (analyte, unit, _, _), made_values in zip(results, values, strict=True):
            sign = "<" if world.random.random() < 0.1 else ""
            row = [*(head[place] for head in heads), analyte, made_values[place], unit, sign]
            lines.append(mark.join(_quoted(cell, mark) for cell in row))
    truth = {column.truth: column.header for column in columns if column.truth}
    truth |= dict(zip(("analyte", "value", "unit", "remark"), parts, strict=True))
    known = {analyte: column for analyte, _, column, _ in results if column}
    return MadeExport(
        name, "water_tests", "\n".join([*titles, *lines]) + "\n", encoding, truth, known
    )
