"""Conditions 15 to 20 read a second time, one claim at a time, in plain Python.

Belongs here: the page's section on water, sentence by sentence. Does not belong here: the other
conditions (`oracle`), or any code of the pipelines.
"""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise

from dateutil.relativedelta import relativedelta

from tests.properties.oracle.world import Row, World

WATER = (
    "water_tested",
    "treatment_bought_new",
    "treatment_suits_water",
    "treatment_installed",
    "treatment_maintained",
    "delimed",
)


def add_months(day: date, months: int) -> date:
    """The same day of the month, so many months on, at most that month's last day; one step."""
    return day + relativedelta(months=months)


def judge_water(
    known: World,
    unit: Row,
    model: Row,
    cause: Row,
    terms: dict,
    clock: date,
    d: date,
    marks: set[str],
) -> tuple[dict[str, str], str | None]:
    """15 to 20 as they would end with none switched off, and the severity of the water."""
    if not (cause["water_related"] and model["needs_treatment"]):
        return dict.fromkeys(WATER, "not_needed"), None
    out: dict[str, str] = {"delimed": delimed(known, unit, model, cause, terms, clock, d, marks)}
    complete = [
        test
        for test in known.records["water_tests"]
        if test["point"] == "supply"
        and belongs(test, unit)
        and is_complete(test, terms["water"])
        and test["sampled_on"] is not None
        and test["sampled_on"] <= d
    ]
    if not complete:
        # 15. Not met: 16-19 are not evaluated.
        out |= dict.fromkeys(WATER[1:5], "not_evaluated")
        return out | {"water_tested": "unknown"}, None
    out["water_tested"] = "met"
    test = max(complete, key=lambda t: (t["sampled_on"], reported(t), t["sample"]))
    limits = terms["water"].get("limits", {})
    severity = how_severe(test, limits, terms["maintenance"])
    needs = what_it_needs(test, limits, model, cause, terms, marks)
    r = max(min(reported(t) for t in complete), clock)
    if d <= r + timedelta(days=terms["treatment"]["grace_days"]):
        marks.add("grace")
        return out | dict.fromkeys(WATER[1:5], "not_needed"), severity
    if not needs:
        marks.add("needs: none")
        return out | dict.fromkeys(WATER[1:5], "not_needed"), severity
    months = terms["maintenance"]["cartridge_months"][severity]
    grace_end = r + timedelta(days=terms["treatment"]["grace_days"])
    return out | judge_treatment(known, unit, terms, needs, months, d, grace_end, marks), severity


def belongs(test: Row, unit: Row) -> bool:
    """A test belongs to a unit when its site is the unit's site or its serial the unit's."""
    at_site = test["site"] is not None and test["site"] == unit["site"]
    return at_site or test["serial"] == unit["serial"]


def reported(test: Row) -> date:
    """The day of the report, or of the sample where that is empty."""
    return test["reported_on"] if test["reported_on"] is not None else test["sampled_on"]


def reading(test: Row, analyte: str) -> tuple[Decimal | None, Decimal | None]:
    """The value, or else the bound of a non-detect."""
    if analyte != "chloramine_mg_l":
        return test[analyte], test[f"{analyte}_below"]
    total, total_below = test["total_chlorine_mg_l"], test["total_chlorine_mg_l_below"]
    free, free_below = test["free_chlorine_mg_l"], test["free_chlorine_mg_l_below"]
    if total_below is not None:
        return None, total_below  # whatever the free chlorine
    if free_below is not None:
        free = Decimal(0)
    if total is None or free is None:
        return None, None
    return max(total - free, Decimal(0)), None


def is_reported(test: Row, analyte: str, limits: dict) -> bool:
    """Whether the test reports the analyte, for the panel and for the limits."""
    value, below = reading(test, analyte)
    if value is not None:
        return True
    if below is None:
        return False
    maximum = limits.get(analyte, {}).get("max")
    return maximum is None or below <= maximum


def is_complete(test: Row, water: dict) -> bool:
    """A test is complete when it reports every analyte of the panel."""
    return all(is_reported(test, analyte, water.get("limits", {})) for analyte in water["panel"])


def how_severe(test: Row, limits: dict, maintenance: dict) -> str:
    """Mild, normal or severe by the largest ratio of a value to its maximum."""
    worst = Decimal(0), Decimal(1)  # a value over its maximum, kept apart to compare exactly
    for analyte, limit in limits.items():
        value, _ = reading(test, analyte)
        if (
            analyte != "ph"
            and "max" in limit
            and value is not None
            and value * worst[1] > worst[0] * limit["max"]
        ):
            worst = value, Decimal(limit["max"])
    if worst[0] <= maintenance["mild_up_to"] * worst[1]:
        return "mild"
    return "severe" if worst[0] > maintenance["severe_above"] * worst[1] else "normal"


def what_it_needs(
    test: Row, limits: dict, model: Row, cause: Row, terms: dict, marks: set[str]
) -> set[str]:
    """Needs: the abilities named by the limits that the test is strictly outside of."""
    needs = set()
    for analyte, limit in limits.items():
        value, _ = reading(test, analyte)
        if value is not None and (
            ("max" in limit and value > limit["max"]) or ("min" in limit and value < limit["min"])
        ):
            needs.add(limit["needs"])
    if not needs and model["always_treat"]:
        marks.add("needs: always treat")
        needs = {"scale"}
    if terms["treatment"].get("judged_by", "water") == "cause" and cause["abilities"]:
        if needs and not needs & set(cause["abilities"]):
            marks.add("needs: none that the cause lists")
        needs &= set(cause["abilities"])
    return needs


def reaches(known: World, feed: str, day: date) -> bool:
    """Whether the feed is known to be complete up to the day."""
    through = known.through.get(feed)
    return through is not None and through >= day


def judge_treatment(
    known: World,
    unit: Row,
    terms: dict,
    needs: set[str],
    months: int,
    d: date,
    grace_end: date,
    marks: set[str],
) -> dict[str, str]:
    """16 to 19, where the water needs something and the grace is over."""
    products = {row["product"]: row for row in known.reference["treatments"]}
    bought = [
        p
        for p in known.records["treatment_purchases"]
        if p["serial"] == unit["serial"]
        or (p["serial"] is None and p["site"] is not None and p["site"] == unit["site"])
    ]
    systems = [p for p in bought if products[p["product"]]["kind"] == "system"]
    good = {p["product"] for p in systems if is_good(p, terms, d)}

    def able(names: set[str]) -> bool:
        return needs <= {ability for name in names for ability in products[name]["removes"]}

    out = dict.fromkeys(WATER[1:5], "not_evaluated")
    # 16.
    if not good:
        silent = not systems and not reaches(known, "treatment_purchases", d)
        return out | {"treatment_bought_new": "unknown" if silent else "unmet"}
    out["treatment_bought_new"] = "met"
    # 17.
    if not able(good):
        return out | {"treatment_suits_water": "unmet"}
    out["treatment_suits_water"] = "met"
    # 18.
    neighbors = {unit["serial"]}
    if unit["site"] is not None:
        neighbors |= {u["serial"] for u in known.records["units"] if u["site"] == unit["site"]}
    installed = {name: installation_date(known, unit, neighbors, name) for name in good}
    by_d = {name for name, day in installed.items() if day is not None and day <= d}
    undated = {name for name, day in installed.items() if day is None}
    if not able(by_d):
        return out | {"treatment_installed": "unknown" if able(by_d | undated) else "unmet"}
    out["treatment_installed"] = "met"
    # 19.
    kept = set()
    for name in by_d:
        cartridges = {row["product"] for row in products.values() if row["fits"] == name}
        if not cartridges:
            marks.add("19: no cartridge")
            kept.add(name)
            continue
        rules = terms["maintenance"]
        lapses = (
            lapses_by_changes(known, neighbors, name, installed[name], months, rules, d),
            lapses_by_stock(
                [p for p in bought if p["product"] in cartridges and is_good(p, terms, d)],
                installed[name],
                months,
                rules,
                d,
            ),
        )
        ways = [not counting(ended, rules, d) for ended in lapses]
        if any(ways):
            kept.add(name)
            marks.add(
                {(1, 1): "19: both ways", (1, 0): "19: by changes", (0, 1): "19: by stock"}[*ways]
            )
            if all(lapses):
                marks.add("19: forgiven")
    if able(kept):
        if kept != by_d:
            marks.add("19: others enough")
        if "fresh_days" in terms["treatment"]:
            # A system is fresh that was installed after d - fresh_days and after r + grace_days.
            after = max(d - timedelta(days=terms["treatment"]["fresh_days"]), grace_end)
            fresh = {name for name in kept if installed[name] > after}
            if not able(kept - fresh):
                return out | {"treatment_maintained": "disputed"}
            if fresh:
                marks.add("19: fresh, others enough")
        return out | {"treatment_maintained": "met"}
    complete = reaches(known, "treatment_purchases", d) and reaches(known, "service_calls", d)
    return out | {"treatment_maintained": "unmet" if complete else "unknown"}


def is_good(purchase: Row, terms: dict, d: date) -> bool:
    """Bought new, from an approved seller, by d."""
    return (
        purchase["condition"] == "new"
        and purchase["seller"] in terms["treatment"]["sellers"]
        and purchase["ordered_on"] <= d
    )


def installation_date(known: World, unit: Row, neighbors: set[str], product: str) -> date | None:
    """18. The earliest date on which the product was installed, by call or by start-up report."""
    dates = [
        call["completed_on"]
        for call in known.records["service_calls"]
        if call["kind"] == "treatment_install"
        and call["product"] == product
        and call["serial"] in neighbors
    ]
    dates += [
        report["treatment_installed_on"]
        for report in known.records["startups"]
        if report["serial"] == unit["serial"] and report["treatment_product"] == product
    ]
    return min((day for day in dates if day is not None), default=None)


def lapses_by_changes(
    known: World,
    neighbors: set[str],
    product: str,
    installed: date,
    months: int,
    rules: dict,
    d: date,
) -> list[date]:
    """19. The ends of the lapses, by the cartridge changes logged."""
    changes = sorted(
        call["completed_on"]
        for call in known.records["service_calls"]
        if call["kind"] == "cartridge_change"
        and call["product"] == product
        and call["serial"] in neighbors
        and call["completed_on"] is not None
        and installed < call["completed_on"] <= d
    )
    grace = timedelta(days=rules["cartridge_grace_days"])
    dates = [installed, *changes, d]
    return [day for previous, day in pairwise(dates) if day > add_months(previous, months) + grace]


def lapses_by_stock(
    purchases: list[Row], installed: date, months: int, rules: dict, d: date
) -> list[date]:
    """19. The ends of the lapses, by the cartridges bought."""
    grace = timedelta(days=rules["cartridge_grace_days"])
    until = add_months(installed, months)
    lapses = []
    for purchase in sorted(purchases, key=lambda p: (p["ordered_on"], p["order"], p["line"])):
        ordered = purchase["ordered_on"]
        if ordered > until + grace:
            lapses.append(ordered)
        until = add_months(max(until, ordered), months * purchase["quantity"])
    if d > until + grace:
        lapses.append(d)
    return lapses


def counting(lapses: list[date], rules: dict, d: date) -> list[date]:
    """19. The lapses that count: those that the look-back does not forgive."""
    if "look_back_months" not in rules:
        return lapses
    return [day for day in lapses if day > add_months(d, -rules["look_back_months"])]


def delimed(
    known: World,
    unit: Row,
    model: Row,
    cause: Row,
    terms: dict,
    clock: date,
    d: date,
    marks: set[str],
) -> str:
    """20. Delimed often enough, from the clock to d."""
    if cause["class"] != "scale" or model["delime_by"] == "none":
        return "not_needed"
    by_technician = model["delime_by"] == "technician"
    done = sorted(
        call["completed_on"]
        for call in known.records["service_calls"]
        if call["kind"] == "delime"
        and call["serial"] == unit["serial"]
        and call["completed_on"] is not None
        and clock <= call["completed_on"] <= d
        and (not by_technician or call["performed_by"] == "technician")
    )
    rules = terms["maintenance"]
    grace = timedelta(days=rules["delime_grace_days"])
    dates = [clock, *done, d]
    if all(
        day <= add_months(previous, rules["delime_months"]) + grace
        for previous, day in pairwise(dates)
    ):
        if done:
            marks.add(f"20: by {model['delime_by']}")
        return "met"
    if not by_technician:
        return "unknown"
    return "unmet" if reaches(known, "service_calls", d) else "unknown"
