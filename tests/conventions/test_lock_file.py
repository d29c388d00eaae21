"""The locks pin what is asked for with hashes, are what is installed, have no bad version.

`requirements.lock` is what users install; `.ci/requirements-test.lock` adds what only tests use.
"""

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


def entries(name: str) -> list[tuple[Requirement, list[str]]]:
    """Every requirement of a lock with its hashes."""
    lines = (ROOT / name).read_text(encoding="utf-8").replace("\\\n", " ").splitlines()
    kept = [line for line in lines if line.strip() and not line.lstrip().startswith("#")]
    return [
        (Requirement(text.strip()), [one.strip() for one in hashes])
        for text, *hashes in (line.split("--hash=") for line in kept)
    ]


FOR_USERS = entries("requirements.lock")
FOR_TESTS = entries(".ci/requirements-test.lock")
LOCK = [requirement for requirement, _ in FOR_TESTS]
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


@pytest.mark.parametrize("lock", [FOR_USERS, FOR_TESTS])
def test_every_pin_has_its_hashes(lock: list[tuple[Requirement, list[str]]]) -> None:
    """pip refuses what has another content than the lock knows."""
    assert len(lock) > 80
    for requirement, hashes in lock:
        assert hashes, f"{requirement} has no hash; make the lock again with --generate-hashes"
        assert all(re.fullmatch(r"sha256:[0-9a-f]{64}", one) for one in hashes), requirement


def test_users_get_what_tests_speak_of_and_no_more() -> None:
    """The lock of users is a part of the tests' one, without the packages of the test extra."""
    assert {str(one) for one, _ in FOR_USERS} < {str(one) for one in LOCK}
    needed = {canonicalize_name(Requirement(text).name) for text in PROJECT["dependencies"]}
    for_tests = {
        canonicalize_name(Requirement(text).name)
        for text in PROJECT["optional-dependencies"]["test"]
    }
    names = {canonicalize_name(one.name) for one, _ in FOR_USERS}
    assert needed <= names
    # What a library of ours needs too may be in both.
    assert names & for_tests <= {"jsonschema", "python-dateutil"}


def test_no_lock_names_a_registry() -> None:
    """Where packages come from is a matter of the machine."""
    for name in ("requirements.lock", ".ci/requirements-test.lock"):
        text = (ROOT / name).read_text(encoding="utf-8")
        assert "://" not in text
        assert "--index" not in text


def test_every_requirement_is_pinned_within_its_range():
    """What pyproject.toml asks for stands in the lock, at a version that it allows."""
    asked = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]
    for text in asked:
        wanted = Requirement(text)
        lines = locked(wanted.name)
        assert lines, f"{wanted.name} is not in the lock; make the lock again"
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
    assert not differing, "install again by the command of README.md"


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
