"""A name says what it holds: no `told`, `found`, `named` or `asked` stands for a value.

Each of these says only that somebody told, found, named or asked for something. The word may be
part of a name that goes on to say what (`named_day`, `is_found`), a column, or a key of a page.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PRODUCT = ("pipelines", "schemas", "dashboards")
WORDS = {"told", "found", "named", "asked"}


def given_names(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """The lines and names that code gives itself: of values, arguments, functions and classes."""
    for node in ast.walk(tree):
        match node:
            case ast.Name(id=name, ctx=ast.Store()) | ast.arg(arg=name):
                yield node.lineno, name
            case ast.FunctionDef(name=name) | ast.AsyncFunctionDef(name=name):
                yield node.lineno, name
            case ast.ClassDef(name=name):
                yield node.lineno, name
            case ast.alias(asname=str(name)):
                yield node.lineno, name
            case ast.ExceptHandler(name=str(name)) | ast.MatchAs(name=str(name)):
                yield node.lineno, name


def says_nothing(name: str) -> bool:
    """Whether a name is such a word alone, as a variable, a constant or a class."""
    return name.strip("_").lower() in WORDS


def test_names_say_what_they_hold() -> None:
    """No value, argument, function or class of the product has such a word for its name."""
    paths = sorted(path for folder in PRODUCT for path in (ROOT / folder).rglob("*.py"))
    names = [
        (f"{path.relative_to(ROOT)}:{line}", name)
        for path in paths
        for line, name in given_names(ast.parse(path.read_text(encoding="utf-8")))
    ]
    assert len(names) > 10_000
    assert [place for place, name in names if says_nothing(name)] == []


@pytest.mark.parametrize(
    "text",
    [
        "told = 1",
        "found: int = 1",
        "for key, named in pairs: pass",
        "print(found := 1)",
        "[asked for asked in pairs]",
        "with opened() as told: pass",
        "def f(told): pass",
        "def f(*, found=None): pass",
        "def f(**told): pass",
        "lambda found: found[0]",
        "TOLD = ()",
        "def _told(): pass",
        "class _Asked: pass",
        "import json as told",
    ],
)
def test_a_name_that_says_nothing_is_noticed(text: str) -> None:
    """Each way to give such a name is seen."""
    names = [name for _, name in given_names(ast.parse(text)) if says_nothing(name)]
    assert len(names) == 1


@pytest.mark.parametrize(
    "text",
    [
        "named_day = 1",
        "def is_found(): pass",
        "counts = rows.agg(found=1)",
        "note = told_before",
        "note = told.x",
    ],
)
def test_a_word_within_a_name_or_of_others_is_left(text: str) -> None:
    """What goes on to say more, columns of frames and names that are only read pass."""
    names = [name for _, name in given_names(ast.parse(text))]
    assert len(names) == 1
    assert not says_nothing(names[0])
