"""Feeds the loaders of settings, mappings and terms broken files: `fuzz_loaders.py COUNT [SEED]`.

Sound files are edited at random: values of another type, keys renamed, doubled and taken away,
tables moved, bytes cut and flipped. Each result must load, and then serve, or end in a
WorkspaceError of single sentences that name the file. COUNT cases go to each loader. What fails
loses the edits that it fails without, and is written into tests/cases/loader_corpus, whose files
are read again by the unit tests.
"""

from __future__ import annotations

import random
import re
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT)]
TOLD_EVERY = 10_000  # so that the count is known of a run that is stopped
CORPUS = ROOT / "tests" / "cases" / "loader_corpus"

from pipelines.errors import WorkspaceError  # noqa: E402
from pipelines.records.mapping import load_mapping  # noqa: E402
from pipelines.terms import load_terms  # noqa: E402
from pipelines.workspace.settings import read_settings  # noqa: E402
from schemas.codes import ABILITIES, FEEDS  # noqa: E402

WRITTEN = ROOT / "sample_data" / "written"
FAMILIES = ("Beck", "Force", "Linn", "Skerry")
TEMPLATE = ROOT / "pipelines" / "workspace" / "templates" / "limeledger.toml"
VALUES = [
    *["0", "-1", "1.5", "1e400", "-0.0", "nan", "inf", "99999999999999999999999", "0x7f", "1_000"],
    *["true", "false", '""', '" "', '"x"', '"../x"', "'''\na\n'''", '"\\u0000"', '"\\n"', '"é😀"'],
    *["[]", "[[]]", "[1, 'a', {}]", '["a", "a"]', "{}", "{a = 1}", "{a = {b = [1]}}", "[nan]"],
    *[
        "2026-02-30",
        "2026-03-31",
        "0001-01-01",
        "9999-12-31",
        "12:60",
        "23:59",
        "1979-05-27T07:32:00Z",
    ],
    *['"%d/%m/%Y"', '"DD.MM.YYYY"', '"("', '"[a-"', '"mg/L"', '"gpg"', '"°dH"', '"=1+1"', '"|"'],
    *["[" * 40 + "]" * 40, "[" * 3000, '"' + "x" * 5000 + '"', '["site_name"]', "{'' = 1}", ""],
    *['"America/Denver"', '"USD"', '"long"', '"hardness_mg_l_caco3"', '["scale", "nonsense"]'],
]
ATOMS = [
    "\n",
    "[",
    "]",
    "=",
    ".",
    '"',
    "'",
    "#",
    "\0",
    "\r",
    "\ufeff",
    "[[a]]\n",
    "[nightly]\n",
    "é",
]
KINDS = ("value", "value", "key", "drop", "double", "move", "table", "insert", "cut", "flip")
GENTLE = ("value", "value", "value", "drop")
Edit = tuple[str, int, str, str]  # its kind, place, value and atom


def edited(text: str, edits: list[Edit]) -> bytes:
    """The text after some edits; where an edit has no place to go it changes nothing."""
    lines = text.splitlines(keepends=True)
    for kind, place, value, atom in edits:
        at = place % len(lines) if lines else 0
        if not lines:
            lines = [atom]
        elif kind == "value" and "=" in lines[at]:
            lines[at] = lines[at].partition("=")[0] + f"= {value}\n"
        elif kind == "key" and "=" in lines[at]:
            lines[at] = f"{value or atom} =" + lines[at].partition("=")[2]
        elif kind == "drop":
            del lines[at]
        elif kind == "double":
            lines.insert(at, lines[at])
        elif kind == "move":
            lines.insert((place // 7) % len(lines), lines.pop(at))
        elif kind == "table":
            lines.insert(at, f"[{value.strip('[]{}') or atom}]\n")
        elif kind in ("insert", "cut", "flip"):
            whole = "".join(lines)
            here = place % (len(whole) + 1)
            cut = {"insert": 0, "cut": 1 + place % 40, "flip": 1}[kind]
            put = {"insert": atom, "cut": "", "flip": chr((place * 31) % 256)}[kind]
            lines = (whole[:here] + put + whole[here + cut :]).splitlines(keepends=True)
    return "".join(lines).encode("utf-8", "surrogatepass")


def drawn(rng: random.Random) -> list[Edit]:
    """One to five edits, in half of the cases only such as mostly leave sound TOML."""
    kinds = rng.choice((KINDS, GENTLE))
    return [
        (rng.choice(kinds), rng.randint(0, 20_000), rng.choice(VALUES), rng.choice(ATOMS))
        for _ in range(rng.randint(1, 5))
    ]


def check_settings(folder: Path, data: bytes, _: int) -> None:
    """Settings serve: a time zone that is one, a name of a folder that stays inside."""
    path = folder / "limeledger.toml"
    path.write_bytes(data)
    loaded = read_settings(path)
    assert loaded.zone.key == loaded.timezone
    assert 0 <= loaded.set_aside_tolerance <= 1
    assert not Path(loaded.terms).is_absolute()
    assert (folder / loaded.terms).resolve().is_relative_to(folder.resolve())


def check_mapping(folder: Path, data: bytes, place: int) -> None:
    """A mapping serves: its dates compile, its units convert, its fingerprint can be taken."""
    # The seeds are mappings of these three feeds, in turn; now and then one is taken for another.
    own = ("startups", "treatment_purchases", "water_tests")[place % 3]
    feed = FEEDS[place % len(FEEDS)] if place % 10 == 9 else own
    path = folder / f"{feed}.toml"
    path.write_bytes(data)
    mapping = load_mapping(path, feed)
    for pattern in mapping.date_patterns:
        re.compile(pattern)
    for column in mapping.units:
        mapping.conversion(column)
    assert len(mapping.fingerprint) == 64


def check_terms(folder: Path, data: bytes, _: int) -> None:
    """An edition serves: it is laid out for every family."""
    path = folder / "terms" / "edition.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    terms = load_terms(path.parent, FAMILIES, ABILITIES)
    assert sorted(terms.values["family"].to_list()) == sorted(FAMILIES)


def uncommented(text: str) -> str:
    """The template of the settings with every default written out."""
    return re.sub(r"(?m)^# (?=[a-z_]+ = |\[)", "", text)


def seeds_of(name: str) -> list[str]:
    """The sound files that cases are made from, and those that once failed."""
    sound = {
        "settings": [TEMPLATE.read_text("utf-8"), uncommented(TEMPLATE.read_text("utf-8"))],
        "mapping": [p.read_text("utf-8") for p in sorted((WRITTEN / "mappings").glob("*.toml"))],
        "terms": [p.read_text("utf-8") for p in sorted((WRITTEN / "terms").glob("*.toml"))],
    }[name]
    kept = sorted(CORPUS.glob(f"{name}_*.toml"))
    return sound + [path.read_bytes().decode("utf-8", "replace") for path in kept]


CHECKS: dict[str, Callable[[Path, bytes, int], None]] = {
    "settings": check_settings,
    "mapping": check_mapping,
    "terms": check_terms,
}


def check(name: str, folder: Path, data: bytes, place: int) -> bool:
    """Runs one case; whether the file loaded."""
    try:
        CHECKS[name](folder, data, place)
    except WorkspaceError as error:
        faults = error.faults
    else:
        return True
    assert faults, "an error without a fault"
    for fault in faults:
        assert fault.endswith((".", "?")), fault
        assert ".toml" in fault, fault
        assert "\n" not in fault, fault
    return False


def fails(name: str, folder: Path, data: bytes, place: int) -> bool:
    """Whether the case ends in another way than it may."""
    try:
        check(name, folder, data, place)
    except Exception:
        return True
    return False


def shrunk(name: str, folder: Path, text: str, edits: list[Edit], place: int) -> list[Edit]:
    """The edits without those that the case fails without."""
    for edit in list(edits):
        fewer = [other for other in edits if other is not edit]
        if fails(name, folder, edited(text, fewer), place):
            edits = fewer
    return edits


def run(name: str, count: int, number: int) -> None:
    """Runs `count` cases of one loader."""
    rng, sound = random.Random(f"{name} {number}"), seeds_of(name)
    began, loaded = time.perf_counter(), 0
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        for case in range(1, count + 1):
            place, edits = rng.randrange(60), drawn(rng)
            text = sound[place % len(sound)]
            try:
                loaded += check(name, folder, edited(text, edits), place)
            except Exception:
                data = edited(text, shrunk(name, folder, text, edits, place))
                kept = CORPUS / f"{name}_{number}_{case}.toml"
                kept.write_bytes(data)
                print(f"case {case} of seed {number} failed: {kept}", flush=True)
                check(name, folder, data, place)
            if case % TOLD_EVERY == 0 or case == count:
                took = time.perf_counter() - began
                print(
                    f"{name}: {case:,} cases in {took:.0f} s, {loaded:,} loaded, none failed",
                    flush=True,
                )


if __name__ == "__main__":
    for loader in CHECKS:
        run(loader, int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
