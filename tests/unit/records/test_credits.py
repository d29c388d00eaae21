"""The credits feed: signed exact money, and which rows are the same credit."""

from decimal import Decimal

HEAD = "claim,credited_on,credit,parts_amount,labor_amount,travel_amount\n"


def fates(desk, rows):
    """The fate of each line of one file."""
    done = desk.account("credits", {"c.csv": HEAD + rows})
    return done, done.fates.sort("line")["fate"].to_list()


def test_amounts_may_be_negative_and_stay_exact(desk):
    """A reversal is a credit below zero; thousands are read as in every feed."""
    done, _ = fates(desk, 'K1,2025-02-03,7,"-1,234.56",0.10,\n')
    row = done.records.row(0, named=True)
    assert (row["parts_amount"], row["labor_amount"]) == (Decimal("-1234.56"), Decimal("0.10"))
    assert row["travel_amount"] is None


def test_the_same_credit_told_again_is_a_duplicate(desk):
    """Same claim, day and amounts, however they are written, also where fields are empty."""
    rows = "K1,2025-02-03,,10.00,,5\nK1,2025-02-03,,10,,5.0\nK1,2025-02-03T08:00:00,,10,,5\n"
    _, found = fates(desk, rows)
    assert found == ["duplicate", "duplicate", "record"]


def test_credits_that_differ_in_anything_are_credits_of_their_own(desk):
    """Another day, number or amount: books post anew, so none stands in another's place."""
    rows = [
        "K1,2025-02-03,,10,,\n",
        "K1,2025-02-04,,10,,\n",
        "K1,2025-02-03,8,10,,\n",
        "K1,2025-02-03,,10,0,\n",
        "K1,2025-02-03,,-10,,\n",
    ]
    _, found = fates(desk, "".join(rows))
    assert found == ["record"] * 5


def test_a_credit_without_any_amount_is_set_aside(desk):
    """A zero is an amount; nothing at all is not."""
    done, _ = fates(desk, "K1,2025-02-03,1,,,\nK1,2025-02-03,2,0,,\n")
    (reason,) = done.set_aside.rows(named=True)
    assert (reason["line"], reason["column"], reason["rule"]) == (2, "parts_amount", "some_amount")
    assert "labor_amount and travel_amount" in reason["reason"]


def test_the_day_of_the_credit_says_when_it_is_seen(desk):
    """A file without a date in its name is complete up to its latest credit."""
    done, _ = fates(desk, "K1,2025-02-03,1,5,,\nK2,2025-03-01,2,5,,\n")
    assert str(done.through_date) == "2025-03-01"
