"""A mapping that is sound: what it means, and when its fingerprint changes."""

import pytest

from pipelines.errors import LimeledgerError
from pipelines.records.mapping import Mapping
from pipelines.records.numerals import Marks
from pipelines.records.serving import Mappings

FULL = """
decimal = ","
thousands = "."
dates = ["%m/%d/%Y", "%d.%m.%Y"]
[columns]
serial = "Serial No."
[units]
supply_temperature_f = "C"
[constants]
agency = "NORTHSTAIR"
water_lines = 2
level = true
requested_on = 2026-03-31
[values.gas]
"Nat." = "natural"
"n/a" = ""
"""


def test_every_part_is_read(desk):
    """Marks, formats, columns, units, constants and translations."""
    mapping = desk.mapping("startups", FULL)
    assert mapping.name == "mappings/startups.toml"
    assert mapping.marks == Marks(",", ".")
    assert mapping.dates == ("%m/%d/%Y", "%d.%m.%Y")
    assert mapping.columns == {"serial": "Serial No."}
    assert mapping.conversion("supply_temperature_f").scale == 1.8
    assert mapping.constants == {
        "agency": "NORTHSTAIR",
        "water_lines": "2",
        "level": "yes",
        "requested_on": "2026-03-31",
    }
    assert mapping.values == {"gas": {"nat.": "natural", "n/a": ""}}
    assert not mapping.is_long


def test_an_empty_mapping_is_the_plain_one(desk):
    """Every part may be left out."""
    assert desk.mapping("units", "") == Mapping.plain("units")
    assert desk.mapping("units", "").fingerprint == Mapping.plain("units").fingerprint


def test_the_long_layout_names_its_parts(desk):
    """Analytes are found in any case."""
    mapping = desk.mapping(
        "water_tests",
        'layout = "long"\n[columns]\nanalyte = "Test"\nremark = "Q"\n[analytes]\n" pH " = "ph"',
    )
    assert mapping.is_long
    assert mapping.analytes == {"ph": "ph"}


@pytest.mark.parametrize(
    "change",
    [
        'decimal = ","',
        'thousands = ","',
        'dates = ["%d.%m.%Y"]',
        '[columns]\nserial = "SN"',
        '[units]\nflowing_pressure_psi = "bar"',
        '[constants]\nagency = "A"',
        '[values.gas]\nNG = "natural"',
    ],
)
def test_the_fingerprint_changes_with_every_part(desk, change):
    """Stored rows are read again whenever they could be read in another way."""
    assert desk.mapping("startups", change).fingerprint != Mapping.plain("startups").fingerprint


@pytest.mark.parametrize(
    ("decimal", "thousands", "told"), [(",", ".", None), (",", ",", "join.1"), (".", ".", "join.1")]
)
def test_marks_of_a_join_are_held_to_the_mappings_decimal_mark(desk, decimal, thousands, told):
    """A join without a decimal mark of its own has the mapping's."""
    toml = f'decimal = "{decimal}"\n[[join]]\nname = "claim"\nfiles = ["c*"]\n'
    toml += f'on = {{ "A" = "B" }}\nthousands = "{thousands}"\n'
    if told is None:
        assert desk.mapping("units", toml).joins[0].marks.thousands == thousands
    else:
        with pytest.raises(LimeledgerError) as caught:
            desk.mapping("units", toml)
        assert told in str(caught.value)


def test_a_first_is_written_as_its_file_writes_and_a_sum_as_the_mapping(desk):
    """A sum is a number of the mapping's own; a first is a cell of the joined file."""
    toml = (
        '[columns]\nparts_amount = "line.Parts"\nlabor_rate = "line.Rate"\n'
        '[[join]]\nname = "line"\nfiles = ["l*"]\ndecimal = ","\non = { call = "Ref" }\n'
        'sum.parts = { header = "Ext" }\nfirst.rate = { header = "Rate" }\n'
    )
    mapping = desk.mapping("service_calls", toml)
    assert mapping.marks_of("parts_amount") == mapping.marks_of("labor_hours") == Marks(".")
    assert mapping.marks_of("labor_rate") == Marks(",")


def test_a_pad_has_64_places_at_most(desk):
    """The last length that is taken, and the first that is not."""
    toml = "[transforms]\nserial = [ {{ pad = {} }} ]\n"
    assert desk.mapping("units", toml.format(64)).transforms["serial"][0].verb == "pad"
    with pytest.raises(LimeledgerError) as caught:
        desk.mapping("units", toml.format(65))
    assert "whole number from 1 to 64" in str(caught.value)


def test_a_feed_has_its_own_mapping_before_any_that_names_files() -> None:
    """The first without `files`; where all name files, the plain one."""
    named = Mapping("units", "mappings/a.toml", files=("a*",))
    own = Mapping("units", "mappings/b.toml")
    other = Mapping("startups", "mappings/c.toml")
    assert Mappings((named, other, own))["units"].name == "mappings/b.toml"
    assert Mappings((named, other))["units"] == Mappings()["units"]
    assert Mappings((named, other, own))["startups"].name == "mappings/c.toml"
