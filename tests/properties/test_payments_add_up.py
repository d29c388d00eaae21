"""Payments of all claims at once, against adding up one claim at a time."""

from collections import Counter
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pipelines.assist.payments.ledger import payments
from schemas.codes import VERDICTS
from schemas.columns import CENTS
from schemas.feeds import record_schema
from tests.drawn import examples

LINES = ("parts", "labor", "travel")
CLAIMS = ["K1", "K2", "K3", "K4"]
# Few amounts, so that repeated and taken back credits are common; the last needs rounding.
AMOUNTS = st.sampled_from([None, "0", "10", "-10", "20", "-20", "0.005", "0.015"])
STANDING = st.tuples(
    st.sampled_from(VERDICTS), st.lists(st.sampled_from([0, 10, 20]), min_size=3, max_size=3)
)
CREDITS = st.lists(
    st.tuples(st.sampled_from([*CLAIMS, "GONE"]), st.lists(AMOUNTS, min_size=3, max_size=3)).filter(
        lambda row: any(amount is not None for amount in row[1])
    ),
    max_size=12,
)


def cents(amount):
    """To the cent, half away from zero."""
    return amount.quantize(Decimal("0.01"), ROUND_HALF_UP)


def expected(standing, posted):
    """State and difference of one claim by plain steps; None where it has no row."""
    credited = [[Decimal(amount or 0) for amount in row] for row in posted]
    paid = sum((cents(sum(line, Decimal(0))) for line in zip(*credited, strict=True)), Decimal(0))
    if standing is None:
        return ("claim_unknown", paid) if posted else None
    word, amounts = standing
    due = Decimal(sum(amounts))
    if not posted and due == 0:
        return None
    times: Counter = Counter()
    for row in credited:
        back = sum(row) < 0
        times[tuple(-amount if back else amount for amount in row)] += -1 if back else 1
    if due == 0 and paid <= 0:
        state = "taken_back"
    elif due == 0 and word == "not_covered":
        state = "paid_though_not_covered"
    elif due == 0 and word in ("needs_evidence", "needs_review"):
        state = "paid_while_open"
    elif paid <= 0:
        state = "unpaid"
    elif paid <= due:
        state = "paid" if paid == due else "paid_in_part"
    else:
        state = "credited_twice" if max(times.values()) > 1 else "overpaid"
    return state, paid - due


@settings(max_examples=examples(200), deadline=None)
@given(decided=st.dictionaries(st.sampled_from(CLAIMS), STANDING), posted=CREDITS)
def test_every_claim_is_told_as_by_plain_steps(decided, posted):
    """Each claim at most once, its state and difference as told by hand, and no cent is lost."""
    decisions = pl.DataFrame(
        [
            (claim, "U", None, None, None, word, *map(Decimal, amounts))
            for claim, (word, amounts) in decided.items()
        ],
        schema={
            **dict.fromkeys(("claim", "serial", "region", "agency"), pl.String),
            "claimed_on": pl.Date,
            "standing": pl.String,
            **{f"{line}_standing": CENTS for line in LINES},
        },
        orient="row",
    )
    credits = pl.DataFrame(
        [
            (
                claim,
                date(2025, 1, 1) + timedelta(place),
                None,
                *(None if a is None else Decimal(a) for a in row),
                "c.csv",
                place,
                "",
            )
            for place, (claim, row) in enumerate(posted)
        ],
        schema=record_schema("credits"),
        orient="row",
    )
    none = pl.DataFrame(schema={"claim": pl.String, "suggestion": pl.String})
    table = payments(decisions, credits, none)
    found = {row["claim"]: (row["state"], row["difference"]) for row in table.to_dicts()}
    by_claim = {
        claim: expected(decided.get(claim), [row for name, row in posted if name == claim])
        for claim in [*CLAIMS, "GONE"]
    }
    assert found == {claim: told for claim, told in by_claim.items() if told is not None}
    assert table.height == len(found)
    assert table.equals(payments(decisions.reverse(), credits.reverse(), none).sort("claim"))
