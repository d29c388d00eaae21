"""What was paid and who ruled: for the claim pages and the morning's page.

Belongs here: saying payments and rulings in words and rows. Does not belong here: telling whether a
claim is paid (`pipelines.assist.payments`), the other parts of a page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from dashboards import formats
from dashboards.data import PageData
from schemas import codes
from schemas.polars_types import sum_of_money

LINES = ("parts", "labor", "travel")
MOST_ROWS = 25
SAYS = {
    "unpaid": "It is due, and nothing of it is paid.",
    "paid_in_part": "Less is paid than is due.",
    "paid": "What is due is paid.",
    "overpaid": "More is paid than is due.",
    "credited_twice": "The same amounts are paid more than once, and more than is due.",
    "paid_though_not_covered": "Something is paid although the claim is not covered.",
    "paid_while_open": "Something is paid although the claim is not decided yet.",
    "taken_back": "What was paid was taken back; nothing is due.",
    "claim_unknown": "Paid for a claim that no service call has.",
}
Row = Mapping[str, Any]


def money_table(decision: Row, payment: Row | None) -> dict[str, Any]:
    """The money of a claim line by line; what was credited beside it, where anything is known."""
    kinds = [("claimed", "Claimed", decision), ("payable", "Payable", decision)]
    if decision["ruling"]:
        kinds.append(("standing", "By the ruling", decision))
    if payment:
        kinds.append(("credited", "Paid", payment))
    amounts = {
        line: [of[f"{line}_{kind}"] for kind, _, of in kinds]  # one column a kind
        for line in LINES
    }
    return {
        "columns": [label for _, label, _ in kinds],
        "rows": [
            (line.capitalize(), [formats.money(amount) for amount in row])
            for line, row in amounts.items()
        ],
        "total": [formats.money(sum(column)) for column in zip(*amounts.values(), strict=True)],
    }


def payment_said(payment: Row | None, posted: Sequence[Row], currency: str) -> list[str]:
    """What became of the payment, then each credit; nothing where no credits come in."""
    if payment is None:
        return []
    difference = payment["difference"]
    word = "too much" if difference > 0 else "still to be paid"
    more = f" {formats.money(abs(difference), currency)} {word}." if difference else ""
    lines = " Line by line it differs." if payment["lines_differ"] else ""
    head = f"{formats.PAYMENTS[payment['state']]}. {SAYS[payment['state']]}{more}{lines}"
    return [head, *(_credit(row, currency) for row in posted)]


def _credit(row: Row, currency: str) -> str:
    parts = [
        f"{line} {formats.money(row[f'{line}_amount'], currency)}"
        for line in LINES
        if row[f"{line}_amount"] is not None
    ]
    number = f" ({row['credit']})" if row["credit"] else ""
    return f"{formats.long_day(row['credited_on'])}{number}: {formats.listed(parts)}."


def rulings_said(rulings: Sequence[Row], decision: Row, currency: str) -> list[dict[str, str]]:
    """Every ruling of a claim in the order in which they were made, with its reason."""
    entries = []
    for place, row in enumerate(rulings, 1):
        last = place == len(rulings)
        own = [
            f"{line} {formats.money(row[f'{line}_amount'], currency)}"
            for line in LINES
            if row[f"{line}_amount"] is not None
        ]
        now = "in force" if last else "replaced by the next one"
        beyond = "; beyond what its maker may decide" if last and _beyond(decision) else ""
        entries.append(
            {
                "head": f"{formats.VERDICTS[row['ruling']]}, {now}{beyond}",
                "when": f"{row['ruled_at']:%Y-%m-%d %H:%M} by {row['ruled_by']}",
                "reason": row["reason"],
                "amounts": f"It sets {formats.listed(own)}." if own else "",
            }
        )
    return entries


def _beyond(decision: Row) -> bool:
    return bool(decision.get("ruling_beyond_limit"))


def panel(data: PageData, with_page: set[str]) -> dict[str, Any] | None:
    """The morning's payments by state; what nobody has to act on is counted and not listed."""
    payments = data.payments
    if payments.is_empty():
        return None
    states = []
    for state in codes.PAYMENT_STATES:
        rows = payments.filter(pl.col("state") == state)
        if rows.is_empty():
            continue
        listed = rows.sort(pl.col("difference").abs(), "claim", descending=[True, False])
        shown = listed.head(0 if state in codes.SETTLED_PAYMENTS else MOST_ROWS)
        rest = 0 if state in codes.SETTLED_PAYMENTS else rows.height - shown.height
        states.append(
            {
                "state": state,
                "word": formats.PAYMENTS[state],
                "says": SAYS[state],
                "count": formats.counted(rows.height, "claim"),
                "sum": formats.money(sum_of_money(rows["difference"]), data.currency),
                "settled": state in codes.SETTLED_PAYMENTS,
                "rows": [_listed(row, with_page) for row in shown.iter_rows(named=True)],
                "left_out": f"{rest:,} more are in the file data/payments.csv." if rest else "",
            }
        )
    return {"summary": _summary(payments, data.currency), "states": states}


def _listed(row: Row, with_page: set[str]) -> dict[str, str | None]:
    claim = row["claim"]
    file = f"claims/{formats.file_name(claim)}" if claim in with_page else None
    near = f"; nearest claim on file: {row['claim_suggestion']}" if row["claim_suggestion"] else ""
    last = f", last on {row['last_credited_on']}" if row["last_credited_on"] else ""
    return {
        "claim": claim,
        "href": file,
        "text": f"{formats.money(row['total_credited'])} paid of "
        f"{formats.money(row['total_standing'])}{last}{near}",
    }


def _summary(payments: pl.DataFrame, currency: str) -> str:
    short = payments.filter(pl.col("state").is_in(["unpaid", "paid_in_part"]))
    over = payments.filter((pl.col("difference") > 0) & (pl.col("state") != "paid"))
    said = []
    if short.height:
        owed = formats.money(-sum_of_money(short["difference"]), currency)
        said.append(f"{owed} of {formats.counted(short.height, 'claim')} still to be paid")
    if over.height:
        much = formats.money(sum_of_money(over["difference"]), currency)
        said.append(f"{much} of {formats.counted(over.height, 'claim')} paid beyond what is due")
    return f"{formats.listed(said)}." if said else "All that is due is paid, and no more."
