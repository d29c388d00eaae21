"""Headers: which spelling is which column, and why a file is set aside."""

import pytest

from pipelines.records.entries import Several
from pipelines.records.header_words import nearest
from pipelines.records.headers import absent_headers, expected_headers, match_headers
from pipelines.records.mapping import Mapping

UNITS = ["serial", "model", "shipped_on"]


def matched(header, feed="units", **parts):
    """The match of a header under a mapping."""
    return match_headers(feed, header, Mapping(feed, f"mappings/{feed}.toml", **parts))


@pytest.mark.parametrize(
    "name", ["SHIPPED_ON", "Shipped On", "shipped.on", "Shipped-On", " shippedon"]
)
def test_case_spaces_dots_dashes_and_underscores_do_not_matter(name):
    """Each spelling is the column."""
    assert matched(["Serial", "MODEL", name]).places == {"serial": 0, "model": 1, "shipped_on": 2}


def test_a_missing_required_column_names_it_and_the_nearest_headers():
    """The file is set aside, with what to rename."""
    fault = matched(["Serial No.", "Model", "Date shipped", "Site"]).fault
    assert (fault.column, fault.rule) == ("serial", "missing_column")
    assert "the required column serial and the required column shipped_on" in fault.reason
    assert '"Serial No."' in fault.reason
    assert '"Date shipped"' in fault.reason
    assert "mappings/units.toml" in fault.reason


def test_a_mapping_names_what_spelling_alone_cannot():
    """`Serial No.` is the serial once the mapping says so."""
    found = matched(["Serial No.", *UNITS[1:]], columns={"serial": "serial no"})
    assert found.fault is None
    assert found.places["serial"] == 0


def test_a_column_that_the_mapping_names_is_not_matched_by_its_own_name():
    """A header `serial` is then an extra column, and a file without the mapped one lacks it."""
    named = {"serial": "Ser."}
    assert matched(["serial", "Ser.", "model", "shipped_on"], columns=named).places["serial"] == 1
    assert matched(UNITS, columns=named).fault.column == "serial"


def test_a_header_that_the_mapping_uses_serves_no_other_column_by_name():
    """Where `site` holds the name, there is no site."""
    found = matched([*UNITS, "site"], columns={"site_name": "site"})
    assert "site" not in found.places
    assert found.places["site_name"] == 3


def test_a_header_that_is_only_part_of_another_column_keeps_its_own():
    """A key that is put together of serial and day leaves both where they are."""
    several = {
        "site": Several(("serial", "region"), "-"),
        "region": Several(("postal_code",), None),
    }
    found = matched([*UNITS, "region", "postal_code"], several=several)
    assert found.fault is None
    assert found.places["serial"] == UNITS.index("serial")
    assert found.together["site"].places == (UNITS.index("serial"), 3)
    assert found.places["postal_code"] == 4


def test_a_required_column_is_not_lost_to_another_that_uses_its_header():
    """Each of the two has the header's cells."""
    found = matched(UNITS, columns={"purchased_on": "shipped_on"})
    assert found.fault is None
    assert found.places["purchased_on"] == found.places["shipped_on"] == 2


def test_two_headers_for_one_column_set_the_file_aside():
    """Neither is guessed to be the right one."""
    fault = matched([*UNITS, "Site", "S.I.T.E"]).fault
    assert (fault.column, fault.rule, fault.value) == ("site", "column_twice", "S.I.T.E")
    assert '"Site" and "S.I.T.E"' in fault.reason


def test_repeated_headers_of_no_column_do_no_harm():
    """Extra and empty names may repeat."""
    assert matched([*UNITS, "x", "x", "", ""]).fault is None


def test_a_constant_stands_in_for_a_required_column():
    """What the export does not tell, the mapping does; it goes before a header of that name."""
    found = matched(
        ["sample", "site", "sampled_on", "point"], "water_tests", constants={"point": "supply"}
    )
    assert found.fault is None
    assert "point" not in found.places


def test_site_or_serial_is_enough_but_one_is_needed():
    """Without both the file is set aside; with one it is read."""
    rest = ["sample", "point", "sampled_on"]
    assert matched([*rest, "serial"], "water_tests").fault is None
    fault = matched(rest, "water_tests").fault
    assert fault.column == "site"
    assert "site or serial (at least one of the two)" in fault.reason


def test_the_long_layout_needs_analyte_and_value():
    """Unit and remark may be missing, analyte and value not; analytes are no columns there."""
    rest = ["sample", "site", "point", "sampled_on"]
    assert matched([*rest, "Analyte", "Value", "pH"], "water_tests", layout="long").fault is None
    fault = matched([*rest, "pH"], "water_tests", layout="long").fault
    assert "analyte" in fault.reason
    assert "value" in fault.reason


def test_the_expected_headers_are_those_of_the_mapping():
    """The reader looks for the export's own names."""
    names = expected_headers("units", Mapping("units", "m", columns={"serial": "Ser."}))
    assert "Ser." in names
    assert "serial" not in names
    assert "model" in names


def test_a_file_without_names_says_so():
    """There is nothing near."""
    assert "it has no headers" in matched(["", ""]).fault.reason


def test_an_optional_header_that_the_mapping_names_and_the_file_lacks_is_told():
    """A typing error in a mapping would else empty a column without a word."""
    mapping = Mapping(
        "units",
        "mappings/units.toml",
        columns={"purchased_on": "Sold on", "site": "Kitchen", "region": "State"},
        constants={"region": "US-CO"},
    )
    told = absent_headers("units", [*UNITS, "SOLD_ON", "Kitchens"], mapping)
    assert list(told) == ["site"]
    assert 'no header "Kitchen", which mappings/units.toml names for site' in told["site"]
    assert '"Kitchens"' in told["site"]


@pytest.mark.parametrize(
    ("header", "lacking", "rest"),
    [
        (["A"], '"B"', "the others are read"),
        (["Serial"], '"A" or "B"', "the column is read as empty"),
    ],
)
def test_what_is_read_where_headers_of_several_are_lacking(desk, header, lacking, rest):
    """The others are read; without any of them the column is empty."""
    mapping = desk.mapping("units", '[columns]\nsite_name = { first = ["A", "B"] }\n')
    said = absent_headers("units", header, mapping)["site_name"]
    assert said.startswith(f"There is no header {lacking}, which mappings/units.toml names")
    assert f"; {rest}, and" in said
    assert absent_headers("units", ["A", "b"], mapping) == {}


def test_headers_that_are_pages_are_cut_in_sentences():
    """A file that is no table may hold a page of text where its header should be."""
    told = matched(["serial\n" + "x" * 500, *UNITS[1:]]).fault.reason
    assert f'"serial {"x" * 50}…"' in told
    assert "\n" not in told


def test_the_nearest_headers_are_named_as_a_mapping_names_them() -> None:
    """Of equal ones the second is `Job#2`, so that a person can copy it."""
    assert nearest(["Jobs"], ["Job", "Serial", "job"]).startswith(
        'the nearest headers found are "Job", "job#2"'
    )
