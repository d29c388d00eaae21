"""The lock pins all that is asked for, is what is installed, and names no known-bad version."""

from __future__ import annotations

import importlib.metadata
import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LOCK = [
    Requirement(line)
    for line in (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    if line.strip() and not line.lstrip().startswith("#")
]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ADVISORIES = tomllib.loads((ROOT / ".ci" / "advisories.toml").read_text(encoding="utf-8"))


def version_of(requirement: Requirement) -> str:
    """The one version that a line of the lock pins."""
    (pin,) = requirement.specifier
    assert pin.operator == "==", f"{requirement} is not pinned; make the lock again"
    return pin.version


def locked(name: str) -> list[Requirement]:
    """The lines of the lock for one package; several where the Python version decides."""
    wanted = canonicalize_name(name)
    return [line for line in LOCK if canonicalize_name(line.name) == wanted]


def known_bad(advisories: list[dict], lines: list[Requirement]) -> list[str]:
    """A sentence for each pinned version that an advisory names."""
    return [
        f"{line.name} {version_of(line)}: {one['id']}, {one['about']}; raise it in the lock"
        for one in advisories
        for line in lines
        if canonicalize_name(line.name) == canonicalize_name(one["package"])
        and SpecifierSet(one["versions"]).contains(version_of(line), prereleases=True)
    ]


def test_every_requirement_is_pinned_within_its_range():
    """What pyproject.toml asks for stands in the lock, at a version that it allows."""
    asked = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]
    for text in asked:
        wanted = Requirement(text)
        lines = locked(wanted.name)
        assert lines, f"{wanted.name} is not in requirements.lock; make the lock again"
        for line in lines:
            assert wanted.specifier.contains(version_of(line)), f"{line} is not {wanted}"


def test_what_is_installed_is_what_is_locked():
    """The tests speak of the versions that users get."""
    differing = {}
    for line in LOCK:
        if line.marker is None or line.marker.evaluate():
            try:
                installed = importlib.metadata.version(line.name)
            except importlib.metadata.PackageNotFoundError:
                installed = "not installed"
            if installed != version_of(line):
                differing[line.name] = (version_of(line), installed)
    assert not differing, "install again with `-c requirements.lock`"


def test_the_lock_is_closed():
    """Every package that an installed one of the lock needs here is pinned as well."""
    lacking = set()
    for line in LOCK:
        if line.marker is not None and not line.marker.evaluate():
            continue
        for text in importlib.metadata.requires(line.name) or []:
            need = Requirement(text)
            if (need.marker is None or need.marker.evaluate({"extra": ""})) and not locked(
                need.name
            ):
                lacking.add(f"{need.name}, needed by {line.name}")
    assert sorted(lacking) == []


def test_no_known_bad_version_is_pinned():
    """Of the dated list of advisories, each entry about a package that is in the lock."""
    assert ADVISORIES["written"].isoformat() >= "2026-11-26"
    for one in ADVISORIES["advisory"]:
        assert re.fullmatch(r"CVE-\d{4}-\d{4,}", one["id"])
        assert locked(one["package"]), f"{one['package']} is not in the lock any more; drop it"
    assert known_bad(ADVISORIES["advisory"], LOCK) == []


@pytest.mark.parametrize(("version", "bad"), [("3.1.5", 1), ("3.1.6", 0)])
def test_a_known_bad_version_would_be_told(version: str, bad: int):
    """The check can fail: the version before the mended one."""
    told = known_bad(ADVISORIES["advisory"], [Requirement(f"Jinja2=={version}")])
    assert len(told) == bad
