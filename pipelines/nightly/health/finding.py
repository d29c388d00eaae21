"""One thing that a health check found, with its weight and its way out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pipelines.errors import LimeledgerError

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


def looked(matter: str, look: Iterator[Finding]) -> Iterator[Finding]:
    """What a look finds; that it cannot look at something is a fault, and ends no other look."""
    try:
        yield from look
    except LimeledgerError as error:
        for sentence in str(error).splitlines():
            yield Finding("fault", matter, sentence)
    except OSError as error:
        sentence = f"{error.filename or matter} cannot be read ({error.strerror or error})."
        way_out = "Give this user access to it, or move away what lies in its place."
        yield Finding("fault", matter, sentence, way_out)
