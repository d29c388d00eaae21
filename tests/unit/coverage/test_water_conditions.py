"""The water test that counts (condition 15), grace, needs and severity."""

import pytest

TEST = {"sample": "L1", "site": "S1", "point": "supply", "sampled_on": "2024-01-15",
        "reported_on": "2024-01-22", "hardness_mg_l_caco3": "150", "ph": "7.5"}  # fmt: skip
TREATMENT = (
    "treatment_bought_new",
    "treatment_suits_water",
    "treatment_installed",
    "treatment_maintained",
)


def judge(bench, *tests, unit=None, call=None, **given):
    """A generator that corroded, with these water tests."""
    return bench.decide(
        unit={"model": "GEN"} | (unit or {}),
        call={"cause": "CORRODED"} | (call or {}),
        water_tests=[TEST | test for test in tests],
        **given,
    )


def after(tools, decided):
    """The four treatment outcomes, without repeats."""
    return {tools.outcomes(decided)[name] for name in TREATMENT}


@pytest.mark.parametrize(
    ("unit", "call"),
    [({"model": "HAND"}, {}), ({}, {"cause": "BOARD"})],
)
def test_water_bears_only_on_its_causes_and_on_models_that_need_treatment(tools, bench, unit, call):
    """Without both, 15 to 20 are not needed and the severity is not told."""
    decided = judge(bench, {}, unit=unit, call=call)
    names = ("water_tested", *TREATMENT, "delimed")
    assert {tools.outcomes(decided)[name] for name in names} == {"not_needed"}
    assert tools.decision(decided)["severity"] is None
    assert tools.decision(decided)["needs"] is None


def test_a_complete_supply_test_by_the_failure_counts(tools, bench):
    """By site or by serial; one that names both belongs to both."""
    rows = [
        ({}, "met"),
        ({"sampled_on": "2024-09-01"}, "met"),
        ({"sampled_on": "2024-09-02"}, "unknown"),
        ({"point": "treated"}, "unknown"),
        ({"ph": ""}, "unknown"),
        ({"site": "S2"}, "unknown"),
        ({"site": None, "serial": "U1"}, "met"),
        ({"site": None, "serial": "U2"}, "unknown"),
        ({"site": "S2", "serial": "U1"}, "met"),
        ({"site": "S1", "serial": "U2"}, "met"),
    ]

    def make(test, outcome):
        return judge(bench, test)

    for (_test, outcome), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert tools.outcomes(decided)["water_tested"] == outcome
        if outcome == "unknown":
            assert after(tools, decided) == {"not_evaluated"}


def test_a_unit_without_site_has_only_the_tests_of_its_serial(tools, bench):
    """A missing site matches no missing site."""
    unit = {"site": None}
    assert tools.outcomes(judge(bench, {}, unit=unit))["water_tested"] == "unknown"
    by_serial = {"site": None, "serial": "U1"}
    assert tools.outcomes(judge(bench, by_serial, unit=unit))["water_tested"] == "met"
    elsewhere = {"site": None, "serial": "U2"}
    assert tools.outcomes(judge(bench, elsewhere, unit=unit))["water_tested"] == "unknown"


def test_the_finding_tells_what_is_wrong_with_the_tests_on_file(tools, bench):
    """An incomplete test, one from after the failure only, or none."""
    rows = [
        ([{"ph": ""}], "Test L1 of 2024-01-15 is incomplete: it lacks pH."),
        ([{"ph": "", "hardness_mg_l_caco3": ""}], "it lacks hardness, pH."),
        ([{"hardness_mg_l_caco3": "<200"}], "it lacks hardness."),
        ([{"sampled_on": "2024-09-02"}], "L1 of 2024-09-02, was sampled after the failure"),
        ([{"ph": ""}, {"sample": "L2", "sampled_on": "2024-10-02"}], "is incomplete"),
        ([], "No supply water test is on file."),
        ([{"point": "treated"}], "No supply water test is on file."),
    ]

    def make(tests, words):
        return judge(bench, *tests)

    for (_tests, words), decided in zip(rows, [make(*row) for row in rows], strict=True):
        assert words in tools.reasons(decided)["water_tested"]


def test_the_latest_complete_test_counts(tools, bench):
    """By sampling, then report (sampling where empty), then the greatest sample number."""
    rows = [
        ({"sampled_on": "2024-02-01", "reported_on": "2024-02-02"}, "L2"),
        ({"sampled_on": "2024-01-14", "reported_on": "2024-02-02"}, "L1"),
        ({"reported_on": "2024-01-23"}, "L2"),
        ({"reported_on": "2024-01-21"}, "L1"),
        ({"reported_on": None}, "L1"),
        ({}, "L2"),
        ({"sample": "L0"}, "L1"),
        ({"sample": "L10"}, "L10"),
        ({"sample": "L05"}, "L1"),
        ({"sampled_on": "2024-02-01", "ph": ""}, "L1"),
        ({"sampled_on": "2024-02-01", "site": None, "serial": "U1"}, "L2"),
        ({"sampled_on": "2024-01-14", "site": None, "serial": "U1"}, "L1"),
    ]

    def make(second, counts):
        second = {"sample": "L2", "hardness_mg_l_caco3": "260"} | second
        return judge(bench, {}, second)

    for (_second, counts), decided in zip(rows, [make(*row) for row in rows], strict=True):
        severity = "normal" if counts == "L1" else "severe"
        assert tools.decision(decided)["severity"] == severity
        assert f"test {counts} " in tools.reasons(decided)["water_tested"]


def test_treatment_may_be_fitted_within_the_grace_days(tools, bench):
    """30 days from the first complete test's report, or from the clock where that is later."""
    rows = [
        ([{"reported_on": "2024-08-02"}], "2024-08-31", {"not_needed"}),
        ([{"reported_on": "2024-08-02"}], "2024-09-01", {"not_needed"}),
        ([{"reported_on": "2024-08-02"}], "2024-09-02", {"unmet", "not_evaluated"}),
        ([{"reported_on": None, "sampled_on": "2024-08-02"}], "2024-09-01", {"not_needed"}),
        ([{}], "2024-02-21", {"not_needed"}),
        ([{}], "2024-02-22", {"unmet", "not_evaluated"}),
        ([{"reported_on": "2024-01-18"}], "2024-02-19", {"not_needed"}),
        ([{"reported_on": "2024-01-18"}], "2024-02-20", {"unmet", "not_evaluated"}),
        (
            [{"reported_on": "2024-08-20"}, {"sample": "L0", "sampled_on": "2024-01-10"}],
            "2024-09-01",
            {"unmet", "not_evaluated"},
        ),
        (
            [{"sampled_on": "2024-08-01", "reported_on": "2024-08-20"},
             {"sample": "L0", "ph": "", "reported_on": "2024-01-22"}],
            "2024-09-01",
            {"not_needed"},
        ),
        (
            [{"sampled_on": "2024-08-01", "reported_on": "2024-08-20"},
             {"sample": "L0", "site": None, "serial": "U1"}],
            "2024-09-01",
            {"unmet", "not_evaluated"},
        ),
    ]  # fmt: skip

    def make(tests, failed_on, outcomes):
        call = {"failed_on": failed_on, "opened_on": failed_on, "completed_on": "2024-09-03"}
        return judge(bench, *tests, call=call)

    for (_tests, _failed_on, outcomes), decided in zip(
        rows, [make(*row) for row in rows], strict=True
    ):
        assert after(tools, decided) == outcomes


def test_grace_runs_from_the_first_test_of_the_claims_own_site(tools, bench):
    """That of another claim's site was reported half a year before, and gives that one its own."""
    other = {"serial": "U0", "model": "GEN", "shipped_on": "2024-01-02", "site": "S0",
             "installed_on": "2024-01-20"}  # fmt: skip
    failed = {"failed_on": "2024-08-31", "opened_on": "2024-09-02", "completed_on": "2024-09-03"}
    call = tools.CALL | failed | {"call": "C0", "claim": "K0", "serial": "U0", "cause": "CORRODED"}
    decided = judge(
        bench,
        {"reported_on": "2024-08-02"},
        {"sample": "L0", "site": "S0"},
        call=failed,
        units=[other],
        service_calls=[call],
    )
    assert after(tools, decided) == {"not_needed"}
    assert tools.outcomes(decided, "K0")["treatment_bought_new"] == "unmet"


def test_needs_follow_water_model_and_cause(tools, bench):
    """What is outside its limit; scale where always treated; by cause only what it lists."""
    rows = [
        ("GEN", "CORRODED", {}, {}, ["scale"]),
        ("GEN", "CORRODED", {}, {"hardness_mg_l_caco3": "100"}, []),
        ("ALW", "CORRODED", {}, {"hardness_mg_l_caco3": "100"}, ["scale"]),
        ("ALW", "CORRODED", {}, {"hardness_mg_l_caco3": "10", "ph": "9.1"}, ["ph"]),
        ("GEN", "CORRODED", {}, {"chloride_mg_l": "51", "ph": "6"}, ["chloride", "ph", "scale"]),
        ("GEN", "PITTED", {}, {"chloride_mg_l": "51"}, ["chloride", "scale"]),
        ("GEN", "PITTED", {"judged_by": '"cause"'}, {"chloride_mg_l": "51"}, ["chloride"]),
        ("GEN", "PITTED", {"judged_by": '"cause"'}, {}, []),
        ("GEN", "CORRODED", {"judged_by": '"cause"'}, {}, ["scale"]),
        ("ALW", "PITTED", {"judged_by": '"cause"'}, {"hardness_mg_l_caco3": "9"}, []),
        ("GEN", "PITTED", {"judged_by": '"water"'}, {}, ["scale"]),
    ]

    def make(model, cause, terms, test, needs):
        return judge(
            bench,
            test,
            unit={"model": model},
            call={"cause": cause},
            terms=tools.changed(**terms),
        )

    for (_model, _cause, _terms, _test, needs), decided in zip(
        rows, [make(*row) for row in rows], strict=True
    ):
        assert tools.decision(decided)["needs"] == needs
        if not needs:
            assert after(tools, decided) == {"not_needed"}
        else:
            assert tools.outcomes(decided)["treatment_bought_new"] == "unmet"


@pytest.mark.parametrize(
    ("hardness", "severity"),
    [("100", "mild"), ("100.1", "normal"), ("200", "normal"), ("200.1", "severe")],
)
def test_severity_is_told_where_a_test_counts(tools, bench, hardness, severity):
    """Mild up to the limit itself, severe above twice the limit."""
    decided = judge(bench, {"hardness_mg_l_caco3": hardness})
    assert tools.decision(decided)["severity"] == severity


def test_severity_stays_where_the_test_condition_is_switched_off(tools, bench):
    """The edition switches 15 off: not needed, yet the test is judged all the same."""
    terms = tools.changed(conditions_off='["water_tested"]')
    decided = judge(bench, {}, terms=terms)
    assert tools.outcomes(decided)["water_tested"] == "not_needed"
    assert tools.outcomes(decided)["treatment_bought_new"] == "unmet"
    assert tools.decision(decided)["severity"] == "normal"
    without = judge(bench, terms=terms)
    assert after(tools, without) == {"not_evaluated"}
    assert tools.decision(without)["verdict"] == "covered"


def test_a_test_is_cited_with_its_file_and_line(bench, tools):
    """The finding rests on the test, wherever it stands."""
    found = judge(bench, {"sample": "A/1"}).findings.filter(condition="water_tested")
    assert found.get_column("evidence").to_list() == [
        [
            {"feed": "service_calls", "key": "C1", "file": "service_calls.csv", "line": 2},
            {"feed": "water_tests", "key": "A/1", "file": "water_tests.csv", "line": 2},
        ]
    ]
