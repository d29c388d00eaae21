"""Mappings that are wrong: each mistake stops with file, line, key and remedy."""

import pytest

from pipelines.errors import WorkspaceError
from pipelines.records.mapping import load_mapping

JOIN = '[[join]]\nname = "claim"\nfiles = ["c*"]\non = { "A" = "B" }\n'
MADE = JOIN + 'sum.parts = { header = "E" }\n'
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
    ("units", 'files = "x"', 'files is "x"; write a list of names'),
    ("units", "header_row = 0", "header_row is 0; write the number of a line"),
    ("units", 'file_date = "%Y"', "which names no day"),
    ("units", 'valid_from = "2025"', "write a day without quotes"),
    (
        "units",
        "valid_from = 2025-02-01\nvalid_until = 2025-01-01",
        "which is after valid_until, 2025-01-01; exchange the two",
    ),
    ("units", '[columns]\nsite = { both = ["A"] }', "has both"),
    ("units", "[columns]\nsite = { first = [1] }", "write a list of the export's headers"),
    ("units", '[columns]\nsite = { first = ["A"], with = "x" }', "goes with join alone"),
    ("units", "[transforms]\nserail = [ { pad = 3 } ]", "did you mean serial?"),
    ("units", "[transforms]\nserial = { pad = 3 }", "write a list of steps"),
    ("units", "[transforms]\nserial = [ { padd = 3 } ]", "did you mean pad?"),
    ("units", "[transforms]\nserial = [ { pad = 3, upper = true } ]", "one verb a step"),
    ("units", '[transforms]\nserial = [ { pad = "3" } ]', "a whole number from 1 to 64"),
    ("units", "[transforms]\nserial = [ { upper = false } ]", "write true"),
    ("units", "[transforms]\nserial = [ { negate = true } ]", "is for numbers alone"),
    ("units", "[transforms]\nserial = [ { excel_date = 1900 } ]", "is for dates alone"),
    ("units", "[transforms]\nshipped_on = [ { excel_date = 1901 } ]", "write 1900 or 1904"),
    ("units", '[transforms]\nshipped_on = [ { date = ["%Y"] } ]', "which names no day"),
    (
        "service_calls",
        "[transforms]\nparts_amount = [ { cell_unit = true } ]",
        "is for measurements alone",
    ),
    ("units", "[transforms]\nserial = [ { extract = '(a)\\1' } ]", "of the linear-time kind"),
    ("units", "[transforms]\nserial = [ { extract = '(?=a)' } ]", "of the linear-time kind"),
    ("units", "[transforms]\nserial = [ { extract = '(' } ]", "no regular expression"),
    ("units", '[transforms]\nsite = [ { split = [";"] } ]', "would replace each other"),
    (
        "units",
        '[transforms]\nserial = [ { upper = true }, { split = [";"] } ]',
        "has the step split behind others; write it first",
    ),
    (
        "service_calls",
        '[[phrases.kind]]\nany = ["x"]\ncode = "mend"',
        'has the code "mend", which is no word of kind',
    ),
    ("service_calls", '[[phrases.kind]]\ncode = "repair"', "write one of any, matches"),
    ("service_calls", "[[phrases.cause]]\nany = ['x']", "has no code"),
    (
        "service_calls",
        '[[phrases.cause]]\notherwise = true\ncode = "A"\n'
        "[[phrases.cause]]\nany = ['x']\ncode = 'B'",
        "has otherwise before others",
    ),
    ("units", '[[leave_out]]\nheader = "A"\nis = ["x"]', "has no reason"),
    ("units", '[[leave_out]]\nreason = "r"', "tests nothing"),
    ("units", '[[leave_out]]\nreason = "r"\nheader = "A"', "has a header and no test"),
    ("units", '[[leave_out]]\nreason = "r"\nis = ["x"]', "has a test without a header"),
    ("units", '[[leave_out]]\nreason = "r"\nheader = "A"\nbelow = "1"', "write a number"),
    ("units", '[[leave_out]]\nreason = "r"\nheader = "A"\niss = ["x"]', "has iss"),
    (
        "water_tests",
        'layout = "long"\n[analytes]\n"Ca" = { column = "iron_mg_l", basis = "Ca" }',
        "which iron_mg_l does not take",
    ),
    ("units", "join = 3", "join is no list of entries; begin each with [[join]]"),
    ("units", '[[join]]\nfiles = ["x"]\non = { A = "B" }', "join.1 has no name"),
    ("units", JOIN.replace('"claim"', '"a.b"'), 'join.1 has the name "a.b"; write letters'),
    ("units", JOIN + JOIN, 'join.2 has the name "claim", which another join has'),
    ("units", JOIN + "nme = 1", "did you mean name?"),
    ("units", JOIN.replace('on = { "A" = "B" }', ""), "join.1 has no on"),
    ("units", JOIN.replace('{ "A" = "B" }', '["A"]'), 'has on, which is ["A"]'),
    ("units", JOIN.replace('["c*"]', '"c"'), 'join.1.files is "c"; write a list'),
    ("units", JOIN.replace('files = ["c*"]', ""), "join.1 has no files"),
    ("units", JOIN + 'on_steps = [ { split = [";"] } ]', "on_steps with split"),
    ("units", JOIN + "on_steps = [ { pad = 0 } ]", "has the step pad, which is 0"),
    ("units", JOIN + "on_steps = [ { negate = true } ]", "which is for numbers alone"),
    ("units", JOIN + "on_steps = 3", "has on_steps, which is 3"),
    ("units", JOIN + "sum = 3", "has sum, which is 3"),
    ("units", JOIN + "sum.x = { }", "has sum.x, which names no header"),
    ("units", JOIN + 'sum.x = { header = "E", were = 1 }', "has were; did you mean where?"),
    ("units", JOIN + 'first.x = { header = "E", where = { T = [] } }', "has where.T, which is []"),
    ("units", MADE + 'first.Parts = { header = "E" }', "makes Parts twice"),
    ("units", JOIN + 'thousands = "."', "join.1.thousands"),
    ("units", JOIN + "header_row = 0", "join.1.header_row is 0"),
    ("units", JOIN + 'file_date = "%Y%m%d"', "has file_date, which is no part of a join"),
    ("units", JOIN + '[[join.leave_out]]\nfirst_cell = ["x"]', "join.1.leave_out.1 has no reason"),
    ("units", MADE + '[columns]\nsite = "claim.part"', "does not make; did you mean parts?"),
    (
        "units",
        MADE + '[columns]\nsite = { first = ["A", "claim.x"] }',
        "which the join claim does not",
    ),
    (
        "units",
        MADE + '[[leave_out]]\nreason = "r"\nheader = "claim.z"\nempty = true',
        'leave_out.1 names "claim.z", which the join claim does not make',
    ),
    (
        "units",
        MADE + '[[join]]\nname = "b"\nfiles = ["x"]\non = { "claim.z" = "B" }',
        'join.2 names "claim.z", which the join claim does not make',
    ),
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


def test_of_several_entries_the_faulty_one_is_placed(tmp_path):
    """The line is that on which the second entry begins."""
    path = tmp_path / "units.toml"
    good = '[[leave_out]]\nreason = "r"\nfirst_cell = ["x"]\n'
    path.write_text(good + "\n[[leave_out]]\nfirst_cell = ['y']\n", encoding="utf-8")
    with pytest.raises(WorkspaceError) as caught:
        load_mapping(path)
    assert str(caught.value).startswith("mappings/units.toml line 5, column 1: leave_out.2 has no")


def test_a_mapping_that_is_for_no_feed_is_told(tmp_path):
    """Neither its name nor a key says which."""
    path = tmp_path / "lab.toml"
    for text, words in (("", "is missing"), ('feed = "unitz"', "did you mean units?")):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(WorkspaceError) as caught:
            load_mapping(path)
        assert words in str(caught.value)
