"""Feeds the loaders of settings, mappings and terms broken files: `fuzz_loaders.py COUNT [SEED]`.

hypothesis edits sound files: values of another type, keys renamed, doubled and taken away, tables
moved, bytes cut and flipped. Each result must load, and then serve, or end in a WorkspaceError of
single sentences that name the file. COUNT cases go to each loader. What fails is shrunk, printed,
and written into tests/cases/loader_corpus, whose files are read again by the unit tests.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT)]
BATCH = 2_500
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


def edited(text: str, edits: list[tuple[str, int, str, str]]) -> bytes:
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


EDITS = st.lists(
    st.tuples(
        st.sampled_from(KINDS),
        st.integers(0, 20_000),
        st.sampled_from(VALUES),
        st.sampled_from(ATOMS),
    ),
    min_size=1,
    max_size=5,
)


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


def run(name: str, count: int, number: int) -> None:
    """Runs `count` cases of one loader, in batches, since hypothesis remembers all of a batch."""
    began, cases, loaded = time.perf_counter(), 0, 0
    while cases < count:
        ran, well = batch(name, min(BATCH, count - cases), number + cases)
        cases, loaded = cases + ran, loaded + well
        took = time.perf_counter() - began
        print(
            f"{name}: {cases:,} cases in {took:.0f} s, {loaded:,} loaded, none failed", flush=True
        )


def batch(name: str, count: int, number: int) -> tuple[int, int]:
    """One batch; how many cases ran and how many of them loaded."""
    sound, loaded, cases, last = seeds_of(name), 0, 0, b""
    with tempfile.TemporaryDirectory() as folder:

        @seed(number)
        @settings(
            max_examples=count,
            database=None,
            deadline=None,
            phases=[Phase.generate, Phase.shrink],
            suppress_health_check=list(HealthCheck),
        )
        @given(st.integers(0, 59), EDITS)
        def case(place: int, edits: list[tuple[str, int, str, str]]) -> None:
            nonlocal loaded, cases, last
            last = edited(sound[place % len(sound)], edits)
            cases += 1
            loaded += check(name, Path(folder), last, place)

        try:
            case()
        except BaseException:
            (CORPUS / f"{name}_{number}_{cases}.toml").write_bytes(last)
            raise
    return cases, loaded


if __name__ == "__main__":
    for loader in CHECKS:
        run(loader, int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
