"""Over nights, rulings, late exports, corrections and kills each agency is told everything once.

The register of polars frames is compared with a plain reading of its rules, one claim at a time,
and held to what must hold of any register.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import polars as pl
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from pipelines.letters.matters import SCHEMA
from pipelines.letters.register import Due, due
from pipelines.letters.standing import standing_claims
from schemas.columns import polars_schema
from schemas.decisions import Decisions, Findings
from schemas.reference import REFERENCE_TABLES
from tests.drawn import examples

START = dt.date(2026, 9, 1)
CLAIMS = ("K1", "K2", "K3")
LINES = ("parts", "labor", "travel")
REMINDERS = 2
RULINGS = pl.Schema({"claim": pl.String, "ruled_at": pl.Datetime("us")})
TERMS = pl.DataFrame({"edition": ["T"], "family": ["F"], "documents_within_days": [20]})
AGENCIES = polars_schema(REFERENCE_TABLES["agencies"]).to_frame()
FACTS = st.sampled_from(
    [
        {"standing": "covered", "paid": 100},
        {"standing": "covered", "paid": 90},
        {"standing": "not_covered", "lead_reason": "delimed"},
        {"standing": "needs_evidence", "lead_reason": "water_tested", "missing": "test"},
        {"standing": "needs_evidence", "lead_reason": "water_tested", "missing": "test; log"},
        {"standing": "needs_review", "lead_reason": "records_agree"},
        {"standing": "needs_review", "lead_reason": "only_claim_for_failure"},
    ]
)


def warranted(fact: dict) -> tuple | None:
    """What the agency has to be told of a claim, in plain values; None: nothing."""
    if fact.get("ruling"):
        return ("ruling", fact["ruled_at"], fact["ruling"], fact.get("paid", 0))
    if fact["standing"] == "needs_review" and fact["lead_reason"] != "records_agree":
        return None
    told = (fact["standing"], fact.get("lead_reason"), fact.get("missing"), fact.get("paid", 0))
    return ("decision", *told)


def standing_of(facts: dict[str, dict]) -> pl.DataFrame:
    """The same through the product: decisions, findings and rulings to matters."""
    decisions, findings, rulings = [], [], []
    for claim, fact in facts.items():
        row = {name: fact.get(name) for name in ("lead_reason", "missing", "ruling")}
        paid = Decimal(fact.get("paid", 0))
        money = {f"{line}_standing": paid if line == "parts" else Decimal(0) for line in LINES}
        decisions.append(
            row
            | money
            | {"claim": claim, "edition": "T", "family": "F", "agency": "A"}
            | {"standing": fact.get("ruling") or fact["standing"]}
        )
        disputed = fact.get("lead_reason") == "records_agree"
        findings.append(
            {
                "claim": claim,
                "condition": "records_agree",
                "outcome": "disputed" if disputed else "met",
            }
        )
        if fact.get("ruling"):
            rulings.append({"claim": claim, "ruled_at": fact["ruled_at"]})

    def frame(rows: list[dict], schema) -> pl.DataFrame:
        return pl.DataFrame([{n: r.get(n) for n in schema} for r in rows], schema=schema)

    return standing_claims(
        frame(decisions, polars_schema(Decisions)),
        frame(findings, polars_schema(Findings)),
        frame(rulings, RULINGS),
        AGENCIES,
        TERMS,
    )


class Plain:
    """The rules read one claim at a time."""

    def __init__(self) -> None:
        self.entries: list[dict] = []

    def look(self, facts: dict[str, dict], day: dt.date) -> None:
        """Steps 2 and 3, answers and reminders, for these claims."""
        if self.entries and day < max(entry["as_of"] for entry in self.entries):
            return
        reminders = []
        for claim in sorted(facts):
            reminders += self._claim(claim, facts[claim], day)
        self.entries += reminders

    def _live(self, claim: str) -> list[dict]:
        return [
            entry
            for entry in self.entries
            if entry["claim"] == claim
            and entry["state"] != "overtaken"
            and entry["kind"] != "reminder"
        ]

    def _claim(self, claim: str, fact: dict, day: dt.date) -> list[dict]:
        told = warranted(fact)
        live = self._live(claim)
        if live and live[-1]["state"] == "to_send" and live[-1]["told"] != told:
            live[-1]["state"] = "overtaken"
        for entry in self.entries:
            asks = entry["claim"] == claim and entry["kind"] in ("documents", "question")
            if asks and entry["state"] == "sent" and entry["missing"] != fact.get("missing"):
                entry["state"] = "answered"
        live = self._live(claim)
        kinds = {"needs_evidence": "documents", "needs_review": "question"}
        kind = "ruling" if fact.get("ruling") else kinds.get(fact["standing"], "decision")
        if told is not None and (not live or live[-1]["told"] != told):
            entry = {"claim": claim, "kind": kind, "told": told, "as_of": day, "state": "to_send"}
            entry |= {"missing": fact.get("missing"), "due": day + dt.timedelta(days=20)}
            self.entries.append(entry)
        live = self._live(claim)
        request = live[-1] if live else None
        waits = request is not None and request["state"] == "sent" and request["told"] == told
        mine = [e for e in self.entries if e["claim"] == claim and e["kind"] == "reminder"]
        for entry in mine:
            if entry["state"] == "to_send" and not (waits and entry["of"] is request):
                entry["state"] = "overtaken"
        if not waits or request["kind"] != "documents":
            return []
        made = [e for e in mine if e["of"] is request and e["state"] != "overtaken"]
        last = made[-1] if made else request
        if len(made) < REMINDERS and last["state"] == "sent" and last["due"] < day:
            more = {"kind": "reminder", "of": request, "state": "to_send", "as_of": day}
            return [request | more | {"due": day + dt.timedelta(days=20)}]
        return []


class Nights(RuleBasedStateMachine):
    """Drawn lives of three claims and their register."""

    @initialize(facts=st.tuples(*[FACTS] * len(CLAIMS)))
    def begin(self, facts) -> None:
        """The first export."""
        self.day = START
        self.facts = dict(zip(CLAIMS, facts, strict=True))
        self.register = SCHEMA.to_frame()
        self.plain = Plain()
        self.looked: tuple[dict, dt.date] | None = None
        # What was published, as of when, where the register has not seen it yet.
        self.store: tuple[dict, dt.date] | None = None

    def look(self, facts: dict[str, dict], day: dt.date) -> None:
        """One look of both at the same."""
        made = dt.datetime(2026, 9, 1)
        found = due(
            self.register, standing_of(facts), day, made, since=dt.date.min, reminders=REMINDERS
        )
        after = found.applied(self.register)
        back = Due.between(self.register, after)
        assert back.entries.equals(found.entries)
        assert back.states.equals(found.states.sort("entry"))
        self.register = after
        self.plain.look(facts, day)
        self.looked = (dict(facts), day)

    def bring_up(self) -> None:
        """What a killed refresh left is done before anything new is read, and only once."""
        if self.store is not None:
            self.look(*self.store)
            self.store = None

    @rule(claim=st.sampled_from(CLAIMS), fact=FACTS)
    def late_export(self, claim, fact) -> None:
        """What the records say changes; nobody has looked yet."""
        ruled = {k: v for k, v in self.facts[claim].items() if k in ("ruling", "ruled_at")}
        self.facts[claim] = fact | ruled

    @rule(days=st.integers(0, 25), killed=st.booleans())
    def night(self, days, killed) -> None:
        """A refresh; one that is killed at its end leaves the register to the next."""
        self.bring_up()
        self.day += dt.timedelta(days=days)
        self.store = dict(self.facts), self.day
        if not killed:
            self.bring_up()

    @rule(back=st.integers(1, 40))
    def look_back(self, back) -> None:
        """A refresh as of a day gone by publishes, and writes to nobody."""
        self.bring_up()
        self.store = dict(self.facts), self.day - dt.timedelta(days=back)
        self.bring_up()

    @rule(
        claim=st.sampled_from(CLAIMS),
        ruling=st.sampled_from(["covered", "not_covered"]),
        back=st.integers(0, 60),
        paid=st.sampled_from([0, 100]),
    )
    def ruling(self, claim, ruling, back, paid) -> None:
        """A ruling, also one given with an earlier day, is told at once."""
        self.bring_up()
        ruled_at = dt.datetime.combine(self.day - dt.timedelta(days=back), dt.time(12))
        before = self.facts[claim].get("ruled_at")
        if before is None or before <= ruled_at:  # the latest one stands
            self.facts[claim] = self.facts[claim] | {"ruling": ruling, "ruled_at": ruled_at}
            self.facts[claim] |= {"paid": paid}
        self.look({claim: self.facts[claim]}, self.day)

    @rule(claim=st.sampled_from(CLAIMS), fact=FACTS)
    def correction(self, claim, fact) -> None:
        """A corrected row, or a ruling withdrawn: decided and told at once."""
        self.bring_up()
        self.facts[claim] = fact
        self.look({claim: fact}, self.day)

    @rule(which=st.integers(0, 30), state=st.sampled_from(["sent", "answered", "closed"]))
    def mark(self, which, state) -> None:
        """A person marks a letter, where its state allows it."""
        follows = {"sent": "to_send", "answered": "sent", "closed": "answered"}
        waiting = self.register.filter(pl.col("state") == follows[state])
        if waiting.is_empty():
            return
        entry = waiting["entry"][which % waiting.height]
        self.register = self.register.with_columns(
            state=pl.when(pl.col("entry") == entry).then(pl.lit(state)).otherwise("state")
        )
        self.plain.entries[entry - 1]["state"] = state

    @invariant()
    def agrees_with_the_plain_reading(self) -> None:
        """The same letters in the same states."""
        if not hasattr(self, "register"):
            return
        ours = self.register.sort("entry").select("claim", "kind", "state", "as_of", "due_on")
        asking = ("documents", "question", "reminder")
        theirs = [
            (
                e["claim"],
                e["kind"],
                e["state"],
                e["as_of"],
                e["due"] if e["kind"] in asking else None,
            )
            for e in self.plain.entries
        ]
        assert ours.rows() == theirs

    @invariant()
    def tells_all_that_was_done_at_once(self) -> None:
        """After an action or a night that ended, whoever has to be told was told, or will be."""
        if not hasattr(self, "register") or self.looked is None:
            return
        facts, day = self.looked
        if day < (self.register["as_of"].max() or day):
            return
        live = self.register.filter(
            (pl.col("state") != "overtaken") & (pl.col("kind") != "reminder")
        ).sort("entry")
        told = dict(live.select("claim", "basis").iter_rows())
        due_now = standing_of(facts).drop_nulls("basis")
        assert {claim: told.get(claim) for claim in due_now["claim"]} == dict(
            due_now.select("claim", "basis").iter_rows()
        )

    @invariant()
    def tells_nothing_twice_in_a_row(self) -> None:
        """Two live letters about one claim, one after the other, tell different things."""
        if not hasattr(self, "register"):
            return
        live = self.register.filter(
            (pl.col("state") != "overtaken") & (pl.col("kind") != "reminder")
        ).sort("claim", "entry")
        again = live.filter(
            (pl.col("claim") == pl.col("claim").shift())
            & (pl.col("basis") == pl.col("basis").shift())
        )
        assert again.is_empty()
        assert (live.filter(pl.col("state") == "to_send")["claim"]).is_unique().all()


Nights.TestCase.settings = settings(
    max_examples=examples(40), stateful_step_count=15, deadline=None
)
test_letters_are_told_exactly_once = Nights.TestCase
