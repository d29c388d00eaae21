"""A claim on a serial that is one edit away from exactly one unit."""


def test_a_suggestion_is_told_and_never_used(tools, bench):
    """The finding names the unit, the decision has none."""
    decided = bench.decide(call={"serial": "U11"})
    assert "U1 is one edit away" in tools.reasons(decided)["unit_on_register"]
    row = tools.decision(decided)
    assert (row["serial_suggestion"], row["model"], row["clock_start"]) == ("U1", None, None)


def test_a_unit_that_is_not_seen_yet_is_not_suggested(tools, bench):
    """It is not on the register as of the day."""
    decided = bench.decide(
        unit={"shipped_on": "2025-12-01", "purchased_on": None, "installed_on": None},
        call={"serial": "U11"},
        as_of="2025-06-30",
    )
    assert tools.decision(decided)["serial_suggestion"] is None
