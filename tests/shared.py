"""What is made once for all processes of a test run: whoever needs it first makes it.

Tests that run beside each other, a file to a process, would else each refresh the same workspace.
"""

from __future__ import annotations

import fcntl
import os
from collections.abc import Callable
from pathlib import Path

import pytest

MADE = "LIMELEDGER_MADE_ONCE"  # a folder in which it stays for the next run of tests


def made_once(
    factory: pytest.TempPathFactory, name: str, make: Callable[[Path], str]
) -> tuple[Path, str]:
    """A folder of that name that `make` has filled, and what it told. Look, do not touch.

    Where `make` fails, nothing is kept, and the next one tries again.
    """
    base = factory.getbasetemp()
    root = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    root = Path(os.environ.get(MADE, root / "made_once"))
    root.mkdir(exist_ok=True)
    told = root / f"{name}.told"
    with (root / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not told.exists():
            tries = len(list(root.glob(f"{name}.*.made")))
            folder = root / f"{name}.{tries}.made"
            text = make(folder / name)
            told.with_suffix(".half").write_text(f"{folder.name}\n{text}", encoding="utf-8")
            told.with_suffix(".half").replace(told)
    place, _, text = told.read_text(encoding="utf-8").partition("\n")
    return root / place / name, text
