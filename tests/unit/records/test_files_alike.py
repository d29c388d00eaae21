"""Files that are typed together come out as if each had been typed by itself."""

import polars as pl
import pytest

from pipelines.exports import read_rows
from pipelines.records.corrections import Correction
from pipelines.records.feed_file import parse_file
from pipelines.records.files_alike import parse_files
from pipelines.records.left_out import CellTest, LeaveOut
from pipelines.records.mapping import Mapping
from pipelines.records.row_cells import Place
from pipelines.records.steps import Step

HEADER = "call,serial,opened_on,kind,claim,cause"
FILES = {
    "a.csv": (
        f"{HEADER}\nC1,VT-1,2026-01-05,repair,K1,scale\n\nC2,VT-2,2026-02-30,repair,K2,scale\n"
        "C3,VT-3,2026-01-07,repair,,\n"
    ),
    "b.csv": f"{HEADER}\nC4,VT-4,2026-01-08,repair\nX,total,,,,\n,VT-5,2026-01-09,repair,,\n",
    "none.csv": f"{HEADER}\n",
    "other.csv": "call,serial,opened_on,kind\nC6,VT-6,2026-03-01,repair\n",
    "lacking.csv": "serial,opened_on\nVT-7,2026-03-02\n",
    "c.csv": f"{HEADER}\nC8,VT-8,2026-04-05,repair,K8,scale\nC9,VT-9,nonsense,oddity,K9,burst\n",
}
PLAIN = Mapping.plain("service_calls")
TOTALS = LeaveOut("totals", (CellTest("serial", is_=("total",)),))
MAPPINGS = {
    "plain": PLAIN,
    "leaving out": Mapping(feed="service_calls", name="m", leave_out=(TOTALS,)),
    "of the place": Mapping(feed="service_calls", name="m", columns={"notes": "#line"}),
    "splitting": Mapping(
        feed="service_calls", name="m", transforms={"cause": (Step("split", ("a",)),)}
    ),
}
CORRECTION = Correction(
    7,
    "service_calls",
    {"call": "C8", "serial": "VT8", "opened_on": "2026-04-05", "kind": "repair", "claim": "K8"}
    | {"cause": "scale"},
    (),
    {"serial": "VT80"},
)


@pytest.fixture
def files(tmp_path):
    """The readings of all files, each with its place."""
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return [(read_rows(tmp_path / name), Place(name)) for name in FILES]


def frames(parsed):
    """What a parsed file holds, frames as rows with their schema."""
    return {
        name: (value.schema, value.rows()) if isinstance(value, pl.DataFrame) else value
        for name, value in vars(parsed).items()
    }


@pytest.mark.parametrize("name", MAPPINGS)
def test_together_as_each_by_itself(files, name):
    """Rows, reasons, lines, counts and days of every file are those of the file by itself."""
    mapping = MAPPINGS[name]
    together = parse_files("service_calls", files, mapping, "UTC", [CORRECTION])
    alone = [
        parse_file("service_calls", reading, mapping, "UTC", place, corrections=[CORRECTION])
        for reading, place in files
    ]
    assert len(together) == len(FILES)
    for one, other in zip(together, alone, strict=True):
        assert frames(one) == frames(other)


def test_rows_keep_their_lines_and_what_was_said_of_them(files):
    """Sound rows, torn rows, faulty values and a correction stay with their file and line."""
    told = parse_files("service_calls", files, PLAIN, "UTC", [CORRECTION])
    by_file = dict(zip(FILES, told, strict=True))
    assert by_file["a.csv"].rows["source_line"].to_list() == [2, 5]
    assert by_file["a.csv"].set_aside.select("line", "rule").rows() == [(4, "impossible_date")]
    assert by_file["b.csv"].set_aside["line"].to_list()[0] == 2
    assert by_file["c.csv"].corrected.rows() == [(2, 7)]
    assert by_file["lacking.csv"].is_whole
    assert by_file["none.csv"].rows_read == 0


def test_results_one_a_row_together_as_each_by_itself(tmp_path):
    """The long layout of laboratories too: values, bounds, units that do not fit."""
    header = "sample,site,sampled_on,analyte,value,unit\n"
    texts = {
        "one.csv": "W1,S1,2026-01-05,hardness_mg_l_caco3,120,mg/L\nW1,S1,2026-01-05,ph,<7,\n",
        "two.csv": "W2,S1,2026-01-06,chloride_mg_l,ND,mg/L\nW2,S1,2026-01-06,oddity,4,\n",
        "three.csv": "W3,S2,2026-02-05,chloride_mg_l,many,mg/L\n,S2,2026-02-05,ph,7,\n",
    }
    files = []
    for name, text in texts.items():
        (tmp_path / name).write_text(header + text, encoding="utf-8")
        files.append((read_rows(tmp_path / name), Place(name)))
    mapping = Mapping(feed="water_tests", name="m", layout="long", constants={"point": "supply"})
    together = parse_files("water_tests", files, mapping, "UTC")
    alone = [parse_file("water_tests", one, mapping, "UTC", place) for one, place in files]
    assert [frames(one) for one in together] == [frames(one) for one in alone]
    assert sum(one.rows.height for one in together) == 4
    assert [one.set_aside["line"].to_list() for one in together] == [[], [], [2, 3]]
