"""In which units a table arrives, and what its analytes are and are expressed as.

Belongs here: units, bases, names of analytes. Does not belong here: what speaks for one
(`units`).
"""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from pipelines.assist.drafts.analytes import SURE, likely_analytes
from pipelines.assist.drafts.judgment import AnalyteGuess, Judged, Question, pair_header
from pipelines.assist.drafts.pairing import ACTIVE, PERHAPS, Pair
from pipelines.assist.drafts.plain_names import plain_words
from pipelines.assist.drafts.proposed_rows import (
    UNITS_BELOW,
)
from pipelines.assist.drafts.units import (
    BASED,
    OF_INCHES,
    counts_acid,
    fitting_unit,
    is_measured,
    is_plain,
    leaves_basis_open,
    unit_in_name,
)
from pipelines.records.mapping_checks import BASES


def judge_units(judged: Judged) -> None:
    """Units that headers name; those that only the size suggests wait, and so do open bases."""
    pairs = []
    for pair in judged.pairs:
        if not is_measured(judged.guess.feed, pair.column):
            pairs.append(_with_minutes(judged, pair) if pair.column == "labor_hours" else pair)
            continue
        header = judged.table.reading.header[pair.place]
        unit = unit_in_name(pair.column, header) or _unit_of_row(judged, pair)
        by_size = fitting_unit(pair.column, judged.profiles[pair.place].numbers)
        has_cells = any("cell_unit" in step for step in judged.steps[pair.column].steps)
        if unit is not None:
            judged.units[pair.column] = (unit, True, f'the header "{header}" says so')
        elif by_size is not None and not has_cells:
            why = f"perhaps: {by_size[1]}"
            judged.units[pair.column] = (by_size[0], False, why)
            question = f'In which unit is "{header}"? By its values it may be {by_size[0]}.'
            judged.questions.append(Question(pair.column, question))
            if pair.state == ACTIVE:
                reason = f"{pair.reason}; its unit is open: {by_size[1]}"
                pair = replace(pair, state=PERHAPS, reason=reason)
        if counts_acid(pair.column, unit):
            pair = _with_acid(judged, pair)
        if not has_cells and not pair.by_own_name and leaves_basis_open(pair.column, header, unit):
            pair = _with_open_basis(judged, pair, unit)
        pairs.append(pair)
    judged.pairs = [_beside_others(judged, pair) for pair in pairs]


def _with_minutes(judged: Judged, pair: Pair) -> Pair:
    """Time in minutes, which would be read as sixty times the hours."""
    header = pair_header(judged, pair)
    if "minutes" not in plain_words(header):
        return pair
    question = f'"{header}" counts minutes, and hours are due: the export must tell hours.'
    judged.questions.append(Question(pair.column, question))
    return replace(pair, state=PERHAPS, reason=f"{pair.reason}; it counts minutes")


def _beside_others(judged: Judged, pair: Pair) -> Pair:
    """A column that tells no unit beside others that tell units of another system than the feed's.

    Its values may be sound in both: an air gap of 3 is one in inches and in centimeters.
    """
    other_units = [
        unit
        for column, (unit, is_sure, _) in judged.units.items()
        if is_sure and column.endswith(OF_INCHES) and not is_plain(column, unit)
    ]
    steps = judged.steps[pair.column].steps
    has_cells = any("cell_unit" in step for step in steps)
    is_open = pair.column.endswith(OF_INCHES) and pair.column not in judged.units
    if not other_units or not is_open or has_cells or pair.by_own_name:
        return pair
    header = pair_header(judged, pair)
    question = (
        f'In which unit is "{header}"? It tells none, and other columns are in {other_units[0]}.'
    )
    judged.questions.append(Question(pair.column, question))
    reason = f"{pair.reason}; its unit is open: other columns are in {other_units[0]}"
    return replace(pair, state=PERHAPS, reason=reason)


def _unit_of_row(judged: Judged, pair: Pair) -> str | None:
    """The unit that stands in a row of units below the header."""
    if not any(left.reason == UNITS_BELOW for left in judged.left_out):
        return None
    cell = judged.table.reading.rows[f"c{pair.place}"][0]
    return unit_in_name(pair.column, f"x ({cell})")


def _with_acid(judged: Judged, pair: Pair) -> Pair:
    """Acid capacity in mmol/L, which a mapping would read as twice the alkalinity that it is."""
    question = acid_question(pair_header(judged, pair))
    judged.questions.append(Question(pair.column, question))
    return replace(pair, state=PERHAPS, reason=f"{pair.reason}; what its mmol/L count is open")


def acid_question(header: str) -> str:
    """What mmol/L of alkalinity may count (molar mass of CaCO3 100.09 g/mol, two acids each)."""
    return (
        f'Is "{header}" the acid that the water takes up? 1 mmol/L of it is 50.04 mg/L of CaCO3, '
        "while the unit mmol/L counts 100.09; the laboratory can tell it in mg/L of CaCO3."
    )


def _with_open_basis(judged: Judged, pair: Pair, unit: str | None) -> Pair:
    bases = BASES[pair.column]
    header = pair_header(judged, pair)
    judged.questions.append(Question(pair.column, basis_question(header, bases)))
    if judged.units.get(pair.column, ("", True, ""))[1]:
        by_basis = f"{unit or 'mg/L'} as {bases[0]}"
        judged.units[pair.column] = (by_basis, False, f"or: {unit or 'mg/L'} as {bases[1]}")
    reason = f"{pair.reason}; what it is expressed as is open"
    return replace(pair, state=PERHAPS, reason=reason)


def basis_question(header: str, bases: tuple[str, ...]) -> str:
    """What a person must ask the laboratory."""
    return f'What is "{header}" expressed as: {" or ".join(bases)}? The laboratory can tell.'


def judge_analytes(judged: Judged) -> None:
    """Which of the laboratory's names is which column, and of which nobody can tell the basis."""
    place_of = {pair.column: pair.place for pair in judged.pairs}
    rows = judged.table.reading.rows
    place = place_of["analyte"]
    unit = pl.col(f"c{place_of['unit']}") if "unit" in place_of else pl.lit("")
    lab_names = (
        rows.select(name=f"c{place}", unit=unit)
        .filter(pl.col("name") != "")
        .group_by("name", maintain_order=True)
        .agg(pl.len().alias("rows"), pl.col("unit").unique().alias("units"))
        .sort("rows", descending=True, maintain_order=True)
    )
    by_name = likely_analytes(lab_names["name"].to_list())
    for name, count, units in zip(
        lab_names["name"], lab_names["rows"], lab_names["units"], strict=True
    ):
        column, score = by_name.get(name, ("", 0.0))
        basis, state = None, ACTIVE if score >= SURE else PERHAPS
        if column in BASED and any(leaves_basis_open(column, name, one) for one in units):
            state = PERHAPS
            basis = BASES[column][0]
            judged.questions.append(Question(column, basis_question(name, BASES[column])))
        elif any(counts_acid(column, one) for one in units):
            state = PERHAPS
            judged.questions.append(Question(column, acid_question(name)))
        judged.analytes.append(AnalyteGuess(name, column, basis, state, int(count)))
