"""Advice on treatment: which systems serve, whether membrane and tank keep up, cartridges.

Belongs here: lines about what to install and keep up, and the frames behind their pictures. Does
not belong here: the sums (`treatment`, `membrane`, `steam`).
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import polars as pl

from pipelines.water.advice_parts import MANUAL_CAUTION, PLUMBING_CAUTION, Duty, Line, listed, shown
from pipelines.water.membrane import (
    HOURS_A_DAY,
    coldest_that_serves,
    hourly_demand,
    output_l_per_h,
    tanks_against_duty,
    worst_week,
)
from pipelines.water.steam import DAYS_A_MONTH, days_of_capacity
from pipelines.water.treatment import Combination, false_membrane_claims
from schemas.polars_types import least
from schemas.wording import counted

LEVELS = {
    "product": pl.String,
    "tank_l": pl.Float64,
    "hour": pl.Int64,
    "level_l": pl.Float64,
    "demand_l": pl.Float64,
    "short_l": pl.Float64,
}


def combination_lines(
    needs: list[str], offered: list[Combination], treatments: pl.DataFrame
) -> list[Line]:
    """Which systems serve the needs, and what the list of treatments gets wrong."""
    lines = [
        Line(
            "treatment",
            f"The treatment list says that {product} removes chloramine. Reverse osmosis lets "
            "chloramine through: it is not counted on here, and the list wants correcting.",
            "well founded",
        )
        for product in false_membrane_claims(treatments)
    ]
    if not needs:
        return [*lines, Line("treatment", "No treatment is called for.", "well founded")]
    if not offered:
        nothing = f"No product on the treatment list serves any of: {listed(needs)}."
        return [*lines, Line("treatment", nothing, "well founded")]
    for place, choice in enumerate(offered, 1):
        text = f"Choice {place}: {listed(list(choice.products))}"
        one = len(choice.products) == 1
        if choice.unmet:
            text += f" {'leaves' if one else 'leave'} {listed(list(choice.unmet))} unmet"
        else:
            text += f" {'serves' if one else 'serve'} all of {listed(needs)}"
        if choice.not_needed:
            also = "it also does" if one else "they also do"
            text += f"; {also} {listed(list(choice.not_needed))}, which is not called for"
        lines.append(Line("treatment", f"{text}.", "well founded", (PLUMBING_CAUTION,)))
    offered_products = {product for choice in offered for product in choice.products}
    if {"chlorine", "chloramine"} & set(needs) and membranes_of(
        offered_products, treatments
    ).height:
        text = "Chlorine and chloramine harm a membrane: carbon goes ahead of reverse osmosis."
        lines.append(Line("treatment", text, "well founded", (MANUAL_CAUTION,)))
    return lines


def membranes_of(products: Iterable[str], treatments: pl.DataFrame) -> pl.DataFrame:
    """The reverse osmosis systems among some products, by product."""
    return treatments.filter(
        pl.col("product").is_in(list(products)) & pl.col("rated_output_l_per_h").is_not_null()
    ).sort("product")


def membrane_advice(
    membranes: pl.DataFrame, feed_l_per_h: float, coldest_c: float | None, duty: Duty
) -> tuple[list[Line], pl.DataFrame, pl.DataFrame]:
    """Output in the coldest month and the tanks that bridge the duty.

    Args:
        membranes: rows of treatments.csv with a rated output.
        feed_l_per_h: treated water used while steaming.
        coldest_c: temperature of the supply in the coldest month; None: not on file.
        duty: tanks and hours.

    Returns:
        Lines; tanks (product, tank_l, short_hours, short_l, lowest_l, start_hour, serves); and
        levels over the worst week (product, tank_l, hour, level_l, demand_l, short_l).
    """
    lines: list[Line] = []
    tanks: list[pl.DataFrame] = []
    levels: list[pl.DataFrame] = []
    demand = hourly_demand(feed_l_per_h, duty.duty_hours_per_day, duty.first_fill_l)
    if coldest_c is None:
        if membranes.height:
            text = "The region's coldest supply temperature is not on file: "
            text += "reverse osmosis unsized."
            lines.append(Line("reverse osmosis", text, "well founded"))
        return lines, *_nothing_sized(demand)
    made = membranes.select(
        "product",
        "rated_output_l_per_h",
        pl.col("rated_temperature_c").fill_null(25.0),
        output=output_l_per_h(
            pl.col("rated_output_l_per_h"),
            pl.col("rated_temperature_c"),
            pl.lit(coldest_c, pl.Float64),
        ),
    )
    for product, rated, rated_c, output in made.iter_rows():
        table = tanks_against_duty(output, demand, duty.tanks_l)
        lines += _output_lines(product, rated, rated_c, output, coldest_c, demand)
        lines += _tank_lines(product, rated, rated_c, output, table, demand)
        tanks.append(table.select(pl.lit(product).alias("product"), pl.all()))
        levels += [
            worst_week(output, demand, tank)[0].select(
                pl.lit(product).alias("product"), pl.lit(tank).alias("tank_l"), pl.all()
            )
            for tank in table["tank_l"]
        ]
    no_tanks, no_levels = _nothing_sized(demand)
    return lines, pl.concat([no_tanks, *tanks]), pl.concat([no_levels, *levels])


def _nothing_sized(demand: np.ndarray) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Tanks and levels without a row."""
    tanks = tanks_against_duty(0.0, demand, ()).select(
        pl.lit(None, pl.String).alias("product"), pl.all()
    )
    return tanks, pl.DataFrame(schema=LEVELS)


def _output_lines(
    product: str, rated: float, rated_c: float, output: float, coldest_c: float, demand: np.ndarray
) -> list[Line]:
    text = (
        f"{product} makes {shown(output, 1)} L/h at the coldest supply of {shown(coldest_c, 1)} °C "
        f"(rated {shown(rated, 1)} L/h at {shown(rated_c, 1)} °C), {shown(output * HOURS_A_DAY)} "
        f"L a day; the kitchen draws {shown(demand.sum())} L of treated water a day (spray water "
        "that bypasses the membrane is not counted)."
    )
    cold = "A colder supply means less output: size at the year's coldest."
    return [
        Line("reverse osmosis", text, "empirical", (MANUAL_CAUTION,)),
        Line("reverse osmosis", cold, "well founded"),
    ]


def _tank_lines(
    product: str,
    rated: float,
    rated_c: float,
    output: float,
    tanks: pl.DataFrame,
    demand: np.ndarray,
) -> list[Line]:
    lines = []
    serving = tanks.filter("serves")["tank_l"]
    for row in tanks.filter(~pl.col("serves")).iter_rows(named=True):
        text = (
            f"A tank of {shown(row['tank_l'])} L runs short for {row['short_hours']} hours of the "
            f"worst week, by {shown(row['short_l'])} L."
            if row["short_hours"]
            else f"A tank of {shown(row['tank_l'])} L lasts a week, but {product} makes less in a "
            "day than is drawn: it runs dry in the end."
        )
        lines.append(Line("reverse osmosis", text, "bound"))
    if not len(serving):
        text = f"None of the tanks on sale keeps {product} serving at the coldest supply."
        return [*lines, Line("reverse osmosis", text, "bound")]
    smallest = least(serving)
    text = f"The smallest tank that never runs dry behind {product} is {shown(smallest)} L"
    coldest = coldest_that_serves(rated, rated_c, demand, smallest)
    if coldest is not None:
        text += f"; with it the supply may be as cold as {shown(coldest, 1)} °C"
    if output > 0.0:
        text += f"; fill it before the first duty, which takes {shown(smallest / output, 1)} hours"
    return [*lines, Line("reverse osmosis", f"{text}.", "bound", (PLUMBING_CAUTION,))]


def cartridge_lines(
    products: Iterable[str],
    treatments: pl.DataFrame,
    litres_per_day: float,
    months: dict[str, int],
    severity: str,
    needs: list[str],
) -> list[Line]:
    """How long each cartridge of the systems lasts.

    Args:
        products: systems under consideration.
        treatments: the reference file.
        litres_per_day: what the cooker draws.
        months: the terms' months by severity.
        severity: that of the water.
        needs: abilities that the water calls for.
    """
    most = months[severity]
    cartridges = treatments.filter(
        (pl.col("kind") == "cartridge") & pl.col("fits").is_in(list(products))
    ).sort("fits", "product")
    lines = []
    for row in cartridges.iter_rows(named=True):
        days = days_of_capacity(row["capacity_l"] or 0.0, litres_per_day)
        text = (
            f"Change {row['product']} (for {row['fits']}) every {counted(most, 'month')} at "
            "the latest"
        )
        if days is None:
            text += "; no rated volume is on file"
        elif days < most * DAYS_A_MONTH:
            text = (
                f"Change {row['product']} (for {row['fits']}) after {shown(days)} days: "
                f"{shown(row['capacity_l'])} L rated, {shown(litres_per_day)} L drawn a day"
            )
        else:
            text += f", as the terms say; its rated volume would last {shown(days)} days"
        lines.append(Line("cartridge", f"{text}.", "rule of thumb", (MANUAL_CAUTION,)))
    if cartridges.height:
        spread = ", ".join(f"{count} in {name} water" for name, count in months.items())
        text = (
            f"This water is {severity}: the terms give a cartridge {spread} (months). Water can "
            "need one at three, six or nine months."
        )
        lines.append(Line("cartridge", text, "rule of thumb"))
    if cartridges.height and "chloramine" in needs:
        text = (
            "A volume rated for chlorine does not hold for chloramine, which needs far longer "
            "contact: ask for the chloramine rating."
        )
        lines.append(Line("cartridge", text, "well founded"))
    return lines
