"""A bench for deciding claims: records from plain rows or clean CSVs, terms from TOML.

Belongs here: building evidence for tests. Does not belong here: expectations.
"""

from __future__ import annotations

import csv
import re
from datetime import date
from pathlib import Path

import polars as pl

from pipelines.coverage import Decided, Evidence, decide
from pipelines.terms import Terms, load_terms
from schemas import codes
from schemas.columns import fields, polars_schema
from schemas.feeds import FEED_TABLES, record_schema
from schemas.reference import REFERENCE_TABLES

BENCH_TERMS = """
edition = "T1"
effective_from = 2020-01-01
[clock]
start = ["installed_on", "purchased_on"]
days_after_shipment = 60
[coverage]
parts_months = 18
labor_months = 12
[startup]
request_within_days = 30
bonus_parts_months = 12
bonus_labor_months = 12
[claims]
file_within_days = 60
duplicate_within_days = 3
workmanship_days = 90
[water]
panel = ["hardness_mg_l_caco3", "ph"]
limits.hardness_mg_l_caco3 = { max = 100, needs = "scale" }
limits.ph = { min = 6.5, max = 9, needs = "ph" }
limits.chloride_mg_l = { max = 50, needs = "chloride" }
limits.chloramine_mg_l = { max = 0.1, needs = "chloramine" }
[treatment]
sellers = ["MAKER"]
grace_days = 30
[maintenance]
cartridge_months = { mild = 12, normal = 6, severe = 3 }
mild_up_to = 1
severe_above = 2
cartridge_grace_days = 15
delime_months = 3
delime_grace_days = 10
[installation]
limits.flowing_pressure_psi = { min = 30, max = 60 }
limits.gas_pressure_in_wc.natural = { min = 4, max = 10 }
limits.gas_pressure_in_wc.propane = { min = 10, max = 13 }
"""

REFERENCE_ROWS = {
    "models": [
        {"model": "GEN", "family": "F", "needs_treatment": "yes", "always_treat": "no",
         "delime_by": "owner"},
        {"model": "ALW", "family": "F", "needs_treatment": "yes", "always_treat": "yes",
         "delime_by": "none"},
        {"model": "BOIL", "family": "F", "needs_treatment": "yes", "always_treat": "no",
         "delime_by": "technician"},
        {"model": "HAND", "family": "G", "needs_treatment": "no", "always_treat": "no",
         "delime_by": "none"},
    ],
    "treatments": [
        {"product": "SOFT", "kind": "system", "removes": "scale"},
        {"product": "SOFT-C", "kind": "cartridge", "fits": "SOFT"},
        {"product": "CHL", "kind": "system", "removes": "chloride"},
        {"product": "ALL", "kind": "system", "removes": "scale chloride ph chloramine"},
        {"product": "RO", "kind": "system", "removes": "scale chloride tds"},
        {"product": "RO-C", "kind": "cartridge", "fits": "RO"},
    ],
    "causes": [
        {"cause": "BOARD", "class": "electrical", "water_related": "no", "excluded": "no"},
        {"cause": "SCALED", "class": "scale", "water_related": "yes", "excluded": "no"},
        {"cause": "CORRODED", "class": "corrosion", "water_related": "yes", "excluded": "no"},
        {"cause": "PITTED", "class": "corrosion", "water_related": "yes", "excluded": "no",
         "abilities": "chloride"},
        {"cause": "DROPPED", "class": "misuse", "water_related": "no", "excluded": "yes"},
        {"cause": "BURNER", "class": "gas", "water_related": "no", "excluded": "no",
         "reading": "gas_pressure_in_wc", "labor_hours_allowed": "1.5"},
        {"cause": "TILTED", "class": "installation", "water_related": "no", "excluded": "no",
         "reading": "level"},
        {"cause": "BURST", "class": "installation", "water_related": "no", "excluded": "no",
         "reading": "flowing_pressure_psi"},
    ],
    "agencies": [
        {"agency": "NORTH", "name": "North Service", "authorized_from": "2020-01-01",
         "labor_rate": "85", "travel_cap": "60"},
        {"agency": "EAST", "name": "East Service", "authorized_from": "2020-01-01",
         "authorized_until": "2024-08-31", "labor_rate": "80", "travel_cap": "40"},
        {"agency": "EAST", "name": "East Service", "authorized_from": "2025-02-01"},
    ],
    "regions": [{"region": "US-NM", "name": "New Mexico", "coldest_supply_c": "8"}],
}  # fmt: skip

# The plain claim: bought, installed, failed within both base windows, repaired and filed.
UNIT = {"serial": "U1", "model": "HAND", "shipped_on": "2024-01-02", "purchased_on": "2024-01-10",
        "installed_on": "2024-01-20", "site": "S1", "region": "US-NM"}  # fmt: skip
CALL = {"call": "C1", "claim": "K1", "serial": "U1", "kind": "repair", "opened_on": "2024-09-02",
        "failed_on": "2024-09-01", "completed_on": "2024-09-03", "claimed_on": "2024-09-10",
        "agency": "NORTH", "performed_by": "technician", "cause": "BOARD", "parts_amount": "200",
        "labor_hours": "2", "labor_rate": "90", "travel_amount": "75"}  # fmt: skip
THROUGH = dict.fromkeys(codes.FEEDS, date(2025, 12, 31))


def _value(kind: str, text):
    """One value as the readers of the exports would have it."""
    if text is None or text == "":
        return None
    if kind == "flag":
        return text in ("yes", True)
    if kind == "texts":
        return sorted(text.split()) if isinstance(text, str) else text
    if kind in ("number", "analyte"):
        return None if str(text).startswith("<") else float(text)
    if kind == "integer":
        return int(text)
    if kind == "day":
        return date.fromisoformat(str(text))
    return text if kind == "moment" else str(text)


def _frame(table, rows, schema) -> pl.DataFrame:
    kinds = {
        "class" if name == "class_" else name: (column.metadata or {})["kind"]
        for name, column in fields(table).items()
    }
    texts = {"money": pl.String, "hours": pl.String, "moment": pl.String}
    data = {name: [_value(kind, row.get(name)) for row in rows] for name, kind in kinds.items()}
    frame = pl.DataFrame(
        data, schema={name: texts.get(kind, schema[name]) for name, kind in kinds.items()}
    )
    return frame.with_columns(
        pl.col(name).str.to_datetime(time_unit="us")
        if kind == "moment"
        else pl.col(name).cast(schema[name])
        for name, kind in kinds.items()
        if kind in texts
    )


def records(feed: str, rows, file: str | None = None) -> pl.DataFrame:
    """Records of a feed from rows of text; lines are numbered from 2."""
    table, schema = FEED_TABLES[feed], record_schema(feed)
    frame = _frame(table, rows, schema)
    if feed == "water_tests":
        frame = frame.with_columns(
            pl.Series(
                f"{name}_below",
                [
                    float(str(row[name])[1:]) if str(row.get(name, "")).startswith("<") else None
                    for row in rows
                ],
                dtype=pl.Float64,
            )
            for name in codes.ANALYTES
        )
    lines = pl.int_range(2, len(rows) + 2, eager=True, dtype=pl.Int64)
    return frame.with_columns(
        source_file=pl.lit(file or f"{feed}.csv"), source_line=lines, source_sheet=pl.lit("")
    ).select(schema.names())


def reference(name: str, rows) -> pl.DataFrame:
    """A reference file from rows of text; empty abilities are an empty list."""
    rows = [
        {"removes": "", "abilities": ""} | {key: value or "" for key, value in row.items()}
        for row in rows
    ]
    frame = _frame(REFERENCE_TABLES[name], rows, polars_schema(REFERENCE_TABLES[name]))
    lists = [column for column, dtype in frame.schema.items() if dtype == pl.List(pl.String)]
    return frame.with_columns(pl.col(lists).fill_null(pl.lit([], dtype=pl.List(pl.String))))


def terms_of(folder: Path, text: str = BENCH_TERMS, *more: str) -> Terms:
    """Terms from TOML texts, one edition each, written to a folder of the test."""
    folder.mkdir(exist_ok=True)
    for number, edition in enumerate((text, *more)):
        (folder / f"{number}.toml").write_text(edition, encoding="utf-8")
    families = sorted({row["family"] for row in REFERENCE_ROWS["models"]})
    return load_terms(folder, families, codes.ABILITIES)


def changed(text: str = BENCH_TERMS, **values: str) -> str:
    """Terms with single keys replaced, `conditions_off` and new keys put where they belong."""
    for key, value in values.items():
        line = f"{key} = {value}"
        if re.search(rf"(?m)^{key} = ", text):
            text = re.sub(rf"(?m)^{key} = .*$", line, text)
        elif key in ("conditions_off",):
            text = f"{line}\n{text}"
        else:
            table = {"latest_days_after_shipment": "clock", "judged_by": "treatment",
                     "look_back_months": "maintenance", "fresh_days": "treatment"}[key]  # fmt: skip
            text = text.replace(f"[{table}]", f"[{table}]\n{line}")
    return text


def evidence_of(as_of="2025-12-31", through=None, references=None, **feeds) -> Evidence:
    """Evidence from rows of text; a feed that is not given has no record."""
    rows = {feed: feeds.get(feed, []) for feed in codes.FEEDS}
    books = REFERENCE_ROWS | (references or {})
    return Evidence(
        **{feed: records(feed, rows[feed]) for feed in codes.FEEDS},
        **{name: reference(name, books[name]) for name in codes.REFERENCES},
        through=THROUGH | (through or {}),
        as_of=date.fromisoformat(as_of),
    )


def outcomes(decided, claim: str = "K1") -> dict[str, str]:
    """The outcomes of one claim by condition."""
    found = decided.findings.filter(pl.col("claim") == claim)
    return dict(found.select("condition", "outcome").iter_rows())


def reasons(decided, claim: str = "K1") -> dict[str, str]:
    """The reasons of one claim by condition."""
    found = decided.findings.filter(pl.col("claim") == claim)
    return dict(found.select("condition", "reason").iter_rows())


def decision(decided, claim: str = "K1") -> dict:
    """The decision on one claim."""
    return decided.decisions.filter(pl.col("claim") == claim).row(0, named=True)


class Pending:
    """A claim to be decided when it is first looked at, with all others that wait."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self.tables = None

    @property
    def decisions(self) -> pl.DataFrame:
        """The decisions on the records of this case."""
        self._bench.settle()
        return self.tables.decisions

    @property
    def findings(self) -> pl.DataFrame:
        """The findings on the records of this case."""
        self._bench.settle()
        return self.tables.findings


# What names something that another case may name too.
NAMES = ("serial", "site", "claim", "call", "report", "sample", "order", "replaces")


class Bench:
    """Decides one plain claim, with the changes that a test makes to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._terms: dict[tuple[str, ...], Terms] = {}
        self._waiting: dict[str, list] = {}

    def terms(self, *texts: str) -> Terms:
        """Terms of the given editions, kept for the next call."""
        if texts not in self._terms:
            self._terms[texts] = terms_of(self.folder / str(len(self._terms)), *texts)
        return self._terms[texts]

    def decide(self, unit=None, call=None, terms=(BENCH_TERMS,), history=None, **given):
        """The claim K1 of unit U1, decided with what is given besides.

        `unit` and `call` change single columns; `units` and `service_calls` add rows; the other
        feeds are given whole. Cases asked for together, before any is looked at, are decided side
        by side in one workspace, which is faster by far.
        """
        texts = (terms,) if isinstance(terms, str) else tuple(terms)
        given["units"] = [UNIT | (unit or {}), *given.get("units", [])]
        given["service_calls"] = [CALL | (call or {}), *given.get("service_calls", [])]
        if history is not None:
            return decide(evidence_of(**given), self.terms(*texts), history=history)
        rows = {feed: given.pop(feed, []) for feed in codes.FEEDS}
        pending = Pending(self)
        # Cases under the same terms, on the same day and so on can stand side by side.
        group = self._waiting.setdefault(repr((texts, sorted(given.items()))), [])
        group.append((pending, rows, given, texts))
        return pending

    def settle(self) -> None:
        """Decides all cases that wait, each group of them in one workspace."""
        waiting, self._waiting = self._waiting, {}
        for group in waiting.values():
            _, _, given, texts = group[0]
            marks = [f"{n:03}{n:03}~" if len(group) > 1 else "" for n in range(len(group))]
            merged = {
                feed: [
                    row | {key: mark + row[key] for key in NAMES if row.get(key)}
                    for mark, (_, rows, *_) in zip(marks, group, strict=True)
                    for row in rows[feed]
                ]
                for feed in codes.FEEDS
            }
            decided = decide(evidence_of(**given, **merged), self.terms(*texts))
            for mark, (pending, *_) in zip(marks, group, strict=True):
                pending.tables = Decided(
                    _without(mark, decided.decisions), _without(mark, decided.findings)
                )


def _without(mark: str, table: pl.DataFrame) -> pl.DataFrame:
    """The rows of one case, with its own names again."""
    if not mark:
        return table
    own = table.filter(pl.col("claim").str.starts_with(mark))
    own = own.with_columns(pl.col(pl.String).str.replace_all(mark, "", literal=True))
    if "evidence" not in own.columns:
        return own
    key = pl.field("key").str.replace_all(mark, "", literal=True)
    return own.with_columns(pl.col("evidence").list.eval(pl.element().struct.with_fields(key)))


def read_workspace(folder: Path, as_of: date) -> tuple[Evidence, Terms]:
    """A clean workspace of CSVs by the feeds' own names, with the through dates of its files."""

    def rows(path: Path):
        with path.open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    frames, through = {}, {}
    for feed in codes.FEEDS:
        exports = folder / "exports"
        found = [*exports.glob(f"{feed}*.csv"), *(exports / feed).glob("*.csv")]
        if not found and feed in codes.OPTIONAL_FEEDS:
            continue
        (path,) = found
        frames[feed] = records(feed, rows(path), str(path.relative_to(exports)))
        named = re.findall(r"\d{4}-\d\d-\d\d", path.name)
        if named:
            through[feed] = date.fromisoformat(max(named))
        else:
            through[feed] = _latest(feed, frames[feed])
    books = {
        name: reference(name, rows(folder / "reference" / f"{name}.csv"))
        for name in codes.REFERENCES
    }
    families = books["models"].get_column("family").unique().to_list()
    terms = load_terms(folder / "terms", families, codes.ABILITIES)
    return Evidence(**frames, **books, through=through, as_of=as_of), terms


def _latest(feed: str, frame: pl.DataFrame) -> date | None:
    from schemas.feeds import SEEN_BY

    return frame.select(pl.coalesce(SEEN_BY[feed]).cast(pl.Date).max()).item()
