"""A test whose assertions all stand in loops passes where there is nothing to loop over."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FIXED = {"range", "enumerate", "sorted", "reversed", "list", "set", "zip"}
# Loops that stand in no need of a look at what they go over, by file and test.
SURE = {
    "test_lapses_of_many_systems_are_those_of_each": "hypothesis draws one system at least",
    "test_days_covered_are_those_of_a_walk_over_every_day": "hypothesis draws one at least",
    "test_any_sequence_of_records_reads_back": "hypothesis draws one step at least",
    "test_slopes_are_derivatives": "over the nine cells of a table",
    "test_months_completed_are_those_whose_anniversary_has_come": "over three months",
}
ONE_THING = {"serve"}  # generators of the tests that yield once


def asserts(node: ast.AST) -> bool:
    """Whether a node is an assertion, or a call of a function that asserts."""
    if isinstance(node, ast.Call):
        name = ast.unparse(node.func).rpartition(".")[2]
        return name.lstrip("_").startswith(("assert", "check", "expect", "close", "same")) or (
            name == "raises"
        )
    return isinstance(node, ast.Assert)


def is_filled(node: ast.expr, filled: set[str]) -> bool:
    """Whether what is looped over is there for sure: written out, or looked at before."""
    if isinstance(node, ast.Tuple | ast.List | ast.Set):
        return bool(node.elts)
    if isinstance(node, ast.Dict):
        return bool(node.keys)
    if isinstance(node, ast.Constant):
        return bool(node.value)
    if isinstance(node, ast.Name):
        return node.id.isupper() or node.id in filled
    if isinstance(node, ast.Attribute):
        return node.attr.isupper()
    if not isinstance(node, ast.Call):
        return False
    name = ast.unparse(node.func).rpartition(".")[2]
    if name in ONE_THING or name in filled:
        return True
    if name in ("items", "values", "keys") and isinstance(node.func, ast.Attribute):
        return is_filled(node.func.value, filled)
    if name == "zip" and node.keywords:  # strict: all are as long as one that is filled
        return any(is_filled(one, filled) for one in node.args)
    return name in FIXED and all(is_filled(one, filled) for one in node.args)


def asserts_for_sure(body: list[ast.stmt], filled: set[str]) -> bool:
    """Whether an assertion is reached whatever the frames hold."""
    for statement in body:
        if isinstance(statement, ast.For):
            if is_filled(statement.iter, filled) and asserts_for_sure(statement.body, filled):
                return True
        elif isinstance(statement, ast.If | ast.With | ast.Try):
            heads = [item.context_expr for item in getattr(statement, "items", [])]
            if any(asserts(node) for head in heads for node in ast.walk(head)):
                return True
            if asserts_for_sure(statement.body, filled):
                return True
        elif not isinstance(statement, ast.FunctionDef | ast.While) and any(
            asserts(node) for node in ast.walk(statement)
        ):
            return True
    return False


def written_out(tree: ast.AST) -> set[str]:
    """Names that are given a value which is written out and not empty."""
    return {
        target.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign) and is_filled(node.value, set())
        for target in node.targets
        if isinstance(target, ast.Name)
    }


def idle_tests(text: str) -> list[str]:
    """The tests of a module that would pass over nothing."""
    tree = ast.parse(text)
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    looking = {
        one.name
        for one in functions
        if not one.name.startswith("test_")
        and any(isinstance(statement, ast.Assert) for statement in one.body)
    }
    filled = looking | written_out(tree)
    return [
        one.name
        for one in functions
        if one.name.startswith("test_")
        and any(
            isinstance(loop, ast.For) and any(asserts(node) for node in ast.walk(loop))
            for loop in ast.walk(one)
        )
        and not asserts_for_sure(one.body, filled)
    ]


@pytest.mark.parametrize(
    ("body", "idle"),
    [
        ("for row in rows: assert row", True),
        ("assert rows\n    for row in rows: assert row", False),
        ("for row in (1, 2): assert row", False),
        ("for row in ROWS.items(): assert row", False),
        ("for name in ():\n        assert name", True),
        ("for row, _ in zip(rows, [1], strict=True): assert row", False),
        ("for row, _ in zip(rows, [1]): assert row", True),
        ("with raises(E): pass\n    for row in rows: assert row", False),
        ("if rows:\n        for row in rows: assert row", True),
        ("return", False),
    ],
)
def test_the_look_itself(body: str, idle: bool) -> None:
    """It sees a loop that may be empty, and none that cannot."""
    assert bool(idle_tests(f"def test_it():\n    {body}\n")) is idle


def test_no_test_passes_over_nothing() -> None:
    """Such a test first asserts that there is something."""
    files = sorted((ROOT / "tests").rglob("test_*.py"))
    assert len(files) > 200
    idle = [
        f"{path.relative_to(ROOT)}: {name}"
        for path in files
        for name in idle_tests(path.read_text(encoding="utf-8"))
        if name not in SURE
    ]
    assert idle == [], "assert that there is something, then loop"
