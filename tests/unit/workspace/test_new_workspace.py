"""A new workspace has every file, loads as it is, and never lands on top of something."""

from __future__ import annotations

import json
from pathlib import Path

import frictionless
import pytest

from pipelines.errors import StorageError, UsageError
from pipelines.terms import load_terms
from pipelines.workspace.create import create_workspace
from pipelines.workspace.layout import Workspace
from pipelines.workspace.reference import load_reference
from pipelines.workspace.settings import load_settings
from schemas.codes import ABILITIES, FEEDS, REFERENCES


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """A new workspace."""
    made = tmp_path_factory.mktemp("new") / "ours"
    create_workspace(made)
    return made


def test_it_loads_as_it_is(folder: Path):
    """Settings, reference files and terms have no fault before anybody has edited them."""
    workspace = Workspace.open(folder)
    settings = load_settings(workspace)
    reference = load_reference(workspace.reference, settings)
    terms = load_terms(workspace.terms(settings.terms), reference.families, reference.abilities)
    assert [edition.name for edition in terms.editions] == ["EXAMPLE-1"]
    assert reference.models.is_empty()


def test_what_it_leaves_as_comments_is_right_too(folder: Path, tmp_path: Path):
    """Each line that invites to take its # away is valid once that is done."""
    for name in ("limeledger.toml", "terms/example-edition.toml"):
        lines = (folder / name).read_text(encoding="utf-8").splitlines()
        opened = [
            line.removeprefix("# ") if line.startswith("# ") and _is_toml(line) else line
            for line in lines
        ]
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text("\n".join(opened).replace("family.NAME", "family.BECK"), encoding="utf-8")
    (tmp_path / "exports").mkdir()
    settings = load_settings(Workspace.open(tmp_path))
    assert settings.hide == ("site_name", "postal_code")
    assert settings.calcium_share_of_hardness == 0.7
    terms = load_terms(tmp_path / "terms", ["BECK"], ABILITIES)
    assert terms.water_limits.height == 8
    assert terms.values["parts_months"].to_list() == [24]
    assert terms.values["conditions_off"].to_list() == [["earlier_repair_held"]]


def _is_toml(line: str) -> bool:
    body = line.removeprefix("# ")
    return body.startswith("[") or " = " in body


def test_it_has_an_empty_export_a_feed(folder: Path):
    """Each export is a header alone, in the folder of its feed."""
    for feed in FEEDS:
        text = (folder / "exports" / feed / f"{feed}.csv").read_text()
        assert text.count("\n") == 1
    header = (folder / "exports/rulings/rulings.csv").read_text()
    assert header == (
        "claim,ruled_at,ruled_by,ruling,reason,parts_amount,labor_amount,travel_amount\n"
    )


def test_the_dictionary_tells_every_feed_and_reference_file(folder: Path):
    """A person finds each file and column on one page."""
    page = (folder / "data-dictionary.md").read_text(encoding="utf-8")
    for name in (*FEEDS, *REFERENCES):
        assert f"## {name}\n" in page
    assert "| `hardness_mg_l_caco3` |" in page


def test_the_descriptor_is_a_valid_data_package(folder: Path):
    """The open Frictionless library finds the package and its files in order."""
    descriptor = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert [resource["name"] for resource in descriptor["resources"]] == [
        feed.replace("_", "-") for feed in FEEDS
    ]
    report = frictionless.Package(str(folder / "datapackage.json")).validate()
    assert report.valid, report.flatten(["type", "message"])


def test_the_readme_names_the_commands_and_the_cautions(folder: Path):
    """Somebody who only has the folder knows what to do next, and what not to do alone."""
    text = (folder / "README.md").read_text(encoding="utf-8")
    assert "limeledger check" in text
    assert "limeledger refresh" in text
    assert "`exports/water_tests/`" in text
    assert "licensed and trained people" in text


def test_an_empty_folder_is_filled(tmp_path: Path):
    """A folder that exists but holds nothing is fine; the files written are told."""
    written = create_workspace(tmp_path)
    assert tmp_path / "limeledger.toml" in written
    assert all(path.is_file() for path in written)
    assert (tmp_path / "mappings").is_dir()


def test_a_folder_with_something_in_it_is_refused(tmp_path: Path):
    """Nothing of anybody's is written over."""
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(UsageError) as caught:
        create_workspace(tmp_path)
    assert str(caught.value) == (f"{tmp_path} is not empty; name a folder that is new or empty.")
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_a_file_is_refused(tmp_path: Path):
    """A file is no place for a workspace."""
    path = tmp_path / "file"
    path.touch()
    with pytest.raises(UsageError) as caught:
        create_workspace(path)
    assert "is a file; name a folder" in str(caught.value)


def test_a_folder_that_cannot_be_made(tmp_path: Path):
    """A path below a file ends in one sentence, not a traceback."""
    (tmp_path / "file").touch()
    with pytest.raises(StorageError) as caught:
        create_workspace(tmp_path / "file" / "below")
    assert "cannot be written (Not a directory)" in str(caught.value)
