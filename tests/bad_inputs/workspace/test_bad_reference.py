"""Every mistake in a reference file is told with file, line, column, value and remedy."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.workspace.reference import load_reference
from pipelines.workspace.settings import Settings

SETTINGS = Settings(maker="Tarnfell", timezone="America/Denver", currency="USD")
GOOD = {
    "models.csv": """\
model,family,description,needs_treatment,always_treat,delime_by,cavities,feed_l_per_h
BK-6,BECK,connected,yes,no,owner,1,4
SK-3,SKERRY,filled by hand,no,no,none,1,2.5
""",
    "treatments.csv": """\
product,description,kind,fits,removes,capacity_l,rated_output_l_per_h,rated_temperature_c
SOFT,softener,system,,scale,0,,
SOFT-C,its cartridge,cartridge,SOFT,,20000,,
OSMO,reverse osmosis,system,,scale tds chloride,0,40,25
""",
    "causes.csv": """\
cause,description,class,water_related,excluded,reading,labor_hours_allowed,abilities
SCALED,scaled over,scale,yes,no,,2,scale
BURNER,flame lifts,gas,no,no,gas_pressure_in_wc,1.25,
""",
    "agencies.csv": """\
agency,name,authorized_from,authorized_until,labor_rate,travel_cap
NORTH,Northern Kitchens,2020-01-01,2022-12-31,85,60
NORTH,Northern Kitchens,2023-01-01,,90.50,60
""",
    "regions.csv": """\
region,name,coldest_supply_c,tile_row,tile_col
US-NM,New Mexico,8,5,3
US-VT,Vermont,2,1,10
""",
    "phrases.csv": """\
phrase,cause_class,weight
white crust,scale,0.9
gasket torn,gasket,
""",
}

MISTAKES = {
    "phrase of no class": (
        "phrases.csv",
        "crust,scale,",
        "crust,scal,",
        'reference/phrases.csv line 2, column cause_class: "scal" is no class of causes; did '
        "you mean scale?",
    ),
    "weight above 1": (
        "phrases.csv",
        "0.9",
        "90",
        'reference/phrases.csv line 2, column weight: "90" is above 1; write a number above 0 '
        "that is 1 or less.",
    ),
    "weight of nothing": (
        "phrases.csv",
        "0.9",
        "0",
        'reference/phrases.csv line 2, column weight: "0" is not above 0; write a number above 0, '
        "or leave the field empty.",
    ),
    "phrase too short": (
        "phrases.csv",
        "gasket torn",
        "g.",
        'reference/phrases.csv line 3, column phrase: "g." is too short to tell anything; write '
        "two letters or more.",
    ),
    "phrase twice, case aside": (
        "phrases.csv",
        "gasket torn",
        "White  Crust",
        'reference/phrases.csv line 3, column phrase: "White  Crust" stands in line 2 already, '
        "case aside; keep one row.",
    ),
    "phrase twice": (
        "phrases.csv",
        "gasket torn",
        "white crust",
        'reference/phrases.csv line 3, column phrase: "white crust" stands in line 2 already; '
        "keep one row.",
    ),
    "missing column": (
        "models.csv",
        "family,",
        "famly,",
        "reference/models.csv line 1: the column family is missing; is famly meant? Rename it.",
    ),
    "missing column without a near one": (
        "causes.csv",
        ",water_related",
        ",zzz",
        "reference/causes.csv line 1: the column water_related is missing; add it to the header.",
    ),
    "column twice": (
        "models.csv",
        "model,family,description",
        "model,family,Family",
        "reference/models.csv line 1: two headers mean family; keep one of them.",
    ),
    "too few fields": (
        "models.csv",
        "SK-3,SKERRY,filled by hand,no,no,none,1,2.5",
        "SK-3,SKERRY",
        "reference/models.csv line 3: the row has 2 fields, the header has 8",
    ),
    "open quote": (
        "models.csv",
        "filled by hand",
        '"filled by hand',
        "reference/models.csv line 3: the row cannot be read (unexpected end of data); check its q",
    ),
    "text after a quote": (
        "models.csv",
        "filled by hand",
        '"filled" by hand',
        "reference/models.csv line 3: the row cannot be read",
    ),
    "NUL byte": (
        "models.csv",
        "by hand",
        "by\0hand",
        "reference/models.csv line 3: there is a NUL",
    ),
    "no yes or no": (
        "models.csv",
        "connected,yes",
        "connected,maybe",
        'reference/models.csv line 2, column needs_treatment: "maybe" is neither yes nor no; write',
    ),
    "key missing": (
        "models.csv",
        "SK-3,",
        ",",
        "reference/models.csv line 3, column model: there is no value; every row needs one.",
    ),
    "key twice": (
        "models.csv",
        "SK-3,",
        "BK-6,",
        'reference/models.csv line 3, column model: "BK-6" stands in line 2 already; keep one row.',
    ),
    "unknown delimer": (
        "models.csv",
        "no,owner",
        "no,owners",
        'line 2, column delime_by: "owners" is no answer to who delimes; did you mean owner?',
    ),
    "half a cavity": (
        "models.csv",
        "1,2.5",
        "1.5,2.5",
        'column cavities: "1.5" is no whole number',
    ),
    "no cavity": ("models.csv", "1,2.5", "0,2.5", 'column cavities: "0" is below 1; write a whole'),
    "negative water": (
        "models.csv",
        "1,2.5",
        "1,-2.5",
        'line 3, column feed_l_per_h: "-2.5" is below 0; write a number that is 0 or more.',
    ),
    "decimal comma": (
        "models.csv",
        "1,2.5",
        '1,"2,5"',
        'column feed_l_per_h: "2,5" is no number; write digits with a decimal point',
    ),
    "thousands that may be a decimal comma": (
        "treatments.csv",
        "20000",
        '"20,000"',
        'line 3, column capacity_l: "20,000" is no number',
    ),
    "infinite": ("treatments.csv", "20000", "inf", 'column capacity_l: "inf" is no number'),
    "exponent": ("treatments.csv", "20000", "2e4", 'column capacity_l: "2e4" is no number'),
    "digits of another script": ("models.csv", "1,2.5", "1,٢", 'feed_l_per_h: "٢" is no number'),
    "unknown kind": (
        "treatments.csv",
        "softener,system",
        "softener,systm",
        'line 2, column kind: "systm" is no kind of treatment product; did you mean system?',
    ),
    "unknown ability": (
        "treatments.csv",
        "scale tds chloride",
        "scale tds chlorides",
        'line 4, column removes: "scale tds chlorides" names "chlorides", which is no ability of '
        "a treatment; did you mean chloride?",
    ),
    "cartridge for nothing": (
        "treatments.csv",
        "cartridge,SOFT,",
        "cartridge,,",
        "line 3, column fits: there is no value; name the system that the cartridge is for.",
    ),
    "cartridge that fits no system": (
        "treatments.csv",
        "cartridge,SOFT,",
        "cartridge,SOFTY,",
        'line 3, column fits: "SOFTY" is no system of this file; did you mean SOFT?',
    ),
    "cartridge that fits a cartridge": (
        "treatments.csv",
        "cartridge,SOFT,",
        "cartridge,SOFT-C,",
        'line 3, column fits: "SOFT-C" is no system of this file',
    ),
    "output without temperature": (
        "treatments.csv",
        "40,25",
        "40,",
        "line 4, column rated_temperature_c: there is no value; an output holds at one temperature",
    ),
    "temperature without output": (
        "treatments.csv",
        "40,25",
        ",25",
        "line 4, column rated_output_l_per_h: there is no value, but a rated temperature",
    ),
    "output of nothing": (
        "treatments.csv",
        "40,25",
        "0,25",
        'line 4, column rated_output_l_per_h: "0" is not above 0',
    ),
    "unknown class": (
        "causes.csv",
        "flame lifts,gas",
        "flame lifts,gases",
        'reference/causes.csv line 3, column class: "gases" is no class of causes; did you mean g',
    ),
    "unknown reading": (
        "causes.csv",
        "gas_pressure_in_wc",
        "gas_pressure",
        'line 3, column reading: "gas_pressure" is no reading that a start-up report has; did you '
        "mean gas_pressure_in_wc?",
    ),
    "unknown ability of a cause": (
        "causes.csv",
        ",2,scale",
        ",2,limescale",
        'line 2, column abilities: "limescale" is no ability of a treatment; did you mean scale?',
    ),
    "negative hours": (
        "causes.csv",
        "1.25",
        "-1.25",
        'line 3, column labor_hours_allowed: "-1.25" is below 0',
    ),
    "date that is none": (
        "agencies.csv",
        "2023-01-01,,",
        "1/1/2023,,",
        'reference/agencies.csv line 3, column authorized_from: "1/1/2023" is no date; write it as',
    ),
    "day that no calendar has": (
        "agencies.csv",
        "2022-12-31",
        "2022-02-30",
        'line 2, column authorized_until: "2022-02-30" is a day that no calendar has',
    ),
    "week date": ("agencies.csv", "2023-01-01", "2023-W01-1", '"2023-W01-1" is no date'),
    "end before the start": (
        "agencies.csv",
        "2022-12-31",
        "2019-12-31",
        'line 2, column authorized_until: "2019-12-31" is before authorized_from, 2020-01-01',
    ),
    "overlap by a day": (
        "agencies.csv",
        "2022-12-31",
        "2023-01-01",
        'line 3, column authorized_from: "2023-01-01" lies within the period of NORTH in line 2',
    ),
    "overlap with an open period": (
        "agencies.csv",
        "2022-12-31",
        "",
        'line 3, column authorized_from: "2023-01-01" lies within the period of NORTH in line 2',
    ),
    "too many digits of money": (
        "agencies.csv",
        "90.50",
        "90.1234567",
        'line 3, column labor_rate: "90.1234567" has too many digits',
    ),
    "currency sign": ("agencies.csv", "90.50", "$90.50", 'labor_rate: "$90.50" is no number'),
    "negative rate": ("agencies.csv", "90.50", "-90.50", 'column labor_rate: "-90.50" is below 0'),
    "region by name": (
        "regions.csv",
        "US-NM,",
        "New Mexico,",
        'reference/regions.csv line 2, column region: "New Mexico" is no ISO 3166-2 code; write o',
    ),
    "temperature in another unit": (
        "regions.csv",
        "New Mexico,8",
        "New Mexico,46",
        'line 2, column coldest_supply_c: "46" is no temperature of supply water in °C',
    ),
    "half a tile": ("regions.csv", "8,5,3", "8,5.5,3", 'column tile_row: "5.5" is no whole number'),
    "tile without column": (
        "regions.csv",
        "8,5,3",
        "8,5,",
        "line 2, column tile_col: there is no value; a tile needs row and column, or neither.",
    ),
    "two regions on one tile": (
        "regions.csv",
        "2,1,10",
        "2,5,3",
        'line 3, column tile_row: "5" with tile_col 3 is the place of line 2; move one.',
    ),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Reference files without mistakes."""
    made = tmp_path / "reference"
    made.mkdir()
    for name, text in GOOD.items():
        (made / name).write_text(text, encoding="utf-8")
    return made


def faults_of(folder: Path) -> list[str]:
    """What loading the folder complains of."""
    with pytest.raises(WorkspaceError) as caught:
        load_reference(folder, SETTINGS)
    assert caught.value.exit_code == 2
    return caught.value.faults


def test_the_files_without_mistakes_load(folder: Path):
    """The files that the mistakes are made in have none themselves."""
    assert load_reference(folder, SETTINGS).models.height == 2


@pytest.mark.parametrize(("file", "right", "wrong", "words"), MISTAKES.values(), ids=MISTAKES)
def test_a_mistake_is_told(folder: Path, file: str, right: str, wrong: str, words: str):
    """One wrong value gives one sentence that names file, line, column, value and remedy."""
    assert GOOD[file].count(right) >= 1
    text = GOOD[file].replace(right, wrong, 1)
    (folder / file).write_text(text, encoding="utf-8")
    (told,) = faults_of(folder)
    assert words in told


def test_all_mistakes_of_all_files_come_at_once(folder: Path):
    """A person corrects everything in one go, in order of files and lines."""
    models = GOOD["models.csv"].replace("yes,no", "yep,nope").replace("no,none", "no,nobody")
    (folder / "models.csv").write_text(models)
    (folder / "causes.csv").unlink()
    (folder / "regions.csv").write_text("")
    assert [fault[:45] for fault in faults_of(folder)] == [
        "reference/models.csv line 2, column needs_tre",
        "reference/models.csv line 2, column always_tr",
        "reference/models.csv line 3, column delime_by",
        "reference/causes.csv is missing; put the file",
        "reference/regions.csv is empty; it needs a he",
    ]


def test_a_missing_folder(folder: Path):
    """The folder and what it holds are named."""
    shutil.rmtree(folder)
    assert faults_of(folder) == [
        "the folder reference/ is missing; it holds models.csv, treatments.csv, causes.csv, "
        "agencies.csv, regions.csv."
    ]


def test_a_folder_named_like_a_file(folder: Path):
    """What is no file cannot be read."""
    (folder / "models.csv").unlink()
    (folder / "models.csv").mkdir()
    (told,) = faults_of(folder)
    assert told.startswith("reference/models.csv cannot be read (Is a directory)")


def test_bytes_of_no_encoding(folder: Path):
    """Windows-1252 does not define byte 81, so the text cannot be trusted."""
    raw = GOOD["models.csv"].encode().replace(b"by hand", b"by \x81hand")
    (folder / "models.csv").write_bytes(raw)
    (told,) = faults_of(folder)
    assert told.startswith("reference/models.csv line 3: the file is neither UTF-8 nor Windows-12")


def test_a_file_beyond_the_limit(folder: Path):
    """A file that is larger than the settings allow is not read."""
    small = Settings(maker="M", timezone="UTC", currency="USD", max_file_mb=1)
    (folder / "models.csv").write_text(GOOD["models.csv"] + "\n" * 1_000_001)
    with pytest.raises(WorkspaceError) as caught:
        load_reference(folder, small)
    assert "reference/models.csv is larger than max_file_mb = 1" in str(caught.value)


def test_a_line_break_in_a_value_does_not_break_the_sentence(folder: Path):
    """A value that people cannot see in one line is shown escaped, and cut."""
    text = GOOD["models.csv"].replace("connected,yes", 'connected,"y\nes' + "x" * 90 + '"')
    (folder / "models.csv").write_text(text)
    (told,) = faults_of(folder)
    assert "\n" not in told
    assert 'column needs_treatment: "y\\nesxxx' in told
    assert "x… is neither yes nor no" in told


@pytest.mark.parametrize(
    "address",
    [
        "desk",
        "a b@x.example",
        "a@x.example, b@x.example",
        "<a@x.example>",
        "a@x.example\r\nBcc: b@y",
    ],
)
def test_an_agency_has_one_plain_address(folder: Path, address: str):
    """What cannot stand in the header of a letter as it is is told with its line."""
    path = folder / "agencies.csv"
    header, first, *rest = path.read_text("utf-8").splitlines()
    lines = [f"{header},email", f'{first},"{address}"', *(f"{line}," for line in rest)]
    path.write_text("\n".join(lines) + "\n", "utf-8", newline="\n")
    (fault,) = faults_of(folder)
    assert fault.startswith("reference/agencies.csv line 2, column email: ")
    assert "is no mail address; write one alone" in fault
