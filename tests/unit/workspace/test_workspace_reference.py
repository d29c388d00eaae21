"""Reference files become typed frames, whatever program wrote the CSV."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.workspace.reference import load_reference
from pipelines.workspace.settings import Settings
from schemas.columns import polars_schema
from schemas.reference import REFERENCE_TABLES, Phrases

SETTINGS = Settings(maker="Tarnfell", timezone="America/Denver", currency="USD")
FILES = {
    "models": """\
model,family,description,needs_treatment,always_treat,delime_by,cavities,feed_l_per_h
FR-6,FORCE,"six pans, generator",Yes,y,Owner,2,30.5
SK-3,SKERRY,,no,0,NONE,1,2
""",
    "treatments": """\
product,description,kind,fits,removes,capacity_l,rated_output_l_per_h,rated_temperature_c
SOFT,softener,System,,Scale,0,,
SOFT-C,its cartridge,cartridge,SOFT,,"20,000.0",,
OSMO,reverse osmosis,system,,tds scale chloride,,40,25
""",
    "causes": """\
cause,description,class,water_related,excluded,reading,labor_hours_allowed,abilities
SCALED,scaled over,SCALE,true,false,,1.3333333333,scale
BURNER,flame lifts,gas,no,no,gas_pressure_in_wc,,
""",
    "agencies": """\
agency,name,authorized_from,authorized_until,labor_rate,travel_cap,email
NORTH,Nordküche,2023-01-01,,90.50,,claims+tarnfell@north.example
NORTH,Nordküche,2020-01-01 00:00:00,2022-12-31,85,60,
""",
    "regions": """\
region,name,coldest_supply_c
us-nm,New Mexico,8
US-VT,Vermont,2.5
""",
}


def write(folder: Path, **changed: bytes) -> Path:
    """The reference folder, with some files as given bytes."""
    made = folder / "reference"
    made.mkdir(exist_ok=True)
    for name, text in FILES.items():
        (made / f"{name}.csv").write_bytes(changed.get(name, text.encode()))
    return made


def test_the_frames_have_the_types_of_the_table_classes(tmp_path: Path):
    """Whatever stands in the files, each frame has its class's columns and types."""
    reference = load_reference(write(tmp_path), SETTINGS)
    for name, table in REFERENCE_TABLES.items():
        assert getattr(reference, name).schema == polars_schema(table)


def test_the_values_are_read(tmp_path: Path):
    """Words in any case, yes and no as people write them, sorted lists, exact decimals, nulls."""
    reference = load_reference(write(tmp_path), SETTINGS)
    assert reference.models.rows() == [
        ("FR-6", "FORCE", "six pans, generator", True, True, "owner", 2, 30.5),
        ("SK-3", "SKERRY", None, False, False, "none", 1, 2.0),
    ]
    assert reference.treatments["removes"].to_list() == [
        ["scale"],
        [],
        ["chloride", "scale", "tds"],
    ]
    assert reference.treatments["capacity_l"].to_list() == [0.0, 20000.0, 0.0]
    assert reference.causes["labor_hours_allowed"].to_list() == [Decimal("1.3333333333"), None]
    assert reference.causes["abilities"].to_list() == [["scale"], []]
    assert reference.agencies.row(1)[2:] == (
        dt.date(2020, 1, 1),
        dt.date(2022, 12, 31),
        Decimal(85),
        Decimal(60),
        None,
    )
    assert reference.agencies["email"][0] == "claims+tarnfell@north.example"
    assert reference.regions.rows() == [
        ("US-NM", "New Mexico", 8.0, None, None),
        ("US-VT", "Vermont", 2.5, None, None),
    ]


def test_phrases_may_be_left_out(tmp_path: Path):
    """Without phrases.csv the frame is empty, of its class's columns; a weight left out is 1."""
    folder = write(tmp_path)
    without = load_reference(folder, SETTINGS).phrases
    assert without.is_empty()
    assert without.schema == polars_schema(Phrases)
    (folder / "phrases.csv").write_text("phrase,cause_class\nWhite crust,SCALE\n")
    assert load_reference(folder, SETTINGS).phrases.rows() == [("White crust", "scale", 1.0)]


def test_a_cause_may_be_a_catch_all(tmp_path: Path):
    """The column may be left out, and then no cause is said to be one."""
    assert load_reference(write(tmp_path), SETTINGS).causes["catch_all"].to_list() == [None, None]
    told = FILES["causes"].replace("\n", ",yes\n").replace("abilities,yes", "abilities,catch_all")
    reference = load_reference(write(tmp_path, causes=told.encode()), SETTINGS)
    assert reference.causes["catch_all"].to_list() == [True, True]


def test_families_and_abilities_are_told(tmp_path: Path):
    """What the terms are checked against: all families, and what systems remove."""
    reference = load_reference(write(tmp_path), SETTINGS)
    assert reference.families == ["FORCE", "SKERRY"]
    assert reference.abilities == ["chloride", "scale", "tds"]


@pytest.mark.parametrize(
    "raw",
    [
        FILES["agencies"].encode("utf-8-sig"),
        FILES["agencies"].encode("utf-16"),
        FILES["agencies"].encode("cp1252"),
        FILES["agencies"].replace(",", ";").encode(),
        FILES["agencies"].replace("\n", "\r\n").encode(),
        FILES["agencies"].replace("\n", "\r").encode(),
        FILES["agencies"].rstrip().encode(),
        FILES["agencies"].replace("\n", "\n\n,,,,,\n", 1).encode(),
        FILES["agencies"].replace("authorized_from", "Authorized From").encode(),
    ],
    ids=["BOM", "UTF-16", "cp1252", "semicolon", "CRLF", "CR", "no end", "blank rows", "header"],
)
def test_the_form_of_the_file_does_not_matter(tmp_path: Path, raw: bytes):
    """Encoding, delimiter, line ends and the header's spelling lead to the same frame."""
    plain = load_reference(write(tmp_path), SETTINGS).agencies
    assert load_reference(write(tmp_path, agencies=raw), SETTINGS).agencies.equals(plain)


def test_a_line_break_in_quotes_counts_for_the_lines_after_it(tmp_path: Path):
    """The hash is by file, and rows after a quoted line break are still read."""
    raw = FILES["models"].replace("six pans, generator", "six pans\ngenerator").encode()
    reference = load_reference(write(tmp_path, models=raw), SETTINGS)
    assert reference.models["description"].to_list() == ["six pans\ngenerator", None]
    assert set(reference.sha256) == {f"reference/{name}.csv" for name in FILES}


def test_headers_alone_are_enough(tmp_path: Path):
    """An empty workspace has frames without rows."""
    bare = {name: text.split("\n")[0].encode() for name, text in FILES.items()}
    reference = load_reference(write(tmp_path, **bare), SETTINGS)
    assert [getattr(reference, name).height for name in FILES] == [0, 0, 0, 0, 0]
    assert (reference.families, reference.abilities) == ([], [])


def test_names_match_in_any_case(tmp_path: Path):
    """A file that was saved as Models.CSV is found."""
    folder = write(tmp_path)
    (folder / "models.csv").rename(folder / "Models.CSV")
    assert "reference/Models.CSV" in load_reference(folder, SETTINGS).sha256


def test_lots_may_be_left_out_and_are_held_to_their_ranges(tmp_path: Path):
    """Without lots.csv there are none; a range that is none stops like any fault."""
    folder = write(tmp_path)
    assert load_reference(folder, SETTINGS).lots.height == 0
    (folder / "lots.csv").write_text("lot,serial_from,serial_to\nA,FR-10,FR-9\nB,FR-1,FX-2\n")
    with pytest.raises(WorkspaceError) as told:
        load_reference(folder, SETTINGS)
    assert [fault.split(":")[0] for fault in told.value.faults] == [
        "reference/lots.csv line 2, column serial_to",
        "reference/lots.csv line 3, column serial_to",
    ]
    (folder / "lots.csv").write_text("lot,serial_from,serial_to,model\nA,FR-9,FR-10,FR-6\n")
    assert load_reference(folder, SETTINGS).lots.rows() == [("A", "FR9", "FR10", "FR-6", None)]


def test_phrases_are_of_the_column_class(tmp_path: Path):
    """So their file calls it; the name of the table's column does as well, but not both."""
    folder = write(tmp_path)
    file = folder / "phrases.csv"
    file.write_text("phrase,class,weight\nWhite crust,SCALE,0.5\n")
    assert load_reference(folder, SETTINGS).phrases.rows() == [("White crust", "scale", 0.5)]
    for header, told in (
        ("phrase,class", 'phrases.csv line 2, column class: "scal" is no class of causes'),
        ("phrase,cause_class", 'phrases.csv line 2, column cause_class: "scal" is no class'),
        ("phrase,klass", "phrases.csv line 1: the column class is missing; is klass meant?"),
        ("phrase,class,Cause Class", "phrases.csv line 1: two headers mean class"),
    ):
        file.write_text(f"{header}\nWhite crust,scal{',x' * (header.count(',') - 1)}\n")
        with pytest.raises(WorkspaceError) as caught:
            load_reference(folder, SETTINGS)
        assert told in str(caught.value)
