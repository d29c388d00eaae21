"""Advice on the steam generator: what evaporates, concentrates and deposits, and deliming.

Belongs here: lines about the generator. Does not belong here: the sums (`steam`).
"""

from __future__ import annotations

from typing import Any

from pipelines.water.advice_parts import (
    DELIMING_CAUTION,
    MANUAL_CAUTION,
    OPENING_CAUTION,
    PLUMBING_CAUTION,
    Duty,
    Line,
    sentence,
    shown,
)
from pipelines.water.steam import (
    DAYS_A_MONTH,
    blowdown_l,
    cycles_of_concentration,
    scale_g,
    steam_kg_per_kwh,
)
from schemas.wording import counted

# What a generator's water may concentrate to, mg/L.
CHLORIDE_304_MG_L = 100.0  # lower end of 100-200, Nickel Institute N 11 003, crevices, cold water
SOLIDS_MG_L = 3500.0  # low-pressure boilers, common practice, no source
SILICA_SATURATED_MG_L = 363.0  # amorphous, 100 °C, Fournier & Rowe 1977
MOST_MONTHS = 24.0  # beyond two years an interval from scale alone means nothing
MOST_CYCLES = 50.0  # blowdown below 2 % of the steam: no longer what limits


def evaporated_l_per_h(feed_l_per_h: float, duty: Duty) -> float:
    """Water evaporated while steaming: from the power where it is known, never above the feed."""
    if duty.power_kw is None:
        return feed_l_per_h
    return min(feed_l_per_h, duty.power_kw * steam_kg_per_kwh(duty.feed_c))


def generator_lines(
    test: dict[str, Any],
    tds_mg_l: float | None,
    ceiling_mg_l: float | None,
    feed_l_per_h: float,
    duty: Duty,
) -> list[Line]:
    """Evaporation, cycles and blowdown, and the ceiling of scale a month."""
    evaporated = evaporated_l_per_h(feed_l_per_h, duty)
    per_day = evaporated * duty.duty_hours_per_day
    how = (
        "all of the feed counts as steam"
        if duty.power_kw is None
        else f"from {shown(duty.power_kw, 1)} kW and feed at {shown(duty.feed_c)} °C"
    )
    lines = [
        Line(
            "generator",
            f"At most {shown(evaporated, 1)} L/h evaporate ({how}), {shown(per_day)} L a day.",
            "bound",
        )
    ]
    concentrations = [
        (
            "chloride",
            test["chloride_mg_l"],
            CHLORIDE_304_MG_L,
            "rule of thumb",
            "the point above which crevices in 304 stainless steel begin to suffer, in cold water; "
            "hot surfaces suffer earlier",
        ),
        ("dissolved solids", tds_mg_l, SOLIDS_MG_L, "rule of thumb", "carry-over with the steam"),
        (
            "silica",
            test["silica_mg_l"],
            SILICA_SATURATED_MG_L,
            "well founded",
            "saturation of amorphous silica at 100 °C",
        ),
    ]
    governing = None
    for word, feed, limit, standing, why in concentrations:
        cycles = None if feed is None else cycles_of_concentration(limit, feed)
        if cycles is None:
            continue
        governing = min(cycles, governing or cycles)
        lines.append(_blowdown_line(word, cycles, limit, per_day, why, standing))
    if ceiling_mg_l is None:
        return lines
    per_month = scale_g(ceiling_mg_l, per_day * DAYS_A_MONTH)
    text = (
        f"Scale: at most {shown(per_month)} g of calcium carbonate a month (the lesser of calcium "
        f"and alkalinity, {shown(ceiling_mg_l)} mg/L, in all that evaporates). Blowdown does not "
        "hold it back: it brings in more"
    )
    extra = blowdown_l(per_day, governing) if governing else None
    if extra is not None and governing is not None and governing < MOST_CYCLES:
        more = scale_g(ceiling_mg_l, (per_day + extra) * DAYS_A_MONTH)
        text += f", up to {shown(more)} g with the blowdown above"
    lines.append(Line("scale", f"{text}.", "bound", (OPENING_CAUTION,)))
    return lines


def _blowdown_line(
    word: str, cycles: float, limit: float, evaporated_per_day: float, why: str, standing: str
) -> Line:
    cautions = (OPENING_CAUTION, PLUMBING_CAUTION)
    blowdown = blowdown_l(evaporated_per_day, cycles)
    if blowdown is None:
        text = (
            f"{sentence(word)}: the untreated supply is already at or above {shown(limit)} mg/L "
            f"({why}): no blowdown holds it, only treatment."
        )
        return Line("generator", text, standing)
    shown_cycles = f"more than {shown(MOST_CYCLES)}" if cycles > MOST_CYCLES else shown(cycles, 1)
    text = (
        f"{sentence(word)} of the untreated supply: {shown_cycles} cycles of concentration to "
        f"{shown(limit)} mg/L ({why}): let out {shown(blowdown, 1)} L a day."
    )
    return Line("generator", text, standing, cautions)


def deliming_lines(
    delime_by: str,
    delime_months: int,
    hardness_limit_mg_l: float | None,
    ceiling_mg_l: float | None,
    duty: Duty,
) -> list[Line]:
    """How often to delime, as a range; a shorter interval of the terms goes first.

    The terms' interval is taken as right for water at the hardness limit. Scale grows with the
    ceiling times the share of it that stays, and that share is known only as a range: the long end
    is for equal shares, the short end for this water at the highest and the limit's at the lowest.
    """
    if delime_by == "none":
        return [Line("deliming", "This model is not delimed.", "well founded", (MANUAL_CAUTION,))]
    cautions = (DELIMING_CAUTION, OPENING_CAUTION, MANUAL_CAUTION)
    terms = (
        f"The terms call for deliming every {counted(delime_months, 'month')} by the {delime_by}"
    )
    if hardness_limit_mg_l is None or not ceiling_mg_l:
        if hardness_limit_mg_l is None:
            why = "the terms set no hardness limit to compare with"
        elif ceiling_mg_l is None:
            why = "calcium or alkalinity is missing"
        else:
            why = "it can lay down no calcium carbonate"
        text = f"{terms}. No range can be told for this water: {why}."
        return [Line("deliming", text, "rule of thumb", cautions)]
    low, high = duty.deposit_share
    longest = min(delime_months * hardness_limit_mg_l / ceiling_mg_l, MOST_MONTHS)
    text = (
        f"Untreated, this water calls for deliming every {shown(longest * low / high, 1)} to "
        f"{shown(longest, 1)} months (ceiling {shown(ceiling_mg_l)} mg/L; {shown(low * 100)} to "
        f"{shown(high * 100)} % of it stays as scale). {terms}: the shorter of the two goes first."
    )
    return [Line("deliming", text, "rule of thumb", cautions)]
