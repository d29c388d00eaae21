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


def asserts(node: ast.AST, idle: frozenset[str] | set[str] = frozenset()) -> bool:
    """Whether a node is an assertion, or a call of a function that asserts, none of the idle."""
    if isinstance(node, ast.Call):
        name = ast.unparse(node.func).rpartition(".")[2]
        return name not in idle and (
            name.lstrip("_").startswith(("assert", "check", "expect", "close", "same"))
            or name == "raises"
        )
    return isinstance(node, ast.Assert)


COMPREHENSIONS = (ast.ListComp, ast.SetComp, ast.GeneratorExp, ast.DictComp)


def gone_over(node: ast.expr) -> ast.expr | None:
    """What a comprehension, or `set(…)` and the like of one, goes over."""
    if isinstance(node, ast.Call) and getattr(node.func, "id", "") in (*FIXED, "all", "any"):
        node = node.args[0] if node.args else node
    return node.generators[0].iter if isinstance(node, COMPREHENSIONS) else None


def over_what(node: ast.expr) -> ast.expr | None:
    """What an assertion goes over that holds for nothing: `all(…)`, `not any(…)`, `… == []`."""
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return gone_over(node.operand)
    if isinstance(node, ast.Compare) and isinstance(node.ops[0], ast.Eq | ast.LtE):
        other = node.comparators[0]
        below = isinstance(node.ops[0], ast.LtE)  # a set within another
        alike = gone_over(other) is not None or ast.unparse(other) in ("[]", "set()", "{}")
        return gone_over(node.left) if below or alike else None
    is_all = isinstance(node, ast.Call) and getattr(node.func, "id", "") == "all"
    return gone_over(node) if is_all else None


def holds_for_nothing(node: ast.AST, filled: set[str]) -> bool:
    """Whether an assertion passes where what it goes over is empty."""
    if not isinstance(node, ast.Assert):
        return False
    over = over_what(node.test)
    return over is not None and not is_filled(over, filled)


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


def asserts_for_sure(body: list[ast.stmt], filled: set[str], idle: set[str]) -> bool:
    """Whether an assertion is reached, and looks at something, whatever the frames hold."""
    for statement in body:
        if isinstance(statement, ast.For):
            if is_filled(statement.iter, filled) and asserts_for_sure(statement.body, filled, idle):
                return True
        elif isinstance(statement, ast.If | ast.With | ast.Try):
            heads = [item.context_expr for item in getattr(statement, "items", [])]
            if any(asserts(node, idle) for head in heads for node in ast.walk(head)):
                return True
            if asserts_for_sure(statement.body, filled, idle):
                return True
        elif (
            not isinstance(statement, ast.FunctionDef | ast.While)
            and any(asserts(node, idle) for node in ast.walk(statement))
            and not holds_for_nothing(statement, filled)
        ):
            return True
    return False


def idle_helpers(functions: list[ast.FunctionDef], filled: set[str]) -> set[str]:
    """Functions that tests call, whose assertions may all go over nothing."""
    return {
        one.name
        for one in functions
        if not one.name.startswith("test_")
        and any(isinstance(node, ast.Assert) for node in ast.walk(one))
        and not asserts_for_sure(one.body, filled, set())
    }


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
    idle = idle_helpers(functions, filled)
    return [
        one.name
        for one in functions
        if one.name.startswith("test_")
        and any(asserts(node) for node in ast.walk(one))
        and not asserts_for_sure(one.body, filled, idle)
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
        ("assert all(row for row in rows)", True),
        ("assert rows\n    assert all(row for row in rows)", False),
        ("assert all(row for row in (1, 2))", False),
        ("assert not [row for row in rows if row.bad]", True),
        ("assert [row for row in rows if row.bad] == []", True),
        ("assert not any(row.bad for row in rows)", True),
        ("assert [one(row) for row in rows] == [other(row) for row in rows]", True),
        ("assert {row.name for row in rows} <= KNOWN", True),
        ("assert [row.name for row in rows] == ['a', 'b']", False),
        ("assert any(row for row in rows)", False),
        ("assert len(rows) == 3", False),
        ("check(rows)", False),
        ("check_each(rows)\n\ndef check_each(rows):\n    for row in rows: assert row", True),
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
