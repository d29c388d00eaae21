"""reference/aliases.csv: what stands in it, and each fault with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.workspace.reference import Reference, load_reference
from pipelines.workspace.settings import Settings

SETTINGS = Settings(maker="Tarnfell", timezone="America/Denver", currency="USD")
FILES = {
    "models": "model,family,description,needs_treatment,always_treat,delime_by,cavities,"
    "feed_l_per_h\nFR-6,FORCE,,yes,no,owner,2,30\n",
    "treatments": "product,description,kind,fits,removes,capacity_l,rated_output_l_per_h,"
    "rated_temperature_c\nSOFT,,system,,scale,0,,\n",
    "causes": "cause,description,class,water_related,excluded,reading,labor_hours_allowed,abilities"
    "\nSCALED,,scale,yes,no,,,scale\n",
    "agencies": "agency,name,authorized_from,authorized_until,labor_rate,travel_cap\n"
    "NORTH,,2020-01-01,,,\n",
    "regions": "region,name,coldest_supply_c\nUS-NM,,8\n",
}


def load(folder: Path, aliases: str) -> Reference:
    """The reference files with these aliases."""
    for name, text in FILES.items():
        (folder / f"{name}.csv").write_text(text)
    (folder / "aliases.csv").write_text(f"kind,written,means\n{aliases}")
    return load_reference(folder, SETTINGS)


def test_aliases_are_read_and_told_twice_alike_once(tmp_path: Path):
    """Kinds in any case; a code that its file has, and any site and seller."""
    read = load(
        tmp_path,
        "Agency,North Kitchens,NORTH\nagency,North Kitchens,NORTH\nsite,Oak  Hall,OAK\n"
        "seller,direct,MAKER\nregion,New Mexico,us-nm\nmodel,F6,FR-6\n",
    )
    assert read.aliases.rows() == [
        ("agency", "North Kitchens", "NORTH"),
        ("site", "Oak  Hall", "OAK"),
        ("seller", "direct", "MAKER"),
        ("region", "New Mexico", "us-nm"),
        ("model", "F6", "FR-6"),
    ]


@pytest.mark.parametrize(
    ("aliases", "told"),
    [
        ("dealer,x,y\n", 'aliases.csv line 2, column kind: "dealer" is no kind of alias;'),
        ("site,x,\n", "aliases.csv line 2, column means: there is no value"),
        ("site,,OAK\n", "aliases.csv line 2, column written: there is no value"),
        (
            "site,Oak Hall,OAK\nsite,oak   HALL,ELM\n",
            'aliases.csv line 3, column written: "oak   HALL" means "OAK" in line 2;',
        ),
        ("agency,N,NORT\n", 'line 2, column means: "NORT" is not in agencies.csv; did you mean N'),
        ("product,S,SOF\n", 'line 2, column means: "SOF" is not in treatments.csv;'),
        ("model,S,FR-7\n", 'line 2, column means: "FR-7" is not in models.csv;'),
        ("site,a,b\n\ncause,S,SCALE\n", 'line 4, column means: "SCALE" is not in causes.csv;'),
        ("region,S,US-NY\n", 'line 2, column means: "US-NY" is not in regions.csv;'),
    ],
)
def test_each_fault_has_its_place(tmp_path: Path, aliases: str, told: str):
    """An unknown kind, an empty field, two meanings, a meaning that no reference file has."""
    with pytest.raises(WorkspaceError) as error:
        load(tmp_path, aliases)
    assert len(error.value.faults) == 1
    assert told in error.value.faults[0]


def test_the_same_words_may_stand_for_other_kinds(tmp_path: Path):
    """Two kinds have nothing to do with each other."""
    assert load(tmp_path, "site,Oak,OAK\nseller,Oak,ELM\n").aliases.height == 2


def test_a_column_that_is_missing_is_a_fault(tmp_path: Path):
    """All three columns are needed."""
    load(tmp_path, "")
    (tmp_path / "aliases.csv").write_text("kind,written\n")
    with pytest.raises(WorkspaceError, match="the column means is missing"):
        load_reference(tmp_path, SETTINGS)


def test_a_line_may_be_added_to_a_draft_that_counts_rows(tmp_path: Path):
    """Columns that are passed over need not be there in a row; those of the file itself must."""
    for name, text in FILES.items():
        (tmp_path / f"{name}.csv").write_text(text)
    (tmp_path / "aliases.csv").write_text(
        "kind,written,means,rows,likeness,reason\nagency,North K.,NORTH,12,1.0,slip\n"
        "product,Softy,SOFT\n"
    )
    read = load_reference(tmp_path, SETTINGS).aliases
    assert read["means"].to_list() == ["NORTH", "SOFT"]
    (tmp_path / "aliases.csv").write_text("kind,written,means,rows\nagency,North K.\n")
    with pytest.raises(WorkspaceError, match="2 fields, the header has 4; write a , for each"):
        load_reference(tmp_path, SETTINGS)
