"""Identity and paper (conditions 1 to 7), at every boundary."""

import pytest


@pytest.mark.parametrize("serial", ["U9", "V11"])
def test_a_unit_off_the_register_settles_everything_else(tools, bench, serial):
    """Without a unit the register is unknown and nothing else is evaluated."""
    decided = bench.decide(call={"serial": serial})
    found = tools.outcomes(decided)
    assert found.pop("unit_on_register") == "unknown"
    assert set(found.values()) == {"not_evaluated"}
    assert tools.decision(decided)["verdict"] == "needs_evidence"
    assert tools.decision(decided)["lead_reason"] == "unit_on_register"


def test_a_unit_bought_before_the_first_edition_has_no_terms(tools, bench):
    """The terms are unknown and nothing after is evaluated."""
    unit = {"purchased_on": "2019-12-31", "shipped_on": "2019-12-01"}
    found = tools.outcomes(bench.decide(unit=unit))
    assert (found.pop("unit_on_register"), found.pop("terms_in_force")) == ("met", "unknown")
    assert set(found.values()) == {"not_evaluated"}


STARTUP = {"report": "R1", "serial": "U1", "requested_on": "2024-01-01"}


@pytest.mark.parametrize(
    ("clash", "fine", "words"),
    [
        (
            {"unit": {"shipped_on": "2024-09-02", "installed_on": None, "purchased_on": None}},
            {"unit": {"shipped_on": "2024-01-20"}},
            "shipped on 2024-09-02",
        ),
        (
            {"unit": {"installed_on": "2024-01-01"}},
            {"unit": {"installed_on": "2024-01-02"}},
            "installed on 2024-01-01, shipped on 2024-01-02",
        ),
        (
            {"unit": {"installed_on": "2024-09-02"}},
            {"unit": {"installed_on": "2024-09-01"}},
            "failed on 2024-09-01, warranty started on 2024-09-02",
        ),
        (
            {"unit": {"retired_on": "2024-08-31"}},
            {"unit": {"retired_on": "2024-09-01"}},
            "retired on 2024-08-31, failed on 2024-09-01",
        ),
        (
            {"startups": [STARTUP | {"completed_on": "2024-01-01"}]},
            {"startups": [STARTUP | {"completed_on": "2024-01-02"}]},
            "start-up completed on 2024-01-01, shipped on 2024-01-02",
        ),
        (
            {"call": {"opened_on": "2024-08-31"}},
            {"call": {"opened_on": "2024-09-01"}},
            "call opened on 2024-08-31, failed on 2024-09-01",
        ),
        (
            {"call": {"claimed_on": "2024-08-31"}},
            {"call": {"claimed_on": "2024-09-01"}},
            "claim filed on 2024-08-31, failed on 2024-09-01",
        ),
        (
            {"call": {"completed_on": "2024-09-01"}},
            {"call": {"completed_on": "2024-09-02"}},
            "call completed on 2024-09-01, opened on 2024-09-02",
        ),
    ],
)
def test_each_contradiction_between_records_is_disputed_and_told(tools, bench, clash, fine, words):
    """One day decides; the reason names both dates."""
    decided = bench.decide(**clash)
    assert tools.outcomes(decided)["records_agree"] == "disputed"
    assert words in tools.reasons(decided)["records_agree"]
    assert tools.decision(decided)["verdict"] == "needs_review"
    assert tools.decision(decided)["lead_reason"] == "records_agree"
    assert tools.outcomes(bench.decide(**fine))["records_agree"] == "met"


def test_a_clash_without_a_failure_date_says_that_the_call_is_judged_by(tools, bench):
    """decisions.md: d is `failed_on`, else `opened_on`, and the finding says so."""
    call = {"failed_on": None, "opened_on": "2023-12-01", "claimed_on": "2023-11-30"}
    reason = tools.reasons(bench.decide(call=call))["records_agree"]
    called = "call opened (no failure date is given) on 2023-12-01"
    assert f"{called}, shipped on" in reason
    assert f"claim filed on 2023-11-30, {called}" in reason
    assert "failed on" not in reason


def test_any_report_completed_before_shipment_contradicts(tools, bench):
    """A sound report does not heal an impossible one."""
    reports = [
        STARTUP | {"completed_on": "2024-02-01"},
        STARTUP | {"report": "R2", "completed_on": "2023-12-31"},
    ]
    assert tools.outcomes(bench.decide(startups=reports))["records_agree"] == "disputed"


@pytest.mark.parametrize(
    ("claimed_on", "outcome"),
    [("2024-11-01", "met"), ("2024-11-02", "met"), ("2024-11-03", "unmet"), (None, "unknown")],
)
def test_a_claim_is_filed_within_the_days_after_completion(tools, bench, claimed_on, outcome):
    """Completed on 3 September: day 60 is 2 November."""
    decided = bench.decide(call={"claimed_on": claimed_on})
    assert tools.outcomes(decided)["filed_in_time"] == outcome
    assert str(tools.decision(decided)["file_by"]) == "2024-11-02"


def test_filing_is_unknown_without_a_completion(tools, bench):
    """No completion, no limit."""
    decided = bench.decide(call={"completed_on": None})
    assert tools.outcomes(decided)["filed_in_time"] == "unknown"
    assert tools.decision(decided)["missing"] == "completion date of the repair"


def test_an_agency_is_authorized_on_the_day_of_completion(tools, bench):
    """Both ends of a period belong to it; without completion the failure date counts."""
    rows = [
        ({"agency": None}, "unknown"),
        ({"agency": "NOBODY"}, "unmet"),
        ({"agency": "EAST", "completed_on": "2024-08-31"}, "met"),
        ({"agency": "EAST", "completed_on": "2024-09-01"}, "unmet"),
        ({"agency": "EAST", "completed_on": "2025-01-31"}, "unmet"),
        ({"agency": "EAST", "completed_on": "2025-02-01"}, "met"),
        ({"agency": "EAST", "completed_on": None, "failed_on": "2024-08-31"}, "met"),
        ({"agency": "EAST", "completed_on": None}, "unmet"),
        ({"agency": "NORTH", "completed_on": "2025-11-30"}, "met"),
    ]

    def make(call, outcome):
        return bench.decide(call=call)

    for (_call, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert tools.outcomes(decided)["agency_authorized"] == outcome


def test_why_an_agency_counts_or_not_is_said(tools, bench):
    """The period in force with its ends, an agency between its periods, and one that is unknown."""
    said = [
        ({"agency": None}, "The call names no agency."),
        ({"agency": "NOBODY"}, "NOBODY is not an authorized agency."),
        (
            {"agency": "EAST", "completed_on": "2024-08-31"},
            "EAST was authorized on 2024-08-31 (from 2020-01-01 to 2024-08-31).",
        ),
        (
            {"agency": "EAST", "completed_on": "2024-09-01"},
            "EAST was not authorized on 2024-09-01.",
        ),
        (
            {"agency": "EAST", "completed_on": "2025-02-01"},
            "EAST was authorized on 2025-02-01 (from 2025-02-01 on).",
        ),
        ({"agency": "EAST", "completed_on": None}, "EAST was not authorized on 2024-09-01."),
    ]
    decided = [bench.decide(call=call) for call, _ in said]
    for (_, reason), one in zip(said, decided, strict=True):
        assert tools.reasons(one)["agency_authorized"] == reason


def twin(tools, **changes):
    """Another claim on the same unit for the same cause."""
    return tools.CALL | {"call": "C2", "claim": "K2", "agency": "EAST"} | changes


def test_an_earlier_claim_for_the_same_failure_disputes(tools, bench):
    """Three days apart at most; filed first, then the lesser claim number as text."""
    rows = [
        ({"failed_on": "2024-08-29", "claimed_on": "2024-09-09"}, "disputed"),
        ({"failed_on": "2024-08-28", "claimed_on": "2024-09-09"}, "met"),
        ({"failed_on": "2024-09-04", "claimed_on": "2024-09-09"}, "disputed"),
        ({"failed_on": "2024-09-05", "claimed_on": "2024-09-09"}, "met"),
        ({"claimed_on": "2024-09-11"}, "met"),
        ({"claim": "K2"}, "met"),
        ({"claim": "K0"}, "disputed"),
        ({"claim": "K10"}, "met"),
        ({"claim": "J9"}, "disputed"),
        ({"claim": "K0", "claimed_on": None}, "met"),
        ({"claimed_on": "2024-09-09", "cause": "BURNER"}, "met"),
        ({"claimed_on": "2024-09-09", "cause": None}, "met"),
        ({"claimed_on": "2024-09-09", "serial": "U2"}, "met"),
        ({"claimed_on": "2024-09-09", "claim": None}, "met"),
        ({"claimed_on": "2024-09-09", "kind": "inspection"}, "met"),
    ]

    def make(changes, outcome):
        return bench.decide(
            units=[tools.UNIT | {"serial": "U2"}], service_calls=[twin(tools, **changes)]
        )

    for (_changes, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert tools.outcomes(decided)["only_claim_for_failure"] == outcome


def test_a_claim_without_filing_date_comes_after_one_with(tools, bench):
    """Missing dates come last; of two such claims the lesser number is first."""
    missing = {"claimed_on": None}
    decided = bench.decide(call=missing, service_calls=[twin(tools, claim="K2")])
    assert tools.outcomes(decided)["only_claim_for_failure"] == "disputed"
    assert tools.outcomes(decided, "K2")["only_claim_for_failure"] == "met"
    both = bench.decide(call=missing, service_calls=[twin(tools, claim="K0", **missing)])
    assert tools.outcomes(both)["only_claim_for_failure"] == "disputed"
    assert tools.outcomes(both, "K0")["only_claim_for_failure"] == "met"


def test_without_a_cause_there_are_no_twins(tools, bench):
    """Two claims without cause are not for the same failure."""
    decided = bench.decide(
        call={"cause": None}, service_calls=[twin(tools, cause=None, claimed_on="2024-09-09")]
    )
    assert tools.outcomes(decided)["only_claim_for_failure"] == "met"


def test_every_claim_but_the_first_of_a_chain_is_disputed(tools, bench):
    """Claims two days apart: the last is a twin of the middle one only, and is disputed."""
    chain = [
        twin(tools, claim="K2", call="C2", failed_on="2024-08-30", claimed_on="2024-09-09"),
        twin(tools, claim="K3", call="C3", failed_on="2024-08-27", claimed_on="2024-09-08"),
    ]
    decided = bench.decide(service_calls=chain)
    found = [
        tools.outcomes(decided, claim)["only_claim_for_failure"] for claim in ("K1", "K2", "K3")
    ]
    assert found == ["disputed", "disputed", "met"]
    assert "K2" in tools.reasons(decided)["only_claim_for_failure"]
    assert "K3" not in tools.reasons(decided)["only_claim_for_failure"]
    originals = dict(decided.decisions.select("claim", "duplicate_of").iter_rows())
    assert originals == {"K1": "K2", "K2": "K3", "K3": None}


def test_a_duplicate_names_the_claim_that_comes_first_by_filing(tools, bench):
    """Not the first by name: K9 was filed before K2, and a claim without a day comes last."""
    same = [
        twin(tools, claim="K2", call="C2", claimed_on="2024-09-08"),
        twin(tools, claim="K9", call="C9", claimed_on="2024-09-07"),
        twin(tools, claim="K0", call="C0", claimed_on=None),
    ]
    decided = bench.decide(call={"claimed_on": "2024-09-09"}, service_calls=same)
    originals = dict(decided.decisions.select("claim", "duplicate_of").iter_rows())
    assert originals == {"K0": "K9", "K1": "K9", "K2": "K9", "K9": None}
    off = tools.changed(conditions_off='["only_claim_for_failure"]')
    decided = bench.decide(call={"claimed_on": "2024-09-09"}, service_calls=same, terms=off)
    assert decided.decisions["duplicate_of"].null_count() == 4


def earlier(tools, **changes):
    """A repair without claim, completed before, for the same cause by the same agency."""
    row = tools.CALL | {"call": "C0", "claim": None, "failed_on": None, "claimed_on": None}
    return row | {"opened_on": "2024-06-01", "completed_on": "2024-06-03"} | changes


def test_an_earlier_repair_that_did_not_hold_disputes(tools, bench):
    """Failed on 1 September: 90 days reach back to 3 June; a twin claim is not counted."""
    rows = [
        ({"completed_on": "2024-06-02"}, "met"),
        ({"completed_on": "2024-06-03"}, "disputed"),
        ({"completed_on": "2024-09-01"}, "disputed"),
        ({"completed_on": "2024-09-02"}, "met"),
        ({"completed_on": None}, "met"),
        ({"agency": "EAST"}, "met"),
        ({"agency": None}, "met"),
        ({"cause": "BURNER"}, "met"),
        ({"cause": None}, "met"),
        ({"serial": "U2"}, "met"),
        ({"kind": "inspection"}, "met"),
        ({"claim": "K0", "claimed_on": "2024-06-04"}, "disputed"),
        ({"claim": "K0", "claimed_on": "2024-09-09", "failed_on": "2024-08-29"}, "met"),
        ({"claim": "K0", "claimed_on": "2024-09-11", "failed_on": "2024-08-29"}, "met"),
        ({"claim": "K0", "claimed_on": "2024-09-11", "failed_on": "2024-08-28"}, "disputed"),
        ({"failed_on": "2024-08-29"}, "disputed"),
    ]

    def make(changes, outcome):
        return bench.decide(service_calls=[earlier(tools, **changes)])

    for (_changes, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert tools.outcomes(decided)["earlier_repair_held"] == outcome


def test_neither_cause_nor_agency_may_be_missing_on_both(tools, bench):
    """Two blanks are not the same cause or agency."""
    for blank in ("cause", "agency"):
        call = earlier(tools, **{blank: None})
        decided = bench.decide(call={blank: None}, service_calls=[call])
        assert tools.outcomes(decided)["earlier_repair_held"] == "met"


def test_a_call_is_not_held_against_itself(tools, bench):
    """Completed on its own failure date, a repair is not an earlier one."""
    call = {"opened_on": "2024-09-01", "completed_on": "2024-09-01"}
    assert tools.outcomes(bench.decide(call=call))["earlier_repair_held"] == "met"
