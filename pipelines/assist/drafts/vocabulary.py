"""What people call the columns, analytes and words of the feeds: `synonyms.toml`, read.

Belongs here: the tables of that file. Does not belong here: how names are compared (`names`).
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

_FILE = Path(__file__).with_name("synonyms.toml")
_TABLES: dict[str, Any] = tomllib.loads(_FILE.read_text(encoding="utf-8"))

# A word of any language, or a part of a compound, to plain words.
WORDS: dict[str, str] = _TABLES["words"]
# Two or more words that together say another thing than each of them.
SPOKEN: dict[str, str] = _TABLES["spoken"]
# Parts of two letters with which short names begin and end.
SHORT_HEADS: list[str] = _TABLES["short"]["heads"]
SHORT_TAILS: list[str] = _TABLES["short"]["tails"]
# Parts of short names of two letters and more, to the plain words that they mean in such a name,
# the likeliest first.
SHORT_PARTS: dict[str, list[str]] = {
    part: [means] if isinstance(means, str) else means
    for part, means in _TABLES["short"]["parts"].items()
}
# Words that say what kind of thing a column holds, and the kinds and columns of which they may.
KINDS: dict[str, list[str]] = _TABLES["kinds"]
IGNORED: list[str] = _TABLES["ignored"]["words"]
WEIGHTS: dict[str, float] = _TABLES["weights"]
# Feed, then column (or part of the long layout), to its names in everyday use.
COLUMNS: dict[str, dict[str, list[str]]] = _TABLES["columns"]
# Names of what no feed has.
OTHERS: list[str] = _TABLES["others"]["names"]
# By feed, names of what it has not, and another may.
OTHERS_OF: dict[str, list[str]] = _TABLES["others_of"]
# How exports write the words of listed columns and the answers yes and no.
LISTED: dict[str, list[str]] = _TABLES["listed"]
# Analytes that no feed has.
OTHER_ANALYTES: list[str] = _TABLES["analytes"]["none"]
# How rows that are no data begin, charges that are no products, sheets of explanations, and how
# exports write that there is nothing.
TOTALS: list[str] = _TABLES["rows"]["totals"]
ENDS: list[str] = _TABLES["rows"]["ends"]
CHARGES: list[str] = _TABLES["rows"]["charges"]
COVERS: list[str] = _TABLES["rows"]["covers"]
NOTHING: list[str] = _TABLES["rows"]["empty"]
# How laboratories write that nothing was found.
NOTHING_FOUND: list[str] = _TABLES["rows"]["nothing_found"]
