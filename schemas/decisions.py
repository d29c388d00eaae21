"""What is decided about claims: decisions, findings and their history.

Belongs here: the shape of the three tables. Does not belong here: how a claim is decided
(`pipelines.coverage`).
"""

import polars as pl

from schemas import codes
from schemas.columns import (
    CENTS,
    CITATIONS,
    MOMENT,
    MOVES,
    TEXTS,
    Table,
    citations,
    day,
    flag,
    integer,
    moment,
    money,
    moves,
    serial_number,
    text,
    texts,
    word,
)

SEVERITIES = ("mild", "normal", "severe")


class Decisions(Table):
    """One row is one claim: what the findings add up to, the money, and what stands."""

    claim: str = text("The claim.", required=True, key=True)
    call: str = text("The service call.", required=True)
    serial: str = serial_number("The unit.", required=True)
    model: str = text("Its model.")
    family: str = text("Its family.")
    region: str = text("Its region.")
    agency: str = text("The agency that did the repair.")
    failed_on: pl.Date = day("The failure date that was used.", required=True)
    edition: str = text("The edition of the terms.")
    clock_start: pl.Date = day("The day on which the warranty starts to run.")
    parts_base_end: pl.Date = day("First day without parts cover, without bonus.")
    parts_extended_end: pl.Date = day("First day without parts cover, with bonus.")
    labor_base_end: pl.Date = day("First day without labor cover, without bonus.")
    labor_extended_end: pl.Date = day("First day without labor cover, with bonus.")
    verdict: str = word("The computed verdict.", codes.VERDICTS, required=True)
    lead_reason: str = word("The condition that decided it.", codes.CONDITIONS)
    missing: str = text("The documents that could settle it, joined by `; `.")
    parts_claimed: CENTS = money("Parts claimed.", required=True)
    labor_claimed: CENTS = money("Labor claimed.", required=True)
    travel_claimed: CENTS = money("Travel claimed.", required=True)
    parts_payable: CENTS = money("Parts payable by the computed verdict.", required=True)
    labor_payable: CENTS = money("Labor payable by the computed verdict.", required=True)
    travel_payable: CENTS = money("Travel payable by the computed verdict.", required=True)
    cause: str = text("The cause.")
    cause_class: str = word("The cause's class.", codes.CAUSE_CLASSES)
    water_related: bool = flag("Whether the cause is water-related.")
    severity: str = word("How hard the water is on a treatment.", SEVERITIES)
    ruling: str = word("The latest ruling.", codes.RULINGS)
    standing: str = word("What stands.", codes.VERDICTS, required=True)
    parts_standing: CENTS = money("Parts to be paid as it stands.", required=True)
    labor_standing: CENTS = money("Labor to be paid as it stands.", required=True)
    travel_standing: CENTS = money("Travel to be paid as it stands.", required=True)
    site: str = text("The unit's site.")
    site_name: str = text("The site's name.")
    opened_on: pl.Date = day("The day the call was opened.", required=True)
    completed_on: pl.Date = day("The day the repair was completed.")
    claimed_on: pl.Date = day("The day the claim was filed.")
    file_by: pl.Date = day("The last day to file the claim.")
    needs: TEXTS = texts("What the water needs of a treatment.", words=codes.ABILITIES)
    ruling_outdated: bool = flag(
        "Whether the computed verdict has changed since the ruling.", required=True
    )
    parts_if_covered: CENTS = money("Parts that a covered claim pays.", required=True)
    labor_if_covered: CENTS = money("Labor that a covered claim pays.", required=True)
    travel_if_covered: CENTS = money("Travel that a covered claim pays.", required=True)
    ruling_beyond_limit: bool = flag(
        "Whether the ruling that stands is beyond what its maker may decide.", required=True
    )
    serial_suggestion: str = serial_number("The unit one edit away, where the serial is unknown.")
    documents_due_on: pl.Date = day("The last day for the documents that are missing.")
    if_settled: str = word(
        "Of a claim that needs review, the verdict if all that is disputed were met.",
        codes.VERDICTS,
    )
    payable_if_settled: CENTS = money("What that verdict would pay, all lines together.")
    duplicate_of: str = text("The claim for the same failure that comes first.")
    standing_since: pl.Date = day("Since when verdict and amounts stand as they do.", required=True)


class Findings(Table):
    """One row is the outcome of one condition for one claim."""

    claim: str = text("The claim.", required=True, key=True)
    position: pl.Int64 = integer("The condition's place in the order of the rules.", required=True)
    condition: str = word("The condition.", codes.CONDITIONS, required=True)
    outcome: str = word("Its outcome.", codes.OUTCOMES, required=True)
    reason: str = text("Why, in one sentence.", required=True)
    evidence: CITATIONS = citations("The records it rests on.", required=True)
    document: str = text("The document that could settle it.")


class DecisionHistory(Table):
    """One row is one change of a claim's computed verdict or findings."""

    claim: str = text("The claim.", required=True, key=True)
    decided_at: MOMENT = moment("When the refresh decided, in UTC.", required=True, key=True)
    as_of: pl.Date = day("The as-of date of that refresh.", required=True)
    from_verdict: str = word("The verdict before; empty for a new claim.", codes.VERDICTS)
    to_verdict: str = word("The verdict after; empty for a claim that is gone.", codes.VERDICTS)
    moved: TEXTS = texts("The conditions whose outcome or reason moved.", required=True)
    fingerprint: str = text("The fingerprint of the evidence.", required=True)
    publication: pl.Int64 = integer("The publication that told it.")
    terms: str = text("SHA-256 over the terms.")
    reference: str = text("SHA-256 over the reference files.")
    settings: str = text("SHA-256 over the settings and letter templates.")
    tool_version: str = text("The version of the tool.")
    edition: str = text("The edition of the terms.")
    standing: str = word("What stood.", codes.VERDICTS)
    total_standing: CENTS = money("What was to be paid as it stood, all lines together.")
    moved_from_to: MOVES = moves("The conditions that moved, with their outcomes.")
    parts_payable: CENTS = money("Parts payable by the computed verdict.")
    labor_payable: CENTS = money("Labor payable by the computed verdict.")
    travel_payable: CENTS = money("Travel payable by the computed verdict.")
