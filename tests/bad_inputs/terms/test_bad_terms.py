"""Every mistake in a terms file has its own small file and is told with file, line, key, remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.terms import load_terms

GOOD = """\
edition = "2024-A"
effective_from = 2024-01-01
conditions_off = ["delimed"]

[clock]
start = ["installed_on", "purchased_on"]
days_after_shipment = 75

[coverage]
parts_months = 18
labor_months = 12

[startup]
request_within_days = 40
bonus_parts_months = 12
bonus_labor_months = 12

[claims]
file_within_days = 50
duplicate_within_days = 3
workmanship_days = 75

[water]
panel = ["hardness_mg_l_caco3", "ph"]
limits.hardness_mg_l_caco3 = { max = 70, needs = "scale" }
limits.ph = { min = 6.8, max = 8.8, needs = "ph" }

[treatment]
sellers = ["MAKER-DIRECT"]
grace_days = 60
judged_by = "water"

[maintenance]
cartridge_months = { mild = 8, normal = 5, severe = 2 }
mild_up_to = 1.0
severe_above = 2.5
cartridge_grace_days = 20
look_back_months = 24
delime_months = 4
delime_grace_days = 15

[installation]
limits.flowing_pressure_psi = { min = 25, max = 65 }
limits.gas_pressure_in_wc.natural = { min = 4.5, max = 13 }

[family.BECK.coverage]
parts_months = 24
"""
FAMILIES = ["BECK", "LINN"]
ABILITIES = {"scale", "ph"}

MISTAKES = {
    "unknown key at the top": (
        'edition = "2024-A"',
        'editon = "2024-A"',
        ["terms/t.toml line 1, column 1: editon is not a known key; did you mean edition?"],
    ),
    "unknown key in a table": (
        "parts_months = 18",
        "part_months = 18",
        [
            "terms/t.toml line 10, column 1: coverage.part_months is not a known key; "
            "did you mean parts_months?",
            "coverage.parts_months is missing; write it under [coverage].",
        ],
    ),
    "unknown table": (
        "[installation]",
        "[instalation]",
        ["terms/t.toml line 42, column 2: instalation is not a known key; did you mean"],
    ),
    "missing table": (
        "[coverage]\nparts_months = 18\nlabor_months = 12\n",
        "",
        ["terms/t.toml: coverage.labor_months is missing; write it under [coverage]."],
    ),
    "missing edition": (
        'edition = "2024-A"\n',
        "",
        ["terms/t.toml: edition is missing; write it at the top of the file."],
    ),
    "text for a number": (
        "parts_months = 18",
        'parts_months = "18"',
        ['coverage.parts_months is "18"; write a whole number of months from 0 to 1200.'],
    ),
    "true for a number": (
        "grace_days = 60",
        "grace_days = true",
        ["line 30, column 1: treatment.grace_days is true; write a whole number of days"],
    ),
    "half a month": ("delime_months = 4", "delime_months = 4.5", ["delime_months is 4.5; write a"]),
    "days for documents in words": (
        "workmanship_days = 75",
        'workmanship_days = 75\ndocuments_within_days = "soon"',
        ["documents_within_days is", "write a whole number of days"],
    ),
    "negative days": ("file_within_days = 50", "file_within_days = -1", ["is -1; write a whole"]),
    "absurd months": ("parts_months = 18", "parts_months = 18000", ["is 18000; write a whole"]),
    "no cartridge month": ("mild = 8", "mild = 0", ["cartridge_months.mild is 0; write a whole"]),
    "fresh for no day": (
        "grace_days = 60",
        "grace_days = 60\nfresh_days = 0",
        ["treatment.fresh_days is 0; write a whole number of days from 1 to 36500."],
    ),
    "a reading that no report has": (
        "[installation]",
        '[installation]\nmust_report = ["levl"]',
        ['installation.must_report names "levl", which is no reading of a start-up; did you mean'],
    ),
    "two lines above a text": (
        "[installation]",
        '[installation]\ntwo_lines_above_f = "warm"\ntwo_lines_when_treated = 1',
        ['two_lines_above_f is "warm"; write a number.', "is 1; write true or false."],
    ),
    "look back of none": ("look_back_months = 24", "look_back_months = 0", ["from 1 to 1200."]),
    "date in quotes": (
        "effective_from = 2024-01-01",
        'effective_from = "2024-01-01"',
        ['effective_from is "2024-01-01"; write a day without quotes, such as 2024-01-01.'],
    ),
    "date with a time": (
        "effective_from = 2024-01-01",
        "effective_from = 2024-01-01T08:00:00",
        ["effective_from is 2024-01-01 08:00:00; write a day without quotes"],
    ),
    "list for a table": (
        "cartridge_months = { mild = 8, normal = 5, severe = 2 }",
        "cartridge_months = [8, 5, 2]",
        ["maintenance.cartridge_months is [8, 5, 2]; write a table with keys such as mild, normal"],
    ),
    "infinite factor": ("severe_above = 2.5", "severe_above = inf", ["severe_above is Infinity"]),
    "not a number": ("mild_up_to = 1.0", "mild_up_to = nan", ["mild_up_to is NaN; write a number"]),
    "severe below mild": (
        "severe_above = 2.5",
        "severe_above = 0.5",
        ["maintenance.severe_above is 0.5, below mild_up_to (1.0)"],
    ),
    "unknown clock date": (
        '"purchased_on"]',
        '"bought_on"]',
        ['clock.start names "bought_on", which is no date that starts a clock'],
    ),
    "clock date twice": (
        '"purchased_on"]',
        '"installed_on"]',
        ['clock.start names "installed_on" twice; name it once.'],
    ),
    "clock start as text": (
        'start = ["installed_on", "purchased_on"]',
        'start = "installed_on"',
        ['clock.start is "installed_on"; write a list of names in quotes'],
    ),
    "unknown condition": (
        '["delimed"]',
        '["delimd"]',
        ['line 3, column 1: conditions_off names "delimd", which is no condition; did you mean'],
    ),
    "unknown replacement": (
        "[coverage]",
        'replacement = "old"\n[coverage]',
        ['clock.replacement is "old"; write "new" or "carries_on".'],
    ),
    "unknown judge": ('judged_by = "water"', 'judged_by = "luck"', ['write "water" or "cause".']),
    "seller without quotes around it": (
        '["MAKER-DIRECT"]',
        "[7]",
        ["sellers is [7]; write a list"],
    ),
    "unknown analyte in the panel": (
        '"ph"]',
        '"pH"]',
        ['water.panel names "pH", which is no analyte of a water test; did you mean ph?'],
    ),
    "unknown analyte in a limit": (
        "limits.hardness_mg_l_caco3 = {",
        "limits.hardness = {",
        [
            "line 25, column 1: water.limits.hardness is no analyte that a water test reports; "
            "did you mean hardness_mg_l_caco3?"
        ],
    ),
    "ability that no treatment has": (
        'needs = "scale"',
        'needs = "silica"',
        [
            'line 25, column 42: water.limits.hardness_mg_l_caco3.needs is "silica", which no '
            "treatment has; add a system that removes it to reference/treatments.csv"
        ],
    ),
    "ability that there is not": (
        'needs = "scale"',
        'needs = "scales"',
        ['needs is "scales", which no treatment has; did you mean scale?'],
    ),
    "limit without ability": (
        '{ max = 70, needs = "scale" }',
        "{ max = 70 }",
        ["water.limits.hardness_mg_l_caco3 does not say what it needs; add an ability"],
    ),
    "limit without bounds": (
        '{ max = 70, needs = "scale" }',
        '{ needs = "scale" }',
        ["water.limits.hardness_mg_l_caco3 has neither min nor max; give one"],
    ),
    "minimum above maximum": (
        "min = 6.8",
        "min = 9.8",
        ["water.limits.ph has a min of 9.8 above its max of 8.8; swap or correct them."],
    ),
    "negative limit": ("max = 70", "max = -70", ["max is -70; write a number above 0."]),
    "pH that there is not": ("max = 8.8", "max = 88", ["water.limits.ph has a bound above 14"]),
    "limit as a number": (
        '{ max = 70, needs = "scale" }',
        "70",
        ["hardness_mg_l_caco3 is 70; write a table with keys such as min, max, needs."],
    ),
    "unknown reading": (
        "limits.flowing_pressure_psi",
        "limits.flow_pressure",
        [
            "installation.limits.flow_pressure is no reading that a start-up report has; "
            "did you mean flowing_pressure_psi?"
        ],
    ),
    "limit on a yes or no": (
        "limits.flowing_pressure_psi",
        "limits.level",
        ["installation.limits.level is set, but this reading is yes or no"],
    ),
    "gas pressure without gas": (
        "limits.gas_pressure_in_wc.natural =",
        "limits.gas_pressure_in_wc =",
        ["gas_pressure_in_wc.min is no gas that a unit burns (write limits.gas_pressure_in_wc.nat"],
    ),
    "gas pressure of no gas": (
        "gas_pressure_in_wc.natural",
        "gas_pressure_in_wc.none",
        ["gas_pressure_in_wc.none is no gas that a unit burns"],
    ),
    "reading with minimum above maximum": (
        "{ min = 4.5, max = 13 }",
        "{ min = 14, max = 13 }",
        ["installation.limits.gas_pressure_in_wc.natural has a min of 14 above its max of 13"],
    ),
    "unknown family": (
        "[family.BECK.coverage]",
        "[family.BRECK.coverage]",
        [
            "line 46, column 2: family.BRECK is no family of reference/models.csv; "
            "did you mean BECK?"
        ],
    ),
    "family with a date of its own": (
        "[family.BECK.coverage]\nparts_months = 24",
        "[family.BECK]\neffective_from = 2025-01-01",
        ["line 47, column 1: family.BECK.effective_from is not a known key"],
    ),
    "family with an unknown key": (
        "parts_months = 24",
        "parts_month = 24",
        ["family.BECK.coverage.parts_month is not a known key; did you mean parts_months?"],
    ),
    "family with a wrong type": (
        "parts_months = 24",
        "parts_months = 24.0",
        ["line 47, column 1: family.BECK.coverage.parts_months is 24.0; write a whole number"],
    ),
    "family whose bound crosses the base": (
        "[family.BECK.coverage]\nparts_months = 24",
        "[family.BECK.water]\nlimits.ph = { min = 9 }",
        ["line 47, column 1: family.BECK.water.limits.ph has a min of 9 above its max of 8.8"],
    ),
    "family as a list": ("[family.BECK.coverage]", "[[family]]", ["family is [a table]; write a"]),
    "value without quotes": (
        'sellers = ["MAKER-DIRECT"]',
        "sellers = [MAKER-DIRECT]",
        ["terms/t.toml line 29, column 12: this is not valid TOML", "text needs quotes"],
    ),
    "key twice": (
        "cartridge_grace_days = 20",
        "cartridge_grace_days = 20\nmild_up_to = 2.0",
        ["terms/t.toml line 38, column 17: this is not valid TOML (Cannot overwrite a value)"],
    ),
    "text that is not closed": (
        "[family.BECK.coverage]\nparts_months = 24\n",
        '[family.BECK]\njudged_by = """cause',
        ["terms/t.toml line 47, column 21: this is not valid TOML"],
    ),
}


def faults_of(folder: Path, families=FAMILIES, abilities=ABILITIES) -> list[str]:
    """What loading the folder complains of."""
    with pytest.raises(WorkspaceError) as caught:
        load_terms(folder, families, abilities)
    assert caught.value.exit_code == 2
    return caught.value.faults


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An empty terms folder."""
    made = tmp_path / "terms"
    made.mkdir()
    return made


def test_the_edition_without_mistakes_loads(folder: Path):
    """The file that the mistakes are made in has none itself."""
    (folder / "t.toml").write_text(GOOD)
    assert load_terms(folder, FAMILIES, ABILITIES).values.height == 2


@pytest.mark.parametrize(("right", "wrong", "words"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_is_told(folder: Path, right: str, wrong: str, words: list[str]):
    """One wrong line gives sentences that name file, place, key and remedy."""
    assert GOOD.count(right) == 1
    (folder / "t.toml").write_text(GOOD.replace(right, wrong))
    told = "\n".join(faults_of(folder))
    for expected in words:
        assert expected in told


def test_all_mistakes_of_all_files_come_at_once(folder: Path):
    """A person corrects everything in one go, not one fault a run."""
    (folder / "a.toml").write_text(GOOD.replace("= 18", "= -1").replace('"scale"', '"x"'))
    (folder / "b.toml").write_text("edition = \n")
    (folder / "c.toml").write_text(GOOD.replace("grace_days = 60", "grace_days = no"))
    faults = faults_of(folder)
    assert [fault.split(" line")[0] for fault in faults] == [
        "terms/b.toml",
        "terms/c.toml",
        "terms/a.toml",
        "terms/a.toml",
    ]


def test_two_editions_cannot_begin_on_one_day(folder: Path):
    """Which of the two a unit has could not be told."""
    (folder / "a.toml").write_text(GOOD)
    (folder / "b.toml").write_text(GOOD.replace("2024-A", "2024-B"))
    assert faults_of(folder) == [
        "terms/b.toml line 2, column 1: effective_from is 2024-01-01, as in terms/a.toml; "
        "two editions cannot begin on one day, so change one of them."
    ]


def test_two_editions_cannot_have_one_name(folder: Path):
    """A finding names the edition, so a name stands for one."""
    (folder / "a.toml").write_text(GOOD)
    (folder / "b.toml").write_text(GOOD.replace("= 2024-01-01", "= 2025-01-01"))
    assert faults_of(folder) == [
        'terms/b.toml line 1, column 1: edition is "2024-A", as in terms/a.toml; '
        "give each edition a name of its own."
    ]


def test_a_family_in_a_workspace_without_models(folder: Path):
    """Without models there is no family to override for."""
    (folder / "t.toml").write_text(GOOD)
    (told,) = faults_of(folder, families=[])
    assert "family.BECK is no family of reference/models.csv; there are none; take" in told


def test_a_folder_without_terms(folder: Path):
    """No edition is a mistake of the workspace, not a claim's."""
    assert faults_of(folder) == [
        "terms/ holds no warranty terms; put one TOML file an edition there."
    ]


def test_a_missing_folder(tmp_path: Path):
    """A terms folder that is not there is named, with the setting that names it."""
    (told,) = faults_of(tmp_path / "rules")
    assert told.startswith("the folder rules/ of the warranty terms is missing")
    assert "correct `terms` in limeledger.toml" in told


def test_a_file_that_is_not_utf_8(folder: Path):
    """The byte that cannot be read has a line and a column."""
    (folder / "t.toml").write_bytes(GOOD.replace("MAKER", "MÄKER").encode("cp1252"))
    (told,) = faults_of(folder)
    assert told == (
        "terms/t.toml line 29, column 14: the file is not UTF-8 text; save it as UTF-8."
    )


def test_a_folder_named_like_a_file(folder: Path):
    """Something that cannot be read is said to be so."""
    (folder / "t.toml").mkdir()
    (told,) = faults_of(folder)
    assert told.startswith("terms/t.toml cannot be read (Is a directory)")
