"""Nobody decides claims by example terms without being told, wherever they look."""

from __future__ import annotations

from pathlib import Path

WARNING = "Claims are decided by example terms: terms/example-edition.toml."


def test_a_new_workspace_warns_until_its_terms_are_its_own(tmp_path: Path, run, no_figures):
    """`new` lays example terms: check, refresh, doctor and Morning page say so, and exit with 1."""
    folder = tmp_path / "ours"
    assert run("new", folder).code == 0
    told = run("check", folder, "--json")
    assert (told.code, told.json["attention"]) == (1, [WARNING])
    assert WARNING in run("check", folder).out
    told = run("refresh", folder, "--json")
    assert (told.code, told.json["attention"]) == (1, [WARNING])
    assert WARNING in (folder / "published/index.html").read_text()
    findings = run("doctor", folder, "--json").json["findings"]
    assert [one["weight"] for one in findings if one["sentence"] == WARNING] == ["warning"]
    edition = folder / "terms/example-edition.toml"
    text = edition.read_text()
    for own in ("example = false", ""):
        edition.write_text(text.replace("example = true ", f"{own} "))
        told = run("check", folder, "--json")
        assert (told.code, told.json["attention"]) == (0, [])


def test_letters_say_so_in_their_first_line(unrefreshed: Path, run, day, no_figures):
    """A letter that is written while an edition says that it is an example."""
    (edition, *_) = sorted((unrefreshed / "terms").glob("*.toml"))
    edition.write_text("example = true\n" + edition.read_text())
    warning = f"Claims are decided by example terms: terms/{edition.name}."
    settings = unrefreshed / "limeledger.toml"
    settings.write_text(settings.read_text() + "\n[letters]\nsince = 2020-01-01\n")
    assert run("refresh", unrefreshed, "--as-of", day).code == 1
    out = run("letters", unrefreshed, "--format", "eml", "--out", unrefreshed.parent / "letters")
    assert out.code in (0, 1)
    letters = sorted((unrefreshed.parent / "letters").rglob("*.eml"))
    assert len(letters) > 20
    assert [path.name for path in letters if warning not in path.read_text()] == []


def test_example_is_yes_or_no(workspace: Path, run):
    """Any other value is a fault with its line."""
    (edition, *_) = sorted((workspace / "terms").glob("*.toml"))
    edition.write_text('example = "maybe"\n' + edition.read_text())
    told = run("check", workspace)
    assert told.code == 2
    assert f"terms/{edition.name} line 1" in told.err
    assert 'example is "maybe"; write true or false.' in told.err
