"""Claims worked by hand: what would turn them, and the real records decided again with it.

The terms and the plain claim are those of the coverage tests' bench: bought 2024-01-10, installed
2024-01-20, parts 18 and labor 12 months, 12 more with the start-up bonus, 60 days to file.
"""

from datetime import date

import pytest

from pipelines.counterfactuals import sentences_of, what_would_turn
from pipelines.coverage import decide, seen
from tests.unit.coverage import bench

TEST = {"sample": "L1", "site": "S1", "point": "supply", "sampled_on": "2024-02-01",
        "reported_on": "2024-02-05", "ph": "7.5", "hardness_mg_l_caco3": "60"}  # fmt: skip


@pytest.fixture(scope="module")
def terms(tmp_path_factory):
    """The bench's terms."""
    return bench.terms_of(tmp_path_factory.mktemp("terms"))


@pytest.fixture
def world(terms):
    """Decides the plain claim with changes: decision, and what would turn it, where it is asked."""

    def build(unit=None, call=None, turns=True, **given):
        given["units"] = [bench.UNIT | (unit or {}), *given.get("units", [])]
        given["service_calls"] = [bench.CALL | (call or {}), *given.get("service_calls", [])]
        evidence = seen(bench.evidence_of(**given))
        decisions = decide(evidence, terms).decisions.filter(claim="K1")
        return decisions, turns and what_would_turn(evidence, terms, decisions)["K1"]

    return build


def verdict(world, **given):
    """The verdict of the plain claim with changes."""
    return world(**given, turns=False)[0]["verdict"][0]


def facts(turn):
    """Kind, standing and day of each fact of a set."""
    return [(fact["kind"], fact["standing"], fact["day"]) for fact in turn.facts]


def test_a_claim_filed_late_would_have_had_to_be_filed_by_the_last_day(world):
    """Completed on 3 September, filed by 2 November: too late to help, and the record says so."""
    late = {"claimed_on": "2024-11-20"}
    _, told = world(call=late)
    assert [facts(turn) for turn in told.turns] == [[("claimed_on", "past", date(2024, 11, 2))]]
    assert sentences_of(told) == [
        "Too late to help: it would have been covered had the claim been filed by 2024-11-02. "
        "On record: Filed on 2024-11-20, after 2024-11-02, the last of 60 days after completion on "
        "2024-09-03."
    ]
    assert verdict(world, call=late | {"claimed_on": "2024-11-02"}) == "covered"
    assert verdict(world, call=late | {"claimed_on": "2024-11-03"}) == "not_covered"


def test_papers_that_may_still_come_are_asked_for_together(world):
    """Without a cause and a filing date, both are needed and both may still be sent."""
    short = {"cause": None, "claimed_on": None}
    _, told = world(call=short)
    (turn,) = told.turns
    assert turn.possible
    assert turn.verdict == "covered"
    assert facts(turn) == [("claimed_on", "send", date(2024, 11, 2)), ("cause", "send", None)]
    assert sentences_of(told) == [
        "With all of these together it would be covered: a filing date of the claim that is "
        "2024-11-02 or earlier; the cause of the failure, as a code that is not water-related and "
        "not excluded."
    ]
    sent = {"cause": "BOARD", "claimed_on": "2024-11-02"}
    assert verdict(world, call=sent) == "covered"
    for name in sent:
        assert verdict(world, call=sent | {name: None}) == "needs_evidence"


def test_the_start_up_bonus_takes_a_request_and_a_start_up(world):
    """Labor ended on 20 January 2025; the bonus, asked for by 9 February 2024, would reach on."""
    failed = dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), "2025-03-01")
    decisions, told = world(call=failed)
    assert decisions["verdict"].to_list() == ["covered_in_part"]
    (turn,) = told.turns
    assert facts(turn) == [
        ("startup_requested", "past", date(2024, 2, 9)),
        ("startup_completed", "past", date(2025, 3, 1)),
    ]
    report = {"report": "R", "serial": "U1", "requested_on": "2024-02-09",
              "completed_on": "2025-03-01"}  # fmt: skip
    assert verdict(world, call=failed, startups=[report]) == "covered"
    for column, day in (("requested_on", "2024-02-10"), ("completed_on", "2025-03-02")):
        late = [report | {column: day}]
        assert verdict(world, call=failed, startups=late) == "covered_in_part"
    # Where the reports are not complete to those days, they may still come.
    _, told = world(call=failed, through={"startups": date(2024, 1, 31)})
    assert [turn.possible for turn in told.turns] == [True]


def test_a_start_up_that_came_after_the_failure_would_have_had_to_come_before(world):
    """Asked for in time, completed two weeks after a failure that the bonus would have reached."""
    failed = dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), "2025-03-01")
    report = {"report": "R", "serial": "U1", "requested_on": "2024-02-09",
              "completed_on": "2025-03-15"}  # fmt: skip
    decisions, told = world(call=failed, startups=[report])
    assert decisions["verdict"].to_list() == ["covered_in_part"]
    assert [facts(turn) for turn in told.turns] == [
        [("startup_completed", "past", date(2025, 3, 1))]
    ]


def test_parts_that_are_still_in_their_window_need_the_filing_alone(world):
    """With the bonus labor ended on 20 January 2026 and parts in July: filed within 60 days, by
    30 April, a failure in March would have been covered in part."""
    failed = dict.fromkeys(("failed_on", "opened_on", "completed_on"), "2026-03-01")
    report = {"report": "R", "serial": "U1", "requested_on": "2024-02-09",
              "completed_on": "2024-02-20"}  # fmt: skip
    given = {"startups": [report], "as_of": "2026-08-01"}
    decisions, told = world(call=failed | {"claimed_on": "2026-06-01"}, **given)
    assert decisions["verdict"].to_list() == ["not_covered"]
    assert [(turn.verdict, facts(turn)) for turn in told.turns] == [
        ("covered_in_part", [("claimed_on", "past", date(2026, 4, 30))])
    ]
    for day, expected in (("2026-04-30", "covered_in_part"), ("2026-05-01", "not_covered")):
        assert verdict(world, call=failed | {"claimed_on": day}, **given) == expected


def test_a_water_test_from_before_the_failure_is_asked_for(world):
    """It settles a claim for corrosion if nothing in it is outside the limits."""
    given = {"unit": {"model": "GEN"}, "call": {"cause": "CORRODED"}}
    _, told = world(**given)
    assert [facts(turn) for turn in told.turns] == [[("water_test", "send", date(2024, 9, 1))]]
    assert verdict(world, **given, water_tests=[TEST]) == "covered"
    later = TEST | {"sampled_on": "2024-09-02", "reported_on": "2024-09-02"}
    assert verdict(world, **given, water_tests=[later]) == "needs_evidence"
    hard = TEST | {"hardness_mg_l_caco3": "101"}
    assert verdict(world, **given, water_tests=[hard]) == "not_covered"


def test_results_that_a_test_lacks_bring_its_own_hardness_to_light(world):
    """With pH sent, the hardness of the same test calls for a treatment that nobody bought."""
    given = {"unit": {"model": "GEN"}, "call": {"cause": "CORRODED"}}
    hard = TEST | {"ph": None, "hardness_mg_l_caco3": "250"}
    _, told = world(**given, water_tests=[hard])
    (turn,) = told.turns
    assert [(fact["kind"], fact["standing"]) for fact in turn.facts] == [
        ("missing_results", "send"),
        ("order", "past"),
        ("installed", "past"),
    ]
    assert [fact["items"] for fact in turn.facts[:2]] == [["ph"], ["SOFT"]]
    order = {"order": "P", "line": "1", "ordered_on": "2024-09-01", "product": "SOFT",
             "quantity": "1", "condition": "new", "seller": "MAKER", "serial": "U1"}  # fmt: skip
    fitted = {"call": "I", "serial": "U1", "kind": "treatment_install", "opened_on": "2024-09-01",
              "completed_on": "2024-09-01", "product": "SOFT"}  # fmt: skip
    mended = {**given, "water_tests": [hard | {"ph": "7"}]}
    treated = {"treatment_purchases": [order], "service_calls": [fitted]}
    assert verdict(world, **mended, **treated) == "covered"
    assert verdict(world, **mended, treatment_purchases=[order]) == "needs_evidence"
    assert verdict(world, **mended) == "not_covered"


def test_a_serial_one_edit_away_is_corrected(world):
    """The claim for U1X is decided again as one for U1, and nothing else is in the way."""
    decisions, told = world(call={"serial": "U1X"})
    assert decisions["serial_suggestion"].to_list() == ["U1"]
    assert sentences_of(told) == [
        "With the serial of the claim corrected to U1, it would be covered."
    ]


def test_a_serial_that_is_nobodys_must_be_proved_first(world):
    """Nothing is told beyond that, for nothing is known."""
    _, told = world(call={"serial": "Z999"})
    assert sentences_of(told) == [
        "First it must be proved which unit this is; nothing more can be told yet: Serial Z999 is "
        "not on the register."
    ]


def test_an_excluded_cause_is_turned_by_nothing(world):
    """What the warranty excludes no document helps, though a late filing is in the way as well."""
    _, told = world(call={"cause": "DROPPED", "claimed_on": "2024-11-20"})
    assert not told.turns
    assert [name for name, _ in told.closed] == ["cause_not_excluded"]


def test_windows_that_ended_are_turned_by_nothing_where_the_clock_is_known(world):
    """18 months and 12 of bonus end on 20 July 2026; no date of the clock is missing."""
    late = dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), "2026-07-20")
    _, told = world(call=late, as_of="2026-08-01")
    assert not told.turns
    assert [name for name, _ in told.closed] == ["within_parts_window", "within_labor_window"]


def test_a_clock_that_started_by_shipment_may_be_shown_to_have_started_later(world):
    """Shipped 2 January, so the clock starts 60 days on; labor for 1 June 2025 asks for 2 June."""
    unit = {"installed_on": None, "purchased_on": None}
    failed = dict.fromkeys(("failed_on", "opened_on", "completed_on", "claimed_on"), "2025-06-01")
    decisions, told = world(unit=unit, call=failed)
    assert decisions["verdict"].to_list() == ["covered_in_part"]
    day = date(2024, 6, 2)
    assert [facts(turn) for turn in told.turns] == [
        [("installed_on", "send", day)],
        [("purchased_on", "send", day)],
    ]
    for name in unit:
        assert verdict(world, unit=unit | {name: "2024-06-02"}, call=failed) == "covered"
        assert verdict(world, unit=unit | {name: "2024-06-01"}, call=failed) == "covered_in_part"


def test_an_earlier_claim_for_the_failure_is_for_a_person_to_rule_on(world):
    """Were it for another failure, this one would be covered."""
    twin = bench.CALL | {"call": "C0", "claim": "K0", "claimed_on": "2024-09-05"}
    decisions, told = world(service_calls=[twin])
    assert decisions["verdict"].to_list() == ["needs_review"]
    assert [facts(turn) for turn in told.turns] == [[("only_claim", "correct", None)]]
    assert verdict(world) == "covered"


def test_dates_that_cannot_all_be_true_are_corrected_to_the_nearest_that_can(world):
    """Opened on 2 September for a failure on the 5th: the failure was no later than the call."""
    wrong = {"failed_on": "2024-09-05"}
    decisions, told = world(call=wrong)
    assert decisions["verdict"].to_list() == ["needs_review"]
    assert [facts(turn) for turn in told.turns] == [[("failed_on", "correct", date(2024, 9, 2))]]
    assert verdict(world, call={"failed_on": "2024-09-02"}) == "covered"


def test_an_installation_after_the_failure_is_corrected_to_the_day_of_the_failure(world):
    """Installed on the 10th, opened on the 2nd, failed on the 1st: installed by the 1st."""
    unit = {"installed_on": "2024-09-10"}
    decisions, told = world(unit=unit)
    assert decisions["verdict"].to_list() == ["needs_review"]
    assert [facts(turn) for turn in told.turns] == [[("installed_on", "correct", date(2024, 9, 1))]]
    assert verdict(world, unit={"installed_on": "2024-09-01"}) == "covered"


def test_a_covered_claim_is_told_so(world):
    """Nothing is tried for it."""
    _, told = world()
    assert sentences_of(told) == ["Nothing is short: the claim is covered."]


# By the test's report of 5 February the grace ends on 6 March 2024.
def test_a_fresh_system_needs_proof_of_an_earlier_installation(tmp_path):
    """Fitted 19 days before the failure, with 20 days to be looked at: shown to have been fitted a
    day earlier the claim is covered, as it is without the key."""
    texts = {days: bench.changed(fresh_days=days) if days else bench.BENCH_TERMS
             for days in ("20", None)}  # fmt: skip
    order = {"order": "P", "line": "1", "ordered_on": "2024-02-10", "product": "SOFT",
             "quantity": "1", "condition": "new", "seller": "MAKER", "site": "S1"}  # fmt: skip

    def decided(days, fitted_on):
        own = bench.terms_of(tmp_path / f"{days}{fitted_on}", texts[days])
        fitted = {"call": "I", "serial": "U1", "kind": "treatment_install", "product": "SOFT",
                  "opened_on": fitted_on, "completed_on": fitted_on}  # fmt: skip
        evidence = seen(
            bench.evidence_of(
                units=[bench.UNIT | {"model": "GEN"}],
                service_calls=[bench.CALL | {"cause": "CORRODED"}, fitted],
                water_tests=[TEST | {"hardness_mg_l_caco3": "150"}],
                treatment_purchases=[order],
            )
        )
        decisions = decide(evidence, own).decisions.filter(claim="K1")
        return decisions["verdict"][0], what_would_turn(evidence, own, decisions)["K1"]

    verdict, told = decided("20", "2024-08-13")
    assert verdict == "needs_review"
    (turn,) = told.turns
    assert facts(turn) == [("fitted_earlier", "correct", date(2024, 8, 12))]
    assert sentences_of(told) == [
        "With proof that SOFT was installed on 2024-08-12 or earlier, not so shortly before the "
        "failure, it would be covered."
    ]
    assert decided("20", "2024-08-12")[0] == decided(None, "2024-08-13")[0] == "covered"
