"""Random editions and reference files, small and full of corners.

Belongs here: terms and reference rows for a little world. Does not belong here: records.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from tests.properties.oracle.draws import Draws
from tests.properties.oracle.oracle import CONDITIONS
from tests.properties.oracle.world import Row

FAMILIES = ("Skerry", "Beck", "Force", "Linn")
SELLERS = ("TARNFELL", "WHARFSIDE", "OTHERWHERE")
PANELS = (
    ["hardness_mg_l_caco3", "ph"],
    ["hardness_mg_l_caco3"],
    ["hardness_mg_l_caco3", "chloramine_mg_l"],
    ["hardness_mg_l_caco3", "tds_mg_l"],
    ["chloride_mg_l", "free_chlorine_mg_l"],
    [],
)


def one(text: str) -> Decimal:
    """A number as it was written."""
    return Decimal(text)


def make_limits(draws: Draws) -> dict[str, dict[str, Any]]:
    """Water limits; each may be left out."""
    limits = {
        "hardness_mg_l_caco3": {"max": draws.choice((70, 100, one("85.5"))), "needs": "scale"},
        "ph": {"min": one("6.8"), "max": one("8.8"), "needs": "ph"},
        "chloride_mg_l": {"max": 50, "needs": "chloride"},
        "chloramine_mg_l": {"max": draws.choice((one("0.15"), one("0.1"))), "needs": "chloramine"},
        "free_chlorine_mg_l": {"max": one("0.3"), "needs": "chlorine"},
        "tds_mg_l": {"max": 300, "needs": "tds"},
        "silica_mg_l": {"min": one("0.5"), "needs": "silica"},
    }
    if draws.chance(0.3):
        del limits["ph"]["min"]
    if draws.chance(0.2):
        limits["chloramine_mg_l"]["min"] = 0  # more free than total chlorine is not below it
    return {name: limit for name, limit in limits.items() if draws.chance(0.8)}


def make_installation(draws: Draws) -> dict[str, Any]:
    """Limits of start-up readings; each may be left out."""
    limits = {
        "flowing_pressure_psi": {"min": 25, "max": 65},
        "gas_pressure_in_wc": {"natural": {"min": one("4.5"), "max": 13}},
        "drain_air_gap_in": {"min": one("1.5")},
        "water_lines": {"max": 1},
    }
    return {name: limit for name, limit in limits.items() if draws.chance(0.8)}


def make_tables(draws: Draws) -> dict[str, Any]:
    """All tables of an edition."""
    pick = draws.choice
    tables: dict[str, Any] = {
        "clock": {
            "start": pick(
                (
                    ["installed_on", "purchased_on"],
                    ["purchased_on", "installed_on"],
                    ["installed_on"],
                    ["purchased_on", "shipped_on"],
                )
            ),
            "days_after_shipment": pick((0, 30, 75)),
        },
        "coverage": {"parts_months": pick((6, 12, 18)), "labor_months": pick((1, 3, 6, 12, 18))},
        "startup": {
            "request_within_days": pick((0, 10, 40, 75)),
            "bonus_parts_months": pick((0, 6, 12)),
            "bonus_labor_months": pick((0, 3, 12)),
        },
        "claims": {
            "file_within_days": pick((5, 50)),
            "duplicate_within_days": pick((0, 3, 10)),
            "workmanship_days": pick((0, 30, 75)),
        },
        "water": {"panel": pick(PANELS), "limits": make_limits(draws)},
        "treatment": {"sellers": draws.some(SELLERS[:2], 2), "grace_days": pick((0, 15, 30))},
        "maintenance": {
            "cartridge_months": {
                "mild": pick((3, 4, 8)),
                "normal": pick((2, 5)),
                "severe": pick((1, 2)),
            },
            "mild_up_to": pick((1, one("1.0"), one("1.1"))),
            "severe_above": pick((2, one("2.5"), one("1.4"))),
            "cartridge_grace_days": pick((0, 5, 20)),
            "delime_months": pick((1, 3, 4)),
            "delime_grace_days": pick((0, 15)),
        },
        "installation": {"limits": make_installation(draws)},
    }
    if draws.chance(0.35):
        tables["clock"]["latest_days_after_shipment"] = pick((20, 60, 180))
    if draws.chance(0.5):
        tables["treatment"]["judged_by"] = pick(("cause", "cause", "water"))
    if draws.chance(0.3):
        tables["treatment"]["fresh_days"] = pick((1, 10, 40))
    if draws.chance(0.5):
        tables["maintenance"]["look_back_months"] = pick((1, 2, 6))
    if draws.chance(0.35):
        tables["conditions_off"] = draws.sample(CONDITIONS, draws.choice((1, 2, 3, 8)))
    return tables


def make_override(draws: Draws) -> dict[str, Any]:
    """Some keys of another draw, for one family."""
    own = make_tables(draws)
    override: dict[str, Any] = {}
    for name, table in own.items():
        if not draws.chance(0.3):
            continue
        if isinstance(table, dict):
            chosen = draws.some(sorted(table), 2)
            override[name] = {key: table[key] for key in chosen}
        else:
            override[name] = table
    return override


def make_editions(draws: Draws) -> list[dict[str, Any]]:
    """One to three editions, the first from 2022 on."""
    starts = draws.sample((date(2022, 7, 1), date(2023, 3, 31), date(2024, 1, 1)), 2)
    editions = []
    for place, start in enumerate([date(2022, 1, 31), *starts][: draws.randint(1, 3)]):
        edition = {"edition": f"E{place}", "effective_from": start, **make_tables(draws)}
        families = draws.sample(FAMILIES, draws.randint(0, 3))
        edition["family"] = {family: make_override(draws) for family in families}
        editions.append(edition)
    draws.shuffle(editions)
    return editions


def make_models(draws: Draws) -> list[Row]:
    """Six models over the four families."""
    kinds = (
        ("M1", "Skerry", True, False, "technician"),
        ("M2", "Skerry", True, True, "owner"),
        ("M3", "Beck", True, True, "technician"),
        ("M4", "Force", True, False, "none"),
        ("M5", "Linn", False, False, "technician"),
        ("M6", "Force", False, True, "none"),
    )
    return [
        {
            "model": model,
            "family": family,
            "description": None,
            "needs_treatment": needs,
            "always_treat": always,
            "delime_by": by,
            "cavities": draws.choice((1, 2)),
            "feed_l_per_h": one("4"),
        }
        for model, family, needs, always, by in kinds
    ]


def make_treatments(draws: Draws) -> list[Row]:
    """Systems with different abilities, with none, one or two cartridges each."""
    systems = {
        "SOFT": "scale",
        "SOFT-2": "scale",
        "TWIN": "chloride scale",
        "CARBON": "chloramine chlorine sediment",
        "BLEND": "chloride ph",
        "MEMBRANE": "chloride scale silica tds",
        "PLAIN": "",
    }
    rows = []
    for name, removes in systems.items():
        rows.append(make_treatment(name, "system", None, removes.split()))
        for letter in "AB"[: draws.weighted({0: 2, 1: 6, 2: 2})]:
            rows.append(make_treatment(f"{name}-{letter}", "cartridge", name, []))
    draws.shuffle(rows)
    return rows


def make_treatment(product: str, kind: str, fits: str | None, removes: list[str]) -> Row:
    """One product."""
    return {
        "product": product,
        "description": None,
        "kind": kind,
        "fits": fits,
        "removes": sorted(removes),
        "capacity_l": one("0") if kind == "system" else None,
        "rated_output_l_per_h": None,
        "rated_temperature_c": None,
    }


def make_causes(draws: Draws) -> list[Row]:
    """Causes with and without readings, abilities and hours."""
    kinds = (
        ("SCALED", "scale", True, None, "scale"),
        ("LIMED", "scale", True, "flowing_pressure_psi", ""),
        ("CORRODED", "corrosion", True, None, ""),
        ("PITTED", "corrosion", True, None, "chloride"),
        ("BLEACHED", "chlorine", True, None, "chloramine chlorine"),
        ("BOARD", "electrical", False, None, ""),
        ("FURRED", "scale", False, None, "scale"),
        ("BURNER", "gas", False, "gas_pressure_in_wc", ""),
        ("TILTED", "installation", False, "level", ""),
        ("STEAMY", "installation", False, "under_hood", ""),
        ("DRAIN", "installation", True, "drain_air_gap_in", ""),
        ("LINES", "installation", False, "water_lines", ""),
        ("DROPPED", "misuse", False, None, ""),
        ("ACID", "corrosion", True, None, "ph"),
    )
    return [
        {
            "cause": cause,
            "description": None,
            "class": of,
            "water_related": water,
            "excluded": cause in ("DROPPED", "ACID"),
            "reading": reading,
            "labor_hours_allowed": draws.choice((None, one("1.5"), one("2"), one("0.75"))),
            "abilities": abilities.split(),
        }
        for cause, of, water, reading, abilities in kinds
    ]


def make_agencies(draws: Draws) -> list[Row]:
    """One agency for good, one with a gap, one that has ended, one without rates."""
    periods = (
        ("ALDER", date(2020, 1, 1), None),
        ("BIRCH", date(2020, 1, 1), date(2023, 6, 30)),
        ("BIRCH", date(2023, 8, 1), date(2024, 2, 29)),
        ("BIRCH", date(2024, 3, 1), None),
        ("CEDAR", date(2020, 1, 1), date(2024, 1, 31)),
    )
    return [
        {
            "agency": agency,
            "name": None,
            "authorized_from": start,
            "authorized_until": end,
            "labor_rate": draws.choice((None, one("85"), one("80.33"), one("95.01"))),
            "travel_cap": draws.choice((None, one("60"), one("40.005"))),
        }
        for agency, start, end in periods
    ]


def make_reference(draws: Draws) -> dict[str, list[Row]]:
    """All five reference files."""
    return {
        "models": make_models(draws),
        "treatments": make_treatments(draws),
        "causes": make_causes(draws),
        "agencies": make_agencies(draws),
        "regions": [
            {
                "region": "US-NM",
                "name": "New Mexico",
                "coldest_supply_c": one("8"),
                "tile_row": None,
                "tile_col": None,
            }
        ],
    }
