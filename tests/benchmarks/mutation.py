"""The small wrong changes a module can be given: where they are, and the module with one of them.

A change is found by its place among all changes of the module, in the order of the syntax tree,
and known by a key that says what it does, which holds when lines move. Left alone: annotations,
docstrings, words of errors, and arguments that cannot change an answer (`strict=`, `frozen=`).
"""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass
from itertools import count

from mutation_pairs import (
    BUILT_IN,
    COMPARISONS,
    DROPPED,
    HARMLESS,
    NAMES,
    OPERATORS,
    SILENT,
    SPAN,
    SQL,
    SQL_CHANGES,
    WORDS,
)


@dataclass(frozen=True)
class Change:
    """One small wrong change of one module."""

    path: str
    place: int
    function: str
    line: int
    what: str

    @property
    def key(self) -> str:
        """What it is known by where lines have moved."""
        return f"{self.path}::{self.function}::{self.what}"


class Finder(ast.NodeTransformer):
    """Walks a module; makes the change at `wanted`, or only lists all where it is none."""

    def __init__(self, path: str, wanted: int = -1) -> None:
        self.path, self.wanted = path, wanted
        self.places = count()
        self.scope: list[str] = []
        self.found: list[Change] = []
        self.keyword = ""
        self.above: list[ast.AST] = []

    def visit(self, node: ast.AST) -> ast.AST:
        """A node, with those above it at hand."""
        self.above.append(node)
        try:
            return super().visit(node)
        finally:
            self.above.pop()

    def at(self, node: ast.AST, what: str) -> bool:
        """Notes a place; whether it is the one to be changed."""
        place = next(self.places)
        name = ".".join(self.scope) or "<module>"
        before = sum(one.function == name and one.what.split(" #")[0] == what for one in self.found)
        nth = f" #{before + 1}" if before else ""
        self.found.append(Change(self.path, place, name, getattr(node, "lineno", 0), what + nth))
        return place == self.wanted

    def _scoped(self, node: ast.AST) -> ast.AST:
        node.decorator_list, kept = [], node.decorator_list
        self.scope.append(node.name)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            node.args.defaults = [self.visit(one) for one in node.args.defaults]
        opening = [node.body[0]] if ast.get_docstring(node, clean=False) is not None else []
        rest = node.body[len(opening) :]
        node.body = opening + [new for one in rest if (new := self.visit(one)) is not None]
        self.scope.pop()
        node.decorator_list = kept
        return node

    visit_FunctionDef = visit_AsyncFunctionDef = visit_ClassDef = _scoped

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        """Its value, not its type."""
        if node.value is not None:
            node.value = self.visit(node.value)
        return node

    def visit_Raise(self, node: ast.Raise) -> ast.AST:
        """Words of errors are held by tests of messages, one by one; they are left alone."""
        return node

    visit_Import = visit_ImportFrom = visit_Assert = visit_Raise

    def visit_Expr(self, node: ast.Expr) -> ast.AST:
        """Docstrings of modules and of values stay."""
        return node if isinstance(node.value, ast.Constant) else self.generic_visit(node)

    def visit_keyword(self, node: ast.keyword) -> ast.AST:
        """An argument by name, unless it cannot change an answer."""
        if node.arg in HARMLESS:
            return node
        before, self.keyword = self.keyword, node.arg or ""
        node.value = self.visit(node.value)
        self.keyword = before
        return node

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        text = ast.unparse(node)
        if text.startswith("__name__") or text == "TYPE_CHECKING":
            return node
        for place, operator in enumerate(node.ops):
            other = COMPARISONS[type(operator)]
            if self.at(node, f"{text} → {other.__name__}"):
                node.ops[place] = other()
        return self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        other = OPERATORS.get(type(node.op))
        texts = (ast.Constant, ast.JoinedStr)
        joined = any(
            isinstance(one, texts) and not isinstance(getattr(one, "value", ""), int | float)
            for one in (node.left, node.right)
        )
        if other and not joined and self.at(node, f"{ast.unparse(node)} → {other.__name__}"):
            node.op = other()
        return self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        other = ast.Or if isinstance(node.op, ast.And) else ast.And
        if self.at(node, f"{ast.unparse(node)} → {other.__name__}"):
            node.op = other()
        return self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        if self.at(node, f"{ast.unparse(node)} → without its sign"):
            return self.visit(node.operand)
        return self.generic_visit(node)

    def visit_If(self, node: ast.If) -> ast.AST:
        if isinstance(node.test, ast.Name | ast.Attribute | ast.Call | ast.NamedExpr):
            if ast.unparse(node.test) == "TYPE_CHECKING":
                return node
            if self.at(node, f"if {ast.unparse(node.test)} → if not"):
                node.test = ast.UnaryOp(ast.Not(), node.test)
        return self.generic_visit(node)

    def visit_comprehension(self, node: ast.comprehension) -> ast.AST:
        for test in list(node.ifs):
            if self.at(test, f"[… if {ast.unparse(test)}] → every one"):
                node.ifs.remove(test)
        return self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> ast.AST:
        function = node.func
        name = function.attr if isinstance(function, ast.Attribute) else ""
        if (name or getattr(function, "id", "")) in SILENT:
            return node
        text = ast.unparse(node)
        if isinstance(function, ast.Attribute):
            other = NAMES.get(name)
            if other and self.at(node, f"{text} → {other}"):
                function.attr = other
            if name in DROPPED and self.at(node, f"{text} → without {name}"):
                return self.visit(function.value)
        elif (other := BUILT_IN.get(getattr(function, "id", ""))) and self.at(
            node, f"{text} → {other}"
        ):
            function.id = other
            node.keywords = [] if other == "list" else node.keywords
        return self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        value = node.value
        if isinstance(value, bool):
            return self._either(node, not value)
        if isinstance(value, int):
            return self._either(node, value + 1)
        if isinstance(value, float):
            return self._either(node, value * 1.1 if value else 1.0)
        if not isinstance(value, str):
            return node
        if word := WORDS.get((self.keyword, value)):
            return self._either(node, word)
        if SPAN.fullmatch(value):
            number = re.match(r"-?\d+", value)[0]
            return self._either(node, f"{int(number) + 1}{value[len(number) :]}")
        if SQL.search(value):
            for pattern, new in SQL_CHANGES:
                for hit in re.finditer(pattern, value):
                    near = " ".join(value[max(0, hit.start() - 25) : hit.end() + 25].split())
                    if self.at(node, f"sql {near} → {hit[0]} becomes {new or 'nothing'}"):
                        return ast.Constant(value[: hit.start()] + new + value[hit.end() :])
        return node

    def _either(self, node: ast.Constant, other: object) -> ast.AST:
        """A constant, or another in its place; what stands around it tells equal ones apart."""
        around = next(one for one in reversed(self.above[:-1]) if not isinstance(one, ast.keyword))
        text = f"{ast.unparse(around)} → {node.value!r} becomes {other!r}"
        return ast.Constant(other) if self.at(node, text) else node


def changes(path: str, source: str) -> list[Change]:
    """All changes that a module can be given, in their order."""
    finder = Finder(path)
    finder.visit(ast.parse(source))
    return finder.found


def changed(change: Change, source: str) -> ast.Module:
    """The module with one change."""
    tree = ast.parse(source)
    ast.fix_missing_locations(Finder(change.path, change.place).visit(tree))
    return tree
