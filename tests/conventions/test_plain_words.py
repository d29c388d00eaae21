"""What people read of the desk, of actions and of commands is said in plain words.

Of our own words alone: sentences in the code and texts of templates, not names or docstrings.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# What is in force "is in force" or "counts", and what was posted for a claim was "paid".
UNPLAIN = re.compile(r"\bstand(?:s|ing)?\b(?! out| in for)|beyond what stands|\bcredited\b", re.I)
ROOMS = ("pipelines/actions", "pipelines/desk", "pipelines/cli", "pipelines/worklist")
TEMPLATES = ("dashboards/templates/desk", "dashboards/templates/letters")
# Descriptions of JSON, whose fields have these names.
NOT_READ = ("pipelines/cli/outputs/", "pipelines/desk/described")


def sentences(code: str) -> Iterator[str]:
    """The texts with a blank in them that are no docstrings."""
    tree = ast.parse(code)
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        is_text = isinstance(node, ast.Constant) and isinstance(node.value, str)
        if is_text and id(node) not in docs and " " in node.value.strip():
            yield node.value


def read_of(template: str) -> str:
    """The text of a template without its tags, comments and blocks."""
    return re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<[^>]*>", " ", template, flags=re.DOTALL)


def test_what_is_printed_and_shown_is_plain() -> None:
    """No sentence says that something stands, or that money was credited."""
    files = [
        path
        for room in ROOMS
        for path in sorted((ROOT / room).rglob("*.py"))
        if not str(path.relative_to(ROOT)).startswith(NOT_READ)
    ]
    texts = {
        f"{path.relative_to(ROOT)}: {text}"
        for path in files
        for text in sentences(path.read_text(encoding="utf-8"))
    }
    pages = [
        path for room in TEMPLATES for path in sorted((ROOT / room).iterdir()) if path.is_file()
    ]
    texts |= {f"{path.name}: {read_of(path.read_text(encoding='utf-8'))}" for path in pages}
    assert len(files) > 100
    assert len(pages) > 20
    assert len(texts) > 1_000
    assert {text for text in texts if UNPLAIN.search(text.split(": ", 1)[1])} == set()


@pytest.mark.parametrize("text", ["What stands is paid.", "12.00 credited of 9.00 that stand"])
def test_an_unplain_sentence_would_be_found(text) -> None:
    """In code and in a template alike."""
    assert UNPLAIN.search(next(sentences(f"say({text!r})")))
    assert UNPLAIN.search(read_of(f"<p>{text}</p>{{{{ row.standing }}}}"))
    assert not UNPLAIN.search(read_of("<p>{{ row.standing }} stands out</p>"))


# What terms count may be one: `coverage.calendar_days` says so many days and months.
COUNTED = re.compile(r"\{\} (?:days|months)\b")
OF_TERMS = ("pipelines/coverage", "pipelines/letters", "pipelines/startups")


def test_days_and_months_of_terms_agree_with_their_number() -> None:
    """No sentence of a finding or letter is fixed to many days or months."""
    texts = [
        text
        for room in OF_TERMS
        for path in sorted((ROOT / room).rglob("*.py"))
        for text in sentences(path.read_text(encoding="utf-8"))
    ]
    assert len(texts) > 300
    assert [text for text in texts if COUNTED.search(text)] == []
    assert COUNTED.search(next(sentences('pl.format("within {} days", "days")')))
