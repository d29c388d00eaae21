"""What a letter about a unit says: the values that its templates may name.

Belongs here: the shape. Does not belong here: which letters are due (`pipelines.letters.register`),
how a unit becomes a letter (`pipelines.startups.unit_letters`), or how one looks.
"""

from typing import Any

import polars as pl

from schemas.codes import UNIT_LETTER_KINDS
from schemas.columns import TEXTS

KINDS = UNIT_LETTER_KINDS
# One row is one letter. Lists that belong together (`readings` and `mends`) have one order and
# length; none is ever null.
_COLUMNS: dict[str, Any] = {
    "kind": pl.String(),
    "serial": pl.String(),
    "model": pl.String(),
    "family": pl.String(),
    "site": pl.String(),
    "site_name": pl.String(),
    "edition": pl.String(),
    "agency": pl.String(),
    "agency_name": pl.String(),
    "agency_email": pl.String(),
    "report": pl.String(),  # installation: the latest completed start-up report
    "sample": pl.String(),  # recommendation: the test that it rests on
    "sampled_on": pl.Date(),
    "title": pl.String(),  # what the letter is about, in a few words
    "opening": pl.String(),  # what it is about, in one sentence
    "readings": TEXTS,  # installation: what was found when, one sentence each
    "mends": TEXTS,  # what is called for
    "outside": TEXTS,  # recommendation: what is outside which limit
    "state": pl.String(),
    "recommended": pl.String(),
    "alternatives": TEXTS,
    "unmet": TEXTS,
    "sellers": TEXTS,
    "due_on": pl.Date(),
    "tank": pl.String(),  # the tank and the coldest supply, where they matter
    "asks": pl.String(),  # what is to be done by when, in one sentence
    "cautions": TEXTS,
}
UNIT_LETTERS = pl.Schema(_COLUMNS)
