"""Small wrong changes that tests should notice: `mutants.py --rooms FOLDER[=N] … --seed S`.

Draws N changes of each room (folder of the product) and runs, for each, the tests that call the
changed function or, where none does, anything of its module; those named like module and function
come first, then one case of each, up to `--seconds` as they took while contexts were collected.
Each change runs in a child of this process, which loads the changed module and those above it anew.
It tells killed, timed out, survived and untested by room; changes that no test can tell from the
code as it is stand in `mutants_equivalent.toml`, each with its reason. What was killed stays known
while its module stays as it is. `--only TEXT` takes those whose key holds a text.
"""

from __future__ import annotations

import argparse
import ast
import hashlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import random
import re
import resource
import signal
import sys
import time
import tomllib
from collections import Counter, defaultdict
from pathlib import Path
from types import CodeType

from mutants_contexts import FOLDERS, KEPT, ROOT, collect, load
from mutation import Change, changed, changes

PRODUCT = ("schemas", "pipelines", "dashboards")
BY_NAME = re.compile(r'import_module\(f"([\w.]+)\.\{')  # modules of a room, named at run time
EQUIVALENT = Path(__file__).with_name("mutants_equivalent.toml")
LIBRARIES = (
    "altair alembic dagster duckdb hypothesis jinja2 numpy pandera.polars polars pyarrow pytest"
    " scipy.optimize scipy.stats sklearn.linear_model sqlalchemy starlette.applications"
)
WORST = ("killed", "timed out", "equivalent", "untested", "survived")
PATIENCE = 60.0  # seconds beyond five times what the tests took before
MOST_CPU_S = 60  # of a child, after which it is ended as one that hangs
# Libraries that pytest would rewrite are loaded before it, which is no fault here.
ARGUMENTS = ("-x", "-q", "-p", "no:cacheprovider", "--no-summary")
ARGUMENTS += ("-W", "ignore::pytest.PytestAssertRewriteWarning")
NO_TESTS = (4, 5)  # what pytest ends with where it finds no such test, or cannot begin


class Imports:
    """The product's modules, loaded once, and who imports whom, so that a child loads few anew."""

    def __init__(self) -> None:
        paths = [path for top in PRODUCT for path in sorted((ROOT / top).rglob("*.py"))]
        self.of = {module_name(path.relative_to(ROOT).as_posix()): path for path in paths}
        self.importers: dict[str, set[str]] = defaultdict(set)
        for name, path in self.of.items():
            # A module of a package cannot be had without what the package itself imports.
            text = path.read_text("utf-8")
            asked = {name.rpartition(".")[0], *imported(ast.parse(text))}
            for room in BY_NAME.findall(text):
                asked.update(one for one in self.of if one.startswith(f"{room}."))
            for one in asked & {*self.of} - {name}:
                self.importers[one].add(name)
        for name in self.of:
            if not name.endswith("__main__"):
                importlib.import_module(name)

    def forget(self, name: str) -> None:
        """Takes a module, and all that came to be with it, out of those that are loaded."""
        gone, fresh = {name}, [name]
        while fresh:
            fresh = [one for one in self.importers[fresh.pop()] if one not in gone] + fresh
            gone.update(fresh)
        for one in gone & {*sys.modules}:
            module = sys.modules.pop(one)
            above, _, own = one.rpartition(".")
            if getattr(sys.modules.get(above), own, None) is module:
                delattr(sys.modules[above], own)


def module_name(path: str) -> str:
    """The name under which a file is imported."""
    return path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")


def imported(tree: ast.Module) -> set[str]:
    """All that a module imports, where a name may be a module or stand in one."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found.update(one.name for one in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found.update(f"{node.module}.{one.name}" for one in node.names)
    return found | {one.rpartition(".")[0] for one in found}


class Mutated(importlib.abc.MetaPathFinder, importlib.machinery.SourceFileLoader):
    """Gives one module its changed code on import."""

    def __init__(self, change: Change, source: str) -> None:
        self.code = compile(changed(change, source), str(ROOT / change.path), "exec")
        super().__init__(module_name(change.path), str(ROOT / change.path))

    def find_spec(self, fullname: str, path: object = None, target: object = None) -> object:
        """The changed module, and no other."""
        if fullname != self.name:
            return None
        return importlib.util.spec_from_file_location(fullname, self.path, loader=self)

    def get_code(self, fullname: str) -> CodeType:
        """What was compiled."""
        return self.code


def tests_of(change: Change, contexts: dict, most: float) -> list[str]:
    """The tests that call the function or, where none does, anything of its module."""
    wanted = f"{change.path}::{change.function}"
    near: dict[str, float] = {}
    around: dict[str, float] = {}  # of a function within another, the tests of the outer one
    far: dict[str, float] = {}
    for file in contexts.values():
        for node, one in file["tests"].items():
            if any(name == wanted or name.startswith(f"{wanted}.") for name in one["functions"]):
                near[node] = one["seconds"]
            elif any(wanted.startswith(f"{name}.") for name in one["functions"]):
                around[node] = one["seconds"]
            elif any(name.startswith(f"{change.path}::") for name in one["functions"]):
                far[node] = one["seconds"]
    spent, chosen = 0.0, []
    for node, seconds in in_order(change, near or around or far):
        spent += seconds
        if spent > most and chosen:
            break
        chosen.append(node)
    return chosen


def in_order(change: Change, tests: dict[str, float]) -> list[tuple[str, float]]:
    """Those first whose names have most words of the module's and the function's, then one case
    of each, then the quickest."""
    told = f"{Path(change.path).stem}_{change.function}".lower()
    words = {word[:5] for word in re.findall(r"[a-z]{4,}", told)}
    cases: Counter[str] = Counter()

    def key(item: tuple[str, float]) -> tuple[int, int, float]:
        node, _, _ = item[0].partition("[")
        cases[node] += 1
        node = node.rpartition("/")[2]
        return -sum(word in node for word in words), cases[item[0].partition("[")[0]] // 3, item[1]

    return sorted(sorted(tests.items()), key=key)


def child(
    imports: Imports, change: Change | None, source: str, nodes: list[str], most: float
) -> int:
    """Runs the tests in a child of this process; 0 where all pass, -1 where time ran out."""
    pid = os.fork()
    if pid == 0:
        os.setsid()
        null = os.open(os.devnull, os.O_RDWR)
        for number in (0, 1, 2):
            os.dup2(null, number)
        code = 1
        try:
            import pytest  # the libraries are loaded, this only names it

            resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S + 5))
            if change is not None:
                imports.forget(module_name(change.path))
                sys.meta_path.insert(0, Mutated(change, source))
            code = int(pytest.main([*ARGUMENTS, *nodes]))
        finally:
            os._exit(code)
    return wait(pid, most * 5 + PATIENCE)


def wait(pid: int, seconds: float) -> int:
    """The exit code of a child, or -1 once it took too long."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            if os.WIFSIGNALED(status):
                return -1 if os.WTERMSIG(status) == signal.SIGXCPU else 1
            return os.WEXITSTATUS(status)
        time.sleep(0.02)
    os.killpg(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    return -1


def fate(imports: Imports, change: Change, source: str, nodes: list[str], most: float) -> str:
    """What became of a change."""
    if not nodes:
        return "untested"
    code = child(imports, change, source, nodes, most)
    if code in NO_TESTS and child(imports, None, source, nodes, most) in NO_TESTS:
        raise SystemExit(f"tests are not where they were, leave --known out: {nodes[:3]}")
    return ("timed out" if code < 0 else "killed") if code else "survived"


def undisturbed(imports: Imports, some: list[Change], contexts: dict, most: float) -> None:
    """The first tests of a few changes pass as things are, so that a failure tells of a change."""
    for change in some[:3]:
        nodes = tests_of(change, contexts, most)[:20]
        if nodes and child(imports, None, "", nodes, most):
            raise SystemExit(f"tests fail without any change: {nodes}")


def drawn(room: str, number: int, seed: int) -> list[Change]:
    """Some of the changes of a room, the same ones for the same seed and sources."""
    top = ROOT / room
    paths = sorted(top.rglob("*.py")) if top.is_dir() else [top]
    every = [
        one
        for path in paths
        for one in changes(path.relative_to(ROOT).as_posix(), path.read_text("utf-8"))
    ]
    return random.Random(f"{seed} {room}").sample(every, min(number, len(every)))


def equivalents() -> dict[str, str]:
    """The changes judged to change nothing, with the reason."""
    text = EQUIVALENT.read_text("utf-8") if EQUIVALENT.exists() else ""
    return {one["key"]: one["reason"] for one in tomllib.loads(text).get("equivalent", [])}


def table(fates: dict[str, Counter]) -> str:
    """The outcome by room, as Markdown."""
    lines = ["| room | drawn | " + " | ".join(WORST) + " | share |", "| --- |" + " --- |" * 7]
    for room, found in fates.items():
        drawn_, held = found.total(), sum(found[one] for one in WORST[:3])
        cells = " | ".join(str(found[one]) for one in WORST)
        lines.append(f"| `{room}` | {drawn_} | {cells} | {held / max(drawn_, 1):.0%} |")
    return "\n".join(lines)


def collected(folders: list[str]) -> None:
    """Collects contexts in a child: once polars has worked in this process, its threads are not
    there in any child, and a test that needs them waits for ever."""
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            collect(lambda told: print(told, flush=True), folders)
            code = 0
        finally:
            os._exit(code)
    if os.waitpid(pid, 0)[1]:
        raise SystemExit("contexts could not be collected")


def main() -> None:
    """Draws, runs, tells."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", nargs="+", required=True, metavar="FOLDER[=N]")
    parser.add_argument("--count", type=int, default=40, help="of a room without its own (40)")
    parser.add_argument("--seed", type=int, default=20261130)
    parser.add_argument("--only", default="", metavar="TEXT", help="keys that hold this text")
    parser.add_argument("--seconds", type=float, default=25.0, help="of tests for a change (25)")
    parser.add_argument("--tests", nargs="+", default=FOLDERS, metavar="FOLDER")
    parser.add_argument("--new", action="store_true", help="leave those alone that survived before")
    parser.add_argument("--known", action="store_true", help="collect no contexts anew")
    args = parser.parse_args()
    os.chdir(ROOT)
    sys.path.insert(0, str(ROOT))
    os.environ.update(dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"), "1"))
    if not args.known:
        collected(args.tests)
    contexts = load()
    among = tuple(args.tests)
    contexts = {name: one for name, one in contexts.items() if name.startswith(among)}
    for name in LIBRARIES.split():
        importlib.import_module(name)
    imports = Imports()
    reasons, kept = equivalents(), KEPT / "fates.json"
    known = json.loads(kept.read_text("utf-8")) if kept.exists() else {}
    fates: dict[str, Counter] = defaultdict(Counter)
    for text in args.rooms:
        room, _, own = text.partition("=")
        every = drawn(room, int(own or args.count), args.seed)
        some = [one for one in every if args.only in one.key]
        undisturbed(imports, some, contexts, args.seconds)
        for change in some:
            source = (ROOT / change.path).read_text("utf-8")
            name = f"{hashlib.sha256(source.encode()).hexdigest()[:16]} {change.key}"
            began, found = time.monotonic(), known.get(name)
            if change.key in reasons:
                found = "equivalent"
            elif found not in ("killed", "timed out") and not (args.new and found):
                nodes = tests_of(change, contexts, args.seconds)
                found = known[name] = fate(imports, change, source, nodes, args.seconds)
                KEPT.mkdir(parents=True, exist_ok=True)
                kept.write_text(json.dumps(known), "utf-8")
            fates[room][found] += 1
            took = time.monotonic() - began
            print(f"{found} {took:.1f} s {change.line} {change.key}"[:400], flush=True)
    print(table(fates))


if __name__ == "__main__":
    main()
