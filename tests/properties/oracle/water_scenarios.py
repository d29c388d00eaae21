"""Water tests, treatments, cartridges and delimings around one claim, aimed at the boundaries.

Belongs here: what bears on conditions 15 to 20. Does not belong here: the other records, and what
follows from any of them.
"""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

from tests.properties.oracle.csv_world import ANALYTES
from tests.properties.oracle.draws import Draws
from tests.properties.oracle.oracle import add_months
from tests.properties.oracle.rows import Rows
from tests.properties.oracle.terms_scenarios import SELLERS
from tests.properties.oracle.water_oracle import how_severe, is_complete, what_it_needs
from tests.properties.oracle.world import Row

CENT = Decimal("0.01")
PLAIN = {
    "ph": Decimal("7.5"),
    "hardness_mg_l_caco3": Decimal("40"),
    "chloride_mg_l": Decimal("20"),
    "tds_mg_l": Decimal("150"),
    "silica_mg_l": Decimal("5"),
    "free_chlorine_mg_l": Decimal("0.25"),
}


def make_water_life(
    draws: Draws, rows: Rows, unit: Row, model: Row, cause: Row, terms: dict, clock: date, d: date
) -> None:
    """Everything that bears on the water of one claim."""
    tests = make_tests(draws, rows, unit, terms, clock, d)
    if model["delime_by"] != "none":
        make_delimings(draws, rows, unit, model, terms, clock, d)
    complete = [test for test in tests if is_complete(test, terms["water"])]
    limits = terms["water"]["limits"]
    needs, severity = {"scale"}, "normal"
    if complete:
        needs = what_it_needs(complete[0], limits, model, cause, terms, set()) or {"scale"}
        severity = how_severe(complete[0], limits, terms["maintenance"])
    if draws.chance(0.12):
        return
    systems = [t for t in rows.reference["treatments"] if t["kind"] == "system"]
    enough = [s for s in systems if needs <= set(s["removes"])]
    chosen = draws.sample(enough, min(len(enough), draws.choice((1, 1, 2))))
    if not chosen:
        # No single system does: several together may.
        chosen = [s for s in systems if needs & set(s["removes"])]
    if draws.chance(0.25):
        chosen = draws.some(systems, 2)
    months = terms["maintenance"]["cartridge_months"][severity]
    for system in chosen:
        make_system(draws, rows, unit, system, terms, clock, d, months)


def make_same_day_stock(
    draws: Draws, rows: Rows, unit: Row, terms: dict, clock: date
) -> date | None:
    """Two orders of one day whose end at a month's end hangs on which counts first.

    Returns a failure date that only the later of the two ends reaches; None where there is none.
    """
    limits, rules = terms["water"]["limits"], terms["maintenance"]
    cartridges = [t["product"] for t in rows.reference["treatments"] if t["fits"] == "SOFT"]
    if "hardness_mg_l_caco3" not in limits or not cartridges:
        return None
    values = dict.fromkeys([*ANALYTES, *(f"{name}_below" for name in ANALYTES)])
    values |= PLAIN | {"free_chlorine_mg_l": Decimal("0.2"), "total_chlorine_mg_l": Decimal("0.2")}
    values["hardness_mg_l_caco3"] = Decimal(limits["hardness_mg_l_caco3"]["max"]) + CENT
    months = rules["cartridge_months"][how_severe(values, limits, rules)]
    first, second = draws.sample((1, 2, 3), 2)
    grace = timedelta(days=rules["cartridge_grace_days"])
    for wait in range(draws.randint(30, 60), 120):
        installed = clock + timedelta(days=wait)
        until = add_months(installed, months)
        ends = [
            add_months(add_months(until, months * one), months * other) + grace
            for one, other in ((first, second), (second, first))
        ]
        if ends[0] != ends[1]:
            break
    else:
        return None
    bought = [
        make_purchase(draws, rows, unit, draws.choice(cartridges), installed, terms, quantity)
        for quantity in (first, second)
    ]
    if draws.chance(0.6):
        bought[0]["order"] = bought[1]["order"]
    make_purchase(draws, rows, unit, "SOFT", clock, terms, 1)
    make_call(draws, rows, unit, "treatment_install", "SOFT", installed)
    rows.add(
        "water_tests",
        sample=rows.name("S"),
        site=unit["site"],
        serial=unit["serial"],
        point="supply",
        sampled_on=clock,
        reported_on=None,
        **values,
    )
    return max(ends)


def make_tests(draws: Draws, rows: Rows, unit: Row, terms: dict, clock: date, d: date) -> list[Row]:
    """No test to three tests, the first the likeliest to count."""
    grace = terms["treatment"]["grace_days"]
    tests = []
    for _ in range(draws.weighted({0: 1, 1: 6, 2: 3, 3: 1})):
        sampled = draws.weighted(
            {
                draws.near(d): 1,
                clock - timedelta(days=draws.randint(0, 30)): 6,
                draws.between(clock, d): 2,
            }
        )
        if tests and draws.chance(0.4):
            sampled = tests[-1]["sampled_on"]
        reported = draws.choice(
            (
                None,
                draws.after(sampled, 9),
                max(sampled, draws.near(d - timedelta(days=grace))),
                max(sampled, draws.near(clock)),
                sampled - timedelta(days=1),
            )
        )
        tests.append(make_test(draws, rows, unit, terms, sampled, reported))
    return tests


def make_test(
    draws: Draws, rows: Rows, unit: Row, terms: dict, sampled: date, reported: date | None
) -> Row:
    """One test of the unit, its values at and beside the limits."""
    limits, panel = terms["water"]["limits"], set(terms["water"]["panel"])
    values: dict[str, Decimal | None] = {}
    whole = draws.chance(0.75)  # reports the whole panel
    for analyte, plain in PLAIN.items():
        value, below = draw_value(draws, plain, limits.get(analyte, {}), terms["maintenance"])
        needed = analyte in panel or (analyte.startswith("free") and "chloramine_mg_l" in panel)
        if not (needed and whole) and draws.chance(0.4):
            value = below = None
        values[analyte], values[f"{analyte}_below"] = value, below
    if draws.chance(0.85 if whole else 0.5):
        make_total_chlorine(draws, values, limits.get("chloramine_mg_l", {}).get("max"))
    if draws.chance(0.2):
        values["conductivity_us_cm"] = Decimal("450")
    site, serial = draws.weighted(
        {
            (unit["site"], None): 6,
            (None, unit["serial"]): 2,
            (unit["site"], unit["serial"]): 1,
            ("ELSEWHERE", unit["serial"]): 1,
            ("ELSEWHERE", None): 0.3,
        }
    )
    if site is None and serial is None:
        serial = unit["serial"]
    columns = {name: values.get(name) for name in ANALYTES}
    columns |= {f"{name}_below": values.get(f"{name}_below") for name in ANALYTES}
    return rows.add(
        "water_tests",
        sample=rows.name("S"),
        site=site,
        serial=serial,
        point=draws.weighted({"supply": 12, "treated": 1}),
        sampled_on=sampled,
        reported_on=reported,
        **columns,
    )


def make_total_chlorine(draws: Draws, values: dict, maximum: Decimal | None) -> None:
    """Total chlorine so that chloramine comes out at and beside its limit, or is no detect."""
    maximum = maximum if maximum is not None else Decimal("0.1")
    free = values["free_chlorine_mg_l"] or Decimal(0)
    kind = draws.weighted({"value": 8, "bound": 2, "below free": 1})
    if kind == "bound":
        values["total_chlorine_mg_l_below"] = maximum + draws.choice((-CENT, Decimal(0), CENT))
        if draws.chance(0.5):
            values["free_chlorine_mg_l"] = values["free_chlorine_mg_l_below"] = None
    elif kind == "below free":
        values["total_chlorine_mg_l"] = free / 2
    else:
        above = draws.choice((Decimal(0), Decimal(0), CENT, -CENT, maximum * 2))
        values["total_chlorine_mg_l"] = free + maximum + above


def draw_value(
    draws: Draws, plain: Decimal, limit: dict, maintenance: dict
) -> tuple[Decimal | None, Decimal | None]:
    """A value or a bound: plain, at a limit, beside it, or at the bounds of the severities."""
    if "max" in limit:
        maximum = Decimal(limit["max"])
        mild = maximum * maintenance["mild_up_to"]
        severe = maximum * maintenance["severe_above"]
        kind = draws.weighted({"plain": 7, "max": 2, "mild": 1, "severe": 2, "high": 3, "bound": 2})
        step = draws.choice((-CENT, Decimal(0), CENT))
        if kind == "bound":
            return None, maximum + step
        if kind == "high":
            return maximum * Decimal("1.5"), None
        if kind != "plain":
            return {"max": maximum, "mild": mild, "severe": severe}[kind] + step, None
    if "min" in limit and draws.chance(0.3):
        return limit["min"] + draws.choice((-CENT, Decimal(0), CENT)), None
    if "min" in limit and draws.chance(0.1):
        return None, limit["min"] - CENT
    return plain, None


def make_system(
    draws: Draws, rows: Rows, unit: Row, system: Row, terms: dict, clock: date, d: date, months: int
) -> None:
    """One system bought, installed and kept up for the unit, or nearly so."""
    product = system["product"]
    ordered = draws.weighted({clock: 6, draws.near(d): 1, clock - timedelta(days=20): 2})
    for _ in range(draws.weighted({1: 9, 2: 1})):
        make_purchase(draws, rows, unit, product, ordered, terms, 1)
    if draws.chance(0.1):
        return
    installed = draws.weighted(
        {
            draws.after(clock, 25): 4,
            draws.month_end(clock): 3,
            draws.near(d): 1,
            d + timedelta(days=10): 0.5,
        }
    )
    if draws.chance(0.4):
        # So that the end of a cartridge falls about d.
        grace = timedelta(days=terms["maintenance"]["cartridge_grace_days"])
        installed = draws.near(add_months(d - grace, -months * draws.choice((1, 2, 3))))
    make_installation_record(draws, rows, unit, product, installed)
    if draws.chance(0.1):
        make_installation_record(draws, rows, unit, product, draws.after(installed, 40))
    way = draws.weighted({"changes": 5, "stock": 5, "both": 1, "neither": 1})
    if way in ("changes", "both"):
        make_changes(draws, rows, unit, product, terms, installed, d, months)
    if way in ("stock", "both"):
        make_stock(draws, rows, unit, product, terms, installed, d, months)


def make_installation_record(
    draws: Draws, rows: Rows, unit: Row, product: str, installed: date
) -> None:
    """An installation by call, at the unit or beside it, or by a start-up report."""
    if draws.chance(0.3):
        rows.startup(
            rows.name("R"),
            unit["serial"] if draws.chance(0.9) else rows.neighbor(draws, unit),
            requested_on=installed if draws.chance(0.5) else None,
            completed_on=installed if draws.chance(0.5) else None,
            treatment_product=product,
            treatment_installed_on=installed,
        )
        return
    make_call(draws, rows, unit, "treatment_install", product, installed)


def make_call(
    draws: Draws, rows: Rows, unit: Row, kind: str, product: str | None, completed: date
) -> None:
    """A call of the kind, at the unit or beside it, rarely not completed."""
    rows.call(
        rows.name("K"),
        unit["serial"] if draws.chance(0.8) else rows.neighbor(draws, unit),
        kind,
        completed - timedelta(days=draws.choice((0, 0, 2))),
        completed_on=completed if draws.chance(0.97) else None,
        product=product,
        performed_by=draws.choice(("technician", "technician", "owner", None)),
    )


def make_purchase(
    draws: Draws, rows: Rows, unit: Row, product: str, ordered: date, terms: dict, quantity: int
) -> Row:
    """One purchase, mostly good, for the unit or its site."""
    sellers = terms["treatment"]["sellers"]
    site, serial = draws.weighted(
        {
            (unit["site"], None): 6,
            (unit["site"], unit["serial"]): 2,
            (None, unit["serial"]): 1,
            (unit["site"], rows.neighbor(draws, unit)): 0.5,
        }
    )
    if site is None and serial is None:
        serial = unit["serial"]
    return rows.add(
        "treatment_purchases",
        order=rows.name("O") if draws.chance(0.5) else f"O{draws.randint(1, 12)}",
        line=rows.number(),
        ordered_on=ordered,
        product=product,
        quantity=quantity,
        condition=draws.weighted({"new": 14, "used": 1, "refurbished": 1}),
        seller=draws.choice(sellers) if draws.chance(0.9) else draws.choice(SELLERS),
        site=site,
        serial=serial,
    )


def make_changes(
    draws: Draws,
    rows: Rows,
    unit: Row,
    product: str,
    terms: dict,
    installed: date,
    d: date,
    months: int,
) -> None:
    """Cartridge changes that are mostly just in time, the last one so that d is."""
    rules = terms["maintenance"]
    grace = timedelta(days=rules["cartridge_grace_days"])
    look_back = rules.get("look_back_months")
    day = installed
    while day <= d and add_months(day, months) + grace <= d:
        due = add_months(day, months) + grace
        day = due - timedelta(days=draws.weighted({0: 5, 3: 2, -1: 1}))
        if look_back and draws.chance(0.3):
            # A late change whose lapse ends about the day from which on lapses count.
            day = max(day, draws.near(add_months(d, -look_back)))
        if draws.chance(0.1):
            day = draws.near(d)
        make_call(draws, rows, unit, "cartridge_change", product, day)
    if draws.chance(0.15):
        make_call(draws, rows, unit, "cartridge_change", f"{product}-A", installed)


def make_stock(
    draws: Draws,
    rows: Rows,
    unit: Row,
    product: str,
    terms: dict,
    installed: date,
    d: date,
    months: int,
) -> None:
    """Cartridges bought ahead or just in time, some on one day."""
    cartridges = [t["product"] for t in rows.reference["treatments"] if t["fits"] == product]
    if not cartridges:
        return
    rules = terms["maintenance"]
    grace = timedelta(days=rules["cartridge_grace_days"])
    look_back = rules.get("look_back_months")
    until = add_months(installed, months)
    if draws.chance(0.3):
        make_purchase(
            draws, rows, unit, draws.choice(cartridges), installed - timedelta(9), terms, 1
        )
    reach = draws.choice((0, 1))  # so that d also falls on the very last day
    while until + grace + timedelta(days=reach) <= d:
        day = draws.weighted(
            {until + grace: 4, until - timedelta(days=3): 6, until + grace + timedelta(days=1): 1}
        )
        if look_back and draws.chance(0.3):
            day = max(day, draws.near(add_months(d, -look_back)))
        for _ in range(draws.weighted({1: 4, 2: 1})):
            quantity = draws.weighted({1: 4, 2: 2, 3: 1})
            make_purchase(draws, rows, unit, draws.choice(cartridges), day, terms, quantity)
            until = add_months(max(until, day), months * quantity)


def make_delimings(
    draws: Draws, rows: Rows, unit: Row, model: Row, terms: dict, clock: date, d: date
) -> None:
    """Delimings that are mostly just in time."""
    if draws.chance(0.15):
        return
    rules = terms["maintenance"]
    grace = timedelta(days=rules["delime_grace_days"])
    day = draws.near(clock) if draws.chance(0.3) else clock
    while add_months(day, rules["delime_months"]) + grace <= d:
        due = add_months(day, rules["delime_months"]) + grace
        day = due - timedelta(days=draws.weighted({0: 8, 2: 8, -1: 1}))
        others = draws.chance(0.05)
        rows.call(
            rows.name("L"),
            rows.neighbor(draws, unit) if others else unit["serial"],
            "delime",
            day,
            completed_on=day if draws.chance(0.98) else None,
            performed_by=draws.weighted({"technician": 18, "owner": 1, None: 1}),
        )
