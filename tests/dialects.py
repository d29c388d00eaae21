"""Exports of one fictional company in three dialects, with what is true of them.

It reads none of the product's code: facts are drawn, written as each dialect writes them, and the
truth is kept beside. Factors of units: 17.118 mg/L a grain per gallon, 17.848 a German and 10 a
French degree (feeds.md of the contract); 2.54 cm an inch, 6894.757293168 Pa a psi (NIST SP 811).
"""

from __future__ import annotations

import datetime as dt
import random
from collections import Counter
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

PSI_OF_BAR = 100_000 / 6894.757293168


@dataclass(frozen=True)
class Dialect:
    """How one company writes: marks, days, words, headers and units."""

    name: str
    decimal: str
    thousands: str
    mark: str
    encoding: str
    day: str
    kinds: dict[str, str]
    yes: tuple[str, str]
    total: str
    title: str
    hardness: tuple[str, float]
    headers: dict[str, str]
    analytes: dict[str, str]

    def number(self, value: Decimal) -> str:
        """A number with thousands marks."""
        text = f"{value:,}"
        return text.translate(str.maketrans(",.", self.thousands + self.decimal))

    def date(self, day: dt.date) -> str:
        """A day."""
        return day.strftime(self.day)


# What the headers are, in the order in which each dialect names them.
_KEYS = (
    *("serial", "model", "shipped", "site", "region", "report", "asked", "done", "static", "gap"),
    *("level", "call", "kind", "opened", "claim", "claimed", "ref", "type", "count", "amount"),
    *("sample", "taken", "analyte", "value", "unit", "remark"),
)


def _headers(text: str) -> dict[str, str]:
    return dict(zip(_KEYS, (name.strip() for name in text.split("|")), strict=True))


ENGLISH = Dialect(
    "english", ".", ",", ",", "utf-8", "%m/%d/%Y",
    {"repair": "Repair", "delime": "PM - Delime", "inspection": "PM visit"},
    ("Y", "N"), "Grand Total", "Export of 2026", ("gpg", 17.118),
    _headers(
        "Equipment S/N | Item | Ship Date | Customer | State | SU No. | Requested | "
        "Finished | Static Press. | Air Gap | Level OK | Work Order | WO Type | Opened | "
        "Claim # | Submitted | WO Ref | Line Type | Qty | Ext. Price | Lab No. | Collected | "
        "Analysis | Result | Units | Flag"
    ),
    {"ph": "pH", "hardness_mg_l_caco3": "Hardness, total", "chloride_mg_l": "Chloride"},
)  # fmt: skip
GERMAN = Dialect(
    "german", ",", ".", ";", "cp1252", "%d.%m.%Y",
    {"repair": "ZREP", "delime": "ZENT", "inspection": "ZINS"},
    ("ja", "nein"), "Summe", "Stand: 30.06.2026", ("°dH", 17.848),
    _headers(
        "SERGE | MATNR | AULDT | KUNNR | REGIO | QMNUM | ANFDT | FERTG | DRUCK | ABSTD | "
        "WAAGE | AUFNR | AUART | ERDAT | ANTNR | EINDT | AUFRF | POSTY | MENGE | NETWR | "
        "PRBNR | PRBDT | MERKM | WERTE | EINHT | BEMRK"
    ),
    {"ph": "pH-Wert", "hardness_mg_l_caco3": "Gesamthärte", "chloride_mg_l": "Chlorid"},
)  # fmt: skip
FRENCH = Dialect(
    "french", ",", " ", "\t", "utf-16", "%d/%m/%Y",
    {"repair": "Dépannage", "delime": "Détartrage", "inspection": "Visite"},
    ("oui", "non"), "Total général", "Édition du 30/06/2026", ("fH", 10.0),
    _headers(
        "N° de série | Référence | Expédié le | Client | Région | N° mise en service | "
        "Demandée le | Terminée le | Pression statique | Garde d'air | De niveau | "
        "Intervention | Nature | Ouverte le | N° de garantie | Déposée le | Réf. interv. | "
        "Type de ligne | Qté | Montant HT | N° échantillon | Prélevé le | Paramètre | "
        "Résultat | Unité | Remarque"
    ),
    {"ph": "pH", "hardness_mg_l_caco3": "Dureté totale", "chloride_mg_l": "Chlorures"},
)  # fmt: skip
DIALECTS = (ENGLISH, GERMAN, FRENCH)


@dataclass
class Truth:
    """By feed the counts that its rows must end in, and its records by key."""

    counts: dict[str, Counter[str]] = field(default_factory=dict)
    records: dict[str, dict[str, dict[str, object]]] = field(default_factory=dict)

    def put(self, feed: str, key: str, **values: object) -> None:
        """A record; one of the same key before it is superseded."""
        told = self.records.setdefault(feed, {})
        self.count(feed, superseded=int(key in told), records=int(key not in told))
        told[key] = values

    def count(self, feed: str, **ends: int) -> None:
        """Rows and their ends; `rows_split` are no rows read."""
        told = self.counts.setdefault(feed, Counter())
        told.update(ends)
        told["rows_read"] += sum(n for name, n in ends.items() if name != "rows_split")


class Company:
    """Writes exports and mappings of one dialect into a workspace."""

    def __init__(self, dialect: Dialect, exports: Path, mappings: Path, models: list[str]) -> None:
        self.dialect, self.exports, self.mappings = dialect, exports, mappings
        self.draw = random.Random(f"{dialect.name} 7")
        self.models, self.truth = models, Truth()
        self.serials = [f"{3000 + 37 * n:07}" for n in range(40)]
        self.h = dialect.headers

    def write(self) -> Truth:
        """Everything; what is true of it."""
        self.units()
        self.startups()
        self.calls()
        self.waters()
        return self.truth

    def file(
        self, name: str, headers: list[str], rows: list[list[str]], title: bool = True
    ) -> None:
        """A text file with a title, its rows and a total."""
        told = [[self.dialect.title]] if title else []
        told += [[self.h[name] for name in headers], *rows]
        told.append([self.dialect.total, *[""] * (len(headers) - 1)])
        text = "\n".join(self.dialect.mark.join(map(self.quoted, row)) for row in told) + "\n"
        path = self.exports / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode(self.dialect.encoding))

    def quoted(self, cell: str) -> str:
        """A cell that holds the delimiter stands in quotes."""
        return f'"{cell}"' if self.dialect.mark in cell else cell

    def mapping(
        self,
        name: str,
        feed: str,
        files: str,
        columns: dict[str, str],
        more: str = "",
        layout: str = "",
    ) -> None:
        """A mapping of the dialect's marks; `more` follows the columns."""
        d = self.dialect
        named = "".join(f'{column} = "{header}"\n' for column, header in columns.items())
        left = f'[[leave_out]]\nreason = "totals"\nfirst_cell = ["{d.total}*"]\n'
        thousands = "" if d.thousands == " " else f'thousands = "{d.thousands}"\n'
        top = f'feed = "{feed}"\nfiles = ["{files}"]\ndecimal = "{d.decimal}"\n{thousands}'
        text = f'{top}dates = ["{d.day}"]\n{layout}[columns]\n{named}{left}{more}'
        (self.mappings / f"{name}.toml").write_text(text, encoding="utf-8")

    def units(self) -> None:
        """Two deliveries; the second tells sites anew, repeats rows and has a day that is none."""
        d, rows, later = self.dialect, [], []
        for n, serial in enumerate(self.serials):
            day = dt.date(2024, 1, 5) + dt.timedelta(days=3 * n)
            model, site = self.draw.choice(self.models), f"K{n % 9}"
            row = [serial, model, d.date(day), site]
            rows.append(row)
            self.truth.put("units", serial, model=model, shipped_on=day, site=site)
            if n % 10 == 3:  # told again, elsewhere
                later.append([*row[:3], "K99"])
                self.truth.put("units", serial, model=model, shipped_on=day, site="K99")
            elif n % 10 == 4:  # told again as it was
                later.append(row)
                self.truth.count("units", duplicates=1)
        later.append(
            ["9999999", self.models[0], d.date(dt.date(2024, 2, 28)).replace("28", "31"), "K1"]
        )
        self.truth.count("units", set_aside=1, left_out=2)
        heads = ["serial", "model", "shipped", "site"]
        self.file("register/U 2026-05-31.csv", heads, rows)
        self.file("register/U 2026-06-30.csv", heads, later)
        columns = {"serial": "serial", "model": "model", "shipped_on": "shipped", "site": "site"}
        self.mapping("register", "units", "register/*", self.of(columns))

    def of(self, columns: dict[str, str]) -> dict[str, str]:
        """Columns with the dialect's headers."""
        return {column: self.h[name] for column, name in columns.items()}

    def startups(self) -> None:
        """Zeros lost, two serials in a cell, units in cells, words for yes and no."""
        d, rows = self.dialect, []
        for n in range(30):
            units = [self.serials[n]] if n % 6 else [self.serials[n], self.serials[n + 1]]
            asked = dt.date(2024, 6, 1) + dt.timedelta(days=n)
            bar, gap = Decimal(25 + n) / 10, Decimal(2 + n % 5)
            cells = [
                f"R{n}", " / ".join(serial.lstrip("0") for serial in units), d.date(asked),
                d.date(asked + dt.timedelta(days=9)), f"{d.number(bar)} bar",
                f"{d.number(gap)} cm" if n % 4 else f'{gap}"', d.yes[n % 2],
            ]  # fmt: skip
            rows.append(cells)
            for part, serial in enumerate(units, 1):
                self.truth.put(
                    "startups", f"R{n}-{part}", serial=serial, requested_on=asked,
                    completed_on=asked + dt.timedelta(days=9), level=n % 2 == 0,
                    static_pressure_psi=float(bar) * PSI_OF_BAR,
                    drain_air_gap_in=float(gap) / 2.54 if n % 4 else float(gap),
                )  # fmt: skip
            self.truth.count("startups", rows_split=len(units) - 1)
        more = len(self.truth.records["startups"]) - len(rows)
        self.truth.counts["startups"]["rows_read"] -= more
        rows.append(["R99", "1", d.date(dt.date(2024, 6, 1)), "", "3 furlongs", "", ""])
        self.truth.count("startups", set_aside=1, left_out=1)
        heads = ["report", "serial", "asked", "done", "static", "gap", "level"]
        self.file("SU.csv", heads, rows)
        columns = {"serial": "serial", "requested_on": "asked", "completed_on": "done"}
        columns |= {"static_pressure_psi": "static", "drain_air_gap_in": "gap", "level": "level"}
        report = f'report = {{ join = ["{self.h["report"]}", "#part"], with = "-" }}\n'
        yes, no = d.yes
        self.mapping(
            "startups", "startups", "SU*", self.of(columns),
            f'[transforms]\nserial = [ {{ split = [" / "] }}, {{ pad = 7 }} ]\n'
            "static_pressure_psi = [ { cell_unit = true } ]\n"
            "drain_air_gap_in = [ { cell_unit = true } ]\n"
            f'[values.level]\n"{yes}" = "yes"\n"{no}" = "no"\n',
        )  # fmt: skip
        path = self.mappings / "startups.toml"
        path.write_text(
            path.read_text("utf-8").replace("[columns]\n", f"[columns]\n{report}"), "utf-8"
        )

    def calls(self) -> None:
        """Orders, claims and lines in files of their own."""
        d, orders, heads, lines = self.dialect, [], [], []
        for n in range(60):
            kind = ("repair", "repair", "delime", "inspection")[n % 4]
            opened, serial = dt.date(2025, 1, 2) + dt.timedelta(days=n), self.serials[n % 40]
            call = f"{500 + n:06}"
            orders.append([call, serial, d.kinds[kind], d.date(opened)])
            claim = claimed = parts = hours = None
            if kind == "repair" and n % 3:
                claim, claimed = f"W-{n}", opened + dt.timedelta(days=12)
                heads.append([call.lstrip("0"), claim, d.date(claimed)])
                parts, hours = Decimal(0), Decimal(0)
                for place in range(n % 5):
                    amount = Decimal(self.draw.randrange(100, 400_000)) / 100
                    labor = place % 3 == 2
                    count = Decimal(place) / 4
                    lines.append(
                        [claim, "LAB" if labor else "MAT", d.number(count), d.number(amount)]
                    )
                    parts += 0 if labor else amount
                    hours += count if labor else 0
                    self.truth.count("service_calls", joined=1)
                if not n % 5:
                    parts = hours = None
                self.truth.count("service_calls", joined=1)
            if n == 25:  # its number cannot be read, so that the call is set aside
                lines.append([str(claim), "MAT", "1", "12,34,5"])
                self.truth.count("service_calls", set_aside=2)
                continue
            self.truth.put(
                "service_calls", call, serial=serial, kind=kind, opened_on=opened, claim=claim,
                claimed_on=claimed, parts_amount=parts, labor_hours=hours,
            )  # fmt: skip
        heads += [heads[0], ["777", "W-777", d.date(dt.date(2025, 5, 5))]]
        lines += [["W-1", "TXT", "", ""], ["W-778", "MAT", "1", d.number(Decimal("1.50"))]]
        self.truth.count("service_calls", duplicates=1, set_aside=3, left_out=3)
        self.file("O 2026-06-30.csv", ["call", "serial", "kind", "opened"], orders)
        self.file("H.csv", ["ref", "claim", "claimed"], heads)
        self.file("L.csv", ["claim", "type", "count", "amount"], lines)
        kinds = "".join(f'"{word}" = "{kind}"\n' for kind, word in d.kinds.items())
        h, out = self.h, f'[[join.leave_out]]\nreason = "totals"\nfirst_cell = ["{d.total}"]\n'
        columns = self.of(
            {"call": "call", "serial": "serial", "kind": "kind", "opened_on": "opened"}
        )
        columns |= {"claim": f"head.{h['claim']}", "claimed_on": f"head.{h['claimed']}",
                    "parts_amount": "line.parts", "labor_hours": "line.hours"}  # fmt: skip
        self.mapping(
            "calls", "service_calls", "O *", columns,
            f"[values.kind]\n{kinds}"
            f'[[join]]\nname = "head"\nfiles = ["H.csv"]\non = {{ "{h["call"]}" = "{h["ref"]}" }}\n'
            f"on_steps = [ {{ strip_zeros = true }} ]\n{out}"
            f'[[join]]\nname = "line"\nfiles = ["L.csv"]\n'
            f'on = {{ "head.{h["claim"]}" = "{h["claim"]}" }}\n'
            f'sum.parts = {{ header = "{h["amount"]}", where = {{ "{h["type"]}" = ["MAT"] }} }}\n'
            f'sum.hours = {{ header = "{h["count"]}", where = {{ "{h["type"]}" = ["LAB"] }} }}\n'
            f"{out}",
        )  # fmt: skip

    def waters(self) -> None:
        """One row an analyte, its own units, bounds, and an analyte that no mapping names."""
        d, rows = self.dialect, []
        unit, factor = d.hardness
        for n in range(20):
            day = dt.date(2025, 2, 1) + dt.timedelta(days=7 * n)
            ph, hard, chloride = Decimal(68 + n) / 10, Decimal(30 + 9 * n) / 10, Decimal(5 + n)
            for name, value, of in (("ph", ph, "-"), ("hardness_mg_l_caco3", hard, unit),
                                    ("chloride_mg_l", chloride, "mg/L")):  # fmt: skip
                told = (
                    d.number(value) if n % 5 or name != "chloride_mg_l" else f"<{d.number(value)}"
                )
                rows.append([f"S{n}", f"K{n % 9}", d.date(day), d.analytes[name], told, of])
            rows.append([f"S{n}", f"K{n % 9}", d.date(day), "Xx", "1", "mg/L"])
            bound = float(chloride) if n % 5 == 0 else None
            self.truth.put(
                "water_tests", f"S{n}", site=f"K{n % 9}", sampled_on=day, ph=float(ph),
                hardness_mg_l_caco3=float(hard) * factor, chloride_mg_l_below=bound,
                chloride_mg_l=None if bound else float(chloride),
            )  # fmt: skip
        self.truth.counts["water_tests"] = Counter(records=len(rows), rows_read=len(rows))
        rows.append(["S99", "K1", d.date(dt.date(2025, 2, 1)), d.analytes["ph"], "7", "stones"])
        self.truth.count("water_tests", set_aside=1, left_out=1)
        self.file("lab/W.csv", ["sample", "site", "taken", "analyte", "value", "unit"], rows)
        columns = {"sample": "sample", "site": "site", "sampled_on": "taken", "analyte": "analyte",
                   "value": "value", "unit": "unit"}  # fmt: skip
        names = "".join(f'"{written}" = "{column}"\n' for column, written in d.analytes.items())
        more = f'[constants]\npoint = "supply"\n[analytes]\n{names}'
        self.mapping("lab", "water_tests", "lab/**", self.of(columns), more, 'layout = "long"\n')
