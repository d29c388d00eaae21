"""Advice on the water itself: values against limits, needs, indices, doubts.

Belongs here: lines about what the water is. Does not belong here: what to install
(`advice_treatment`), what it does in a generator (`advice_generator`).
"""

from __future__ import annotations

from typing import Any

import polars as pl

from pipelines.water.advice_parts import INDEX_CAUTION, Line, listed, sentence, shown
from pipelines.water.limits import ANALYTE_WORDS

NEUTRAL_PH = 7.0
CORROSION = (
    "Corrosive or chloride-rich water can rust a cavity through within one to two days of use."
)


def water_lines(analytes: pl.DataFrame, lacks: list[str], figures: dict[str, Any]) -> list[Line]:
    """Each reported analyte against its limit, what is missing, and what was assumed.

    Args:
        analytes: from `against_limits`, one test under one edition and family.
        lacks: analytes of the panel that the test does not report.
        figures: the test's row of `water_figures`.
    """
    lines = [_analyte_line(row) for row in analytes.iter_rows(named=True)]
    if lacks:
        words = [ANALYTE_WORDS[name][0] for name in lacks]
        lines.append(
            Line(
                "water",
                f"The test is not complete: it does not report {listed(words)}.",
                "well founded",
            )
        )
    lines += [Line("water", f"Doubt: {doubt}.", "well founded") for doubt in figures["doubts"]]
    for note in figures["assumed"]:
        factor = "rule of thumb" if note.startswith("dissolved solids derived") else "bound"
        lines.append(Line("water", f"{sentence(note)}.", factor))
    return lines


def _analyte_line(row: dict[str, Any]) -> Line:
    word, unit = ANALYTE_WORDS[row["analyte"]]
    if row["value"] is None:
        reading = f"{word} below {shown(row['below'], 3)}{unit}"
    else:
        reading = f"{word} {shown(row['value'], 3)}{unit}"
    low, high = row["min"], row["max"]
    if low is None and high is None:
        verdict = "the terms set no limit"
    else:
        limit = " to ".join(
            text
            for text in (
                f"from {shown(low, 3)}" if low is not None else "",
                f"{'' if low is not None else 'up to '}{shown(high, 3)}"
                if high is not None
                else "",
            )
            if text
        )
        verdict = f"{'outside' if row['outside'] else 'within'} the limit ({limit}{unit})"
        if not row["reported"]:
            verdict = f"its bound is above the limit ({limit}{unit}), so it counts as missing"
        if row["outside"] and row["needs"]:
            verdict += f"; calls for: {row['needs']}"
    return Line("water", f"{sentence(reading)}: {verdict}.", "well founded")


def corrosion_lines(test: dict[str, Any], needs: list[str]) -> list[Line]:
    """Acid or chloride-rich water, from practice."""
    ph = test["ph"]
    acid = ph is not None and ph < NEUTRAL_PH
    if not acid and "chloride" not in needs:
        return []
    why = f"pH {shown(ph, 2)} is below 7 and so corrosive. " if acid else ""
    return [Line("corrosion", f"{why}{CORROSION}", "rule of thumb", (INDEX_CAUTION,))]


def index_lines(figures: dict[str, Any], chloride_mg_l: float | None) -> list[Line]:
    """The indices that the test allows, each with how far it can be trusted."""
    lines: list[Line] = []

    def add(names: tuple[str, ...], text: str, standing: str) -> None:
        if all(figures[name] is not None for name in names):
            values = [shown(figures[name], 2) for name in names]
            lines.append(Line("indices", text.format(*values), standing, (INDEX_CAUTION,)))

    add(
        ("langelier_25c", "langelier_60c"),
        "Calcite saturation index {} at 25 °C and {} at 60 °C, heated closed: above 0 calcite can "
        "form, below 0 it dissolves.",
        "well founded",
    )
    add(
        ("langelier_100c", "ph_100c"),
        "Calcite saturation index {} at 100 °C, heated closed (pH {} there); the constants are "
        "extrapolated from 90 °C.",
        "empirical",
    )
    add(
        ("langelier_100c_fixed_ph",),
        "Calcite saturation index {} at 100 °C with the cold pH carried over, as the trade does; "
        "heating lowers the pH of most waters.",
        "rule of thumb",
    )
    add(
        ("ryznar_25c",),
        "Ryznar index {} at 25 °C (2 pHs - pH): below 6 scale grows likelier, above 7 no film "
        "forms; from mild steel.",
        "empirical",
    )
    add(
        ("ccpp_closed_mg_l_25c", "ccpp_open_mg_l_100c"),
        "Calcite to deposit: {} mg/L closed at 25 °C, {} mg/L vented at 100 °C (negative: it "
        "dissolves).",
        "well founded",
    )
    add(
        ("silica_index_25c", "silica_index_100c"),
        "Amorphous silica index {} at 25 °C and {} at 100 °C: silica deposits by concentration and "
        "on drying or cooling, not by heating.",
        "well founded",
    )
    beside = "not reported" if chloride_mg_l is None else f"{shown(chloride_mg_l, 1)} mg/L"
    add(
        ("larson_skold",),
        f"Larson-Skold ratio {{}} (chloride {beside}): from mild steel, never a judgment on "
        "stainless steel.",
        "empirical",
    )
    return lines
