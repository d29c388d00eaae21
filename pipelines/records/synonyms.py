"""What people call the columns, analytes and words of the feeds: the vocabulary of drafts.

Belongs here: reading `synonyms.toml`, which holds the names. Does not belong here: how names are
compared (`likely_columns`); nothing but a draft uses these names.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

_TABLES = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))

# Abbreviation to the word that it stands for.
ABBREVIATIONS: dict[str, str] = _TABLES["abbreviations"]
# Feed, then column (or part of the long layout), to its names in everyday use.
COLUMNS: dict[str, dict[str, list[str]]] = _TABLES["columns"]
# How exports write the words of listed columns and the answers yes and no.
WORDS: dict[str, list[str]] = _TABLES["words"]
