"""One module asks what time it is, so that a moment that is given holds everywhere."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
PRODUCT = ("pipelines", "schemas", "dashboards")
CLOCK = ROOT / "pipelines" / "workspace" / "clock.py"
ASKS = {
    "date.today",
    "datetime.now",
    "datetime.today",
    "datetime.utcnow",
    "time.ctime",
    "time.gmtime",
    "time.localtime",
    "time.strftime",
    "time.time",
    "time.time_ns",
}
IN_SQL = ("current_date", "current_timestamp", "current_time", "localtimestamp", "now()", "today()")


def _asked(path: Path) -> list[str]:
    """The places of a module that ask the clock, by a call or in SQL."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute):
            above = node.value
            name = above.attr if isinstance(above, ast.Attribute) else getattr(above, "id", "")
            if f"{name}.{node.attr}" in ASKS:
                found.append(f"{path}:{node.lineno} {name}.{node.attr}")
        elif isinstance(node, ast.ImportFrom) and node.module == "time":
            found += [f"{path}:{node.lineno} {a.name}" for a in node.names if a.name != "monotonic"]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value.casefold()
            found += [f"{path}:{node.lineno} {word}" for word in IN_SQL if word in text]
    return found


def test_nobody_else_asks_the_clock() -> None:
    """Whoever needs the moment takes it from `pipelines.workspace.clock`."""
    modules = [path for part in PRODUCT for path in (ROOT / part).rglob("*.py")]
    assert CLOCK in modules
    assert _asked(CLOCK)
    found = [place for path in modules if path != CLOCK for place in _asked(path)]
    assert not found, f"take it from pipelines.workspace.clock: {found}"
