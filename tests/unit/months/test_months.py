"""Month end: every measure, its boundaries, an independent sum, closings and adjustments."""

from __future__ import annotations

import datetime as dt
import random
from collections import defaultdict
from decimal import ROUND_HALF_UP, Decimal

import polars as pl
import pytest

from pipelines.months.calendar import Month
from pipelines.months.closing import adjustments, first_open
from pipelines.months.measures import Books, rows_of
from schemas.columns import CENTS, MOMENT, polars_schema
from schemas.decisions import DecisionHistory, Decisions
from schemas.feeds import Credits
from schemas.months import LINES, MEASURES, ROWS

MAY = Month(2026, 5)
DECISIONS, HISTORY, CREDITS = (
    polars_schema(table) for table in (Decisions, DecisionHistory, Credits)
)
RULINGS = pl.Schema(
    {"claim": pl.String, "ruled_at": MOMENT, "ruled_by": pl.String}
    | {f"{line}_granted": CENTS for line in LINES}
)


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def frame(rows: list[dict], schema) -> pl.DataFrame:
    return pl.DataFrame([{n: r.get(n) for n in schema} for r in rows], schema=schema, orient="row")


def money(kind: str, *amounts: str) -> dict[str, Decimal]:
    values = (*amounts, "0", "0", "0")[:3]
    return {f"{line}_{kind}": Decimal(v) for line, v in zip(LINES, values, strict=True)}


def claim(name: str, standing: str = "covered", **more) -> dict:
    base = {"claim": name, "verdict": standing, "standing": standing}
    base |= {"standing_since": day("2026-05-10"), "opened_on": day("2026-04-01")}
    base |= {"family": "Linn", "cause_class": "scale", "agency": "A", "region": "US-KS"}
    for kind in ("claimed", "standing", "if_covered", "payable"):
        base |= money(kind)
    return base | more


def changed(name: str, as_of: str, verdict: str | None, *amounts: str) -> dict:
    told = {"claim": name, "as_of": day(as_of), "to_verdict": verdict}
    told |= {"decided_at": dt.datetime.fromisoformat(f"{as_of}T01:00:00")}
    return told | (money("payable", *amounts) if amounts else {})


def books(decisions=(), history=(), rulings=(), credits=()) -> Books:
    return Books(
        frame(list(decisions), DECISIONS),
        frame(list(history), HISTORY),
        frame(list(rulings), RULINGS),
        frame(list(credits), CREDITS),
    )


def rows(told: Books, measure: str, month: Month = MAY) -> list[dict]:
    found, _ = rows_of(told, month)
    assert found.schema == ROWS
    return found.filter(measure=measure).to_dicts()


def test_decided_takes_the_last_change_of_the_month() -> None:
    """First and last day count, the days beside do not; what went is told as gone; rows of before
    amounts were told count nothing."""
    told = books(
        [claim("K1"), claim("K2"), claim("K3")],
        [
            changed("K1", "2026-04-30", "not_covered", "0"),
            changed("K1", "2026-05-01", "needs_evidence", "0"),
            changed("K1", "2026-05-31", "covered", "10", "2.50"),
            changed("K1", "2026-06-01", "not_covered", "0"),
            changed("K2", "2026-05-07", "covered"),
            changed("K9", "2026-05-07", None),
        ],
    )
    found = {row["verdict"]: row for row in rows(told, "decided") if row["family"] == "Linn"}
    assert (found["covered"]["claims"], found["covered"]["total"]) == (2, Decimal("12.50"))
    assert set(found) == {"covered"}
    (gone,) = (row for row in rows(told, "decided") if row["verdict"] == "gone")
    assert {gone[name] for name in ("family", "cause_class", "agency", "region")} == {"unknown"}


def test_ruled_counts_each_ruling_in_force_of_the_month() -> None:
    """By person, whether or not a later one stands."""
    made = [
        {"claim": "K1", "ruled_at": dt.datetime(2026, 5, 31, 23, 59), "ruled_by": "R. Osei"}
        | money("granted", "5"),
        {"claim": "K1", "ruled_at": dt.datetime(2026, 6, 1), "ruled_by": "R. Osei"}
        | money("granted", "7"),
        {"claim": "K2", "ruled_at": dt.datetime(2026, 5, 1), "ruled_by": "M. Fenn"}
        | money("granted", "1", "1"),
    ]
    found = rows(books([claim("K1"), claim("K2")], rulings=made), "ruled")
    assert [(row["person"], row["claims"], row["total"]) for row in found] == [
        ("M. Fenn", 1, Decimal(2)),
        ("R. Osei", 1, Decimal(5)),
    ]


def test_approved_and_accrued_go_by_the_day_since_when_it_stands() -> None:
    """Not covered that pays all the same is approved; accrued is what no credit by then covers,
    line by line and never below nothing."""
    told = books(
        [
            claim("K1", standing_since=day("2026-05-31"), **money("standing", "100", "50")),
            claim("K2", standing_since=day("2026-04-30"), **money("standing", "30")),
            claim("K3", standing_since=day("2026-06-01"), **money("standing", "7")),
            claim("K4", "not_covered", **money("standing", "1")),
            claim("K5", "not_covered"),
            claim("K6"),
        ],
        credits=[
            {"claim": "K1", "credited_on": day("2026-05-31"), "parts_amount": Decimal(120)},
            {"claim": "K1", "credited_on": day("2026-06-01"), "labor_amount": Decimal(50)},
            {"claim": "K2", "credited_on": day("2026-05-02"), "parts_amount": Decimal(30)},
        ],
    )
    (approved,) = rows(told, "approved")
    assert (approved["claims"], approved["total"]) == (3, Decimal(151))
    (accrued,) = rows(told, "accrued")
    assert [accrued[name] for name in ("claims", "parts", "labor")] == [2, Decimal(1), Decimal(50)]


def test_credits_are_paid_or_taken_back_by_the_sign_of_their_sum() -> None:
    """Nothing in all counts as paid; a claim that is not on file is unknown in every dimension."""
    posted = [
        {"claim": "K1", "parts_amount": Decimal(10), "labor_amount": Decimal(-10)},
        {"claim": "K1", "parts_amount": Decimal("-0.01")},
        {"claim": "K9", "travel_amount": Decimal(3)},
    ]
    posted = [{"credited_on": day("2026-05-15")} | row for row in posted]
    told = books([claim("K1")], credits=posted)
    paid = {row["family"]: row["total"] for row in rows(told, "paid")}
    assert paid == {"Linn": Decimal(0), "unknown": Decimal(3)}
    (back,) = rows(told, "taken_back")
    assert (back["claims"], back["total"]) == (1, Decimal("-0.01"))


def _settled(count: int, paid: str, whole: str, verdict: str, **more) -> tuple[list, list]:
    names = [f"{more.get('cause_class', 'scale')}{verdict}{n}" for n in range(count)]
    made = [
        claim(name, **money("standing", paid), **money("if_covered", whole), **more)
        for name in names
    ]
    told = [changed(name, "2026-03-01", verdict, "0") for name in names]
    return made, told + [changed(name, "2026-05-31", "covered", "0") for name in names]


def _reserve(settled: list[tuple[list, list]], **more) -> tuple[list[dict], list[tuple]]:
    decisions, history = [], []
    for made, told in settled:
        decisions += made
        history += told
    wanted = claim("K", "needs_evidence", **money("if_covered", "0.01", "10"), **more)
    history.append(changed("K", "2026-05-31", "needs_evidence", "0"))
    told = books([*decisions, wanted], history)
    found, shares = rows_of(told, MAY)
    return found.filter(measure="reserve").to_dicts(), shares.rows()


def test_the_reserve_is_the_share_that_was_paid() -> None:
    """By verdict and class with ten claims; with nine over all classes; with fewer again whole."""
    ten, nine = (_settled(n, "50", "100", "needs_evidence") for n in (10, 9))
    other = _settled(1, "100", "100", "needs_evidence", cause_class="gas")
    (row,), shares = _reserve([ten, other])
    assert shares == [("needs_evidence", "scale", 10, 0.5)]
    assert (row["parts"], row["labor"], row["claims"]) == (Decimal("0.01"), Decimal(5), 1)
    (row,), shares = _reserve([nine, other])
    assert shares == [("needs_evidence", "scale", 10, 0.55)]
    assert (row["parts"], row["labor"]) == (Decimal("0.01"), Decimal("5.50"))
    (row,), shares = _reserve([nine])
    assert shares == [("needs_evidence", "scale", 0, 1.0)]
    assert row["total"] == Decimal("10.01")
    (row,), shares = _reserve([_settled(10, "150", "100", "needs_evidence")])
    assert shares == [("needs_evidence", "scale", 10, 1.0)]
    (row,), shares = _reserve([_settled(10, "50", "100", "needs_review"), nine])
    assert shares == [("needs_evidence", "scale", 0, 1.0)]


@pytest.mark.parametrize("more", [{"if_settled": "not_covered"}, {"duplicate_of": "X"}])
def test_nothing_is_reserved_for_what_is_not_covered_either_way(more) -> None:
    """Nor for a duplicate; both count as open claims all the same."""
    (row,), _ = _reserve([], **more)
    assert (row["claims"], row["total"]) == (1, Decimal(0))


def test_the_share_looks_back_over_24_months() -> None:
    """As of the day 24 months before the month's end counts no longer, the day after does."""
    for on, rests_on in (("2024-05-31", 0), ("2024-06-01", 10), ("2026-05-31", 10)):
        made, told = _settled(10, "50", "100", "needs_evidence")
        told = [row | {"as_of": day(on)} for row in told if row["to_verdict"] != "covered"]
        told += [changed(row["claim"], "2026-06-01", "covered", "0") for row in made]
        _, shares = _reserve([(made, told)])
        assert shares[0][2] == rests_on, on


def test_open_is_what_the_history_said_at_the_end_without_a_ruling_by_then() -> None:
    """As claimed; a ruling on the last day settles it, one on the day after does not."""
    history = [changed(f"K{n}", "2026-05-31", "needs_review", "0") for n in (1, 2, 3)]
    history += [
        changed("K4", "2026-06-01", "needs_review", "0"),
        changed("K5", "2026-05-01", "needs_review", "0"),
        changed("K5", "2026-05-31", "covered", "0"),
    ]
    made = [
        {"claim": "K2", "ruled_at": dt.datetime(2026, 5, 31, 23), "ruled_by": "a"},
        {"claim": "K3", "ruled_at": dt.datetime(2026, 6, 1), "ruled_by": "a"},
    ]
    names = ("K1", "K2", "K3", "K4", "K5")
    told = books([claim(n, **money("claimed", "3", "4")) for n in names], history, made)
    (row,) = rows(told, "open")
    assert (row["claims"], row["total"]) == (2, Decimal(14))


def _drawn(seed: int) -> Books:
    pick = random.Random(seed)
    days = [day("2026-04-25") + dt.timedelta(days=n) for n in range(45)]
    verdicts = ["covered", "not_covered", "needs_evidence", "needs_review", "covered_in_part"]

    def amounts(kind: str) -> dict[str, Decimal]:
        return money(kind, *(f"{pick.randrange(9999) / 100:.2f}" for _ in LINES))

    decisions, history, rulings, credits = [], [], [], []
    for n in range(120):
        name = f"K{n:03}"
        made = claim(name, pick.choice(verdicts), standing_since=pick.choice(days))
        for kind in ("claimed", "standing", "if_covered"):
            made |= amounts(kind)
        made |= {
            "cause_class": pick.choice(["scale", "gas", None]),
            "region": pick.choice(["US-KS", None]),
        }
        decisions.append(made)
        for on in sorted(pick.sample(days, pick.randrange(1, 4))):
            history.append(
                changed(name, on.isoformat(), pick.choice(verdicts)) | amounts("payable")
            )
        if pick.random() < 0.3:
            at = dt.datetime.combine(pick.choice(days), dt.time(12))
            rulings.append({"claim": name, "ruled_at": at, "ruled_by": "P"} | amounts("granted"))
        for _ in range(pick.randrange(3)):
            posted = {f"{line}_amount": Decimal(pick.randrange(-500, 3000)) / 100 for line in LINES}
            credits.append({"claim": name, "credited_on": pick.choice(days)} | posted)
    return books(decisions, history, rulings, credits)


def _by_hand(told: Books, measure: str) -> Decimal:
    """The measure's whole sum, by plain loops over rows."""
    rows = {
        name: getattr(told, name).to_dicts()
        for name in ("decisions", "history", "rulings", "credits")
    }
    inside = lambda on: MAY.first <= on <= MAY.last  # noqa: E731
    sum_of = lambda row, kind: sum((row[f"{line}_{kind}"] or Decimal(0)) for line in LINES)  # noqa: E731
    last = {}
    for row in sorted(rows["history"], key=lambda one: one["decided_at"]):
        last.setdefault(row["claim"], []).append(row)
    if measure == "decided":
        months = {c: [r for r in found if inside(r["as_of"])] for c, found in last.items()}
        return sum((sum_of(found[-1], "payable") for found in months.values() if found), Decimal(0))
    if measure == "ruled":
        return sum(
            (sum_of(r, "granted") for r in rows["rulings"] if inside(r["ruled_at"].date())),
            Decimal(0),
        )
    if measure in ("paid", "taken_back"):
        sums = [sum_of(r, "amount") for r in rows["credits"] if inside(r["credited_on"])]
        return sum((s for s in sums if (s >= 0) == (measure == "paid")), Decimal(0))
    approved = [
        r
        for r in rows["decisions"]
        if r["standing"] in ("covered", "covered_in_part") or sum_of(r, "standing") > 0
    ]
    if measure == "approved":
        return sum(
            (sum_of(r, "standing") for r in approved if inside(r["standing_since"])), Decimal(0)
        )
    if measure == "accrued":
        credited = defaultdict(Decimal)
        for r in rows["credits"]:
            for line in LINES:
                if r["credited_on"] <= MAY.last:
                    credited[r["claim"], line] += r[f"{line}_amount"]
        return sum(
            (
                max(Decimal(0), r[f"{line}_standing"] - credited[r["claim"], line])
                for r in approved
                for line in LINES
                if r["standing_since"] <= MAY.last
            ),
            Decimal(0),
        )
    opened = []
    for r in rows["decisions"]:
        found = [h for h in last.get(r["claim"], []) if h["as_of"] <= MAY.last]
        ruled = any(
            u["claim"] == r["claim"] and u["ruled_at"].date() <= MAY.last for u in rows["rulings"]
        )
        if found and found[-1]["to_verdict"].startswith("needs_") and not ruled:
            opened.append((r, found[-1]["to_verdict"]))
    if measure == "open":
        return sum((sum_of(r, "claimed") for r, _ in opened), Decimal(0))
    total = Decimal(0)
    for r, verdict in opened:
        settled = [
            s
            for s in rows["decisions"]
            if s["standing"] in ("covered", "covered_in_part", "not_covered")
            and any(h["to_verdict"] == verdict and h["as_of"] <= MAY.last for h in last[s["claim"]])
        ]
        alike = [s for s in settled if s["cause_class"] == r["cause_class"]]
        rests = alike if len(alike) >= 10 else settled
        whole = sum(sum_of(s, "if_covered") for s in rests)
        share = min(Decimal(1), sum(sum_of(s, "standing") for s in rests) / whole)
        for line in LINES:
            exact = r[f"{line}_if_covered"] * share
            total += exact.quantize(Decimal("0.01"), ROUND_HALF_UP)
    return total


@pytest.mark.parametrize("seed", range(5))
def test_every_measure_agrees_with_an_independent_sum(seed) -> None:
    """Claims, rulings and credits drawn around the month's ends, added up by plain loops."""
    told = _drawn(seed)
    found, _ = rows_of(told, MAY)
    sums = dict(found.group_by("measure").agg(pl.col("total").sum()).iter_rows())
    assert len(sums) >= 7
    assert {m: sums.get(m, Decimal(0)) for m in MEASURES} == {
        measure: _by_hand(told, measure) for measure in MEASURES
    }


def _now(told: Books):
    return lambda month: rows_of(told, month)[0]


def test_what_comes_after_a_closing_stands_as_an_adjustment_in_the_first_open_month() -> None:
    """A late credit; it is told once, and goes again where the credit does; balances are left."""
    credit = {"claim": "K1", "credited_on": day("2026-05-31"), "parts_amount": Decimal(20)}
    before = books([claim("K1", **money("standing", "20"))])
    after = books([claim("K1", **money("standing", "20"))], credits=[credit])
    june = Month(2026, 6)
    frozen = {MAY: rows_of(before, MAY)[0].with_columns(state=pl.lit("frozen"))}
    assert adjustments(june, frozen, _now(before)).is_empty()
    found = adjustments(june, frozen, _now(after)).to_dicts()
    assert [(r["measure"], r["month"], r["adjusts"], r["claims"], r["total"]) for r in found] == [
        ("paid", "2026-06", "2026-05", 1, Decimal(20))
    ]
    told = adjustments(june, frozen, _now(after))
    frozen[june] = pl.concat([rows_of(after, june)[0].with_columns(state=pl.lit("frozen")), told])
    july = Month(2026, 7)
    assert adjustments(july, frozen, _now(after)).is_empty()
    back = adjustments(july, frozen, _now(before)).to_dicts()
    assert [(r["adjusts"], r["total"]) for r in back] == [("2026-05", Decimal(-20))]


def test_a_re_ruling_after_a_closing_moves_what_was_approved() -> None:
    """It goes from the closed month, and comes in the month of the new ruling."""
    before = books([claim("K1", **money("standing", "20"))])
    after = books([claim("K1", standing_since=day("2026-06-03"), **money("standing", "15"))])
    frozen = {MAY: rows_of(before, MAY)[0].with_columns(state=pl.lit("frozen"))}
    (row,) = adjustments(Month(2026, 6), frozen, _now(after)).to_dicts()
    assert (row["measure"], row["claims"], row["total"]) == ("approved", -1, Decimal(-20))
    (new,) = rows(after, "approved", Month(2026, 6))
    assert new["total"] == Decimal(15)


def test_the_first_open_month_follows_the_closings() -> None:
    """None before the first; then the first that is not closed, also over a year's end."""
    december = Month(2025, 12)
    assert first_open([]) is None
    assert first_open([december]) == Month(2026, 1)
    assert first_open([december, Month(2026, 1), Month(2025, 3)]) == Month(2026, 2)


@pytest.mark.parametrize(
    "text", ["2026-13", "2026-5", "2026-00", "26-05", "2026-05-01", " 2026-05"]
)
def test_what_is_no_month(text) -> None:
    """Only YYYY-MM is."""
    with pytest.raises(ValueError, match=text):
        Month.of(text)


def test_a_month_has_its_days() -> None:
    """Also of a leap year."""
    assert (Month.of("2024-02").last, str(Month.of("2024-02"))) == (day("2024-02-29"), "2024-02")


def test_claims_without_a_cause_share_what_was_paid_of_their_kind() -> None:
    """A class that nobody told is one class, and stands once however many claims are open."""
    made, told = _settled(10, "50", "100", "needs_evidence", cause_class=None)
    others, history = _settled(10, "100", "100", "needs_evidence", cause_class="gas")
    made, told = made + others, told + history
    wanted = [
        claim(name, "needs_evidence", cause_class=None, **money("if_covered", "10"))
        for name in ("K1", "K2")
    ]
    told += [changed(name, "2026-05-31", "needs_evidence", "0") for name in ("K1", "K2")]
    found, shares = rows_of(books([*made, *wanted], told), MAY)
    assert shares.rows() == [("needs_evidence", "unknown", 10, 0.5)]
    reserve = found.filter(measure="reserve").to_dicts()
    assert [(row["claims"], row["total"]) for row in reserve] == [(2, Decimal(10))]


def test_a_line_that_a_credit_leaves_out_counts_as_nothing() -> None:
    """The other lines of the posting are paid, and what is left of the claim is accrued."""
    standing = claim("K1", **money("standing", "100", "50", "5"))
    posted = [{"claim": "K1", "credited_on": day("2026-05-15"), "parts_amount": Decimal(30)}]
    told = books(
        [standing], [changed("K1", "2026-05-10", "covered", "100", "50", "5")], credits=posted
    )
    (paid,) = rows(told, "paid")
    assert [paid[line] for line in LINES] == [Decimal(30), Decimal(0), Decimal(0)]
    (accrued,) = rows(told, "accrued")
    assert [accrued[line] for line in LINES] == [Decimal(70), Decimal(50), Decimal(5)]
