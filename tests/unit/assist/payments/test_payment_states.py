"""What was credited beside what stands: sums by line, and the state of every claim."""

from datetime import date
from decimal import Decimal

import polars as pl
import pytest

from pipelines.assist.payments.ledger import payments
from schemas.columns import CENTS, polars_schema
from schemas.feeds import record_schema
from schemas.payments import Payments

LINES = ("parts", "labor", "travel")


def decisions(**standing):
    """Decisions on claims: by claim, what stands and the amounts of parts, labor and travel."""
    rows = [
        {"claim": claim, "serial": "U1", "region": None, "agency": "NORTH"}
        | {"claimed_on": date(2025, 1, 5), "standing": word}
        | {f"{line}_standing": Decimal(amount) for line, amount in zip(LINES, amounts, strict=True)}
        for claim, (word, *amounts) in standing.items()
    ]
    schema = dict.fromkeys(("claim", "serial", "region", "agency"), pl.String)
    schema |= {"claimed_on": pl.Date, "standing": pl.String}
    return pl.DataFrame(rows, schema=schema | {f"{line}_standing": CENTS for line in LINES})


def credits(*rows):
    """Records of credits: claim, day of 2025 as month-day, then the three amounts."""
    filled = [
        (
            claim,
            date.fromisoformat(f"2025-{day}"),
            None,
            *(None if amount is None else Decimal(amount) for amount in amounts),
            "c.csv",
            line,
            "",
        )
        for line, (claim, day, *amounts) in enumerate(rows, 2)
    ]
    return pl.DataFrame(filled, schema=record_schema("credits"), orient="row")


def table(decided, posted, near=()):
    """The rows of `payments` by claim, checked against the table's class."""
    names = pl.DataFrame(
        list(near), schema={"claim": pl.String, "suggestion": pl.String}, orient="row"
    )
    found = payments(decided, posted, names)
    Payments.validate(found, lazy=True)
    assert found.schema == polars_schema(Payments)
    return {row["claim"]: row for row in found.iter_rows(named=True)}


FULL = ("100.00", "50.00", "20.00")


@pytest.mark.parametrize(
    ("standing", "posted", "state", "difference"),
    [
        (("covered", *FULL), [], "unpaid", "-170.00"),
        (("covered", *FULL), [FULL], "paid", "0.00"),
        (("covered", *FULL), [("100", None, "20")], "paid_in_part", "-50.00"),
        (("covered", *FULL), [("100", None, "20"), (None, "50", None)], "paid", "0.00"),
        (("covered", *FULL), [("100", "50", "20.01")], "overpaid", "0.01"),
        (("covered", *FULL), [("100", "50", "20"), ("1", None, None)], "overpaid", "1.00"),
        (("covered", *FULL), [FULL, FULL], "credited_twice", "170.00"),
        # A second credit of the same amounts that stays within what stands is no fault.
        (("covered", "20", "0", "0"), [("10", None, None)] * 2, "paid", "0.00"),
        # Credited, taken back and credited again is paid once.
        (("covered", *FULL), [FULL, ("-100", "-50", "-20"), FULL], "paid", "0.00"),
        (("covered", *FULL), [FULL, ("-100", "-50", "-20")], "unpaid", "-170.00"),
        (("not_covered", "0", "0", "0"), [("40", None, None)], "paid_though_not_covered", "40.00"),
        (
            ("not_covered", "0", "0", "0"),
            [("40", None, None), ("-40", None, None)],
            "taken_back",
            "0.00",
        ),
        # A ruling may deny a claim and still grant an amount.
        (("not_covered", "40", "0", "0"), [("40", None, None)], "paid", "0.00"),
        (("needs_evidence", "0", "0", "0"), [("40", None, None)], "paid_while_open", "40.00"),
        (("needs_review", "0", "0", "0"), [("40", None, None)], "paid_while_open", "40.00"),
        (("covered", "0", "0", "0"), [("40", None, None)], "overpaid", "40.00"),
        (("covered", "0", "0", "0"), [("-40", None, None)], "taken_back", "-40.00"),
    ],
)
def test_the_state_follows_from_what_stands_and_what_was_credited(
    standing, posted, state, difference
):
    """The difference is credited less standing, over all lines."""
    days = [f"03-{10 + place:02}" for place in range(len(posted))]
    rows = [("K1", day, *amounts) for day, amounts in zip(days, posted, strict=True)]
    row = table(decisions(K1=standing), credits(*rows))["K1"]
    assert (row["state"], row["difference"]) == (state, Decimal(difference))
    assert row["credits"] == len(posted)
    if posted:
        assert row["first_credited_on"] == date(2025, 3, 10)
        assert row["last_credited_on"] == date.fromisoformat(f"2025-{days[-1]}")


def test_amounts_are_added_line_by_line_and_brought_to_the_cent_at_the_end():
    """Three thirds of a cent make a cent; what was taken back is off."""
    third = "0.003334"
    rows = [("K1", f"03-1{n}", third, None, "-5") for n in range(3)]
    row = table(decisions(K1=("covered", "0.01", "0", "0")), credits(*rows))["K1"]
    assert (row["parts_credited"], row["labor_credited"]) == (Decimal("0.01"), Decimal("0.00"))
    assert row["travel_credited"] == Decimal("-15.00")
    assert row["total_credited"] == Decimal("-14.99")


def test_paid_in_all_but_not_line_by_line_is_marked():
    """All of it went under parts, which is paid all the same."""
    row = table(decisions(K1=("covered", *FULL)), credits(("K1", "03-10", "170", None, None)))["K1"]
    assert (row["state"], row["lines_differ"]) == ("paid", True)
    row = table(decisions(K1=("covered", *FULL)), credits(("K1", "03-10", *FULL)))["K1"]
    assert not row["lines_differ"]


def test_a_credit_of_no_claim_is_told_with_the_claim_that_is_near():
    """Nothing stands for it, and the suggestion is not used."""
    posted = credits(("K12", "03-10", "5", None, None))
    rows = table(decisions(K1=("covered", *FULL)), posted, [("K12", "K1")])
    assert (rows["K12"]["state"], rows["K12"]["claim_suggestion"]) == ("claim_unknown", "K1")
    assert rows["K12"]["standing"] is None
    assert rows["K1"]["state"] == "unpaid"
    assert rows["K12"]["evidence"] == ["credits/K12-2025-03-10/c.csv:2"]


def test_claims_with_nothing_due_and_nothing_credited_have_no_row():
    """Neither open nor denied claims are listed where no money moved."""
    decided = decisions(
        K1=("not_covered", "0", "0", "0"),
        K2=("needs_evidence", "0", "0", "0"),
        K3=("covered", *FULL),
    )
    assert set(table(decided, credits())) == {"K3"}


def test_absurd_amounts_do_not_stop_the_others():
    """Three lines at the most that a column holds stay within it."""
    most = "9999999999999999.99"
    row = table(decisions(K1=("covered", most, most, most)), credits())["K1"]
    assert row["total_standing"] == Decimal(most)
    assert row["difference"] == -Decimal(most)


# A worked ledger, added up by hand with double-entry columns: due, then each posting of the month
# (common practice, no source). Columns: due, posted, what the claim's account shows at the end.
LEDGER = {
    "K01": (("covered", "410.00", "95.00", "38.50"), ["410.00 95.00 38.50"], "paid", "0.00"),
    "K02": (("covered", "410.00", "95.00", "38.50"), ["410.00 95.00 -"], "paid_in_part", "-38.50"),
    "K03": (("covered", "72.25", "0.00", "0.00"), ["- 72.25 -"], "paid", "0.00"),
    "K04": (
        ("covered_in_part", "0.00", "95.00", "38.50"),
        ["- 95.00 38.50", "- 95.00 38.50"],
        "credited_twice",
        "133.50",
    ),
    "K05": (
        ("covered_in_part", "0.00", "95.00", "38.50"),
        ["- 95.00 38.50", "- 95.00 38.50", "- -95.00 -38.50"],
        "paid",
        "0.00",
    ),
    "K06": (("covered", "12.10", "0.00", "0.00"), ["12.09 - -"], "paid_in_part", "-0.01"),
    "K07": (("covered", "12.10", "0.00", "0.00"), ["6.10 - -", "6.01 - -"], "overpaid", "0.01"),
    "K08": (
        ("not_covered", "0.00", "0.00", "0.00"),
        ["50.00 - -", "-20.00 - -"],
        "paid_though_not_covered",
        "30.00",
    ),
    "K09": (("needs_evidence", "0.00", "0.00", "0.00"), ["5.00 - -"], "paid_while_open", "5.00"),
    "K10": (("covered", "880.00", "0.00", "0.00"), [], "unpaid", "-880.00"),
    "K11": (None, ["9.95 - -"], "claim_unknown", "9.95"),
}


def test_a_worked_ledger_balances():
    """Eleven accounts of a month by hand, their sums by line, and the balance over all.

    Due 2,330.45 (K01 and K02 543.50 each, K03 72.25, K04 and K05 133.50 each, K06 and K07 12.10
    each, K10 880.00), credited 1,590.40 (in order 543.50, 505.00, 72.25, 267.00, 133.50, 12.09,
    12.11, 30.00, 5.00, 0, 9.95): 740.05 less than due.
    """
    decided = {claim: row[0] for claim, row in LEDGER.items() if row[0]}
    posted = [
        (claim, f"06-{day:02}", *(None if one == "-" else one for one in line.split()))
        for claim, row in LEDGER.items()
        for day, line in enumerate(row[1], 3)
    ]
    rows = table(decisions(**decided), credits(*posted))
    told = {claim: (row["state"], str(row["difference"])) for claim, row in rows.items()}
    assert told == {claim: row[2:] for claim, row in LEDGER.items()}
    assert {claim for claim, row in rows.items() if row["lines_differ"]} == {"K03"}
    sums = {
        name: str(sum(row[name] for row in rows.values()))
        for name in ("total_standing", "total_credited", "difference", "labor_credited")
    }
    assert sums == {
        "total_standing": "2330.45",
        "total_credited": "1590.40",
        "difference": "-740.05",
        "labor_credited": "547.25",
    }
    assert [str(rows["K05"][f"{end}_credited_on"]) for end in ("first", "last")] == [
        "2025-06-03",
        "2025-06-05",
    ]
    assert rows["K05"]["credits"] == 3
