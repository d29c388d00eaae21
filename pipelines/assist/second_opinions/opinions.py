"""What a person wrote on a sheet: checked line by line, and set beside what was drawn.

Belongs here: which lines are opinions, which are faults, which opinion of a claim counts. Does not
belong here: reading files and keeping opinions (`pipelines.steps.second_opinions`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import polars as pl

from pipelines.workspace.toml_file import show, suggest
from schemas.codes import VERDICTS

# What a person fills in; the rest of a sheet is for reading.
ANSWER_COLUMNS = ("claim", "verdict", "checked_by", "note")
Line = tuple[int, Mapping[str, str | None]]


@dataclass(frozen=True)
class Answers:
    """The lines of one sheet: opinions to keep, lines without one, those known, and faults."""

    opinions: list[dict[str, str]] = field(default_factory=list)
    empty: int = 0
    known: int = 0
    faults: list[str] = field(default_factory=list)


def read_answers(
    name: str,
    lines: Sequence[Line],
    drawn: Mapping[str, Mapping[str, str]],
    standing: Mapping[tuple[str, str], tuple[str, str]],
    checked_by: str | None,
) -> Answers:
    """The opinions on a sheet.

    Args:
        name: the file, as faults name it.
        lines: line number and cells (ANSWER_COLUMNS; None where empty).
        drawn: by claim, what its latest draw put down: computed, band, drawn_at, seed.
        standing: by claim and person, the verdict and note that they last recorded.
        checked_by: who answers for lines that name nobody.

    An empty verdict is a claim that is still to be checked. A line that says again what its writer
    said last is known. A claim written with an apostrophe before a formula sign is the claim.
    """
    answers = Answers()
    written = {f"'{claim}": claim for claim in drawn if claim not in ("", f"'{claim}")}
    first: dict[str, int] = {}
    faults = answers.faults
    empty = known = 0
    for line, cells in lines:
        claim, verdict = cells.get("claim"), cells.get("verdict")
        at = f"{name} line {line}"
        if verdict is None and claim is None:
            continue
        if claim is None:
            faults.append(f"{at}, column claim: there is no claim beside the verdict; write it.")
            continue
        claim = claim if claim in drawn else written.get(claim, claim)
        if claim not in drawn:
            faults.append(
                f"{at}, column claim: {show(claim)} was never drawn for a second opinion; "
                "answer only claims of a sheet that `limeledger second-opinion --sample` wrote."
            )
            continue
        if claim in first:
            faults.append(
                f"{at}, column claim: {show(claim)} stands in line {first[claim]} already; "
                "keep one line of it."
            )
            continue
        first[claim] = line
        if verdict is None:
            empty += 1
            continue
        word = "_".join(verdict.lower().replace("-", " ").replace("_", " ").split())
        if word not in VERDICTS:
            remedy = suggest(word, VERDICTS)
            faults.append(f"{at}, column verdict: {show(verdict)} is no verdict; {remedy}")
            continue
        who = cells.get("checked_by") or checked_by
        if not who:
            faults.append(
                f"{at}, column checked_by: nobody is named; write who checked the claim, or add "
                "--by WHO to the call."
            )
            continue
        note = cells.get("note") or ""
        if standing.get((claim, who)) == (word, note):
            known += 1
            continue
        answers.opinions.append(
            {"claim": claim, "checked_by": who, "verdict": word, "note": note, **drawn[claim]}
        )
    return Answers(answers.opinions, empty, known, faults)


def with_latest(recorded: pl.DataFrame) -> pl.DataFrame:
    """Recorded opinions with `agrees` and `counts`: whether each is the latest of its claim.

    `recorded` stands in the order of recording; of two of one moment the later row counts.
    """
    return (
        recorded.with_row_index("_row")
        .with_columns(
            agrees=pl.col("verdict") == pl.col("computed"),
            counts=pl.col("_row")
            == pl.col("_row").sort_by("checked_at", "_row").last().over("claim"),
        )
        .drop("_row")
    )
