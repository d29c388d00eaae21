"""Water treatment (conditions 16 to 19), at every boundary."""

from datetime import date

import polars as pl
import pytest

from pipelines.coverage.claim_treatment import treatment_is_asked_for
from pipelines.coverage.treatment import first_fitted
from tests.unit.coverage.bench import evidence_of

TEST = {"sample": "L1", "site": "S1", "point": "supply", "sampled_on": "2024-01-15",
        "reported_on": "2024-01-22", "hardness_mg_l_caco3": "150", "ph": "7.5"}  # fmt: skip
ORDER = {"order": "P1", "line": "1", "ordered_on": "2024-01-25", "product": "SOFT",
         "quantity": "1", "condition": "new", "seller": "MAKER", "site": "S1"}  # fmt: skip
INSTALL = {"call": "I1", "serial": "U1", "kind": "treatment_install", "opened_on": "2024-01-30",
           "completed_on": "2024-01-31", "product": "SOFT"}  # fmt: skip
CHANGE = INSTALL | {"call": "X1", "kind": "cartridge_change", "opened_on": "2024-01-01"}
CARTRIDGE = ORDER | {"order": "P2", "product": "SOFT-C"}


def judge(bench, orders=(), calls=(), *, day="2024-09-01", test=None, **given):
    """A generator that corroded in hard water on `day`, with these orders and calls."""
    call = {"cause": "CORRODED", "failed_on": day, "opened_on": day, "completed_on": day}
    return bench.decide(
        unit={"model": "GEN"} | given.pop("unit", {}),
        call=call | {"claimed_on": day} | given.pop("call", {}),
        water_tests=[TEST | (test or {})],
        treatment_purchases=list(orders),
        service_calls=list(calls),
        units=[
            {"serial": "U2", "model": "GEN", "shipped_on": "2024-01-02", "site": "S1"},
            {"serial": "U3", "model": "GEN", "shipped_on": "2024-01-02", "site": "S3"},
        ],
        **given,
    )


def found(tools, decided):
    """The outcomes of 16 to 19, in order."""
    outcomes = tools.outcomes(decided)
    return [
        outcomes[f"treatment_{name}"]
        for name in ("bought_new", "suits_water", "installed", "maintained")
    ]


NOTHING_AFTER = ["not_evaluated"] * 3


@pytest.mark.parametrize(
    ("through", "outcome"),
    [(date(2024, 8, 31), "unknown"), (date(2024, 9, 1), "unmet"), (None, "unknown")],
)
def test_no_order_counts_once_the_orders_reach_the_failure(tools, bench, through, outcome):
    """Before that, an order may still come in; a cartridge alone is no system."""
    through = {"treatment_purchases": through}
    assert found(tools, judge(bench, through=through)) == [outcome, *NOTHING_AFTER]
    alone = judge(bench, [CARTRIDGE], through=through)
    assert found(tools, alone) == [outcome, *NOTHING_AFTER]


def test_a_system_is_bought_new_from_an_approved_seller_by_the_failure(tools, bench):
    """An order with a serial is that unit's alone; otherwise it is the site's."""
    rows = [
        ({}, "met", "SOFT on 2024-01-25"),
        ({"ordered_on": "2024-09-01"}, "met", "SOFT on 2024-09-01"),
        ({"ordered_on": "2024-09-02"}, "unmet", "ordered on 2024-09-02, after the failure"),
        ({"condition": "used"}, "unmet", "SOFT (order P1) was bought used"),
        ({"condition": "refurbished"}, "unmet", "bought refurbished"),
        ({"seller": "OTHER"}, "unmet", "sold by OTHER, not approved"),
        ({"condition": "used", "seller": "OTHER"}, "unmet", "used and sold by OTHER"),
        ({"site": None, "serial": "U1"}, "met", "SOFT"),
        ({"site": "S1", "serial": "U2"}, "unmet", "No treatment system was bought"),
        ({"site": "S3", "serial": "U1"}, "met", "SOFT"),
        ({"site": "S3"}, "unmet", "No treatment system was bought"),
    ]

    def make(order, outcome, words):
        return judge(bench, [ORDER | order])

    for (_order, outcome, words), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[0] == outcome
        assert words in tools.reasons(decided)["treatment_bought_new"]


def test_orders_that_do_not_count_are_unmet_even_before_the_through_date(tools, bench):
    """There is an order, so its absence is not in question; every fault is named."""
    orders = [ORDER | {"condition": "used"}, ORDER | {"order": "P9", "ordered_on": "2024-10-01"}]
    decided = judge(bench, orders, through={"treatment_purchases": None})
    assert found(tools, decided)[0] == "unmet"
    reason = tools.reasons(decided)["treatment_bought_new"]
    assert "order P1" in reason
    assert "order P9" in reason


def test_the_systems_together_do_what_the_water_calls_for(tools, bench):
    """What is not removed is named."""
    rows = [
        (["SOFT"], {}, "met"),
        (["CHL"], {}, "unmet"),
        (["SOFT"], {"chloride_mg_l": "51"}, "unmet"),
        (["SOFT", "CHL"], {"chloride_mg_l": "51"}, "met"),
        (["RO"], {"chloride_mg_l": "51"}, "met"),
        (["RO"], {"total_chlorine_mg_l": "0.2", "free_chlorine_mg_l": "0"}, "unmet"),
    ]

    def make(products, test, outcome):
        orders = [
            ORDER | {"line": str(n), "product": product} for n, product in enumerate(products)
        ]
        return judge(bench, orders, test=test)

    for (_products, _test, outcome), decided in zip(
        rows, [make(*row) for row in rows], strict=True
    ):
        assert found(tools, decided)[1] == outcome
        if outcome == "unmet":
            assert found(tools, decided)[2:] == ["not_evaluated"] * 2
            assert "nothing against" in tools.reasons(decided)["treatment_suits_water"]


def test_what_a_unit_needs_and_what_was_not_installed_is_said_as_it_is(tools, bench):
    """Of pH in words; of a model that is always treated too; and of a system installed later."""
    sour = judge(bench, [ORDER], test={"ph": "9.5"})
    assert tools.reasons(sour)["treatment_suits_water"] == (
        "The unit needs treatment against pH, scale; the systems bought (SOFT) do nothing against "
        "pH."
    )
    soft = judge(bench, [ORDER], unit={"model": "ALW"}, test={"hardness_mg_l_caco3": "50"})
    assert tools.reasons(soft)["treatment_suits_water"] == (
        "The unit needs treatment against scale; the systems bought do it: SOFT."
    )
    late = judge(bench, [ORDER], [INSTALL | {"completed_on": "2024-09-02"}])
    assert tools.reasons(late)["treatment_installed"] == (
        "Of what was bought nothing was installed by the failure on 2024-09-01."
    )


def test_a_system_is_installed_by_the_failure(tools, bench):
    """By a completed call for the product, at the unit or at its site; the earliest counts."""
    rows = [
        ([{}], "met"),
        ([], "unknown"),
        ([{"completed_on": "2024-09-01"}], "met"),
        ([{"completed_on": "2024-09-02"}], "unmet"),
        ([{"completed_on": None}], "unknown"),
        ([{"product": "RO"}], "unknown"),
        ([{"product": None}], "unknown"),
        ([{"kind": "inspection"}], "unknown"),
        ([{"serial": "U2"}], "met"),
        ([{"serial": "U3"}], "unknown"),
        ([{"serial": "U9"}], "unknown"),
        ([{"completed_on": "2024-09-02"}, {"call": "I2", "serial": "U2"}], "met"),
        ([{"completed_on": "2024-01-20", "opened_on": "2024-01-20"}], "met"),
    ]

    def make(calls, outcome):
        return judge(bench, [ORDER], [INSTALL | call for call in calls], day="2024-09-01")

    for (_calls, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[2] == outcome
        if outcome == "unknown":
            assert (
                tools.decision(decided)["missing"] == "proof of the treatment's installation date"
            )


def test_the_units_startup_report_may_tell_the_installation(tools, bench):
    """Only a report of the unit itself, with that product and a date."""
    rows = [
        ({}, "met"),
        ({"treatment_product": "RO"}, "unknown"),
        ({"treatment_installed_on": None}, "unknown"),
        ({"treatment_installed_on": "2024-09-02"}, "unmet"),
        ({"serial": "U2"}, "unknown"),
        ({"completed_on": None}, "met"),
    ]

    def make(report, outcome):
        row = {"report": "R1", "serial": "U1", "requested_on": "2024-01-20"}
        row |= {"completed_on": "2024-01-25", "treatment_product": "SOFT"}
        row |= {"treatment_installed_on": "2024-01-25"} | report
        return judge(bench, [ORDER], startups=[row])

    for (_report, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[2] == outcome


def test_proof_is_asked_for_only_where_it_could_help(tools, bench):
    """An undated system that does not serve the need leaves the matter unmet."""
    orders = [ORDER, ORDER | {"line": "2", "product": "CHL"}]
    test = {"chloride_mg_l": "51"}
    late = INSTALL | {"completed_on": "2024-09-02"}
    assert found(tools, judge(bench, orders, [late], test=test))[2] == "unmet"
    assert found(tools, judge(bench, orders, [INSTALL], test=test))[2] == "unknown"


@pytest.mark.parametrize("unit", [{}, {"site": None}])
def test_a_unit_without_site_is_served_by_calls_for_its_serial_alone(tools, bench, unit):
    """A call at another unit of no site is not at the same site."""
    order = ORDER | {"site": None, "serial": "U1"}
    test = {"serial": "U1"}
    other = INSTALL | {"serial": "U4"}
    more = [{"serial": "U4", "model": "GEN", "shipped_on": "2024-01-02"}]
    decided = bench.decide(
        unit={"model": "GEN"} | unit,
        call={"cause": "CORRODED"},
        water_tests=[TEST | test],
        treatment_purchases=[order],
        service_calls=[other],
        units=more,
    )
    assert found(tools, decided)[2] == "unknown"


# Installed on 2024-01-31; 6 months in normal water run to 2024-07-31, with grace to 2024-08-15.
def test_cartridges_are_kept_up_by_changes(tools, bench):
    """Each change within the months and the grace after the one before, the last day included."""
    rows = [
        ("2024-08-15", [], "met"),
        ("2024-08-16", [], "unmet"),
        ("2024-08-16", ["2024-08-15"], "met"),
        ("2024-08-16", ["2024-08-16"], "unmet"),
        ("2024-12-01", ["2024-08-16"], "unmet"),
        ("2024-12-01", ["2024-07-01"], "met"),
        ("2025-01-16", ["2024-07-01"], "met"),
        ("2025-01-17", ["2024-07-01"], "unmet"),
        ("2025-01-17", ["2024-07-01", "2025-01-16"], "met"),
        ("2025-01-17", ["2025-01-16", "2024-07-01", "2024-07-01"], "met"),
        ("2024-08-16", ["2024-01-31"], "unmet"),
        ("2024-08-16", ["2024-01-30"], "unmet"),
        ("2024-08-16", ["2024-08-17"], "unmet"),
        ("2024-08-16", [None], "unmet"),
    ]

    def make(day, changes, outcome):
        calls = [CHANGE | {"call": f"X{n}", "completed_on": on} for n, on in enumerate(changes)]
        return judge(bench, [ORDER], [INSTALL, *calls], day=day)

    for (_day, _changes, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[3] == outcome


def test_a_change_counts_for_its_system_at_the_unit_or_its_site(tools, bench):
    """The call names the system, not the cartridge."""
    rows = [
        ({}, "met"),
        ({"serial": "U2"}, "met"),
        ({"serial": "U3"}, "unmet"),
        ({"product": "SOFT-C"}, "unmet"),
        ({"product": "RO"}, "unmet"),
        ({"kind": "inspection"}, "unmet"),
    ]

    def make(call, outcome):
        change = CHANGE | {"completed_on": "2024-07-31"} | call
        return judge(bench, [ORDER], [INSTALL, change], day="2024-09-01")

    for (_call, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[3] == outcome


def test_cartridges_are_kept_up_by_stock(tools, bench):
    """Unused months carry over; an order after the grace leaves a lapse for good."""
    rows = [
        ("2024-08-16", [("2024-08-15", 1)], "met"),
        ("2024-08-16", [("2024-08-16", 1)], "unmet"),
        ("2025-02-15", [("2024-07-31", 1)], "met"),
        ("2025-02-16", [("2024-07-31", 1)], "unmet"),
        ("2025-02-15", [("2024-02-01", 1)], "met"),
        ("2025-02-28", [("2024-08-15", 1)], "met"),
        ("2025-03-02", [("2024-08-15", 1)], "met"),
        ("2025-03-03", [("2024-08-15", 1)], "unmet"),
        ("2025-08-15", [("2024-01-01", 2)], "met"),
        ("2025-08-16", [("2024-01-01", 2)], "unmet"),
        ("2025-08-16", [("2024-01-01", 1), ("2024-01-01", 1)], "unmet"),
        ("2025-08-15", [("2024-01-01", 1), ("2024-02-01", 1)], "met"),
        ("2025-12-01", [("2024-08-16", 99)], "unmet"),
        ("2025-12-01", [("2024-08-15", 99)], "met"),
        ("2025-12-01", [("2024-08-15", 10**12)], "met"),
        ("2024-08-16", [("2024-08-17", 99)], "unmet"),
    ]

    def make(day, stock, outcome):
        orders = [
            CARTRIDGE | {"line": str(n), "ordered_on": on, "quantity": str(count)}
            for n, (on, count) in enumerate(stock)
        ]
        return judge(bench, [ORDER, *orders], [INSTALL], day=day)

    for (_day, _stock, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[3] == outcome


def test_a_cartridge_counts_new_from_an_approved_seller_for_the_unit(tools, bench):
    """The same rules as for a system, and it must fit."""
    rows = [
        ({}, "met"),
        ({"condition": "used"}, "unmet"),
        ({"seller": "OTHER"}, "unmet"),
        ({"product": "RO-C"}, "unmet"),
        ({"serial": "U2"}, "unmet"),
        ({"serial": "U1", "site": None}, "met"),
        ({"site": "S3"}, "unmet"),
    ]

    def make(order, outcome):
        cartridge = CARTRIDGE | {"ordered_on": "2024-06-01"} | order
        return judge(bench, [ORDER, cartridge], [INSTALL], day="2024-09-01")

    for (_order, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[3] == outcome


def test_orders_of_one_day_count_by_order_then_line_as_text(tools, bench):
    """Clamping at month ends makes the order of equal days matter: A before B, 10 before 9."""
    terms = tools.changed(cartridge_months="{ mild = 1, normal = 1, severe = 1 }",
                          cartridge_grace_days="0")  # fmt: skip
    install = INSTALL | {"completed_on": "2024-12-31", "opened_on": "2024-12-31"}

    def outcome(first, second, day):
        orders = [
            ORDER,
            CARTRIDGE | {"ordered_on": "2024-06-01", "quantity": "1"} | first,
            CARTRIDGE | {"ordered_on": "2024-06-01", "quantity": "2"} | second,
        ]
        return found(tools, judge(bench, orders, [install], day=day, terms=terms))[3]

    # Installed 2024-12-31, so until 2025-01-31; +1 = 02-28, +2 = 04-28; or +2 = 03-31, +1 = 04-30.
    assert outcome({"order": "A"}, {"order": "B"}, "2025-04-28") == "met"
    assert outcome({"order": "A"}, {"order": "B"}, "2025-04-29") == "unmet"
    assert outcome({"order": "B"}, {"order": "A"}, "2025-04-30") == "met"
    assert outcome({"line": "10"}, {"line": "9"}, "2025-04-29") == "unmet"
    assert outcome({"line": "9"}, {"line": "10"}, "2025-04-30") == "met"


@pytest.mark.parametrize(
    ("hardness", "last"), [("100", None), ("150", "2024-08-15"), ("201", "2024-05-15")]
)
def test_severity_picks_the_months_of_a_cartridge(tools, bench, hardness, last):
    """Six months in normal water, three in severe; 15 days of grace."""
    if last is None:
        decided = judge(bench, [ORDER], [INSTALL], test={"hardness_mg_l_caco3": hardness})
        assert found(tools, decided) == ["not_needed"] * 4
        return
    test = {"hardness_mg_l_caco3": hardness}
    day_after = str(date.fromisoformat(last).replace(day=16))
    assert found(tools, judge(bench, [ORDER], [INSTALL], day=last, test=test))[3] == "met"
    assert found(tools, judge(bench, [ORDER], [INSTALL], day=day_after, test=test))[3] == "unmet"


def test_mild_water_gives_a_cartridge_longest(tools, bench):
    """A model that is always treated, in mild water: 12 months and 15 days."""
    test = {"hardness_mg_l_caco3": "50"}
    unit = {"model": "ALW"}
    for day, outcome in (("2025-02-15", "met"), ("2025-02-16", "unmet")):
        decided = judge(bench, [ORDER], [INSTALL], day=day, test=test, unit=unit)
        assert found(tools, decided)[3] == outcome


def test_a_system_without_cartridges_needs_no_upkeep(tools, bench):
    """treatments.csv lists no cartridge for it."""
    order, install = ORDER | {"product": "ALL"}, INSTALL | {"product": "ALL"}
    assert found(tools, judge(bench, [order], [install], day="2025-12-01"))[3] == "met"


def test_the_kept_systems_together_must_serve(tools, bench):
    """One lapsed is no matter where another that is kept up serves; half the need is."""
    orders = [ORDER, ORDER | {"line": "2", "product": "ALL"}]
    installs = [INSTALL, INSTALL | {"call": "I2", "product": "ALL"}]
    assert found(tools, judge(bench, orders, installs, day="2025-12-01"))[3] == "met"
    half = [ORDER, ORDER | {"line": "2", "product": "CHL"}]
    fitted = [INSTALL, INSTALL | {"call": "I2", "product": "CHL"}]
    test = {"chloride_mg_l": "51"}
    lapsed = judge(bench, half, fitted, day="2025-12-01", test=test)
    assert found(tools, lapsed) == ["met", "met", "met", "unmet"]
    kept = judge(bench, half, fitted, day="2024-08-15", test=test)
    assert found(tools, kept)[3] == "met"


@pytest.mark.parametrize(
    ("purchases", "calls", "outcome"),
    [
        (date(2024, 9, 1), date(2024, 9, 1), "unmet"),
        (date(2024, 8, 31), date(2024, 9, 1), "unknown"),
        (date(2024, 9, 1), date(2024, 8, 31), "unknown"),
        (None, date(2025, 9, 1), "unknown"),
    ],
)
def test_a_lapse_is_certain_once_orders_and_calls_reach_the_failure(
    tools, bench, purchases, calls, outcome
):
    """Until then a change or a cartridge may still come in."""
    through = {"treatment_purchases": purchases, "service_calls": calls}
    assert found(tools, judge(bench, [ORDER], [INSTALL], through=through))[3] == outcome


# The change due by 2024-08-15 came on 2024-09-30: a lapse that ends on that day.
def test_lapses_that_ended_long_before_are_forgiven(tools, bench):
    """A lapse counts only if it ends after the failure date less the months of looking back."""
    rows = [
        (None, "2025-03-30", "unmet"),
        ("6", "2025-03-29", "unmet"),
        ("6", "2025-03-30", "met"),
        ("6", "2025-03-31", "met"),
        ("5", "2025-02-28", "unmet"),
        ("5", "2025-03-01", "met"),
    ]

    def make(months, day, outcome):
        terms = tools.changed(look_back_months=months) if months else tools.BENCH_TERMS
        change = CHANGE | {"completed_on": "2024-09-30"}
        return judge(bench, [ORDER], [INSTALL, change], day=day, terms=terms)

    for (_months, _day, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[3] == outcome


# The grace ends on 2024-02-21 (the test's report of 2024-01-22 and 30 days).
def test_a_system_fitted_shortly_before_the_failure_is_looked_at(tools, bench):
    """Fresh: installed after d - fresh_days and after the grace; else it is kept up as before."""
    rows = [
        ("20", "2024-03-20", "2024-02-29", "met"),  # 20 days before
        ("20", "2024-03-20", "2024-03-01", "disputed"),  # 19 days before
        ("20", "2024-03-20", "2024-03-20", "disputed"),  # on the day itself
        (None, "2024-03-20", "2024-03-01", "met"),
        ("60", "2024-03-20", "2024-02-21", "met"),  # the last day of grace
        ("60", "2024-03-20", "2024-02-22", "disputed"),
    ]

    def make(days, failed, installed, outcome):
        terms = tools.changed(fresh_days=days) if days else tools.BENCH_TERMS
        return judge(
            bench, [ORDER], [INSTALL | {"completed_on": installed}], day=failed, terms=terms
        )

    for row, decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert found(tools, decided)[3] == row[3], row
        verdict = tools.decision(decided)["verdict"]
        assert verdict == ("needs_review" if row[3] == "disputed" else "covered"), row


def test_a_fresh_system_does_not_matter_where_another_does_the_same(tools, bench):
    """Kept without the fresh ones includes the needs: nobody has to look; a first installation
    long ago makes a system old, whatever was fitted again since."""
    terms = tools.changed(fresh_days="20")
    late = INSTALL | {"call": "I2", "completed_on": "2024-03-10"}
    other = ORDER | {"order": "P3", "product": "ALL"}
    both = judge(
        bench, [ORDER, other], [INSTALL, late | {"product": "ALL"}], day="2024-03-20", terms=terms
    )
    again = judge(bench, [ORDER], [INSTALL, late], day="2024-03-20", terms=terms)
    alone = judge(bench, [ORDER], [late], day="2024-03-20", terms=terms)
    assert [found(tools, one)[3] for one in (both, again, alone)] == ["met", "met", "disputed"]
    assert "SOFT on 2024-03-10" in tools.reasons(alone)["treatment_maintained"]
    assert tools.decision(alone)["lead_reason"] == "treatment_maintained"


def test_a_lapsed_fresh_system_is_no_dispute(tools, bench):
    """What is not kept up is unmet, fresh or not."""
    terms = tools.changed(fresh_days="300")
    decided = judge(bench, [ORDER], [INSTALL], day="2024-09-01", terms=terms)
    assert found(tools, decided)[3] == "unmet"


def test_a_lapse_that_still_runs_is_never_forgiven(tools, bench):
    """It ends on the failure date."""
    terms = tools.changed(look_back_months="1")
    assert found(tools, judge(bench, [ORDER], [INSTALL], day="2025-12-01", terms=terms))[3] == (
        "unmet"
    )


def test_each_earlier_outcome_opens_the_next_even_when_switched_off(tools, bench):
    """Switched off, a condition is not needed, and those after go by what it would have been."""
    off = tools.changed(conditions_off='["treatment_bought_new"]')
    assert found(tools, judge(bench, terms=off)) == ["not_needed", *NOTHING_AFTER]
    decided = judge(bench, [ORDER], [INSTALL], day="2024-08-15", terms=off)
    assert found(tools, decided) == ["not_needed", "met", "met", "met"]


@pytest.mark.parametrize(
    ("tested", "failed", "needs", "asked"),
    [
        ("met", "2024-05-02", ["scale"], True),
        ("met", "2024-05-01", ["scale"], False),
        ("met", "2024-05-02", [], False),
        ("met", "2024-05-02", None, False),
        ("unknown", "2024-05-02", ["scale"], False),
        ("not_needed", "2024-05-02", ["scale"], False),
    ],
)
def test_treatment_is_asked_for_past_the_grace_of_a_tested_need(tested, failed, needs, asked):
    """All three: a test that counts, a failure after the last day of grace, something needed."""
    claim = pl.DataFrame(
        {
            "water_tested": [tested],
            "failed_on": [date.fromisoformat(failed)],
            "grace_until": [date(2024, 5, 1)],
            "needs": pl.Series([needs], dtype=pl.List(pl.String)),
        }
    )
    assert claim.select(treatment_is_asked_for()).item() is asked


@pytest.mark.parametrize(("product", "cited"), [("ALL", 0), ("SOFT", 1)])
def test_a_change_at_a_system_without_cartridges_is_no_upkeep(tools, bench, product, cited):
    """It proves nothing that is asked, so the finding does not cite it."""
    own = {"product": product}
    decided = judge(
        bench, [ORDER | own], [INSTALL | own, CHANGE | own | {"completed_on": "2024-06-01"}]
    )
    finding = decided.findings.filter(condition="treatment_maintained")
    keys = [one["key"] for one in finding["evidence"].item()]
    assert keys.count("X1") == cited


@pytest.mark.parametrize(
    ("months", "day", "by_changes", "by_stock"),
    [
        (None, "2024-09-01", ("2024-08-15", "2024-09-01"), ("2024-08-15", "2024-09-01")),
        (None, "2025-05-01", ("2024-08-15", "2024-09-30"), ("2024-08-15", "2025-05-01")),
        ("5", "2025-05-01", ("2025-04-14", "2025-05-01"), ("2024-08-15", "2025-05-01")),
    ],
)
def test_the_finding_names_the_first_lapse_that_counts(
    tools, bench, months, day, by_changes, by_stock
):
    """By hand: six months and 15 days from 31 January, and from the change on 30 September."""
    terms = tools.changed(look_back_months=months) if months else tools.BENCH_TERMS
    change = CHANGE | {"completed_on": "2024-09-30"}
    decided = judge(bench, [ORDER], [INSTALL, change], day=day, terms=terms)
    lapse = "covered to {} with grace and then not before {}"
    assert tools.reasons(decided)["treatment_maintained"] == (
        f"In normal water a cartridge fell due: SOFT by changes {lapse.format(*by_changes)}, "
        f"and by stock {lapse.format(*by_stock)}."
    )


def test_a_system_kept_up_by_changes_and_by_stock_is_named_once(tools, bench):
    """Both ways reach the failure, each from the installation on; it is one system all the same."""
    change = CHANGE | {"completed_on": "2024-07-31"}
    stock = CARTRIDGE | {"ordered_on": "2024-07-31"}
    for day, more in (("2024-08-15", ()), ("2024-09-01", (change,))):
        orders = [ORDER, stock] if more else [ORDER]
        reasons = tools.reasons(judge(bench, orders, [INSTALL, *more], day=day))
        assert reasons["treatment_maintained"] == "Kept up: SOFT."
        assert reasons["treatment_installed"].count("SOFT on 2024-01-31") == 1


def test_a_site_was_fitted_by_its_first_completed_installation():
    """Of a system, by a call for any of its units; neither a changed cartridge nor an open call."""
    unit = {"serial": "U1", "site": "S1"}
    beside = {"serial": "U2", "site": "S1"}
    call = {"call": "C", "serial": "U2", "kind": "treatment_install", "product": "SOFT"}
    rows = [
        call | {"call": "C1", "completed_on": "2025-05-01"},
        call | {"call": "C2", "completed_on": "2025-03-01"},
        call | {"call": "C3", "completed_on": None},
        call | {"call": "C4", "completed_on": "2025-01-01", "kind": "cartridge_change"},
        call | {"call": "C5", "completed_on": "2025-02-01", "product": "SOFT-C"},
    ]
    books = {
        "treatments": [
            {"product": "SOFT", "kind": "system", "removes": "scale"},
            {"product": "SOFT-C", "kind": "cartridge", "fits": "SOFT"},
        ]
    }
    evidence = evidence_of(units=[unit, beside], service_calls=rows, references=books)
    fitted = first_fitted(evidence.units.filter(pl.col("serial") == "U1"), evidence)
    assert sorted(fitted.rows()) == [("U1", date(2025, 3, 1)), ("U2", date(2025, 3, 1))]
