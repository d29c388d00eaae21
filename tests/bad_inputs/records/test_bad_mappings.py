"""Mappings that are wrong: each mistake stops with file, line, key and remedy."""

import pytest

from pipelines.errors import WorkspaceError
from pipelines.records.mapping import load_mapping

CASES = [
    ("units", 'decimel = ","', "decimel is no part of a mapping; did you mean decimal?"),
    ("units", 'columns = "x"', 'columns is "x"; write it as a table, [columns].'),
    ("units", 'decimal = ";"', 'decimal is ";"; write "." or ",".'),
    ("units", 'thousands = "_"', 'thousands is "_"; write ",", ".", " "'),
    ("units", 'decimal = ","\nthousands = ","', "the decimal mark already"),
    ("units", 'thousands = "."', "the decimal mark already"),
    ("units", 'dates = "%m/%d/%Y"', "write a list of formats"),
    ("units", 'dates = ["%m/%d"]', 'holds "%m/%d", which names no year'),
    ("units", 'dates = ["%Q/%m/%Y"]', "`%Q`, which is not known"),
    ("units", 'layout = "long"', "only water_tests may have"),
    ("water_tests", 'layout = "tall"', 'layout is "tall"; write "long"'),
    ("water_tests", '[analytes]\npH = "ph"', "is for the long layout"),
    (
        "units",
        '[columns]\nserail = "S"',
        "columns.serail is no column of units; did you mean serial?",
    ),
    ("units", "[columns]\nserial = 3", "write the export's header in quotes"),
    ("water_tests", '[columns]\nanalyte = "A"', 'unless layout = "long"'),
    (
        "water_tests",
        'layout = "long"\n[columns]\niron_mg_l = "Fe"',
        "where an analyte is named under [analytes]",
    ),
    ("water_tests", '[units]\nhardness = "gpg"', "did you mean hardness_mg_l_caco3?"),
    ("water_tests", '[units]\nlab = "gpg"', "is a column without a unit"),
    (
        "water_tests",
        '[units]\niron_mg_l = "stone"',
        "is no unit that is known; the feed's unit is mg/L",
    ),
    ("water_tests", '[units]\nph = "mg/L"', "does not fit the column; the feed's unit is none"),
    ("water_tests", '[units]\niron_mg_l = "gpg"', "does not fit the column"),
    ("water_tests", '[units]\ntds_mg_l = "gal"', "does not fit the column"),
    ("water_tests", "[units]\niron_mg_l = 1", "write a unit in quotes"),
    ("water_tests", '[constants]\npoint = "tap"', "use one of: supply, treated"),
    ("water_tests", '[constants]\npiont = "supply"', "did you mean point?"),
    ("water_tests", '[constants]\nsampled_on = "31/03/2026"', "which is no value of sampled_on"),
    ("water_tests", '[constants]\niron_mg_l = "much"', "which is no value of iron_mg_l"),
    ("treatment_purchases", "[constants]\nquantity = 0", "which is no value of quantity"),
    ("service_calls", "[constants]\nparts_amount = -1", "which is no value of parts_amount"),
    ("water_tests", "[constants]\nlab = [1]", "write one value"),
    (
        "water_tests",
        '[columns]\nlab = "L"\n[constants]\nlab = "X"',
        "is under [columns] too; keep one of the two",
    ),
    (
        "water_tests",
        '[units]\ntemperature_c = "F"\n[constants]\ntemperature_c = 60',
        "write the constant in the feed's unit",
    ),
    (
        "water_tests",
        'layout = "long"\n[analytes]\n"Fe" = "iron"',
        "which is no analyte of water_tests; did you mean iron_mg_l?",
    ),
    (
        "water_tests",
        'layout = "long"\n[analytes]\n"Fe" = "iron_mg_l"\n"FE" = "iron_mg_l"',
        'is "Fe" in other letters',
    ),
    ("service_calls", '[values.kint]\n"R" = "repair"', "did you mean kind?"),
    ("service_calls", '[values]\nkind = "repair"', "write a table, [values.kind]"),
    ("service_calls", '[values.kind]\n"R" = "repare"', "use one of: repair, treatment_install"),
    ("service_calls", '[values.kind]\n"R" = "repair"\n"r" = "repair"', 'is "R" in other letters'),
    ("service_calls", '[values.opened_on]\n"soon" = "tomorrow"', "which is no value of opened_on"),
    ("service_calls", '[values.kind]\n"R" = [1]', "write one value"),
]


@pytest.mark.parametrize(("feed", "toml", "words"), CASES)
def test_each_mistake_is_told_with_its_place_and_remedy(tmp_path, feed, toml, words):
    """The sentence names the file and the key, and says what to write."""
    path = tmp_path / f"{feed}.toml"
    path.write_text(toml, encoding="utf-8")
    with pytest.raises(WorkspaceError) as caught:
        load_mapping(path, feed)
    assert words in str(caught.value)
    assert str(caught.value).startswith(f"mappings/{feed}.toml line ")


def test_every_fault_of_a_file_is_told_at_once(tmp_path):
    """A person corrects a file once, not once a fault."""
    path = tmp_path / "units.toml"
    path.write_text('decimal = 5\ncolour = 1\n[units]\nserial = "psi"', encoding="utf-8")
    with pytest.raises(WorkspaceError) as caught:
        load_mapping(path, "units")
    assert len(caught.value.faults) == 3
    assert "line 4" in caught.value.faults[-1]


def test_a_mapping_that_is_no_toml_names_line_and_column(tmp_path):
    """A slip of syntax has its place too."""
    path = tmp_path / "units.toml"
    path.write_text("[columns]\nserial = Serial No.\n", encoding="utf-8")
    with pytest.raises(WorkspaceError) as caught:
        load_mapping(path, "units")
    assert str(caught.value).startswith("mappings/units.toml line 2")
