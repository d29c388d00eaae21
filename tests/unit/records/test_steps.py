"""Steps, phrases, values and several headers: what a cell says after them, and what stays."""

from __future__ import annotations

import pytest

HEAD = "call,serial,kind,opened_on,cause,parts_amount,notes\n"


def column(desk, toml, text, name, feed="service_calls"):
    """A column of the sound rows."""
    return desk.parse(feed, text, toml).rows[name].to_list()


def serials(desk, steps, *cells):
    """The serials that steps make of cells."""
    rows = "".join(f'{n},"{cell}",repair,2025-01-01,,,\n' for n, cell in enumerate(cells))
    return column(desk, f"[transforms]\nserial = {steps}", HEAD + rows, "serial")


@pytest.mark.parametrize(
    ("steps", "cell", "expected"),
    [
        ('[ { before = ";" } ]', "A1;B2;C3", "A1"),
        ('[ { before = ";" } ]', "A1", "A1"),
        ('[ { after = "=" } ]', "SN=A1=2", "A1=2"),
        ("[ { extract = 'sn ([a-z0-9]+)' } ]", "the SN A12 of", "A12"),
        ("[ { extract = '[0-9]+' } ]", "A12B3", "12"),
        ("[ { extract = '(x)[0-9]+' } ]", "A12", "A12"),
        ('[ { remove = ["sn", "no"] } ]', "SN No A12", "A12"),
        ('[ { replace = ["x", "$1"] } ]', "AX2", "A$12"),
        ("[ { pad = 5 } ]", "12", "00012"),
        ("[ { pad = 5 } ]", "A12", "A12"),
        ("[ { pad = 1 } ]", "12", "12"),
        ("[ { strip_zeros = true } ]", "0012", "12"),
        ("[ { strip_zeros = true } ]", "000", "0"),
        ("[ { strip_zeros = true } ]", "00A", "00A"),
        ("[ { strip_zeros = true }, { pad = 4 } ]", "000012", "0012"),
    ],
)
def test_a_step_on_a_serial(desk, steps, cell, expected):
    """What a step does, and that it leaves alone what it does not apply to."""
    assert serials(desk, steps, cell) == [expected]


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("St. Anne's, Oak & Co", "ST-ANNE-S-OAK-CO"),
        ("  Café Élan  ", "CAFE-ELAN"),
        ("--", "--"),
    ],
)
def test_a_key_is_a_code_from_a_name(desk, cell, code):
    """Accents off, upper case, other signs one dash; the first is the contract's own example."""
    text = f'call,serial,kind,opened_on,agency\n1,A,repair,2025-01-01,"{cell}"\n'
    assert column(desk, "[transforms]\nagency = [ { key = true } ]", text, "agency") == [code]


def days(desk, steps, cell):
    """The day and the rules of one cell of opened_on."""
    parsed = desk.parse(
        "service_calls",
        f"call,serial,kind,opened_on\n1,A,repair,{cell}\n",
        f"[transforms]\nopened_on = {steps}",
    )
    return [str(day) for day in parsed.rows["opened_on"]], parsed.set_aside["rule"].to_list()


@pytest.mark.parametrize(
    ("steps", "cell", "expected"),
    [
        ("[ { excel_date = 1900 } ]", "45292", "2024-01-01"),
        ("[ { excel_date = 1900 } ]", "45292.75", "2024-01-01"),
        ("[ { excel_date = 1900 } ]", "61", "1900-03-01"),
        ("[ { excel_date = 1904 } ]", "43830", "2024-01-01"),
        ("[ { excel_date = 1904 } ]", "0", "1904-01-01"),
        ("[ { excel_date = 1900 } ]", "2024-02-03", "2024-02-03"),
        ('[ { date = ["%d.%m.%Y"] } ]', "03.02.2024", "2024-02-03"),
        ('[ { date = ["%d.%m.%Y %H:%M"] } ]', "03.02.2024 23:59", "2024-02-03"),
        ('[ { date = ["%m/%d/%y %I:%M %p"] } ]', "02/03/24 1:05 PM", "2024-02-03"),
    ],
)
def test_a_step_on_a_date(desk, steps, cell, expected):
    """Days as spreadsheets count them (ECMA-376: 45292 in the 1900 system) and own formats."""
    assert days(desk, steps, cell) == ([expected], [])


@pytest.mark.parametrize("cell", ["60", "1", "-5", "9999999", "soon"])
def test_a_number_that_is_no_day_sets_the_row_aside(desk, cell):
    """Below 61 the count of the 1900 system is wrong by a day; nothing is invented."""
    assert days(desk, "[ { excel_date = 1900 } ]", cell) == ([], ["date"])


def test_a_column_has_its_own_date_formats_alone(desk):
    """The mapping's formats do not hold for a column that names its own."""
    toml = 'dates = ["%m/%d/%Y"]\n[transforms]\nopened_on = [ { date = ["%d.%m.%Y"] } ]'
    text = "call,serial,kind,opened_on,failed_on\n1,A,repair,{},01/02/2024\n"
    good = desk.parse("service_calls", text.format("01.02.2024"), toml)
    assert (str(good.rows["opened_on"][0]), str(good.rows["failed_on"][0])) == (
        "2024-02-01",
        "2024-01-02",
    )
    assert desk.parse("service_calls", text.format("01/02/2024"), toml).rows.is_empty()


@pytest.mark.parametrize(
    ("steps", "cell", "expected"),
    [
        ("[ { trailing_minus = true }, { negate = true } ]", "1.591,81-", "1591.81"),
        ("[ { negate = true } ]", "-3,5", "3.5"),
        ("[ { negate = true } ]", "0,00", "0"),
        ("[ { negate = true } ]", "-0", "0"),
        ('[ { empty = ["n/a", "-"] } ]', "N/A", None),
    ],
)
def test_a_step_on_an_amount(desk, steps, cell, expected):
    """Signs of bookkeeping; zero stays zero, and money is not below zero."""
    text = f'call,serial,kind,opened_on,parts_amount\n1,A,repair,2025-01-01,"{cell}"\n'
    got = column(desk, f'decimal = ","\n[transforms]\nparts_amount = {steps}', text, "parts_amount")
    assert [None if one is None else float(one) for one in got] == [
        None if expected is None else float(expected)
    ]


@pytest.mark.parametrize(
    ("cell", "expected", "rules"),
    [
        ('2"', 2.0, []),
        ("5.08 cm", 2.0, []),
        ("50.8mm", 2.0, []),
        ("1 ft", 12.0, []),
        ("3", 0.03 / 0.0254 * 100 / 100, []),
        ("ok", None, []),
        ("2 psi", None, ["unfit_unit"]),
        ("2 stones", None, ["unknown_unit"]),
        ('1/2"', None, ["unknown_unit"]),
        ("wide", None, ["number"]),
    ],
)
def test_a_unit_in_the_cell_converts_that_cell(desk, cell, expected, rules):
    """1 in = 25.4 mm exactly; without a unit the column's holds (here cm: 3 cm = 1.181 in)."""
    toml = (
        '[units]\ndrain_air_gap_in = "cm"\n[transforms]\n'
        'drain_air_gap_in = [ { empty = ["OK"] }, { cell_unit = true } ]'
    )
    quoted = cell.replace('"', '""')
    text = f'report,serial,requested_on,drain_air_gap_in\nR1,A,2025-01-01,"{quoted}"\n'
    parsed = desk.parse("startups", text, toml)
    assert parsed.set_aside["rule"].to_list() == rules
    if not rules:
        got = parsed.rows["drain_air_gap_in"][0]
        assert got == (None if expected is None else pytest.approx(expected, abs=1e-9))


PHRASES = """
[[phrases.cause]]
any = ["scale", "lime"]
code = "SCALE"
[[phrases.cause]]
matches = 'leak(s|ing)?\\b'
code = "GASKET"
[values.cause]
"as told" = "SCALE"
"""


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("Heavy LIME in boiler", "SCALE"),
        ("door leaking, scale too", "SCALE"),
        ("door Leaks", "GASKET"),
        ("leakage", "leakage"),
        ("As Told", "SCALE"),
        ("", None),
    ],
)
def test_the_first_phrase_that_holds_gives_the_code(desk, cell, code):
    """In any case; a text that no entry fits stays as it came, an empty cell stays empty."""
    text = HEAD + f'1,A,repair,2025-01-01,"{cell}",,\n'
    assert column(desk, PHRASES, text, "cause") == [code]


def test_otherwise_takes_what_no_phrase_fits(desk):
    """It is the last entry, and an empty cell stays empty even so."""
    toml = PHRASES + '[[phrases.cause]]\notherwise = true\ncode = "OTHER"\n'
    text = HEAD + "1,A,repair,2025-01-01,odd,,\n2,A,repair,2025-01-01,,,\n"
    assert column(desk, toml, text, "cause") == ["OTHER", None]


def test_steps_come_before_phrases_and_values(desk):
    """Each looks at what the one before left."""
    toml = (
        '[transforms]\nkind = [ { before = " - " } ]\n[[phrases.kind]]\nany = ["PM"]\n'
        'code = "inspection"\n[values.kind]\n"visit" = "delime"\n'
    )
    text = HEAD + "1,A,PM x - repair,2025-01-01,,,\n2,A,Visit - PM,2025-01-01,,,\n"
    assert column(desk, toml, text, "kind") == ["inspection", "delime"]


def test_a_column_may_come_from_several_headers(desk):
    """Joined without the empty ones, or the first that is not empty; equal headers by number."""
    toml = """
[columns]
notes = { join = ["Problem", "Text", "Text#2"], with = "; " }
agency = { first = ["Ship-To", "Account"] }
call = "#line"
part = "#file"
"""
    text = (
        "serial,kind,opened_on,Problem,Text,Text,Ship-To,Account\n"
        "A,repair,2025-01-01,p,,t2,,acc\nB,repair,2025-01-01,,,,ship,acc\n"
    )
    rows = desk.parse("service_calls", text, toml).rows
    assert rows.select("call", "notes", "agency").rows() == [
        ("2", "p; t2", "acc"),
        ("3", None, "ship"),
    ]


@pytest.mark.parametrize("cell", ["- 5", "-\u00a05", "-+5"])
def test_a_sign_is_changed_of_numbers_alone(desk, cell):
    """What is no number as it stands is not made one by taking a sign off."""
    text = f'call,serial,kind,opened_on,parts_amount\n1,A,repair,2025-01-01,"{cell}"\n'
    parsed = desk.parse("service_calls", text, "[transforms]\nparts_amount = [ { negate = true } ]")
    assert parsed.set_aside.select("rule", "value").rows() == [("amount", cell)]


@pytest.mark.parametrize("cell", ["3,5", "+3,5"])
def test_an_amount_of_the_other_sign_is_below_zero(desk, cell):
    """Without a sign, or with a plus, the sign changed is a minus, which no amount may have."""
    text = f'call,serial,kind,opened_on,parts_amount\n1,A,repair,2025-01-01,"{cell}"\n'
    toml = 'decimal = ","\n[transforms]\nparts_amount = [ { negate = true } ]'
    parsed = desk.parse("service_calls", text, toml)
    assert parsed.set_aside.select("rule", "value").rows() == [("negative", cell)]
