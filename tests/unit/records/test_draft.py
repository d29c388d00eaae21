"""Drafted mappings: three exports with other habits, whose drafts make every row a record.

The exports are invented. Each has its own way of naming, dating and abbreviating.
"""

import tomllib

import pytest

from pipelines.errors import UsageError
from pipelines.exports.reading import refuse
from pipelines.records.draft import draft_mapping

REGISTER = """S/N,Mdl,Ship Dt.,Date Sold,Instl. Date,Cust. No.,Customer,ST,ZIP,Route
sk 001,SK-2,01/15/2024,02/03/2024,02/25/2024,K1,Harbor Kitchen,us-or,97201,4
sk 002,SK-2,01/31/2024,03/04/2024,,K2,Mill School,us-wa,98101,4
sk 003,BE-3,02/07/2024,03/30/2024,04/09/2024,K3,"Reed, Inn",us-or,97202,7
"""
CALLS = """JobNo;WarrantyClaim;MachineSerial;JobType;DateOpened;BrokeDownOn;Closed;ClaimFiled;\
ServiceCo;DoneBy;FaultCode;PartReplaced;Parts;Hrs;HourlyRate;Travel;Comments
J1;C1;A-1;Rep.;03.02.2024;01.02.2024;25.02.2024;26.02.2024;N;Tech;SCALE;valve;1.234,50;1,5;90,00;25,00;
J2;;A-2;Repl.;04.02.2024;;05.02.2024;;N;Customer;;;;;;;
J3;;A-3;Descaling;14.02.2024;;15.02.2024;;N;Tech;;;;0,75;90,00;;all well
"""
RESULTS = """lab_nr|station|date_taken|sample_point|parameter|result|uom|qualifier
10|K1|5-Jan-24|Raw|Hardness, total|8,5|gpg|
10|K1|5-Jan-24|Raw|pH (lab)|7,2||
10|K1|5-Jan-24|Raw|Chlorine, free|0,05|mg/L|<
10|K1|5-Jan-24|Raw|Turbidity|1,5|NTU|
11|K2|17-Feb-24|Softened|Hardness, total|<1|gpg|
11|K2|17-Feb-24|Softened|Iron|120|ug/L|
"""


def applied(desk, feed, text):
    """The draft of a text, and what the text is under it."""
    draft = draft_mapping(feed, desk.reading(text))
    return draft, desk.account(feed, {f"{feed}.csv": text}, draft)


def test_a_register_with_american_dates_and_abbreviations(desk):
    """S/N, Mdl, Dt., Instl. and ST are understood, and the dates by those past the twelfth."""
    draft, done = applied(desk, "units", REGISTER)
    told = tomllib.loads(draft)
    assert told["dates"] == ["%m/%d/%Y"]
    assert told["columns"] == {
        "serial": "S/N",
        "model": "Mdl",
        "shipped_on": "Ship Dt.",
        "purchased_on": "Date Sold",
        "installed_on": "Instl. Date",
        "site": "Cust. No.",
        "site_name": "Customer",
        "region": "ST",
        "postal_code": "ZIP",
    }
    assert done.set_aside.is_empty()
    assert [str(day) for day in done.records["purchased_on"]] == [
        "2024-02-03",
        "2024-03-04",
        "2024-03-30",
    ]
    assert 'the name is like "serial number"' in draft
    assert '"Route"' in draft
    assert "%d/%m/%Y would read 3 rows (lines 2, 3, 4) as other days" in draft


def test_calls_in_capital_words_with_decimal_commas_and_short_kinds(desk):
    """Words run together, semicolons, dotted dates, and kinds that need translations."""
    draft, done = applied(desk, "service_calls", CALLS)
    told = tomllib.loads(draft)
    assert told["decimal"] == ","
    assert told["dates"] == ["%d.%m.%Y"]
    assert told["values"] == {
        "kind": {"Rep.": "repair", "Repl.": "cartridge_change", "Descaling": "delime"},
        "performed_by": {"Tech": "technician", "Customer": "owner"},
    }
    assert done.set_aside.is_empty()
    first = done.records.row(0, named=True)
    assert (str(first["parts_amount"]), str(first["labor_hours"])) == (
        "1234.500000",
        "1.5000000000",
    )
    assert (str(first["failed_on"]), str(first["claimed_on"])) == ("2024-02-01", "2024-02-26")


def test_a_long_laboratory_file_with_month_names(desk):
    """One row an analyte is noticed; analytes, points and the decimal comma are mapped."""
    draft, done = applied(desk, "water_tests", RESULTS)
    told = tomllib.loads(draft)
    assert told["layout"] == "long"
    assert told["analytes"] == {
        "Hardness, total": "hardness_mg_l_caco3",
        "pH (lab)": "ph",
        "Chlorine, free": "free_chlorine_mg_l",
        "Iron": "iron_mg_l",
    }
    assert '# "Turbidity" = …  # no analyte of the feed, 1 row' in draft
    assert done.set_aside.is_empty()
    first, second = done.records.rows(named=True)
    assert (first["hardness_mg_l_caco3"], first["ph"]) == (145.503, 7.2)
    assert (first["free_chlorine_mg_l_below"], first["point"]) == (0.05, "supply")
    assert (second["hardness_mg_l_caco3_below"], second["iron_mg_l"]) == (17.118, 0.12)
    assert (str(second["sampled_on"]), second["point"]) == ("2024-02-17", "treated")


def test_dates_that_two_formats_read_are_left_to_a_person(desk):
    """Both formats are proposed, with the rows that differ; neither is applied."""
    text = "serial,model,Ship Date\nA,SK-2,03/04/2024\nB,SK-2,05/06/2024\nC,SK-2,07/07/2024\n"
    draft = draft_mapping("units", desk.reading(text))
    assert "dates" not in tomllib.loads(draft)
    assert "both read all of these dates, but 2 rows (lines 2, 3) as different days" in draft
    assert '# dates = ["%m/%d/%Y"]\n# dates = ["%d/%m/%Y"]' in draft
    assert "# by their own names: serial, model" in draft


def test_numbers_that_two_marks_read_are_left_to_a_person(desk):
    """`1,234` alone may be thousands or a fraction."""
    text = 'report,serial,Static Pressure\n1,A,"1,234"\n2,A,"2,345"\n'
    draft = draft_mapping("startups", desk.reading(text))
    assert "decimal" not in tomllib.loads(draft)
    assert '# decimal = ","' in draft
    assert '# thousands = ","' in draft


def test_units_come_from_names_and_are_only_proposed_from_size(desk):
    """`(gpg)` and `degF` are told by the header; warm water without a unit may be in °F."""
    head = "sample,site,point,sampled_on,Total Hardness (gpg),Cond. mS/cm,Water Temp\n"
    text = head + "1,K,supply,2024-01-02,8,0.5,61\n2,K,supply,2024-01-02,9,0.6,63\n"
    draft = draft_mapping("water_tests", desk.reading(text))
    assert tomllib.loads(draft)["units"] == {
        "hardness_mg_l_caco3": "gpg",
        "conductivity_us_cm": "mS/cm",
    }
    assert '# temperature_c = "F"  # perhaps: half of the values are below 62' in draft


def test_what_no_header_holds_is_proposed_as_a_constant(desk):
    """Every row needs a sampling point; the draft says so and names the words."""
    text = "sample,site,sampled_on,ph\n1,K,2024-01-02,7\n"
    draft = draft_mapping("water_tests", desk.reading(text))
    assert '# point = "supply"  # every row needs it and no header looks like it' in draft
    assert "one of supply, treated" in draft
    assert tomllib.loads(draft)["constants"] == {}


def test_a_word_that_is_like_none_waits_for_a_translation(desk):
    """It is not guessed."""
    text = "call,serial,kind,opened_on\n1,A,repair,2024-01-02\n2,A,Zzyzx,2024-01-02\n"
    draft = draft_mapping("service_calls", desk.reading(text))
    assert '# "Zzyzx" = "…"  # 1 row, set aside until translated' in draft


def test_names_from_outside_cannot_break_the_draft(desk):
    """Quotes, line breaks, brackets and signs in a header are text, also in a comment."""
    text = '"Serial ""No""\n[x]",model,shipped_on,"a = 1\n[columns]"\nA,SK-2,2024-01-02,\n'
    draft = draft_mapping("units", desk.reading(text))
    assert tomllib.loads(draft)["columns"] == {"serial": 'Serial "No"\n[x]'}


def test_a_file_that_needs_no_mapping_gets_an_empty_one(desk):
    """Its own names, dates and marks need no line."""
    draft, done = applied(desk, "units", "serial,model,shipped_on\nA,SK-2,2024-01-02\n")
    assert tomllib.loads(draft) == {"columns": {}}
    assert done.records.height == 1


@pytest.mark.parametrize("text", ["serial,model\n", "x\n", "serial,serial\nA,B\n"])
def test_a_draft_is_always_a_toml_file(desk, text):
    """Also of a file without rows, known names or distinct ones."""
    draft = draft_mapping("units", desk.reading(text))
    tomllib.loads(draft)
    assert draft.startswith("# A draft of mappings/units.toml")


def test_a_file_that_cannot_be_read_gives_no_draft():
    """The reader's reason is the answer."""
    with pytest.raises(UsageError) as caught:
        draft_mapping("units", refuse("empty_file", "The file is empty."))
    assert str(caught.value) == "No mapping can be drafted from this file. The file is empty."
