"""Who may import whom: the flow of the data goes one way, and Dagster stands at its edge."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[2]

# The house from the ground up: a room may import what stands below it, `schemas` and
# `pipelines.errors`. Those of the first list are domain code, values in and values out.
DOMAIN = [
    "workspace",
    "exports",
    "records",
    "terms",
    "water",
    "coverage",
    "counterfactuals",
    "letters",
    "units",
    "startups",
    "field",
    "worklist",
    "months",
    "assist",
]
ABOVE = [
    "engine",
    "events",
    "store",
    "nightly",
    "steps",
    "queries",
    "actions",
    "orchestration",
    "desk",
    "cli",
]
ROOMS = [*DOMAIN, *ABOVE]
DOMAIN_MUST_NOT = {"dagster", "duckdb", "altair", "dashboards"}
KNOW_DAGSTER = {"orchestration", "cli"}


class Said(NamedTuple):
    """What a module's syntax tree tells: modules imported, attributes named, functions called."""

    imports: frozenset[str]
    attributes: frozenset[str]
    calls: frozenset[str]


@cache  # most tests look at the same modules
def _said(path: Path) -> Said:
    imports: set[str] = set()
    attributes: set[str] = set()
    calls: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imports |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            imports.add(node.module)
            imports |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Attribute):
            attributes.add(node.attr)
        elif isinstance(node, ast.Call):
            calls.add(ast.unparse(node.func))
    return Said(frozenset(imports), frozenset(attributes), frozenset(calls))


def _imports(path: Path) -> frozenset[str]:
    return _said(path).imports


def _modules(folder: str) -> list[Path]:
    found = sorted((ROOT / folder).rglob("*.py"))
    assert found, f"{folder} holds no module"
    return found


def _roots(names: set[str]) -> set[str]:
    return {name.split(".")[0] for name in names}


def test_every_room_has_its_floor() -> None:
    """A new folder is put into the list before anything imports it."""
    there = {path.name for path in (ROOT / "pipelines").iterdir() if path.is_dir()}
    assert there - {"__pycache__"} == set(ROOMS), "name the folder in ROOMS, at its floor"


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_imports_only_what_stands_below_it(room: str) -> None:
    """Arrows point down: no room knows what is built upon it."""
    allowed = {*ROOMS[: ROOMS.index(room) + 1], "errors"}
    modules = _modules(f"pipelines/{room}")
    assert modules, f"pipelines/{room} holds no module; correct ROOMS in this test"
    for path in modules:
        names = _imports(path)
        if room in DOMAIN:
            assert not _roots(names) & DOMAIN_MUST_NOT, f"{path}: keep {DOMAIN_MUST_NOT} out"
        ours = {n.split(".")[1] for n in names if n.startswith("pipelines.")}
        assert ours <= allowed, f"{path} imports {sorted(ours - allowed)}, which stand above it"


def _circles(arrows: dict[str, set[str]]) -> set[frozenset[str]]:
    """The groups of modules that reach each other, by walking from each of them."""

    def reached(start: str) -> set[str]:
        seen: set[str] = set()
        waiting = [start]
        while waiting:
            for name in arrows.get(waiting.pop(), set()) - seen:
                seen.add(name)
                waiting.append(name)
        return seen

    reach = {name: reached(name) for name in arrows}
    return {
        frozenset({name, *(other for other in far if name in reach.get(other, set()))})
        for name, far in reach.items()
        if name in far
    }


def test_no_circles() -> None:
    """No module imports one that imports it, not even for its types or inside a function."""
    modules = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
        for folder in ("pipelines", "schemas", "dashboards", "sample_data")
        for path in _modules(folder)
    }
    assert len(modules) > 100
    arrows = {}
    for name, path in modules.items():
        named = _imports(path) & modules.keys()
        # `from package import module` asks for the module, not for what the package offers.
        parents = {one.rpartition(".")[0] for one in named}
        arrows[name] = named - parents - {name}
    assert _circles({"a": {"b"}, "b": {"a"}, "c": {"a"}}) == {frozenset({"a", "b"})}
    assert not _circles(arrows), f"{_circles(arrows)}: what both need belongs below both"


def test_schemas_import_nothing_of_ours() -> None:
    """Shape and words stand alone."""
    for path in _modules("schemas"):
        roots = _roots(_imports(path))
        assert not roots & {"pipelines", "dashboards", "sample_data", "dagster", "duckdb"}, path


def test_dashboards_draw_and_do_not_compute() -> None:
    """Pages know frames and charts, neither the pipeline nor the store."""
    for path in _modules("dashboards"):
        roots = _roots(_imports(path))
        assert not roots & {"pipelines", "dagster", "duckdb", "sample_data"}, path


def test_the_store_is_opened_in_one_place() -> None:
    """Only the store speaks to DuckDB's connections."""
    for path in _modules("pipelines"):
        if "store" in path.parts:
            continue
        assert "duckdb.connect" not in _said(path).calls, (
            f"{path}: use pipelines.store.database.connect"
        )


def test_only_the_edge_knows_dagster() -> None:
    """Dagster is imported in `orchestration` and the commands alone."""
    for path in _modules("pipelines"):
        if KNOW_DAGSTER & set(path.parts):
            continue
        assert "dagster" not in _roots(_imports(path)), path


def test_nothing_walks_rows_in_python() -> None:
    """Paths that grow with the data work on columns."""
    slow = {"iter_rows", "map_elements", "map_rows", "itertuples", "iterrows"}
    excused = {
        "corrections.py",  # the few rows that people corrected
        "cells.py",  # a workbook's typed cells come as Python values
        "advice_treatment.py",  # one model, one water, a handful of treatments
        "early_warning.py",  # months of a few groups, already counted
        "advice_water.py",  # the analytes of one test
        "treatment.py",  # combinations of a few products
        "adjustment.py",  # regions, already summed
        "search.py",  # a few hypotheses a claim, for claims that have a page
    }
    for room in DOMAIN:
        if room == "workspace":  # settings and reference files, which do not grow
            continue
        for path in _modules(f"pipelines/{room}"):
            if path.name in excused:
                continue
            used = _said(path).attributes & slow
            assert not used, f"{path} walks rows with {sorted(used)}"
