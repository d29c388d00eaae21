"""Drafted mappings: exports with other habits, what is taken, what waits for a person, and why.

The exports are invented. Each has its own way of naming, dating and abbreviating. With version 2 of
the contract a draft names its feed and files, and what only a person can tell is a question.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal

import polars as pl
import pytest
import xlsxwriter

from pipelines.assist.drafts.drafting import Source, draft_file
from pipelines.assist.drafts.file_patterns import sheet_patterns
from pipelines.assist.drafts.files import found_tables
from pipelines.assist.drafts.known import Known
from pipelines.assist.drafts.names import likeness
from pipelines.assist.drafts.plain_names import plain_words
from pipelines.assist.drafts.units import unit_in_name
from pipelines.assist.drafts.writing import mapping_of
from pipelines.errors import UsageError
from pipelines.exports.limits import Limits
from pipelines.records.feed_file import parse_file

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
CALL_HEAD = "Call No,Kind of work,Opened,"


@pytest.fixture
def drafted(tmp_path):
    """Drafts a text: the first draft as data, with `told`, its active lines, and `parsed` rows."""

    def draft(text: str, *, name: str = "export.csv", feed: str | None = None, known=None) -> dict:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8", newline="")
        tables = found_tables(path, Limits())
        made = draft_file(Source(name), tables, known or Known(), feed)
        first = made.drafts[0].to_dict()
        mapping = mapping_of(first["feed"], first["toml"])
        parsed = parse_file(first["feed"], tables[0].reading, mapping, "America/Denver")
        columns = {column["column"]: column for column in first["columns"]}
        told = tomllib.loads(first["toml"])
        return {
            **first,
            "feeds": made.feeds,
            "told": told,
            "parsed": parsed,
            "by_column": columns,
            "active": {c: v["headers"][0] for c, v in columns.items() if v["state"] == "active"},
        }

    return draft


def test_a_register_with_american_dates_and_abbreviations(drafted):
    """S/N, Mdl, Dt., Instl. and ST are understood, and the dates by those past the twelfth."""
    draft = drafted(REGISTER)
    assert draft["feed"] == "units"
    assert draft["dates"] == draft["told"]["dates"] == ["%m/%d/%Y"]
    assert draft["told"]["columns"] == {
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
    assert draft["unused"] == ["Route"]
    assert draft["parsed"].set_aside.is_empty()
    days = draft["parsed"].rows["purchased_on"]
    assert [str(day) for day in days] == ["2024-02-03", "2024-03-04", "2024-03-30"]
    assert "%d/%m/%Y would read 3 rows (lines 2, 3, 4) as other days" in draft["toml"]


def test_calls_in_capital_words_with_decimal_commas_and_short_kinds(drafted):
    """Words run together, semicolons, dotted dates, and kinds that need translations."""
    draft = drafted(CALLS)
    told = draft["told"]
    assert told["decimal"] == ","
    assert told["dates"] == ["%d.%m.%Y"]
    assert told["values"] == {
        "kind": {"Rep.": "repair", "Repl.": "cartridge_change", "Descaling": "delime"},
        "performed_by": {"Tech": "technician", "Customer": "owner"},
    }
    assert draft["parsed"].set_aside.is_empty()
    first = draft["parsed"].rows.row(0, named=True)
    assert str(first["parts_amount"]) == "1234.500000"
    assert str(first["labor_hours"]) == "1.5000000000"
    assert (str(first["failed_on"]), str(first["claimed_on"])) == ("2024-02-01", "2024-02-26")


def test_a_long_laboratory_file_with_month_names(drafted):
    """One row an analyte is noticed; analytes, points and the decimal comma are mapped."""
    draft = drafted(RESULTS)
    assert (draft["layout"], draft["told"]["layout"]) == ("long", "long")
    assert draft["told"]["analytes"] == {
        "Hardness, total": "hardness_mg_l_caco3",
        "pH (lab)": "ph",
        "Chlorine, free": "free_chlorine_mg_l",
        "Iron": "iron_mg_l",
    }
    assert draft["parsed"].set_aside.is_empty()
    rows = draft["parsed"].rows.to_dicts()
    assert rows[0]["result"] == 145.503
    assert rows[4]["result_below"] == 17.118
    assert rows[5]["result"] == 0.12
    assert [row["point"] for row in rows] == ["supply"] * 4 + ["treated"] * 2


def test_dates_that_two_formats_read_are_left_to_a_person(drafted):
    """Both formats are proposed, with the rows that differ; neither is applied, and it is asked."""
    draft = drafted(
        "serial,model,Ship Date\nAB-1,SK-2,03/04/2024\nAB-2,SK-2,05/06/2024\nAB-3,SK-2,07/07/2024\n"
    )
    assert "dates" not in draft["told"]
    assert draft["by_column"]["shipped_on"]["state"] == "perhaps"
    (question,) = draft["questions"]
    assert question["about"] == "shipped_on"
    assert "2 rows as different days" in question["question"]
    assert '# dates = ["%m/%d/%Y"]' in draft["toml"]
    assert '# dates = ["%d/%m/%Y"]' in draft["toml"]
    assert "# by their own names: serial, model" in draft["toml"]


def test_two_columns_of_dates_in_two_forms_have_each_its_own_step(drafted):
    """Together the forms would leave days ambiguous; each alone reads its column."""
    rows = "".join(f"AB-{d},SK-2,{d:02d}/02/2024,03/{d:02d}/2024\n" for d in range(1, 29))
    draft = drafted("serial,model,Ship Date,Purchase Date\n" + rows)
    assert draft["told"]["transforms"] == {
        "shipped_on": [{"date": ["%d/%m/%Y"]}],
        "purchased_on": [{"date": ["%m/%d/%Y"]}],
    }
    assert draft["parsed"].set_aside.is_empty()
    assert str(draft["parsed"].rows["shipped_on"][4]) == "2024-02-05"
    assert str(draft["parsed"].rows["purchased_on"][4]) == "2024-03-05"


def test_numbers_that_two_marks_read_are_left_to_a_person(drafted):
    """`1,234` alone may be thousands or a fraction."""
    draft = drafted(
        'report,serial,Static Pressure\nR1,AB1,"1,234"\nR2,AB2,"2,345"\n', feed="startups"
    )
    assert "decimal" not in draft["told"]
    assert '# decimal = ","' in draft["toml"]
    assert '# thousands = ","' in draft["toml"]
    assert "decimal" in [question["about"] for question in draft["questions"]]


def test_units_come_from_names_and_are_only_proposed_from_size(drafted):
    """`(gpg)` and `mS/cm` are told by the header; warm water without a unit may be in °F."""
    head = "sample,site,point,sampled_on,Total Hardness (gpg),Cond. mS/cm,Water Temp\n"
    draft = drafted(
        head + "L1,K,supply,2024-01-02,8,0.5,61\nL2,K,supply,2024-01-02,9,0.6,63\n",
        feed="water_tests",
    )
    assert draft["told"]["units"] == {"hardness_mg_l_caco3": "gpg", "conductivity_us_cm": "mS/cm"}
    assert '# temperature_c = "F"  # perhaps: tap water is not so warm in °C' in draft["toml"]
    assert draft["by_column"]["temperature_c"]["state"] == "perhaps"


@pytest.mark.parametrize(
    ("header", "state"),
    [
        ("Calcium (mg/L)", "perhaps"),
        ("Calcium", "perhaps"),
        ("Calcium mg/L as CaCO3", "active"),
        ("calcium_mg_l_caco3", "active"),
    ],
)
def test_nobody_guesses_what_calcium_is_expressed_as(drafted, header, state):
    """Plain mg/L may be of calcium or of calcium carbonate, which is 2.4973 times as much."""
    head = f"sample,site,point,sampled_on,ph,{header}\n"
    rows = "".join(f"L{n},K,supply,2024-01-02,7,{40 + n}\n" for n in range(5))
    draft = drafted(head + rows, feed="water_tests")
    assert draft["by_column"]["calcium_mg_l_caco3"]["state"] == state
    asked = [question["about"] for question in draft["questions"]]
    assert ("calcium_mg_l_caco3" in asked) == (state == "perhaps")


def test_what_no_header_holds_is_proposed_as_a_constant(drafted):
    """Every row needs a sampling point; the draft says so and names the words."""
    draft = drafted("sample,site,sampled_on,ph\nL1,K,2024-01-02,7\n")
    assert '# point = "supply"  # every row needs it and no header looks like it' in draft["toml"]
    assert "one of supply, treated" in draft["toml"]
    assert draft["missing"] == ["point"]
    assert draft["told"]["constants"] == {}


def test_a_word_that_is_like_none_waits_for_a_translation(drafted):
    """It is not guessed."""
    draft = drafted(
        "call,serial,kind,opened_on\n1,A,repair,2024-01-02\n2,A,Zzyzx,2024-01-02\n",
        feed="service_calls",
    )
    assert '# Zzyzx = "…"  # 1 row, set aside until translated' in draft["toml"]
    assert {"column": "kind", "written": "Zzyzx", "means": "", "state": "perhaps", "rows": 1} in (
        draft["values"]
    )


def test_names_from_outside_cannot_break_the_draft(drafted):
    """Quotes, line breaks, brackets and signs in a header are text, also in a comment."""
    draft = drafted(
        '"Serial ""No""\n[x]",model,shipped_on,"a = 1\n[columns]"\nAB1,SK-2,2024-01-02,\n',
        feed="units",
    )
    assert draft["told"]["columns"] == {"serial": 'Serial "No"\n[x]'}


def test_a_file_that_needs_no_mapping_gets_one_without_columns(drafted):
    """Its own names, dates and marks need no line; they are told all the same."""
    draft = drafted("serial,model,shipped_on\nAB1,SK-2,2024-01-02\n", name="units.csv")
    assert draft["told"] == {"feed": "units", "files": ["**/units.csv"], "columns": {}}
    assert draft["active"] == {"serial": "serial", "model": "model", "shipped_on": "shipped_on"}
    assert draft["parsed"].rows.height == 1


@pytest.mark.parametrize("text", ["serial,model\n", "x\n", "serial,serial\nA,B\n"])
def test_a_draft_is_always_a_toml_file(drafted, text):
    """Also of a file without rows, known names or distinct ones."""
    assert drafted(text, feed="units")["toml"].startswith("# A draft of a mapping for units")


def test_a_file_that_cannot_be_read_gives_no_draft(drafted):
    """The reader's reason is the answer."""
    with pytest.raises(UsageError, match=r"No mapping can be drafted from .* The file is empty"):
        drafted("")


def test_a_constant_column_is_no_key_whatever_it_is_called(drafted):
    """A hundred rows of one number are not a hundred calls."""
    rows = "".join(f"4711,Repair,2024-01-{d:02d},AB00{d:02d}\n" for d in range(1, 29))
    draft = drafted(CALL_HEAD + "Serial No\n" + rows)
    assert draft["by_column"]["call"]["state"] == "perhaps"
    assert "every row has the same value" in draft["by_column"]["call"]["reason"]


def test_a_key_that_repeats_waits(drafted):
    """Calls of one number would replace each other."""
    rows = "".join(f"C{d // 4},Repair,2024-01-{d:02d},AB00{d:02d}\n" for d in range(1, 29))
    draft = drafted(CALL_HEAD + "Serial No\n" + rows)
    assert draft["by_column"]["call"]["state"] == "perhaps"
    assert "stand there again" in draft["by_column"]["call"]["reason"]


def test_a_price_is_no_serial(drafted):
    """Never taken, and neither are serials none of which the register has."""
    known = Known({"serial": pl.Series([f"{n:07d}" for n in range(100, 180)])})
    rows = "".join(f"C{d},Repair,2024-01-{d:02d},{d * 37}.{d:02d}\n" for d in range(1, 29))
    draft = drafted(CALL_HEAD + "Serial No\n" + rows, known=known)
    assert "serial" not in draft["active"]
    strange = "".join(f"C{d},Repair,2024-01-{d:02d},ZZ{d:05d}\n" for d in range(1, 29))
    draft = drafted(CALL_HEAD + "Serial No\n" + strange, known=known)
    assert draft["by_column"]["serial"]["state"] == "perhaps"
    assert "none of the values is on the register" in draft["by_column"]["serial"]["reason"]


def test_lost_zeros_are_put_back_by_a_step(drafted):
    """Of serials of seven digits a spreadsheet left fewer; the register shows it."""
    known = Known({"serial": pl.Series([f"{n:07d}" for n in range(100, 180)])})
    rows = "".join(f"C{d},Repair,2024-01-{d:02d},{100 + d}\n" for d in range(1, 29))
    draft = drafted(CALL_HEAD + "Serial No\n" + rows, known=known)
    assert draft["by_column"]["serial"]["steps"] == [{"pad": 7}]
    assert draft["active"]["serial"] == "Serial No"
    assert draft["parsed"].rows["serial"].to_list() == [f"{100 + d:07d}" for d in range(1, 29)]


def test_several_serials_in_a_cell_are_a_question(drafted):
    """Rows are split only where a person says so, with a key that tells the parts apart."""
    known = Known({"serial": pl.Series([f"{n:07d}" for n in range(100, 180)])})
    rows = "".join(f"C{d},Repair,2024-01-{d:02d},{100 + d:07d}\n" for d in range(1, 25))
    rows += "C30,Repair,2024-01-30,0000101; 0000102\nC31,Repair,2024-01-31,0000103; 0000104\n"
    draft = drafted(CALL_HEAD + "Serial No\n" + rows, known=known)
    assert "2 rows hold several codes" in draft["questions"][0]["question"]
    assert '# serial = [{ split = [";"] }]' in draft["toml"]
    assert '# call = { join = ["Call No", "#part"], with = "-" }' in draft["toml"]


def test_other_marks_in_codes_are_one_step(drafted):
    """Where a known site has a dash, and the export a blank, no alias a site is needed."""
    sites = [f"K-{number:05d}" for number in range(400, 420)]
    written = [site.replace("-", " ") for site in sites]
    rows = "".join(f"{n},{site},supply,2024-01-02\n" for n, site in enumerate(written))
    told = drafted(
        f"sample,Site No.,point,sampled_on\n{rows}", known=Known({"site": pl.Series(sites)})
    )
    assert told["told"]["transforms"]["site"] == [{"replace": [" ", "-"]}]
    assert told["parsed"].rows["site"].to_list() == sites


def test_a_word_in_front_of_serials_is_taken_off(drafted):
    """`SN` and a colon are no part of the number; zeros that were lost come back as well."""
    known = Known({"serial": pl.Series([f"{n:07d}" for n in range(100, 180)])})
    rows = "".join(f"C{d},Repair,2024-01-{d:02d},SN: {100 + d}\n" for d in range(1, 29))
    draft = drafted(CALL_HEAD + "Serial No\n" + rows, known=known)
    assert draft["by_column"]["serial"]["steps"] == [{"remove": ["SN:"]}, {"pad": 7}]
    assert draft["parsed"].rows["serial"].to_list() == [f"{100 + d:07d}" for d in range(1, 29)]


def test_a_header_that_is_wholly_named_is_told_whatever_stands_below(drafted):
    """It waits, with what is odd about its values, and is not called missing."""
    head = "Claim,Decided At,Decided By,Decision,Comment\n"
    rows = "".join(f"W{n},2024-01-02T10:00,Jo,Denied,ok\n" for n in range(12))
    columns = drafted(head + rows)["by_column"]
    assert columns["ruled_by"]["headers"] == ["Decided By"]
    assert columns["reason"]["headers"] == ["Comment"]
    assert columns["ruled_by"]["state"] == "perhaps"


def test_regions_in_another_form_wait(drafted):
    """Taken as they are, every row would be set aside."""
    rows = "".join(f"SK{n:04d},SK-2,2024-01-02,{'CO' if n % 2 else 'UT'}\n" for n in range(12))
    told = drafted(f"serial,model,shipped_on,ST\n{rows}")["by_column"]["region"]
    assert told["state"] == "perhaps"
    assert "[values.region]" in told["reason"]


def test_headers_that_differ_in_brackets_alone_are_told_apart(drafted):
    """What stands there is a word of the name, and no unit."""
    head = "report,serial,requested_on,Water pressure (static) psi,Water pressure (flowing) psi\n"
    rows = "".join(f"{n},A{n},2024-01-02,{60 + n},{40 + n}\n" for n in range(9))
    columns = drafted(head + rows)["by_column"]
    for column in ("static_pressure_psi", "flowing_pressure_psi"):
        (header,) = columns[column]["headers"]
        assert column.partition("_")[0] in header
        assert columns[column]["state"] == "active"


def test_two_headers_that_could_change_places_wait(drafted):
    """Which of the two is which only a person can tell."""
    head = "report,serial,requested_on,Water pressure A psi,Water pressure B psi\n"
    rows = "".join(f"{n},A{n},2024-01-02,{40 + n},{40 + n}\n" for n in range(9))
    columns = drafted(head + rows)["by_column"]
    told = [columns[name]["state"] for name in columns if name.endswith("pressure_psi")]
    assert told
    assert set(told) == {"perhaps"}


def test_cells_with_units_signs_and_spreadsheet_days_get_their_steps(drafted):
    """Each step says why and for how many rows, and the rows are then read."""
    head = "Report No,Serial No,Completed,Drain Air Gap,Water Temperature,Level\n"
    rows = "".join(f'R{n},AB{n:04d},{45292 + n},"{n / 10 + 1}""",{50 + n} F,OK\n' for n in range(9))
    draft = drafted(head + rows + "R9,AB0009,45301,N/A,61 F,OK\n", feed="startups")
    steps = {column: told["steps"] for column, told in draft["by_column"].items() if told["steps"]}
    assert steps == {
        "completed_on": [{"excel_date": 1900}],
        "drain_air_gap_in": [{"empty": ["n/a"]}, {"cell_unit": True}],
        "supply_temperature_f": [{"cell_unit": True}],
    }
    assert draft["parsed"].set_aside.is_empty()
    assert str(draft["parsed"].rows["completed_on"][0]) == "2024-01-01"
    assert draft["parsed"].rows["drain_air_gap_in"].to_list()[:2] == [1.0, 1.1]


def test_titles_totals_and_repeated_headers_are_no_data(drafted):
    """The header is found below titles; totals and a header that comes again are left out."""
    body = "".join(f"AB{n:03d};SK-2;2024-01-{n:02d}\n" for n in range(1, 20))
    more = body.replace("AB0", "AC0")
    head = "Serial No.;Model;Shipped\n"
    draft = drafted(f"Register of units;;\nas of 31 March;;\n\n{head}{body}{head}{more}Total;;38\n")
    assert draft["header_line"] == 4
    left = {entry["reason"]: entry for entry in draft["leave_out"]}
    assert left["totals"]["first_cell"] == ["Total"]
    assert (left["the header again"]["header"], left["the header again"]["rows"]) == (
        "Serial No.",
        1,
    )
    assert draft["parsed"].left_out.height == 2


def test_feeds_are_ranked_by_what_the_headers_and_values_say(drafted):
    """All feeds are told, best first, each with a score from 0 to 1."""
    feeds = drafted(CALLS)["feeds"]
    assert feeds[0][0] == "service_calls"
    assert len(feeds) == 7
    assert all(0 <= score <= 1 for _, score in feeds)
    assert [score for _, score in feeds] == sorted((s for _, s in feeds), reverse=True)


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("Seriennr.", ("serial", "number")),
        ("N° de série", ("number", "serial")),
        ("SERNR", ("serial", "number")),
        ("Prüfbericht", ("report",)),
        ("Pruefbericht", ("report",)),
        ("clmRcvdDt", ("claim", "received", "date")),
        ("Total Hardness (gpg)", ("total", "hardness")),
    ],
)
def test_names_in_three_languages_become_plain_words(header, words):
    """Case, accents, compounds, abbreviations and units aside."""
    assert plain_words(header) == words


def test_likeness_tells_columns_apart():
    """A name is most like its own column, whole words count more than numbers and dates."""
    assert likeness("service_calls", "claimed_on", "Claim Received") == 1.0
    assert likeness("service_calls", "claim", "Claim Received") < 0.8
    assert likeness("service_calls", "serial", "Unit Price") < 0.7
    assert likeness("units", "site_name", "Route") == 0.0


def test_footers_with_stars_do_not_leave_everything_out(drafted):
    """`*` stands for anything, so a footer is named by its first word."""
    body = "".join(f"AB{n:03d},SK-2,2024-01-{n:02d}\n" for n in range(1, 20))
    draft = drafted(f"Serial No,Model,Shipped\n{body}*** Ende der Liste ***,,\n")
    (left,) = draft["leave_out"]
    assert (left["first_cell"], left["rows"]) == (["*Ende*"], 1)
    assert draft["parsed"].left_out.height == 1
    assert draft["parsed"].rows.height == 19


def test_results_that_found_nothing_and_credits_below_zero_get_their_steps(drafted):
    """`n.n.` is a non-detect; a credit that every row writes below zero is turned."""
    head = "Sample No,Site,Point,Sampled,Iron (mg/L)\n"
    rows = "".join(f"L{n},K{n},supply,2024-01-{n:02d},0.{n}\n" for n in range(1, 9))
    draft = drafted(head + rows + "L9,K9,supply,2024-01-09,n.n.\n", feed="water_tests")
    assert draft["by_column"]["iron_mg_l"]["steps"] == [{"replace": ["n.n.", "ND"]}]
    assert draft["parsed"].rows.height == 9
    head = "Claim No,Posting Date,Parts\n"
    rows = "".join(f'C{n},2024-01-{n:02d},"1.{n:03d},50-"\n' for n in range(1, 9))
    draft = drafted(head + rows, feed="credits")
    steps = draft["by_column"]["parts_amount"]["steps"]
    assert steps == [{"trailing_minus": True}, {"negate": True}]
    assert str(draft["parsed"].rows["parts_amount"][0]) == "1001.500000"


def test_amounts_in_parentheses_are_below_zero(drafted):
    """As books write them, also with a sign of money inside; all rows load, none is guessed."""
    head = "Claim No,Posting Date,Parts,Labor\n"
    rows = "".join(f'C{n},2024-01-{n:02d},"{n},234.50",{n}.25\n' for n in range(1, 9))
    back = 'C9,2024-01-09,"(1,234.50)",($3.75)\n'
    draft = drafted(head + rows + back, feed="credits")
    minus = [{"replace": ["(", "-"]}, {"remove": [")"]}]
    assert draft["by_column"]["parts_amount"]["steps"] == minus
    assert draft["by_column"]["labor_amount"]["steps"] == [{"remove": ["$"]}, *minus]
    loaded = draft["parsed"].rows
    assert loaded.height == 9
    assert loaded.select("parts_amount", "labor_amount").row(-1) == (
        Decimal("-1234.50"),
        Decimal("-3.75"),
    )


def test_sheets_of_one_form_are_one_draft_and_a_legend_is_left_out(tmp_path):
    """Titles above the header, days as cells; a sheet of explanations is named with its rows."""
    path = tmp_path / "startups register.xlsx"
    with xlsxwriter.Workbook(path) as book:
        for year in (2023, 2024):
            sheet = book.add_worksheet(f"Forms {year}")
            sheet.write_row(0, 0, [f"Start-ups {year}"])
            sheet.write_row(
                2, 0, ["Form No", "Serial No", "Completed", "Agency", "Static Pressure"]
            )
            for n in range(12):
                row = [f"F{year}-{n}", f"AB{n:04d}", f"{year}-02-{n + 1:02d}", "N", f"{40 + n} psi"]
                sheet.write_row(3 + n, 0, row)
        book.add_worksheet("Legend").write_row(0, 0, ["N", "north"])
    source = Source(path.name, path.name, "startups")
    made = draft_file(source, found_tables(path, Limits()), Known())
    (draft,) = [one.to_dict() for one in made.drafts]
    assert (draft["feed"], draft["sheets"]) == ("startups", ["Forms 2023", "Forms 2024"])
    assert (draft["header_line"], draft["rows"]) == (3, 24)
    assert {"sheets": ["Legend"], "reason": "a sheet of explanations"}.items() <= {
        name: draft["leave_out"][0][name] for name in ("sheets", "reason")
    }.items()
    told = {column["column"]: column["state"] for column in draft["columns"]}
    assert told["serial"] == told["report"] == told["static_pressure_psi"] == "active"


@pytest.mark.parametrize(
    ("names", "others", "patterns"),
    [
        (["Orders 2024", "Orders 2025"], ["Legend"], ["Orders 20*"]),
        (["2024", "2025", "Extra"], [], ["20*", "Extra"]),
        (["Orders 2024", "Orders 2025"], ["Orders 2023 old"], ["Orders 2024", "Orders 2025"]),
        (["Orders 2024", "Orders 2025"], ["orders 2099"], ["Orders 2024", "Orders 2025"]),
        (["Orders 2024", "Closed"], [], ["Orders 2024", "Closed"]),
        (["Line 20241", "Line 20242"], [], ["Line 20241", "Line 20242"]),
        (["Open? 2024", "Open? 2025"], [], ["Open? 20*"]),
    ],
)
def test_sheets_of_several_years_are_named_as_the_next_one_will_be(names, others, patterns):
    """Next January's sheet is read too; a pattern is for no sheet of other headers."""
    assert sheet_patterns(names, others) == patterns


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("Erled. am", ("completed", "date")),
        ("Karb.-Härte [°dH]", ("carbonate", "hardness")),
        ("GarAntr.-Nr.", ("warranty", "claim", "number")),
        ("Ver. 2", ("ver", "2")),
        ("T° eau", ("temperature", "water")),
        ("T Wasser °C", ("temperature", "water")),
        ("T 2", ("t", "2")),
        ("P. dyn. (bar)", ("pressure", "flowing")),
        ("P. Nr.", ("p", "number")),
    ],
)
def test_words_that_a_dot_cuts_off_and_letters_that_stand_for_a_quantity(header, words):
    """Read as most known words with that beginning mean; a letter alone says nothing."""
    assert plain_words(header) == words


@pytest.mark.parametrize(
    ("column", "header", "unit"),
    [
        ("calcium_mg_l_caco3", "calcium_mg_l_Ca", "mg/l Ca"),
        ("hardness_mg_l_caco3", "TH_degF", "degF"),
        ("hardness_mg_l_caco3", "Härte °f", "°f"),
        ("conductivity_us_cm", "cond_25C_uS_cm", "uS/cm"),
        ("iron_mg_l", "fer_total_ug_l", "ug/l"),
        ("temperature_c", "temp_degF", "degF"),
        ("chloride_mg_l", "chlorures", None),
    ],
)
def test_units_in_short_names_need_no_slash(column, header, unit):
    """A fraction is two words there, and degrees of hardness are not those of warmth."""
    assert unit_in_name(column, header) == unit


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("HCO3 (mg/l)", "mg/l as HCO3"),
        ("HCO3- mg/L", "mg/L as HCO3"),
        ("Bicarb. HCO3 (mg/L CaCO3)", "mg/L CaCO3"),
        ("Alkalinity (mg/L)", "mg/L"),
        ("ALK_MGL", "MG/L"),
        ("KS 4,3 [mmol/l]", "mmol/l"),
    ],
)
def test_hydrogen_carbonate_is_counted_as_itself(header, unit) -> None:
    """In mg/L of HCO3, which is 0.82016 of CaCO3, unless the header says CaCO3."""
    assert unit_in_name("alkalinity_mg_l_caco3", header) == unit


def test_what_alkalinity_counts_is_asked_where_it_may_be_acid_or_hydrogen_carbonate(drafted):
    """1 mmol/L of acid capacity is half a mmol/L of CaCO3 (common practice, no source)."""
    rows = "\n".join(f"W{n},S{n},supply,2026-04-{n:02d},{2 + n / 10}" for n in range(1, 9))
    head = "sample,site,point,sampled_on,Säurekapazität KS 4.3 [mmol/l]\n"
    draft = drafted(head + rows + "\n", feed="water_tests")
    assert "alkalinity_mg_l_caco3" not in draft["told"].get("columns", {})
    assert [one["about"] for one in draft["questions"]] == ["alkalinity_mg_l_caco3"]
    assert "50.04 mg/L" in draft["questions"][0]["question"]


def test_a_file_that_may_be_of_another_feed_leaves_its_keys_to_a_person(drafted) -> None:
    """Two headers fit a feed and four none: what looks like its key waits, unless it is asked."""
    rows = "\n".join(f"F{n},9{n},x{n},y{n},2026-04-{n:02d}" for n in range(1, 9))
    text = "Form no.,Color,Shelf,Mood,Done\n" + rows + "\n"
    doubted = {one["column"]: one for one in drafted(text)["columns"]}
    assert doubted["report"]["state"] == "perhaps"
    assert doubted["report"]["reason"].endswith("the file may be of another feed")
    assert doubted["completed_on"]["state"] == "active"
    asked = {one["column"]: one for one in drafted(text, feed="startups")["columns"]}
    assert asked["report"]["state"] == "active"


@pytest.mark.parametrize(
    ("column", "header", "unit"),
    [
        ("hardness_mg_l_caco3", "HARDGPG", "GPG"),
        ("temperature_c", "TEMPFAH", "F"),
        ("static_pressure_psi", "PSTATBAR", "BAR"),
        ("drain_air_gap_in", "LUFTSPMM", "MM"),
        ("iron_mg_l", "Iron max", None),
        ("ph", "PHPPM", None),
    ],
)
def test_units_at_the_end_of_a_short_name_are_heard(column, header, unit) -> None:
    """Where the rest has no mark in front of them."""
    assert unit_in_name(column, header) == unit


def test_minutes_are_asked_about(drafted) -> None:
    """They would count sixty times."""
    rows = "".join(f"A{n};S-{n}00;Reparatur;{15 + n}\n" for n in range(20))
    head = "Auftragsnummer;Seriennummer;Auftragsart;Arbeitszeit ({})\n"
    draft = drafted(head.format("min") + rows, feed="service_calls")
    assert draft["by_column"]["labor_hours"]["state"] == "perhaps"
    assert [one["about"] for one in draft["questions"]] == ["labor_hours"]
    assert "minutes" in draft["questions"][0]["question"]
    assert drafted(head.format("h") + rows, feed="service_calls")["questions"] == []


@pytest.mark.parametrize(
    ("pressure", "gap", "state"),
    [
        ("Static pressure (bar)", "Drain air gap", "perhaps"),
        ("Static pressure (bar)", "Drain air gap (in)", "active"),
        ("Static pressure (psi)", "Drain air gap", "active"),
    ],
)
def test_a_length_without_a_unit_waits_beside_metric_columns(drafted, pressure, gap, state) -> None:
    """An air gap of 3 is one in inches and in centimeters."""
    rows = "".join(f"R{n};S-{n}00;{40 + n};{1 + n % 3}\n" for n in range(20))
    draft = drafted(f"Report No;Serial No;{pressure};{gap}\n{rows}", feed="startups")
    assert draft["by_column"]["drain_air_gap_in"]["state"] == state
    asked = [one["about"] for one in draft["questions"]]
    assert asked == (["drain_air_gap_in"] if state == "perhaps" else [])


@pytest.mark.parametrize(
    ("header", "values", "unit"),
    [("Drain air gap", 25, "mm"), ("Side clearance", 80, "mm"), ("Drain air gap", 2, None)],
)
def test_lengths_too_long_for_inches_are_asked_about(drafted, header, values, unit) -> None:
    """Nobody is sure of them without a unit."""
    rows = "".join(f"R{n};S-{n}00;{values + n % 2}\n" for n in range(20))
    draft = drafted(f"Report No;Serial No;{header}\n{rows}", feed="startups")
    (told,) = [draft["by_column"][name] for name in draft["by_column"] if name.endswith("_in")]
    assert (told["unit"], told["state"]) == (unit, "perhaps" if unit else "active")
