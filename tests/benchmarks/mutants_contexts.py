"""Which functions of the product each test calls: what a run of mutants picks its tests by.

Kept in a file outside the repository, by the digest of each file of tests, so that only new and
changed ones are run again. A function is known by its file and its outermost name, so that what is
kept holds when lines move. What a shared fixture calls counts for each test that asks for it.
"""

from __future__ import annotations

import hashlib
import json
import os
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from cProfile import Profile
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
KEPT = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "limeledger" / "mutants"
FOLDERS = ("tests/unit", "tests/properties", "tests/published", "tests/cases", "tests/desk")
ROOMS = tuple(f"{ROOT / top}{os.sep}" for top in ("pipelines", "schemas", "dashboards"))
SHARED = ("session", "package", "module", "class")


def function_of(code: CodeType) -> str:
    """The name that a function is known by: its file from the top, and its outermost name."""
    name = code.co_qualname.partition(".<locals>")[0]
    return f"{os.path.relpath(code.co_filename, ROOT)}::{name}"


class Recorder:
    """A plugin of pytest that notes the functions that each test, or each shared fixture, calls."""

    def __init__(self) -> None:
        self.profiler = Profile(subcalls=False, builtins=False)
        self.seen: set[CodeType] = set()
        self.shared: dict[str, set[CodeType]] = {}
        self.tests: dict[str, dict[str, Any]] = {}

    def noted(self, frame: FrameType, event: str, _argument: object) -> None:
        """Notes one call in a thread beside, where the profiler does not look."""
        if event == "call" and frame.f_code.co_filename.startswith(ROOMS):
            self.seen.add(frame.f_code)

    def take(self) -> None:
        """What the profiler has seen goes into the set at hand."""
        self.profiler.disable()
        called = (entry.code for entry in self.profiler.getstats())
        codes = (code for code in called if isinstance(code, CodeType))
        self.seen.update(code for code in codes if code.co_filename.startswith(ROOMS))
        self.profiler.clear()

    @contextmanager
    def noting(self, found: set[CodeType]) -> Iterator[None]:
        """What is called meanwhile goes into one set."""
        self.take()
        before, self.seen = self.seen, found
        threading.setprofile(self.noted)
        self.profiler.enable()
        try:
            yield
        finally:
            self.take()
            self.seen = before
            self.profiler.enable()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """One test, with its fixtures."""
        found: set[CodeType] = set()
        began = time.perf_counter()
        try:
            with self.noting(found):
                return (yield)
        finally:
            self.profiler.disable()
            took = time.perf_counter() - began
            names = getattr(item, "fixturenames", ())
            shared = (self.shared.get(name, set()) for name in names)
            called = sorted({function_of(code) for code in found.union(*shared)})
            self.tests[item.nodeid] = {"seconds": round(took, 3), "functions": called}

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Iterator[None]:
        """A fixture that is made once: what it calls is kept for all who ask for it."""
        if fixturedef.scope not in SHARED:
            return (yield)
        found = self.shared.setdefault(fixturedef.argname, set())
        with self.noting(found):
            return (yield)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test that fails as things are can tell nothing about a change."""
        if report.failed:
            self.failed = {*getattr(self, "failed", set()), report.nodeid}


def digest(path: Path) -> str:
    """Of a file's bytes."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


def load() -> dict[str, Any]:
    """What is kept: by the file of tests, its digest and its tests."""
    path = KEPT / "contexts.json"
    return json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}


def collect(tell: Callable[[str], None], folders: Iterable[str] = FOLDERS) -> dict[str, Any]:
    """Runs the files of tests that are new or changed, and gives what is known of all."""
    tops = [ROOT / one for one in folders]
    paths = [path for top in tops for path in sorted([top, *top.rglob("test_*.py")])]
    paths = [path for path in paths if path.is_file()]
    names = {path.relative_to(ROOT).as_posix(): digest(path) for path in paths}
    kept = {name: one for name, one in load().items() if (ROOT / name).exists()}
    KEPT.mkdir(parents=True, exist_ok=True)
    stale = [name for name, sha in names.items() if kept.get(name, {}).get("sha") != sha]
    for place, name in enumerate(stale, 1):
        recorder = Recorder()
        pytest.main(
            ["-q", "-p", "no:cacheprovider", "--no-header", "--no-summary", name], [recorder]
        )
        failed = getattr(recorder, "failed", set())
        tests = {node: one for node, one in recorder.tests.items() if node not in failed}
        kept[name] = {"sha": names[name], "tests": tests}
        tell(f"{place}/{len(stale)} {name}: {len(tests)} tests, {len(failed)} fail")
        (KEPT / "contexts.json").write_text(json.dumps(kept), encoding="utf-8")
    return kept
