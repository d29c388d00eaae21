"""Examples drawn anew beside the fixed ones: `ANEW=N pytest -m drawn --hypothesis-profile anew`.

Without `ANEW` every run has the same examples. With it hypothesis draws others, seeded worlds come
from seeds of their own, and both say in the failing test's name or output how to have it again.
"""

from __future__ import annotations

import os
import random
from typing import Any

import pytest

ANEW = os.environ.get("ANEW")


def seeds_anew(name: str, count: int) -> list[Any]:
    """So many drawn seeds as parameters, by the test's name; none without `ANEW`."""
    if ANEW is None:
        return []
    draw = random.Random(f"{ANEW} {name}")
    return [
        pytest.param(draw.randrange(10**6, 10**9), marks=pytest.mark.drawn) for _ in range(count)
    ]


def seed_of(fixed: int) -> int:
    """The fixed seed, or the one that `ANEW` says."""
    return fixed if ANEW is None else random.Random(f"{ANEW} {fixed}").randrange(10**9)


def examples(count: int) -> int:
    """So many examples where they are drawn anew; of the fixed ones, the same each time, half."""
    return count // 2 if ANEW is None else count
