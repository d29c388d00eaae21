"""Actions on claims: versions, repeated requests, roles, limits, second persons."""

import datetime as dt
from dataclasses import replace
from decimal import Decimal

import pytest
import sqlalchemy as sa

from pipelines.actions import (
    Once,
    Refused,
    appeal,
    approve,
    assign,
    hold,
    note,
    rule,
    rule_many,
    rulings_answer,
    withdraw_ruling,
)
from pipelines.actions.users import add_user, set_disabled
from pipelines.events.states import claim_states
from pipelines.events.tables import EVENTS
from tests.desks import DAY, caller, decision, make_desk

LIMITS = '[rulings]\nlimits = { "Clara" = 2000, "Lea" = 900, "Lou" = 700, "*" = 0 }\n'


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """A desk with limits, and two people asked above 400."""
    looked_up = "pipelines.actions.claims.decision_on_file", lambda _, claim, day: decision(claim)
    monkeypatch.setattr(*looked_up)
    monkeypatch.setattr(
        "pipelines.actions.rulings.decisions_now",
        lambda _, claims, day: {claim: decision(claim) for claim in claims},
    )
    monkeypatch.setattr("pipelines.actions.ruling_answers.rulings_on_file", lambda *_: [])
    desk = make_desk(tmp_path / "ws", LIMITS + "second_person_above = 400\n")
    yield desk
    desk.close()


def act(action, desk, who=None, **fields):
    """One action by somebody, Clara the clerk by default."""
    return action(desk, desk.workspace, who or caller(), **fields)


def events(desk):
    """All events."""
    with desk.reading() as connection:
        return desk.events(connection)


def refused(action, desk, who=None, **fields):
    """The refusal of an action, which has recorded nothing."""
    before = len(events(desk))
    with pytest.raises(Refused) as told:
        act(action, desk, who, **fields)
    assert len(events(desk)) == before
    return told.value


def test_a_claim_is_acted_on_as_it_was_seen(desk):
    """Without a version 428, with an old one 412 and what came since; notes need none."""
    assert refused(assign, desk, claim="C1", to="clara").status == 428
    first = act(assign, desk, claim="C1", to="clara", expected_version=0)
    assert first["version"] == 1
    act(note, desk, claim="C1", text="called")
    late = refused(hold, desk, claim="C1", until="2026-04-01", reason="x", expected_version=1)
    assert (late.status, [since["kind"] for since in late.since]) == (412, ["note"])
    act(hold, desk, claim="C1", until="2026-04-01", reason="x", expected_version=2)
    state = claim_states(events(desk))["C1"]
    assert (state.assigned_to, str(state.hold_until), state.version) == ("clara", "2026-04-01", 3)


def test_a_repeated_request_is_done_once(desk):
    """The same key, path and body are told the first answer; another body is refused."""
    who = replace(caller(), once=Once.of("k1", "claims/C1/notes", {"text": "a"}))
    first = act(note, desk, who, claim="C1", text="a")
    assert act(note, desk, who, claim="C1", text="a") == first
    other = replace(who, once=Once.of("k1", "claims/C1/notes", {"text": "b"}))
    assert refused(note, desk, other, claim="C1", text="b").status == 422
    assert len(events(desk)) == 1


@pytest.mark.parametrize("until", ["2026-03-31", "2026-03-30", "soon"])
def test_a_hold_ends_after_the_day(desk, until):
    """The first day that a hold may name is the one after the desk's day."""
    held = refused(hold, desk, claim="C1", until=until, reason="x", expected_version=0)
    assert held.errors[0][0] == "until"


def test_what_a_ruling_grants_is_limited_by_name(desk):
    """A limit is kept to the cent, and whoever is not named has the limit of `*`."""
    lea = caller("lea", "lead")
    over = {"parts_amount": "900.01", "labor_amount": "0", "travel_amount": "0"}
    fields = {"claim": "C1", "ruling": "covered", "reason": "r", "expected_version": 0}
    assert refused(rule, desk, lea, **fields, **over).status == 403
    assert act(rule, desk, lea, **fields, **(over | {"parts_amount": "900.00"}))["granted"] == (
        "900.00"
    )
    stranger = caller("sam", "clerk")
    assert refused(rule, desk, stranger, **(fields | {"claim": "C2"})).status == 403


@pytest.mark.parametrize("role", ["reader", "engineer", "administrator"])
def test_some_roles_do_not_rule(desk, role):
    """Neither readers nor engineers rule, nor those who keep the users."""
    who = caller("clara", role)
    told = refused(rule, desk, who, claim="C1", ruling="covered", reason="r", expected_version=0)
    assert told.status == 403


def test_a_ruling_above_the_amount_waits_for_another_person(desk):
    """800.00 waits; its maker cannot approve it, nor a clerk, nor a lead whose limit is lower."""
    made = act(rule, desk, claim="C1", ruling="covered", reason="r", expected_version=0)
    assert (made["state"], made["granted"]) == ("waiting", "800.00")
    wanted = {"event": made["event"], "expected_version": made["version"]}
    assert refused(approve, desk, caller("clara", "lead"), **wanted).status == 403
    assert refused(approve, desk, caller("carl", "clerk"), **wanted).status == 403
    assert refused(approve, desk, caller("lou", "lead"), **wanted).status == 403
    stands = act(approve, desk, caller("lea", "lead"), **wanted)
    assert (stands["state"], stands["approved_by"], stands["ruled_at"]) == (
        "stands",
        "Lea",
        made["ruled_at"],
    )
    again = wanted | {"expected_version": stands["version"]}
    assert refused(approve, desk, caller("lea", "lead"), **again).status == 409


@pytest.mark.parametrize(("parts", "status"), [(600, 201), ("600.01", 403)])
def test_a_second_person_approves_what_the_ruling_comes_to_by_now(desk, monkeypatch, parts, status):
    """800.00 as it was made; a row corrected since makes it 900.00, Lea's limit, or a cent more."""
    made = act(rule, desk, claim="C1", ruling="covered", reason="r", expected_version=0)
    raised = decision("C1") | {"parts_if_covered": Decimal(parts)}
    monkeypatch.setattr("pipelines.actions.rulings.decisions_now", lambda *_: {"C1": raised})
    wanted = {"event": made["event"], "expected_version": made["version"]}
    if status == 201:
        assert act(approve, desk, caller("lea", "lead"), **wanted)["state"] == "stands"
    else:
        assert "900.01" in refused(approve, desk, caller("lea", "lead"), **wanted).detail


def test_nobody_is_asked_twice_at_the_amount_itself(desk):
    """400.00 is not above 400.00."""
    amounts = {"parts_amount": "400", "labor_amount": "0", "travel_amount": "0"}
    made = act(rule, desk, claim="C1", ruling="covered", reason="r", expected_version=0, **amounts)
    assert made["state"] == "stands"


def test_a_withdrawn_ruling_counts_as_never_made(desk):
    """The ruling before it stands again; only its maker or a lead can take it back."""
    fields = {"claim": "C1", "ruling": "not_covered", "reason": "r"}
    early = act(rule, desk, **fields, ruled_at="2026-03-01T09:00", expected_version=0)
    late = act(rule, desk, **fields, ruled_at="2026-03-02T09:00", expected_version=1)
    assert (late["state"], late["replaces"]["event"]) == ("stands", early["event"])
    between = act(rule, desk, **fields, ruled_at="2026-03-01T12:00", expected_version=2)
    assert (between["state"], between["overruled_by"]["event"]) == ("overruled", late["event"])
    gone = {"event": late["event"], "reason": "slip", "expected_version": 3}
    assert refused(withdraw_ruling, desk, caller("carl", "clerk"), **gone).status == 403
    act(withdraw_ruling, desk, **gone)
    states = [one["state"] for one in rulings_answer(desk, "C1")]
    assert states == ["overruled", "stands", "withdrawn"]


def test_many_are_ruled_or_none(desk):
    """One claim that has changed stops all, and is named."""
    act(note, desk, claim="C2", text="n")
    claims = [{"claim": "C1", "version": 0}, {"claim": "C2", "version": 0}]
    fields = {"ruling": "not_covered", "reason": "r"}
    told = refused(rule_many, desk, claims=claims, **fields)
    assert (told.status, [name for name, _ in told.errors]) == (409, ["C2"])
    claims[1]["version"] = 1
    made = act(rule_many, desk, claims=claims, **fields)
    assert [one["claim"] for one in made["rulings"]] == ["C1", "C2"]


def test_an_appeal_is_open_until_the_next_ruling(desk):
    """What stands does not change by it."""
    fields = {"claim": "C1", "ruling": "not_covered", "reason": "r"}
    act(rule, desk, **fields, expected_version=0)
    act(appeal, desk, claim="C1", received_on="2026-03-31", reason="late", expected_version=1)
    assert claim_states(events(desk))["C1"].open_appeal
    assert rulings_answer(desk, "C1")[0]["state"] == "stands"
    act(rule, desk, **fields, expected_version=2)
    assert not claim_states(events(desk))["C1"].open_appeal


def test_a_ruling_of_an_export_settles_an_appeal_from_the_next_day_on(desk):
    """The approval of a ruling from before the appeal does not."""
    given = {"claim": "C1", "ruling": "covered", "reason": "r", "expected_version": 0}
    waiting = act(rule, desk, **given)
    act(appeal, desk, claim="C1", received_on="2026-03-31", reason="late", expected_version=1)
    lea = caller("lea", "lead")
    act(approve, desk, lea, event=waiting["event"], expected_version=2)
    state = claim_states(events(desk))["C1"]
    (recorded,) = state.appeals
    on_the_day = {"ruling": "covered", "standing_since": DAY}
    the_day_after = {"ruling": "covered", "standing_since": DAY + dt.timedelta(1)}
    assert state.appeal_beside(on_the_day) == state.appeal_beside(None) == recorded
    assert state.appeal_beside(the_day_after | {"ruling": None}) == recorded
    assert state.appeal_beside(the_day_after) is None


def test_an_appeal_is_open_again_once_the_ruling_on_it_is_withdrawn(desk):
    """It counts as never made; one from before the appeal settles nothing."""
    fields = {"claim": "C1", "ruling": "not_covered", "reason": "r"}
    first = act(rule, desk, **fields, expected_version=0)["event"]
    act(appeal, desk, claim="C1", received_on="2026-03-31", reason="late", expected_version=1)
    second = act(rule, desk, **fields, expected_version=2)["event"]
    for event, version, is_open in ((first, 3, False), (second, 4, True)):
        act(withdraw_ruling, desk, event=event, reason="slip", expected_version=version)
        assert claim_states(events(desk))["C1"].open_appeal is is_open
    act(rule, desk, **fields, expected_version=5)
    assert not claim_states(events(desk))["C1"].open_appeal


def test_a_claim_goes_to_somebody_who_is_there(desk, passwords_are_quick):
    """Once there are users, nobody else can be given a claim."""
    keeper = caller("ada", "administrator")
    act(add_user, desk, keeper, user="carl", name="Carl C.", role="clerk")
    assert refused(assign, desk, claim="C1", to="nobody", expected_version=0).status == 422
    act(assign, desk, claim="C1", to="carl", expected_version=0)
    act(set_disabled, desk, keeper, user="carl", disabled=True)
    assert refused(assign, desk, claim="C2", to="carl", expected_version=0).status == 422


def test_texts_that_no_database_holds_are_refused(desk):
    """NUL and half a pair are values that are wrong, not faults of the tool."""
    for text in ("a\0b", "\ud800", " ", "x" * 10_001):
        assert refused(note, desk, claim="C1", text=text).status == 422
    with desk.reading() as connection:
        assert connection.execute(sa.select(sa.func.count()).select_from(EVENTS)).scalar() == 0
