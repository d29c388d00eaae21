"""What the pages say of payments, rulings and replaced units."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl

from dashboards import data as shown
from dashboards.pages import claim as claim_page
from dashboards.pages import paper_trail
from dashboards.pages.claim_parts import EARLIER, life_line


def payment(claim: str, state: str, standing: str, credited: str, **more) -> dict:
    """One row of payments, all of it parts."""
    amounts = {f"{line}_{kind}": Decimal(0) for line in ("labor", "travel")
               for kind in ("standing", "credited")}  # fmt: skip
    due, paid = Decimal(standing), Decimal(credited)
    return (
        amounts
        | {
            "claim": claim,
            "state": state,
            "difference": paid - due,
            "parts_standing": due,
            "total_standing": due,
            "parts_credited": paid,
            "total_credited": paid,
            "credits": 1,
            "lines_differ": False,
        }
        | more
    )


def test_the_morning_lists_what_needs_someone_and_counts_the_rest(sample) -> None:
    """States in order, the largest difference first; what is paid is only counted."""
    rows = [
        payment("K1", "unpaid", "10", "0"),
        payment("K2", "unpaid", "30.50", "0"),
        payment("K3", "paid", "5", "5"),
        payment("K4", "claim_unknown", "0", "7", claim_suggestion="K1"),
    ]
    data = sample.page_data(3, payments=sample.frame(rows, shown.PAYMENTS))
    panel = paper_trail.panel(data, {"K2"})
    assert [state["word"] for state in panel["states"]] == [
        "Unpaid", "Paid", "Paid for no claim on file",
    ]  # fmt: skip
    unpaid, paid, unknown = panel["states"]
    assert [row["claim"] for row in unpaid["rows"]] == ["K2", "K1"]
    assert unpaid["rows"][0]["href"].startswith("claims/k2-")
    assert unpaid["rows"][1]["href"] is None
    assert (paid["rows"], paid["count"]) == ([], "1 claim")
    assert unknown["rows"][0]["text"].endswith("nearest claim on file: K1")
    assert panel["summary"].startswith("40.50 USD of 2 claims still to be paid and 7.00 USD")
    assert paper_trail.panel(sample.page_data(3), set()) is None


def test_a_claim_tells_its_payment_and_all_its_rulings_in_order(sample) -> None:
    """What was paid stands beside claimed and payable; of two rulings the last is in force."""
    data = sample.page_data(6)
    claim = data.decisions.filter(pl.col("ruling").is_null())["claim"][0]
    ruling = {"claim": claim, "ruled_by": "R. Ames", "ruling": "not_covered", "reason": "dent"}
    rulings = [
        ruling | {"ruled_at": dt.datetime(2025, 5, 1, 9)},
        ruling
        | {"ruled_at": dt.datetime(2025, 6, 1, 10), "ruling": "covered", "reason": "from shipping"}
        | {"parts_amount": Decimal("12.5")},
    ]
    credit = {"claim": claim, "credited_on": dt.date(2025, 7, 1), "credit": "CR-1"}
    decided = data.decisions.with_columns(
        ruling_beyond_limit=pl.col("claim") == claim,
        ruling=pl.when(pl.col("claim") == claim).then(pl.lit("covered")).otherwise("ruling"),
    )
    told = sample.page_data(
        6,
        decisions=decided,
        rulings=sample.frame(rulings, shown.RULINGS),
        payments=sample.frame([payment(claim, "overpaid", "5", "7.25")], shown.PAYMENTS),
        credits=sample.frame([credit | {"parts_amount": Decimal("7.25")}], shown.CREDITS),
    )
    content = next(claim_page.contents(told, [claim]))
    assert content["money"]["columns"][-1] == "Paid"
    assert content["money"]["total"][-1] == "7.25"
    assert content["payment"][0].startswith("Overpaid. More is paid than is due. 2.25 USD too")
    assert content["payment"][1] == "1 July 2025 (CR-1): parts 7.25 USD."
    assert [row["head"] for row in content["rulings"]] == [
        "Not covered, replaced by the next one",
        "Covered, in force; beyond what its maker may decide",
    ]
    assert [row["reason"] for row in content["rulings"]] == ["dent", "from shipping"]
    assert content["rulings"][1]["amounts"] == "It sets parts 12.50 USD."


def test_the_earlier_unit_has_a_line_of_its_own(sample) -> None:
    """Its events stand apart on the time line, and the table says whose they are."""
    decision = sample.page_data(3).decisions.row(0, named=True)
    event = {"kind": "shipped", "on": dt.date(2023, 1, 2), "label": "Shipped.", "evidence": "x"}
    life = life_line(decision, [event | {"earlier": "A1"}, event | {"earlier": None}], [])
    assert EARLIER in life["data"]["lists"]["tracks"]
    assert ["2023-01-02", "", "A1, which it took over from: Shipped."] in life["rows"]
