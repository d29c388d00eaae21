"""Where a header stands among those of a file.

Belongs here: comparing names, equal headers told apart by numbers. Does not belong here: which
headers a feed needs (`headers`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipelines.exports.header_rows import bare

_NUMBERED = re.compile(r"(.+)#([0-9]+)")


def places_of(name: str, header: Sequence[str]) -> list[int]:
    """Where a header stands; `Text#2` is the second of equal ones."""
    plain = [bare(one) for one in header]
    exact = [place for place, one in enumerate(plain) if one == bare(name)]
    numbered = _NUMBERED.fullmatch(name)
    if exact or not numbered:
        return exact
    equal = [place for place, one in enumerate(plain) if one == bare(numbered[1])]
    number = int(numbered[2])
    return [equal[number - 1]] if 2 <= number <= len(equal) else []


def base_of(name: str) -> str:
    """A header without the number that tells it from equal ones."""
    numbered = _NUMBERED.fullmatch(name)
    return numbered[1] if numbered else name
