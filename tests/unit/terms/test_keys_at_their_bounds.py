"""Each key of a terms file at the bounds of what it may hold, and what is said of keys."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.terms import load_terms
from pipelines.terms.descriptions import term_keys
from schemas import codes
from tests.unit.coverage.bench import BENCH_TERMS

FAMILIES = ["F", "G"]


def faults(folder: Path, text: str, name: str = "a.toml") -> list[str]:
    """What is wrong with one edition; nothing where it loads."""
    terms = folder / "terms"
    terms.mkdir(exist_ok=True)
    (terms / name).write_text(text, encoding="utf-8")
    try:
        load_terms(terms, FAMILIES, codes.ABILITIES)
    except WorkspaceError as error:
        return list(error.faults)
    return []


def put(key: str, value: str) -> str:
    """The bench's terms with one key replaced, or put below its table."""
    table, _, name = key.partition(".") if "." in key else ("", "", key)
    lines = BENCH_TERMS.strip().splitlines()
    kept = [line for line in lines if not line.startswith(f"{name} = ")]
    place = kept.index(f"[{table}]") + 1 if table else 0
    return "\n".join([*kept[:place], f"{name} = {value}", *kept[place:]]) + "\n"


@pytest.mark.parametrize(
    ("key", "least", "most"),
    [
        ("clock.days_after_shipment", 0, 36_500),
        ("clock.latest_days_after_shipment", 0, 36_500),
        ("coverage.parts_months", 0, 1_200),
        ("coverage.labor_months", 0, 1_200),
        ("startup.request_within_days", 0, 36_500),
        ("startup.bonus_parts_months", 0, 1_200),
        ("claims.file_within_days", 0, 36_500),
        ("claims.duplicate_within_days", 0, 36_500),
        ("claims.workmanship_days", 0, 36_500),
        ("claims.documents_within_days", 0, 36_500),
        ("treatment.grace_days", 0, 36_500),
        ("treatment.fresh_days", 1, 36_500),
        ("maintenance.cartridge_grace_days", 0, 36_500),
        ("maintenance.look_back_months", 1, 1_200),
        ("maintenance.delime_months", 1, 1_200),
        ("maintenance.delime_grace_days", 0, 36_500),
    ],
)
def test_a_whole_number_reaches_from_its_least_to_its_most(
    tmp_path: Path, key: str, least: int, most: int
) -> None:
    """Both ends are allowed, and what lies beyond either is told with them."""
    for value in (least, most):
        assert faults(tmp_path, put(key, str(value))) == []
    for value in (least - 1, most + 1):
        (told,) = faults(tmp_path, put(key, str(value)))
        assert f"is {value}; write a whole number of" in told
        assert told.endswith(f"from {least} to {most}.")
        assert "a.toml" in told


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("maintenance.mild_up_to", "0", None),
        ("maintenance.severe_above", "1_000_000_000", None),
        ("maintenance.severe_above", "1_000_000_001", "write a number that is 0 or more."),
        ("maintenance.mild_up_to", "-0.1", "is -0.1; write a number that is 0 or more."),
        ("water.limits.silica_mg_l", '{ max = 0.001, needs = "silica" }', None),
        ("water.limits.silica_mg_l", "{ max = 0 }", "is 0; write a number above 0."),
        ("water.limits.silica_mg_l", "{ max = true }", "write a number above 0."),
        ("water.limits.silica_mg_l", '{ min = 0, max = 1, needs = "silica" }', None),
        ("water.limits.silica_mg_l", '{ min = 1, max = 1, needs = "silica" }', None),
        ("water.limits.silica_mg_l", "{ min = 2, max = 1 }", "has a min of 2 above its max of 1"),
        ("water.limits.silica_mg_l", "{ min = -1 }", "write a number that is 0 or more."),
        ("water.limits.silica_mg_l", "{ }", "has neither min nor max"),
        ("water.panel", '["ph", "hardness_mg_l_caco3"]', None),
        ("water.panel", '["ph", "ph"]', 'names "ph" twice; name it once.'),
        ("water.panel", '["pH"]', "which is no analyte of a water test"),
        ("water.panel", '"ph"', "write a list of names in quotes"),
        ("installation.two_lines_above_f", "90", None),
        ("installation.two_lines_when_treated", "true", None),
        ("installation.two_lines_when_treated", "1", "is 1; write true or false."),
        ("installation.must_report", '["level", "level"]', 'names "level" twice'),
        ("installation.limits.level", "{ min = 1 }", "installation.limits.level"),
        ("treatment.judged_by", '"cause"', None),
        ("treatment.judged_by", '"site"', 'write "water" or "cause".'),
        ("clock.replacement", '"carries_on"', None),
        ("clock.replacement", '"old"', 'write "new" or "carries_on".'),
        ("effective_from", "2020-01-01T00:00:00", "write a day without quotes"),
        ("edition", '"  "', "write a name in quotes"),
    ],
)
def test_a_key_holds_what_its_kind_is(
    tmp_path: Path, key: str, value: str, says: str | None
) -> None:
    """A limit may be left out at one end; nothing is named twice; a day is a day."""
    found = faults(tmp_path, put(key, value))
    if says is None:
        assert found == []
    else:
        assert len(found) >= 1
        assert says in found[0]


def test_editions_are_the_toml_files_that_are_not_hidden(tmp_path: Path) -> None:
    """However their ending is written; without any, or without the folder, that is told."""
    with pytest.raises(WorkspaceError, match="the folder terms/ of the warranty terms is missing"):
        load_terms(tmp_path / "terms", FAMILIES, codes.ABILITIES)
    (tmp_path / "terms").mkdir()
    (tmp_path / "terms" / ".b.toml").write_text("no TOML", encoding="utf-8")
    (tmp_path / "terms" / "notes.txt").write_text("no TOML", encoding="utf-8")
    with pytest.raises(WorkspaceError, match="terms/ holds no warranty terms"):
        load_terms(tmp_path / "terms", FAMILIES, codes.ABILITIES)
    assert faults(tmp_path, BENCH_TERMS, "A.TOML") == []
    found = load_terms(tmp_path / "terms", FAMILIES, codes.ABILITIES)
    assert found.values["edition"].unique().to_list() == ["T1"]


def test_a_family_is_told_what_is_wrong_with_it_alone(tmp_path: Path) -> None:
    """What the edition itself already has wrong is not told again of each family."""
    bad = "limits.chloride_mg_l = { min = 60, max = 50,"
    wrong = BENCH_TERMS.replace("limits.chloride_mg_l = { max = 50,", bad)
    base = faults(tmp_path, wrong + "[family.F]\ncoverage.parts_months = 6\n")
    assert len(base) == 1
    assert "has a min of 60 above its max of 50" in base[0]
    own = BENCH_TERMS + "[family.F.water]\nlimits.chloride_mg_l = { min = 60 }\n"
    (told,) = faults(tmp_path, own)
    assert "family.F" in told


def test_every_key_is_told_with_what_it_holds() -> None:
    """No key of a family is told apart, and none that may hold nothing."""
    holds = {key.path: key.type for key in term_keys()}
    assert not [path for path in holds if path.startswith("family")]
    assert not [path for path in holds if path.endswith((".level", ".under_hood"))]
    assert all(holds.values())
    assert "installation.limits.READING" not in holds
    assert holds["coverage.parts_months"] == "whole number of months, 0 to 1,200"
    assert holds["treatment.fresh_days"] == "whole number of days, 1 to 36,500"
    assert holds["treatment.judged_by"] == '"water" or "cause"'
    assert holds["clock.start"] == "list of: installed_on, purchased_on, shipped_on"
    assert holds["maintenance.mild_up_to"] == "number, 0 or more"
    assert holds["effective_from"] == "day without quotes"
    assert holds["treatment.sellers"] == "list of names"
    assert holds["installation.two_lines_when_treated"] == "true or false"
