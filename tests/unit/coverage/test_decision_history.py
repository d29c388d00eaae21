"""What is appended to the history, fingerprints, and rulings to look at again."""

import hashlib
from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal

import polars as pl
import pytest

from pipelines.coverage import decide
from pipelines.coverage.history import Grounds, changes, fingerprints
from schemas.decisions import DecisionHistory

AT = datetime(2025, 1, 1, 3, 15)
RULING = {"claim": "K1", "ruled_by": "a.b", "reason": "seen", "ruling": "covered"}


@pytest.fixture
def run(tools, bench):
    """Decides records and tells what to append after what was decided before."""

    def go(before=None, **given):
        given.setdefault("units", [tools.UNIT])
        given.setdefault("service_calls", [tools.CALL])
        evidence = tools.evidence_of(**given)
        decided = decide(evidence, bench.terms(tools.BENCH_TERMS))
        old = (None, None) if before is None else (before.decisions, before.findings)
        grounds = Grounds(publication=4, terms="a" * 64)
        rows = changes(*old, decided.decisions, decided.findings, evidence, AT, grounds)
        DecisionHistory.validate(rows, lazy=True)
        return decided, rows

    return go


def test_a_new_claim_has_no_verdict_before(run):
    """The first row of a claim says when, as of when, and on which evidence."""
    _, rows = run()
    row = rows.row(0, named=True)
    assert row.pop("fingerprint").isalnum()
    assert row == {
        "claim": "K1",
        "decided_at": AT,
        "as_of": date(2025, 12, 31),
        "from_verdict": None,
        "to_verdict": "covered",
        "moved": [],
        "publication": 4,
        "terms": "a" * 64,
        "reference": None,
        "settings": None,
        "tool_version": None,
        "edition": "T1",
        "standing": "covered",
        "total_standing": Decimal("430.00"),
        "moved_from_to": [],
        "parts_payable": Decimal("200.00"),
        "labor_payable": Decimal("170.00"),
        "travel_payable": Decimal("60.00"),
    }


def test_amounts_that_change_alone_are_told(tools, run):
    """The same verdict and reasons for other parts: a row of its own, in which nothing moved."""
    first, _ = run()
    _, rows = run(first, service_calls=[tools.CALL | {"parts_amount": "199.99"}])
    row = rows.row(0, named=True)
    assert (row["from_verdict"], row["to_verdict"], row["moved"]) == ("covered", "covered", [])
    assert (row["parts_payable"], row["total_standing"]) == (Decimal("199.99"), Decimal("429.99"))


def test_the_same_inputs_append_nothing(run):
    """A refresh with nothing new leaves the history as it is."""
    first, _ = run()
    assert run(first)[1].is_empty()


def test_a_changed_verdict_names_what_moved(tools, run):
    """Filed late and by nobody: both conditions moved, in their order."""
    first, before = run()
    call = tools.CALL | {"claimed_on": "2024-11-03", "agency": "NOBODY"}
    _, rows = run(first, service_calls=[call])
    row = rows.row(0, named=True)
    assert (row["from_verdict"], row["to_verdict"]) == ("covered", "not_covered")
    assert row["moved"] == ["filed_in_time", "agency_authorized"]
    assert row["moved_from_to"] == [
        {"condition": "filed_in_time", "from": "met", "to": "unmet"},
        {"condition": "agency_authorized", "from": "met", "to": "unmet"},
    ]
    assert row["fingerprint"] != before.row(0, named=True)["fingerprint"]


def test_a_changed_reason_alone_is_told(tools, run):
    """Filed a day later yet in time: the verdict stays, one reason moved."""
    first, _ = run()
    _, rows = run(first, service_calls=[tools.CALL | {"claimed_on": "2024-09-11"}])
    row = rows.row(0, named=True)
    assert (row["from_verdict"], row["to_verdict"]) == ("covered", "covered")
    assert row["moved"] == ["filed_in_time"]


def test_a_claim_that_is_gone_has_no_verdict_after(tools, run):
    """Its call lost its claim number."""
    first, _ = run()
    _, rows = run(first, service_calls=[tools.CALL | {"claim": None}])
    row = rows.row(0, named=True)
    assert (row["from_verdict"], row["to_verdict"], row["moved"]) == ("covered", None, [])


def test_more_complete_feeds_alone_move_nothing_once_silence_counts(tools, run):
    """A later through date changes no reason, so a nightly export appends no row."""
    late = dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), "2025-01-20")
    calls = [tools.CALL | late]
    for first_day, next_day in ((date(2025, 2, 1), date(2025, 3, 1)),
                                (date(2024, 10, 1), date(2024, 11, 1))):  # fmt: skip
        first, _ = run(service_calls=calls, through={"startups": first_day})
        assert run(first, service_calls=calls, through={"startups": next_day})[1].is_empty()


def test_the_same_records_elsewhere_have_the_same_fingerprint(tools, run):
    """Neither file, line nor the order of rows counts; a used value does."""
    second = tools.UNIT | {"serial": "U2"}
    _, one = run(units=[tools.UNIT, second])
    _, two = run(units=[second, tools.UNIT])
    assert one.get_column("fingerprint").to_list() == two.get_column("fingerprint").to_list()
    _, three = run(units=[tools.UNIT | {"postal_code": "00001"}, second])
    assert one.get_column("fingerprint").to_list() != three.get_column("fingerprint").to_list()


def test_the_fingerprint_is_the_digest_of_what_was_found_and_what_it_rests_on(tools, run):
    """SHA-256 over outcomes and reasons in order, then the cited records without their place."""
    decided, rows = run()
    found = decided.findings.select("condition", "outcome", "reason").iter_rows()
    unit = ["units", "U1", "HAND", "2024-01-02", "2024-01-10", "2024-01-20", "S1", "", "US-NM"]
    call = ["service_calls", "C1", "K1", "U1", "repair", "2024-09-02", "2024-09-01", "2024-09-03"]
    call += ["2024-09-10", "NORTH", "technician", "", "BOARD", "", "200.000000", "2.0000000000"]
    call += ["90.000000", "75.000000", ""]
    records = sorted("\x1f".join(row) for row in ([*unit, "", ""], call))
    text = "\n".join("\x1f".join(row) for row in found) + "\n\n" + "\n".join(records)
    digest = hashlib.sha256(text.encode()).hexdigest()
    assert rows.get_column("fingerprint").to_list() == [digest]


def test_a_fingerprint_is_taken_only_of_the_claims_asked_for(tools, run):
    """An empty list gives an empty table."""
    decided, _ = run()
    evidence = tools.evidence_of(units=[tools.UNIT], service_calls=[tools.CALL])
    assert fingerprints(pl.Series([], dtype=pl.String), decided.findings, evidence).is_empty()
    known = fingerprints(pl.Series(["K1"]), decided.findings, evidence)
    assert known.get_column("claim").to_list() == ["K1"]


def history_of(*entries):
    """A history of claim K1 from (moment, verdict)."""
    return pl.DataFrame(
        [
            {"claim": "K1", "decided_at": moment, "as_of": moment.date(), "to_verdict": verdict}
            for moment, verdict in entries
        ],
        schema={
            "claim": pl.String,
            "decided_at": pl.Datetime("us"),
            "as_of": pl.Date,
            "to_verdict": pl.String,
        },
    )


@pytest.mark.parametrize(
    ("entries", "outdated"),
    [
        ([], False),
        ([(datetime(2024, 9, 20), "covered")], False),
        ([(datetime(2024, 9, 20), "needs_evidence")], True),
        ([(datetime(2024, 9, 20), "needs_evidence"), (datetime(2024, 9, 30), "covered")], False),
        ([(datetime(2024, 9, 20), "covered"), (datetime(2024, 10, 5), "not_covered")], False),
        ([(datetime(2024, 10, 5), "not_covered"), (datetime(2024, 10, 6), "covered")], True),
        ([(datetime(2024, 10, 5), "covered")], False),
        ([(datetime(2024, 10, 5), None), (datetime(2024, 10, 6), "covered")], False),
    ],
)
def test_a_ruling_on_another_verdict_is_marked_for_another_look(tools, bench, entries, outdated):
    """Compared is the last verdict computed before the ruling; else the first one after."""
    ruling = RULING | {"ruled_at": "2024-10-01T10:00:00"}
    decided = bench.decide(rulings=[ruling], history=history_of(*entries))
    assert tools.decision(decided)["ruling_outdated"] is outdated


@pytest.mark.parametrize(
    ("as_of_days", "outdated"),
    [
        (["2024-09-01", "2024-09-30"], False),  # covered by then, so nothing changed since
        (["2024-09-01", "2024-10-01"], True),  # on the ruling's own day it may have come after
        (["2024-09-01", "2024-10-02"], True),
        (["2024-10-02", "2024-10-03"], True),
    ],
)
def test_days_refreshed_long_after_count_by_their_as_of_day(tools, bench, as_of_days, outdated):
    """Who refreshes days gone by makes all entries after the ruling, though not all tell of later.

    First needs_review, then covered, both computed in 2025; ruled on 2024-10-01.
    """
    history = history_of(
        (datetime(2025, 3, 1), "needs_review"), (datetime(2025, 3, 2), "covered")
    ).with_columns(as_of=pl.Series(as_of_days).str.to_date())
    ruling = RULING | {"ruled_at": "2024-10-01T10:00:00"}
    decided = bench.decide(rulings=[ruling], history=history)
    assert tools.decision(decided)["ruling_outdated"] is outdated


@pytest.mark.parametrize(
    ("ruled_at", "outdated"), [("2024-10-01T10:29:59", True), ("2024-10-01T10:30:00", False)]
)
def test_the_history_is_compared_in_the_workspaces_time_zone(tools, bench, ruled_at, outdated):
    """16:30 UTC is 10:30 in Denver in October."""
    entries = [(datetime(2024, 9, 1), "needs_review"), (datetime(2024, 10, 1, 16, 30), "covered")]
    evidence = tools.evidence_of(
        units=[tools.UNIT], service_calls=[tools.CALL], rulings=[RULING | {"ruled_at": ruled_at}]
    )
    decided = decide(
        evidence, bench.terms(tools.BENCH_TERMS), history_of(*entries), "America/Denver"
    )
    assert tools.decision(decided)["ruling_outdated"] is outdated


@pytest.mark.parametrize(("second", "outdated"), [(0, False), (1, True)])
def test_a_ruling_has_seen_what_was_decided_in_its_second(tools, bench, second, outdated):
    """Moments in the history are finer than those of rulings."""
    decided_at = datetime(2024, 10, 1, 10, 0, second, 900_000)
    history = history_of((datetime(2024, 9, 1), "needs_review"), (decided_at, "covered"))
    ruling = RULING | {"ruled_at": "2024-10-01T10:00:00"}
    decided = bench.decide(rulings=[ruling], history=history)
    assert tools.decision(decided)["ruling_outdated"] is outdated


def test_without_a_ruling_nothing_is_outdated(tools, bench):
    """Only a ruling can stand on an old verdict."""
    history = history_of((datetime(2024, 9, 1), "needs_review"))
    assert tools.decision(bench.decide(history=history))["ruling_outdated"] is False


def test_what_is_not_seen_yet_is_no_part_of_the_fingerprint(tools, bench):
    """A retirement after the as-of date does not change the evidence of an earlier day."""
    terms = bench.terms(tools.BENCH_TERMS)
    prints = []
    for retired_on in (None, "2025-12-01"):
        evidence = tools.evidence_of(
            units=[tools.UNIT | {"retired_on": retired_on}], service_calls=[tools.CALL]
        )
        evidence = replace(evidence, as_of=date(2025, 6, 30))
        decided = decide(evidence, terms)
        rows = changes(None, None, decided.decisions, decided.findings, evidence, AT)
        prints += rows.get_column("fingerprint").to_list()
    assert prints[0] == prints[1]
