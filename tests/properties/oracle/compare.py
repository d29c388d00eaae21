"""What the pipelines decide beside what the oracle says.

Belongs here: the comparison, column by column. Does not belong here: which worlds.
"""

from __future__ import annotations

from pipelines.coverage import Decided
from tests.properties.oracle.oracle import Decision

LINES = ("parts", "labor", "travel")
SAME = (
    "claim",
    "call",
    "serial",
    "failed_on",
    "edition",
    "clock_start",
    "parts_base_end",
    "parts_extended_end",
    "labor_base_end",
    "labor_extended_end",
    "verdict",
    "lead_reason",
    "severity",
    "ruling",
    "standing",
)


def differences(decided: Decided, expected: dict[str, Decision]) -> list[str]:
    """One line for each value in which the two differ."""
    found = []
    rows = {row["claim"]: row for row in decided.decisions.to_dicts()}
    if rows.keys() != expected.keys():
        found.append(f"claims {sorted(rows.keys() ^ expected.keys())} are decided by one alone")
    for claim in sorted(rows.keys() & expected.keys()):
        row, decision = rows[claim], expected[claim]
        told = {name: getattr(decision, name) for name in SAME}
        for place, line in enumerate(LINES):
            told[f"{line}_claimed"] = decision.claimed[place]
            told[f"{line}_payable"] = decision.payable[place]
            told[f"{line}_standing"] = decision.standing_money[place]
        for name, value in told.items():
            if row[name] != value:
                found.append(f"{claim} {name}: decided {row[name]}, oracle {value}")
        # A claim that needs evidence names what is missing; one that is decided does not.
        settled = decision.verdict in ("covered", "covered_in_part", "not_covered")
        names = row["missing"] is not None
        if (names and settled) or (not names and decision.verdict == "needs_evidence"):
            found.append(f"{claim} missing: {row['missing']} with {decision.verdict}")
    outcomes = {
        (row["claim"], row["condition"]): row["outcome"] for row in decided.findings.to_dicts()
    }
    told_outcomes = {
        (claim, condition): outcome
        for claim, decision in expected.items()
        for condition, outcome in decision.findings.items()
    }
    found += [
        f"{key[0]} {key[1]}: decided {outcomes.get(key)}, oracle {told_outcomes.get(key)}"
        for key in sorted(outcomes.keys() | told_outcomes.keys())
        if outcomes.get(key) != told_outcomes.get(key)
    ]
    return found
