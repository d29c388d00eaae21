"""Texts that a spreadsheet would run as a formula, made plain text.

Belongs here: what such a text is, and the cells of frames that leave as CSV. Does not belong here:
the published table files, which the store writes (`pipelines.store.publication`).
"""

from __future__ import annotations

import re

import polars as pl
import polars.selectors as cs

# Spreadsheets run a cell that begins so as a formula; a leading apostrophe keeps it text.
FORMULA_BEGINS = "=+-@\t\r"
FORMULA = f"^[{re.escape(FORMULA_BEGINS)}]"


def harmless(frame: pl.DataFrame) -> pl.DataFrame:
    """A frame whose texts are harmless, and whose lists of texts are joined by `; `."""
    plain = frame.with_columns(cs.by_dtype(pl.List(pl.String)).list.join("; "))
    return plain.with_columns(cs.string().str.replace(f"({FORMULA})", "'$1"))
