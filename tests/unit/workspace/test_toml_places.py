"""The place of a key in a TOML file, and suggestions for words that are not known."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.errors import WorkspaceError
from pipelines.workspace.toml_file import nearest, read_toml, show, suggest

TEXT = '''\
top = 1
note = """
[coverage]
parts_months = 3
"""
[coverage]
"parts_months" = 18

[water]
panel = [
  "ph",
]
limits.ph = { min = 6.8, max = 8.8 }
[family.BECK.coverage]
  parts_months = 24
'''

PLACES = [
    (["top"], "a.toml line 1, column 1"),
    (["coverage"], "a.toml line 6, column 2"),
    (["coverage", "parts_months"], "a.toml line 7, column 1"),
    (["coverage", "labor_months"], "a.toml line 6, column 2"),
    (["water", "panel"], "a.toml line 10, column 1"),
    (["water", "limits", "ph"], "a.toml line 13, column 1"),
    (["water", "limits", "ph", "max"], "a.toml line 13, column 26"),
    (["family", "BECK"], "a.toml line 14, column 2"),
    (["family", "BECK", "coverage", "parts_months"], "a.toml line 15, column 3"),
    (["nowhere"], "a.toml"),
]


@pytest.mark.parametrize(("path", "place"), PLACES)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_key_is_found_where_it_stands(tmp_path: Path, path: list[str], place: str, end: str):
    """Headers, dotted keys, inline tables and quoted keys count; text in quotes does not."""
    file = tmp_path / "a.toml"
    file.write_bytes(TEXT.replace("\n", end).encode())
    assert read_toml(file, "a.toml").at(path) == place


def test_a_missing_file_is_named(tmp_path: Path):
    """The name that people know stands in the sentence."""
    with pytest.raises(WorkspaceError) as caught:
        read_toml(tmp_path / "units.toml", "mappings/units.toml")
    assert str(caught.value) == "mappings/units.toml is missing; put the file there."


def test_a_number_too_long_to_read_is_a_fault_of_the_file(tmp_path: Path):
    """Not every refusal of the parser has a place, but none is a traceback."""
    file = tmp_path / "a.toml"
    file.write_text("x = " + "9" * 5000)
    with pytest.raises(WorkspaceError) as caught:
        read_toml(file, "a.toml")
    assert "a.toml line 1" in str(caught.value)


def test_nesting_without_end_is_a_fault_of_the_file(tmp_path: Path):
    """A file that is nested too deeply ends in a sentence."""
    file = tmp_path / "a.toml"
    file.write_text("x = " + "[" * 5000)
    with pytest.raises(WorkspaceError) as caught:
        read_toml(file, "a.toml")
    assert "this is not valid TOML" in str(caught.value)


@pytest.mark.parametrize(
    ("word", "known", "near"),
    [
        ("site_nmae", ["site", "site_name"], "site_name"),
        ("hardness", ["ph", "hardness_mg_l_caco3"], "hardness_mg_l_caco3"),
        ("BECK", ["Beck", "Linn"], "Beck"),
        ("zzz", ["Beck", "Linn"], None),
        ("", ["Beck"], None),
    ],
)
def test_the_nearest_name(word: str, known: list[str], near: str | None):
    """Slips of the hand, parts of names and letter case lead to the name that was meant."""
    assert nearest(word, known) == near


def test_a_suggestion_always_says_what_to_do():
    """A near name, else the names there are, else to take the word out."""
    assert suggest("scales", ["scale", "ph"]) == "did you mean scale?"
    assert suggest("zzz", ["scale", "ph"]) == "use one of: ph, scale."
    assert suggest("zzz", []) == "there are none; take it out."


def test_of_very_many_names_the_nearest_are_listed() -> None:
    """A wrong serial is not answered with the whole register."""
    known = [f"B{place:05d}" for place in range(2000)]
    said = suggest("ZZ01234X", known)
    assert said.startswith("of 2,000 the nearest are B")
    assert "B01234" in suggest("QQQ1234", known)
    assert said.count(",") == 1 + 9


def test_values_are_shown_as_they_were_written():
    """A sentence repeats a value as its writer knows it, cut where it is long."""
    assert show(True) == "true"
    assert show(["a", 1]) == '["a", 1]'
    assert show({"a": 1}) == "a table"
    assert len(show("x" * 100)) == 58
