"""One row an analyte: results, units, remarks, accounts, and one line a sample."""

import datetime as dt

import pytest

from pipelines.records.corrections import Correction
from pipelines.records.feed_file import contents_of, parse_file
from pipelines.records.row_cells import Place
from tests.unit.records.conftest import ZONE

TOML = """
layout = "long"
[columns]
sample = "Sample"
analyte = "Test"
value = "Result"
unit = "Unit"
remark = "Q"
[constants]
point = "supply"
[analytes]
"Hardness" = "hardness_mg_l_caco3"
"pH" = "ph"
"Iron" = "iron_mg_l"
"Temp" = "temperature_c"
[units]
iron_mg_l = "ug/L"
"""
HEAD = "Sample,Site,Sampled On,Lab,Test,Result,Unit,Q\n"


def row(test, result, unit="", remark="", sample="S1", day="2026-01-02", lab="L"):
    """One line of a long file."""
    return f"{sample},KITCHEN,{day},{lab},{test},{result},{unit},{remark}\n"


def told(parsed):
    """Line, column, value and rule of each reason."""
    return parsed.set_aside.select("line", "column", "value", "rule").rows()


def test_each_result_is_converted_from_its_own_unit(desk):
    """The unit column counts; an empty unit is the feed's; a mapped unit goes before."""
    text = HEAD + row("hardness", "10", "gpg") + row("pH", "7.5", "std units") + row("PH", "7")
    text += row("Iron", "50", "mg/L") + row("Temp", "212", "°F") + row("Hardness", "5")
    parsed = desk.parse("water_tests", text, TOML)
    assert told(parsed) == []
    assert parsed.rows.select("analyte", "result").rows() == [
        ("hardness_mg_l_caco3", 171.18),
        ("ph", 7.5),
        ("ph", 7.0),
        ("iron_mg_l", 0.05),
        ("temperature_c", 100.0),
        ("hardness_mg_l_caco3", 5.0),
    ]


def test_a_unit_behind_a_result_in_its_cell_goes_first(desk):
    """Before the unit column and [units]; bounds too; what is no number keeps no unit."""
    toml = TOML + "[transforms]\nvalue = [{ trailing_minus = true }, { cell_unit = true }]\n"
    text = HEAD + row("Hardness", "10 gpg", "mg/L") + row("Hardness", "< 5 fH")
    text += row("Iron", "50 mg/L") + row("Iron", "50") + row("Temp", "5- F") + row("Iron", "ND")
    text += row("Hardness", "7 quux", "mg/L") + row("Hardness", "7 psi") + row("Temp", "5-")
    parsed = desk.parse("water_tests", text, toml)
    assert told(parsed) == [
        (6, "value", "5- F", "no_bound"),
        (8, "value", "7 quux", "unknown_unit"),
        (9, "value", "7 psi", "unfit_unit"),
    ]
    assert parsed.rows.select("result", "result_below").rows() == [
        (171.18, None),
        (None, 50.0),
        (50.0, None),
        (0.05, None),
        (None, None),
        (-5.0, None),
    ]


def test_a_unit_that_is_unknown_or_does_not_fit_sets_that_row_aside(desk):
    """The other rows of the sample stay; pH has no unit."""
    text = HEAD + row("Hardness", "1", "furlong") + row("Hardness", "1", "psi")
    text += row("pH", "7", "mg/L") + row("Hardness", "80", "ppm")
    parsed = desk.parse("water_tests", text, TOML)
    assert told(parsed) == [
        (2, "unit", "furlong", "unknown_unit"),
        (3, "unit", "psi", "unfit_unit"),
        (4, "unit", "mg/L", "unfit_unit"),
    ]
    assert parsed.rows["result"].to_list() == [80.0]


def test_a_remark_may_say_below_which_limit_a_value_is(desk):
    """`<RL` and `< LOQ` are what laboratories write; `<1` is about something else."""
    told_remarks = ("<RL", "J; <mrl", "< LOQ", "turbidity <1 NTU", "useful", "ndx")
    text = HEAD + "".join(row("Iron", "50", "", q) for q in told_remarks)
    assert desk.parse("water_tests", text, TOML).rows["result_below"].to_list() == [
        *[0.05] * 3,
        *[None] * 3,
    ]


def test_remarks_make_a_value_a_bound(desk):
    """`<`, ND, BDL and U do, in any case; an E does not; the bound is converted."""
    text = HEAD + "".join(row("Iron", "50", "", q) for q in ("<", "nd", "BDL", "u", "E", ""))
    parsed = desk.parse("water_tests", text, TOML)
    assert parsed.rows.select("result", "result_below").rows() == [
        *[(None, 0.05)] * 4,
        *[(0.05, None)] * 2,
    ]


def test_a_mark_among_others_makes_a_bound_too(desk):
    """As a word of its own, that is; no letter of another word does."""
    bounds, values = ("U, J", "ND (RL)", "J;bdl", "< RL"), ("unfiltered", "E,J", "under ice <6C")
    text = HEAD + "".join(row("Iron", "50", "", f'"{mark}"') for mark in bounds + values)
    parsed = desk.parse("water_tests", text, TOML)
    assert parsed.rows.select("result", "result_below").rows() == [
        *[(None, 0.05)] * len(bounds),
        *[(0.05, None)] * len(values),
    ]


def test_non_detects_in_the_value_count_with_and_without_a_remark(desk):
    """`<50` keeps its bound; ND and an empty value are missing, and the row is a record."""
    text = HEAD + row("Iron", "<50") + row("Iron", "< 50", "", "<") + row("Iron", "ND")
    text += row("Iron", "", "", "ND") + row("Iron", "")
    parsed = desk.parse("water_tests", text, TOML)
    assert told(parsed) == []
    assert parsed.rows.select("result", "result_below").rows() == [
        (None, 0.05),
        (None, 0.05),
        *[(None, None)] * 3,
    ]


def test_a_temperature_that_was_not_detected_is_missing(desk):
    """Feeds: `ND` and `BDL` without a bound count as missing, whatever the column."""
    parsed = desk.parse("water_tests", HEAD + row("Temp", "ND") + row("Temp", "bdl"), TOML)
    assert told(parsed) == []
    assert parsed.rows.select("result", "result_below").rows() == [(None, None)] * 2


def test_what_is_no_result_is_set_aside(desk):
    """Text, an ambiguous number, and a non-detect of what has no bound."""
    text = HEAD + row("Iron", "traces") + row("Iron", '"1,234"') + row("Temp", "<5") + row("", "5")
    parsed = desk.parse("water_tests", text, TOML)
    assert told(parsed) == [
        (2, "value", "traces", "result"),
        (3, "value", "1,234", "ambiguous_number"),
        (4, "value", "<5", "no_bound"),
        (5, "analyte", "", "required"),
    ]


def test_an_analyte_that_is_not_mapped_is_a_record_whatever_it_says(desk):
    """It is kept like an extra column, its unit and value unread; it makes no column."""
    text = HEAD + row("Colour", "brown", "shade") + row("pH", "7")
    done = desk.account("water_tests", {"a.csv": text}, TOML)
    assert done.accounts.select("rows_read", "records", "set_aside").rows() == [(2, 2, 0)]
    assert done.records.select("sample", "ph").rows() == [("S1", 7.0)]


def test_a_sample_of_unmapped_analytes_alone_still_has_its_line(desk):
    """The sample is known, its results are not."""
    done = desk.account("water_tests", {"a.csv": HEAD + row("Colour", "brown")}, TOML)
    assert done.records.select("sample", "ph", "source_line").rows() == [("S1", None, 2)]


def test_rows_are_accounted_by_sample_and_analyte(desk):
    """A later result supersedes, the same again is a duplicate, another analyte is neither."""
    text = HEAD + row("pH", "7") + row("pH", "8") + row("Iron", "50") + row("ph", "8.0", "SU")
    text += row("Colour", "red") + row("Colour", "blue")
    done = desk.account("water_tests", {"a.csv": text}, TOML)
    assert dict(done.fates.select("line", "fate").rows()) == {
        2: "superseded",
        3: "duplicate",
        4: "record",
        5: "record",
        6: "superseded",
        7: "record",
    }
    assert done.records.select("ph", "iron_mg_l").rows() == [(8.0, 0.05)]


def test_other_columns_come_from_the_last_row_of_the_sample(desk):
    """Lab, day and source are those of the row that wins last, over all its analytes."""
    early = HEAD + row("pH", "7", day="2026-01-02", lab="OLD") + row("Iron", "<50", lab="OLD")
    late = HEAD + row("Hardness", "80", day="2026-01-03", lab="")
    files = {("b.csv", dt.date(2026, 2, 1)): early, ("a.csv", dt.date(2026, 3, 1)): late}
    for order in (files, dict(reversed(files.items()))):
        record = desk.account("water_tests", order, TOML).records.row(0, named=True)
        assert (record["ph"], record["iron_mg_l_below"]) == (7.0, 0.05)
        assert record["hardness_mg_l_caco3"] == 80.0
        assert (record["lab"], record["sampled_on"]) == (None, dt.date(2026, 1, 3))
        assert (record["source_file"], record["source_line"]) == ("a.csv", 2)


def test_without_a_table_of_analytes_they_go_by_the_columns_names(desk):
    """A file that speaks the feed's names needs no list."""
    text = "sample,site,sampled_on,point,analyte,value\nS1,K,2026-01-02,supply,iron_mg_l,0.1\n"
    done = desk.account("water_tests", {"a.csv": text}, 'layout = "long"')
    assert done.records["iron_mg_l"].to_list() == [0.1]


def test_a_column_of_temperatures_counts_where_no_analyte_is_one(desk):
    """A long file may tell the temperature beside each result."""
    text = "sample,site,sampled_on,point,analyte,value,temperature_c\n"
    text += "S1,K,2026-01-02,supply,ph,7,18.5\n"
    toml = 'layout = "long"\n[analytes]\nph = "ph"'
    assert (
        desk.account("water_tests", {"a.csv": text}, toml).records["temperature_c"].item() == 18.5
    )


def test_a_result_is_corrected_alone(desk):
    """By the feed's column of its analyte, also under another one, and where it was no value."""
    text = HEAD + row("Hardness", "80") + row("pH", "seven") + row("Iron", "50", "ug/L")
    mapping = desk.mapping("water_tests", TOML)
    reading = desk.reading(text)
    plain = contents_of("water_tests", reading, mapping, ZONE, Place("lab.csv"))
    told_of = [dict(one.texts) for one in plain]
    assert [one["analyte"] for one in told_of] == ["hardness_mg_l_caco3", "ph", "iron_mg_l"]
    assert (told_of[1]["ph"], plain[1].unsound) == ("seven", ("ph",))
    values = [
        {"hardness_mg_l_caco3": "8", "lab": "L2"},
        {"ph": "7"},
        {"iron_mg_l": "", "chloride_mg_l": "<3"},
    ]
    made = [
        Correction(number, "water_tests", one.texts, one.unsound, changed)
        for number, (one, changed) in enumerate(zip(plain, values, strict=True), start=1)
    ]
    parsed = parse_file("water_tests", reading, mapping, ZONE, corrections=made)
    assert told(parsed) == []
    assert parsed.rows.select("lab", "analyte", "result", "result_below").rows() == [
        ("L2", "hardness_mg_l_caco3", 8.0, None),
        ("L", "ph", 7.0, None),
        ("L", "chloride_mg_l", None, 3.0),
    ]
    assert parsed.corrected.rows() == [(2, 1), (3, 2), (4, 3)]
    untouched = parse_file("water_tests", reading, mapping, ZONE, corrections=made[:1])
    assert told(untouched) == [(3, "value", "seven", "result")]


@pytest.mark.parametrize(
    ("result", "unit", "expected"),
    [
        ("100", "", 82.016),
        ("100", "mg/L", 82.016),
        ("100000", "ug/L", 82.016),
        ("100", "mg/L as CaCO3", 100.0),
    ],
)
def test_a_basis_counts_where_the_unit_does_not_say_it(desk, result, unit, expected):
    """Alkalinity told as bicarbonate is 0.82016 of that as calcium carbonate."""
    basis = '"Alk" = { column = "alkalinity_mg_l_caco3", basis = "HCO3" }\n[units]'
    toml = TOML.replace("[units]", basis)
    parsed = desk.parse("water_tests", HEAD + row("Alk", result, unit), toml)
    assert told(parsed) == []
    assert parsed.rows["result"].to_list() == [pytest.approx(expected, abs=0.001)]
