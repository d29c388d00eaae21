"""What is true of the second company: units, calls, claims, start-ups, waters, purchases, credits.

Belongs here: facts, drawn from a fixed seed. Does not belong here: how ugly exports write them
(`generate`). It knows nothing of the tool.
"""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass, field
from decimal import Decimal

SEED = 20260630
END = dt.date(2026, 6, 30)
MODELS = {"QM-6": "100601", "QM-10": "101001", "BR-12": "201201"}
REGIONS = ("DE-BY", "DE-BW", "AT-8", "CH-SG")
AGENCIES = {
    "ALDERMARK": ("Aldermark Küchentechnik", "ALDERMARK", "Aldermark  Küchentechnik GmbH"),
    "TANNWICK": ("Tannwick Service", "Tannwick-Service", "TANNWICK"),
    "HOLLERBRUECK": ("Hollerbrück & Partner", "Hollerbrueck u. Partner", "HOLLERBRUECK"),
    "MOORGRUND": ("Moorgrund Dampftechnik", "MOORGRUND", "moorgrund dampftechnik kg"),
}
CAUSES = {
    "SCALE": ("Heizung verkalkt", "Kalk im Dampferzeuger, Sonde belegt"),
    "GASKET": ("Türdichtung undicht", "Dichtung gerissen"),
    "BOARD": ("Platine defekt", "Elektronik fällt aus"),
    "OTHER": ("Lüfter laut", "Störung, Ursache unklar"),
}
PRODUCTS = {"SOFT-20": 420, "CARBON-X": 310, "CARBON-X-C": 65, "LIMEGATE": 180, "LIMEGATE-C": 45}


@dataclass
class Unit:
    """One steam cooker."""

    serial: str
    model: str
    shipped: dt.date
    installed: dt.date
    site: str


@dataclass
class Call:
    """One service call, with its claim where it has one."""

    number: int
    unit: Unit
    kind: str
    opened: dt.date
    agency: str
    text: str = ""
    claim: str = ""
    claimed: dt.date | None = None
    lines: list[tuple[str, str, Decimal, Decimal, Decimal]] = field(default_factory=list)


@dataclass
class World:
    """All facts."""

    units: list[Unit]
    calls: list[Call]
    startups: list[tuple[str, list[Unit], dt.date, dt.date, str, Decimal, Decimal]]
    samples: list[tuple[str, str, str, dt.date, dict[str, Decimal]]]
    purchases: list[tuple[str, int, dt.date, str, int, str]]
    credits: list[tuple[str, str, dt.date, Decimal, Decimal, Decimal]]
    regions: dict[str, str]


def make() -> World:
    """The facts, the same each time."""
    draw = random.Random(SEED)
    sites = [f"K-{400 + 3 * number:05}" for number in range(110)]
    regions = {site: draw.choice(REGIONS) for site in sites}
    units = []
    for number in range(250):
        shipped = dt.date(2023, 1, 9) + dt.timedelta(days=number * 4 + draw.randrange(4))
        installed = shipped + dt.timedelta(days=draw.randrange(10, 50))
        serial = f"{41000 + number * 7:07}"
        units.append(
            Unit(serial, draw.choice(list(MODELS)), shipped, installed, draw.choice(sites))
        )
    calls = _calls(draw, units)
    sites = sorted({unit.site for unit in units[:100] + units[101:]})
    return World(
        units, calls, _startups(draw, units), _samples(draw, sites), _purchases(draw, sites),
        _credits(draw, calls), regions,
    )  # fmt: skip


def _calls(draw: random.Random, units: list[Unit]) -> list[Call]:
    kinds = ["repair"] * 230 + ["delime"] * 25 + ["inspection"] * 15 + ["cartridge_change"] * 12
    calls = []
    for number, kind in enumerate(kinds):
        unit = draw.choice([one for one in units if one.installed < dt.date(2026, 1, 1)])
        days = (dt.date(2026, 6, 10) - unit.installed).days
        opened = unit.installed + dt.timedelta(days=draw.randrange(20, days))
        calls.append(Call(410000 + number * 3, unit, kind, opened, draw.choice(list(AGENCIES))))
    calls.sort(key=lambda call: (call.opened, call.number))
    for number, call in enumerate(calls):
        if call.kind != "repair":
            continue
        call.text = draw.choice(CAUSES[draw.choice(list(CAUSES))])
        if number % 12 == 5:
            continue
        call.claim = f"C{70000 + number * 11}"
        call.claimed = min(call.opened + dt.timedelta(days=draw.randrange(3, 50)), END)
        cents = Decimal(draw.randrange(1_800, 240_000)) / 100
        call.lines.append(("MAT", f"ET-{draw.randrange(100, 140)}", Decimal(1), cents, Decimal(0)))
        if draw.random() < 0.4:
            hours = Decimal(draw.randrange(2, 17)) / 4
            rate = Decimal(draw.choice([88, 92, 98]))
            call.lines.append(("LAB", "", hours, hours * rate, rate))
        if draw.random() < 0.2:
            call.lines.append(("TRV", "", Decimal(1), Decimal(draw.randrange(30, 90)), Decimal(0)))
    return calls


def _startups(draw: random.Random, units: list[Unit]):
    """One report may be for two units of a site that were fitted together."""
    reports, number, at = [], 0, 0
    while at < len(units) - 1:
        two = draw.random() < 0.12
        told = units[at : at + 1 + two]
        at += 1 + two
        if draw.random() < 0.04:
            continue
        number += 1
        done = max(unit.installed for unit in told) + dt.timedelta(days=draw.randrange(3))
        asked = done - dt.timedelta(days=draw.randrange(2, 12))
        static = Decimal(draw.randrange(30, 60)) / 10
        gap = Decimal(draw.choice([3, 4, 5, 6]))
        agency = draw.choice(list(AGENCIES))
        reports.append((f"IB-{number:04}", told, asked, done, agency, static, gap))
    return reports


def _samples(draw: random.Random, sites: list[str]):
    samples = []
    for number in range(38):
        day = dt.date(2023, 3, 1) + dt.timedelta(days=number * 30 + draw.randrange(9))
        calcium = Decimal(draw.randrange(80, 900)) / 10  # mg/L as Ca
        told = {
            "pH-Wert": Decimal(draw.randrange(68, 84)) / 10,
            "Gesamthärte": (calcium * Decimal("0.17")).quantize(Decimal("0.1")),
            "Calcium": calcium,
            "Chlorid": Decimal(draw.randrange(4, 60)),
            "Gesamtchlor": (total := Decimal(draw.choice([0, 0, 5, 12])) / 100),
            "Kieselsäure": Decimal(draw.randrange(30, 180)) / 10,
            "Nitrat": Decimal(draw.randrange(2, 40)),
        }
        if total > Decimal("0.1"):  # combined chlorine: the laboratory tells the free part as well
            told["Freies Chlor"] = Decimal("0.01")
        samples.append((f"26-{1000 + number}", sites[number * 2 % len(sites)], "supply", day, told))
    return samples


def _purchases(draw: random.Random, sites: list[str]):
    bought = []
    for order in range(110):
        day = dt.date(2023, 2, 1) + dt.timedelta(days=order * 11 + draw.randrange(6))
        site = draw.choice(sites)
        for line in range(1, draw.choice([2, 3])):
            product, count = draw.choice(list(PRODUCTS)), draw.randrange(1, 5)
            bought.append((f"W{5000 + order}", line, day, product, count, site))
    return bought


def _credits(draw: random.Random, calls: list[Call]):
    paid = []
    for call in calls:
        if not call.claim or draw.random() < 0.08:
            continue
        of = {kind: sum((m for k, _, _, m, _ in call.lines if k == kind), Decimal(0))
              for kind in ("MAT", "LAB", "TRV")}  # fmt: skip
        assert call.claimed is not None
        day = min(call.claimed + dt.timedelta(days=20), END)
        paid.append((call.claim, f"19{len(paid):06}", day, of["MAT"], of["LAB"], of["TRV"]))
    return paid
