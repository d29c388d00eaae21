"""One thing that a health check found, with its weight and its way out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

# A fault stops the next refresh, or makes what stands there unreliable; a warning needs a person;
# a note is good to know.
Weight = Literal["fault", "warning", "note"]


@dataclass(frozen=True)
class Finding:
    """One thing found: how much it weighs, what it is about, what is the case, what to do."""

    weight: Weight
    matter: str
    sentence: str
    remedy: str = ""
