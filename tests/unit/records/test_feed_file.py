"""One file: typed rows, and a reason with line, column, value and rule for each row set aside."""

import datetime as dt
from decimal import Decimal

import polars as pl

from pipelines.exports.reading import refuse
from pipelines.records.feed_file import parse_file, parsed_schema
from pipelines.records.mapping import Mapping
from schemas.feeds import FEED_TABLES

UNITS = "serial,model,shipped_on,region,retired_on\n"


def told(parsed):
    """Line, column, value and rule of each reason."""
    return parsed.set_aside.select("line", "column", "value", "rule").rows()


def test_a_sound_row_is_typed(desk):
    """Serials are normalized, regions upper-cased, dates are days, empty is null."""
    parsed = desk.parse("units", UNITS + " w-16/0.1 a,SK-2,2024-01-02T10:00,us-nm,\n")
    row = parsed.rows.row(0, named=True)
    assert row["serial"] == "W1601A"
    assert row["shipped_on"] == dt.date(2024, 1, 2)
    assert row["region"] == "US-NM"
    assert row["retired_on"] is None
    assert row["source_line"] == 2
    assert parsed.rows.schema == parsed_schema("units", Mapping.plain("units"))
    assert parsed.latest_seen == dt.date(2024, 1, 2)
    FEED_TABLES["units"].validate(parsed.rows.drop("source_line", "raw"))


def test_zero_and_the_letter_stay_apart_and_text_stays_as_it_came(desk):
    """`O` is not `0`, and neither `NA` nor `007` is touched."""
    parsed = desk.parse(
        "units", "serial,model,shipped_on,site,postal_code\nW0O,NA,2024-01-02,NA,007\n"
    )
    row = parsed.rows.row(0, named=True)
    assert (row["serial"], row["model"]) == ("W0O", "NA")
    assert (row["site"], row["postal_code"]) == ("NA", "007")


def test_a_row_stands_once_for_each_reason(desk):
    """Empty, impossible, foreign and misspelled values are told together."""
    parsed = desk.parse("units", UNITS + "A,SK-2,2024-01-02,,\n--,,31/02/2025,Texas,2024-02-30\n")
    assert sorted(told(parsed)) == [
        (3, "model", "", "required"),
        (3, "region", "Texas", "region"),
        (3, "retired_on", "2024-02-30", "impossible_date"),
        (3, "serial", "--", "required"),
        (3, "shipped_on", "31/02/2025", "date"),
    ]
    assert parsed.rows["source_line"].to_list() == [2]
    assert parsed.rows_read == 2


def test_sentences_say_what_to_do(desk):
    """Each reason names column and value and ends with the way out."""
    text = UNITS + "A,SK-2,31/02/2025,,\nB,SK-2,03/04/2025,,\nC,SK-2,soon,,\n"
    toml = 'dates = ["%d/%m/%Y", "%m/%d/%Y"]'
    sentences = desk.parse("units", text, toml).set_aside["reason"].to_list()
    assert sentences[0].startswith('shipped_on "31/02/2025" is no date; no calendar has that day')
    assert sentences[1].startswith('shipped_on "03/04/2025" may be two dates; the mapping\'s')
    assert sentences[2].startswith('shipped_on "soon" is no date; write it as YYYY-MM-DD')


def test_money_hours_and_words_of_a_call(desk):
    """Amounts are exact; words are read in any case; negatives are set aside."""
    head = "call,serial,kind,opened_on,parts_amount,labor_hours,performed_by\n"
    rows = (
        '1,A,REPAIR,2024-01-02,"1,234.10",1.25,Owner\n'
        "2,A,Repl.,2024-01-02,-1,x,\n"
        '3,A,delime,2024-01-02,"1,234",-2,\n'
    )
    parsed = desk.parse("service_calls", head + rows)
    row = parsed.rows.row(0, named=True)
    assert row["parts_amount"] == Decimal("1234.1")
    assert row["labor_hours"] == Decimal("1.25")
    assert (row["kind"], row["performed_by"]) == ("repair", "owner")
    assert sorted(told(parsed)) == [
        (3, "kind", "Repl.", "word"),
        (3, "labor_hours", "x", "hours"),
        (3, "parts_amount", "-1", "negative"),
        (4, "labor_hours", "-2", "negative"),
        (4, "parts_amount", "1,234", "ambiguous_number"),
    ]
    reason = parsed.set_aside.filter(pl.col("column") == "kind")["reason"].item()
    assert "use one of: repair, treatment_install, cartridge_change, delime, inspection" in reason


def test_yes_and_no_in_any_case(desk):
    """Eight words are answers; any other is set aside, empty is not known."""
    words = ["Yes", "N", "TRUE", "false", "1", "0", "", "maybe"]
    rows = "".join(f"{n},A,{word}\n" for n, word in enumerate(words))
    parsed = desk.parse("startups", "report,serial,level\n" + rows)
    assert parsed.rows["level"].to_list() == [True, False, True, False, True, False, None]
    assert told(parsed) == [(9, "level", "maybe", "yes_no")]


def test_purchases_need_whole_quantities_and_a_site_or_serial(desk):
    """Quantity is whole and at least one; a purchase is for something."""
    head = "order,line,ordered_on,product,quantity,condition,seller,site,serial\n"
    rows = (
        "A,1,2024-01-02,P,2.0,New,S,,u-1\n"
        "A,2,2024-01-02,P,0,new,S,X,\n"
        "A,3,2024-01-02,P,1.5,new,S,,-\n"
    )
    parsed = desk.parse("treatment_purchases", head + rows)
    assert parsed.rows.select("line", "quantity", "serial").rows() == [("1", 2, "U1")]
    assert sorted(told(parsed)) == [
        (3, "quantity", "0", "below_one"),
        (4, "quantity", "1.5", "whole_number"),
        (4, "site", "", "site_or_serial"),
    ]


def test_water_lines_are_one_or_two(desk):
    """A third water line is set aside."""
    parsed = desk.parse("startups", "report,serial,water_lines\n1,A,2\n2,A,3\n")
    assert told(parsed) == [(3, "water_lines", "3", "one_or_two")]


def test_non_detects_keep_their_bound_in_the_feeds_unit(desk):
    """`<x` is converted like a value; `ND` and `BDL` count as missing."""
    head = "sample,site,point,sampled_on,hardness_mg_l_caco3,iron_mg_l\n"
    rows = (
        "1,S,Supply,2024-01-02,10,<0.05\n"
        "2,S,supply,2024-01-02,< 0.5,nd\n"
        "3,S,treated,2024-01-02,BDL,<x\n"
    )
    parsed = desk.parse("water_tests", head + rows, '[units]\nhardness_mg_l_caco3 = "gpg"')
    columns = ["hardness_mg_l_caco3", "hardness_mg_l_caco3_below", "iron_mg_l", "iron_mg_l_below"]
    assert parsed.rows.select(columns).rows() == [
        (171.18, None, None, 0.05),
        (None, 8.559, None, None),
    ]
    assert told(parsed) == [(4, "iron_mg_l", "<x", "result")]


def test_moments_are_brought_into_the_workspace_zone(desk):
    """A ruling with an offset is converted; one without a time is set aside."""
    head = "claim,ruled_at,ruled_by,ruling,reason\n"
    rows = "C1,2025-12-29T02:00:00Z,a,Covered,r\nC2,2025-12-29,a,covered,r\n"
    parsed = desk.parse("rulings", head + rows)
    assert parsed.rows["ruled_at"].to_list() == [dt.datetime(2025, 12, 28, 19)]
    assert told(parsed) == [(3, "ruled_at", "2025-12-29", "moment")]
    assert parsed.latest_seen == dt.date(2025, 12, 28)


def test_translations_and_constants_are_values_like_any(desk):
    """Words are translated in any case, also to nothing; a constant fills its column."""
    toml = '[values.kind]\n"Repl." = "cartridge_change"\n"?" = ""\n[constants]\nagency = "NORTH"\n'
    head = "call,serial,kind,opened_on,agency\n"
    parsed = desk.parse(
        "service_calls", head + "1,A,REPL.,2024-01-02,X\n2,A,?,2024-01-02,X\n", toml
    )
    assert parsed.rows.select("kind", "agency").rows() == [("cartridge_change", "NORTH")]
    assert told(parsed) == [(3, "kind", "?", "required")]


def test_a_decimal_comma_holds_for_text_and_not_for_typed_cells(desk):
    """A number that the sheet itself types is no text to be read by the mapping's marks."""
    toml = 'decimal = ","'
    reading = desk.reading("report,serial,flowing_pressure_psi\n1,A,1234.5\n2,A,1234.5\n")
    kinds = pl.DataFrame(
        {"line": [2, 3], "c0": [None, None], "c1": [None, None], "c2": ["number", None]},
        schema={"line": pl.Int64, "c0": pl.String, "c1": pl.String, "c2": pl.String},
    )
    sheet = type(reading)(**{**vars(reading), "typed": kinds})
    parsed = parse_file("startups", sheet, desk.mapping("startups", toml), "UTC")
    assert parsed.rows["flowing_pressure_psi"].to_list() == [1234.5]
    assert told(parsed) == [(3, "flowing_pressure_psi", "1234.5", "number")]


def test_rows_that_the_reader_set_aside_are_told_with_the_feeds_column(desk):
    """A NUL byte names the column it stands in; a short row names none."""
    parsed = desk.parse("units", UNITS + "A,SK\0-2,2024-01-02,,\nB,SK-2\nC,SK-2,2024-01-02,,\n")
    assert [(line, column) for line, column, _, _ in told(parsed)] == [(2, "model"), (3, "")]
    assert parsed.rows_read == 3
    assert parsed.rows["source_line"].to_list() == [4]


def test_a_file_without_a_required_column_is_set_aside_whole(desk):
    """Its rows are counted, and it stands once, at its header's line."""
    parsed = desk.parse("units", "\n\nserial,model\nA,B\nC,D\n")
    assert parsed.is_whole
    assert parsed.rows_read == 2
    assert parsed.rows.is_empty()
    assert told(parsed) == [(3, "shipped_on", "", "missing_column")]


def test_a_file_that_the_reader_refused_is_set_aside_whole(desk):
    """The reader's rule and sentence are kept."""
    parsed = parse_file(
        "units", refuse("empty_file", "It is empty."), Mapping.plain("units"), "UTC"
    )
    assert parsed.is_whole
    assert told(parsed) == [(1, "", "", "empty_file")]
    assert parsed.latest_seen is None


def test_a_header_alone_is_a_file_of_no_rows(desk):
    """Nothing is set aside."""
    parsed = desk.parse("units", UNITS)
    assert (parsed.rows_read, parsed.set_aside.height, parsed.is_whole) == (0, 0, False)


def test_a_long_value_is_shortened_in_the_sentence_alone(desk):
    """The value is kept whole, the sentence stays readable."""
    parsed = desk.parse("units", UNITS + f"A,SK-2,{'x' * 500},,\n")
    reason = parsed.set_aside.row(0, named=True)
    assert len(reason["value"]) == 500
    assert len(reason["reason"]) < 200


def test_constants_are_written_as_in_the_mapping(desk):
    """Not with the decimal mark or the date form of the exports, which may read them otherwise."""
    toml = (
        'decimal = ","\ndates = ["%Y-%d-%m"]\n'
        "[constants]\nlabor_rate = 95.5\nfailed_on = 2025-03-04\n"
    )
    head = "call;serial;kind;opened_on;labor_hours\n"
    parsed = desk.parse("service_calls", head + "K1;A;repair;2025-03-31;1,5\n", toml)
    assert told(parsed) == []
    row = parsed.rows.row(0, named=True)
    assert (row["labor_rate"], row["labor_hours"]) == (Decimal("95.5"), Decimal("1.5"))
    assert row["failed_on"] == dt.date(2025, 3, 4)
