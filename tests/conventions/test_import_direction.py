"""Who may import whom: the flow of the data goes one way, and Dagster stands at its edge."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# Each stage may import only what stands before it, `schemas` and `pipelines.errors`.
STAGES = [
    "workspace",
    "exports",
    "records",
    "terms",
    "water",
    "coverage",
    "remedies",
    "letters",
    "payments",
    "histories",
    "field",
    "audit",
    "what_if",
    "causes",
    "nightly",
]
DOMAIN_MUST_NOT = {"dagster", "duckdb", "altair", "dashboards"}


def _imports(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def _modules(folder: str) -> list[Path]:
    return sorted((ROOT / folder).rglob("*.py"))


def _roots(names: set[str]) -> set[str]:
    return {name.split(".")[0] for name in names}


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_imports_only_earlier_stages(stage: str) -> None:
    """A domain package knows nothing of later stages, the store, Dagster or charts."""
    allowed = {*STAGES[: STAGES.index(stage) + 1], "errors"}
    modules = _modules(f"pipelines/{stage}")
    assert modules, f"pipelines/{stage} holds no module; correct STAGES in this test"
    for path in modules:
        names = _imports(path)
        assert not _roots(names) & DOMAIN_MUST_NOT, f"{path}: keep {DOMAIN_MUST_NOT} out of here"
        ours = {n.split(".")[1] for n in names if n.startswith("pipelines.")}
        assert ours <= allowed, f"{path} imports {sorted(ours - allowed)}, which come later"


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
    """Only the warehouse speaks to DuckDB's connections."""
    for path in _modules("pipelines"):
        if "warehouse" in path.parts:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        calls = {ast.unparse(n.func) for n in ast.walk(tree) if isinstance(n, ast.Call)}
        assert "duckdb.connect" not in calls, f"{path}: open the store with warehouse.database"


def test_only_the_edge_knows_dagster() -> None:
    """Dagster is imported in `defs`, `definitions` and the commands alone."""
    for path in _modules("pipelines"):
        if {"defs", "commands"} & set(path.parts) or path.name == "definitions.py":
            continue
        assert "dagster" not in _roots(_imports(path)), path


def test_nothing_walks_rows_in_python() -> None:
    """Paths that grow with the data work on columns."""
    slow = {"iter_rows", "map_elements", "map_rows", "itertuples", "iterrows"}
    excused = {
        "sheets.py",  # a workbook's typed cells come as Python values
        "advice_treatment.py",  # one model, one water, a handful of treatments
        "early_warning.py",  # months of a few groups, already counted
        "advice_water.py",  # the analytes of one test
        "treatment.py",  # combinations of a few products
        "adjustment.py",  # regions, already summed
        "search.py",  # a few hypotheses a claim, for claims that have a page
    }
    for stage in (
        "exports",
        "records",
        "water",
        "coverage",
        "remedies",
        "letters",
        "histories",
        "field",
        "what_if",
        "causes",
        "nightly",
    ):
        for path in _modules(f"pipelines/{stage}"):
            if path.name in excused:
                continue
            tree = ast.parse(path.read_text(encoding="utf-8"))
            used = {n.attr for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
            assert not used & slow, f"{path} walks rows with {sorted(used & slow)}"


def test_the_repository_speaks_of_the_product_alone() -> None:
    """No file names a workplace path or a package registry's host."""
    words = ["/wor" + "k/", "../sha" + "red", ".libra" + "ry/", "pypi" + ".org", "npmjs" + ".org"]
    for pattern in ("*.py", "*.md", "*.toml", "*.html", "*.js", "*.css", "*.csv"):
        for path in ROOT.rglob(pattern):
            if any(part.startswith(".") for part in path.relative_to(ROOT).parts):
                continue
            text = path.read_text(encoding="utf-8", errors="replace")
            assert not [w for w in words if w in text], path
