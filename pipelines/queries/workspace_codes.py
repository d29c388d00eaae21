"""What a workspace knows of codes: its register and its reference files, for drafts and trials.

Belongs here: reading the exports of single feeds without a store. Does not belong here: what a
draft makes of it (`pipelines.assist.drafts`).
"""

from __future__ import annotations

from functools import lru_cache

import polars as pl

from pipelines.assist.drafts.known import Known
from pipelines.errors import WorkspaceError
from pipelines.steps.ingest import read_files, stored_rows, stored_schema
from pipelines.store.database import has_table, read_frame
from pipelines.store.deliveries import delivered
from pipelines.store.inputs import Inputs
from pipelines.store.reading import open_store
from pipelines.workspace.layout import Workspace
from pipelines.workspace.reference import Reference

# More than this is read from the store, if it is there.
_LARGE = 64_000_000


class FeedRows:
    """The sound rows of single feeds, each read once, where it is asked for."""

    def __init__(self, inputs: Inputs) -> None:
        self.inputs = inputs
        self.of = lru_cache(maxsize=None)(self._of)

    def _of(self, feed: str) -> pl.DataFrame:
        files = [file for file in delivered(self.inputs) if feed in file.serving]
        if sum(file.export.size for file in files) > _LARGE:
            stored = _stored(self.inputs.workspace, feed)
            if stored is not None:
                return stored
        frames = [stored_schema(feed).to_frame()]
        for read in read_files(self.inputs, files):
            parts = [(read.facts["file"], part) for part in read.parts if part.feed == feed]
            frames.append(stored_rows(feed, parts))
        return pl.concat(frames)


def _stored(workspace: Workspace, feed: str) -> pl.DataFrame | None:
    """A feed's table as the last refresh left it; None where there is none with a row."""
    try:
        with open_store(workspace) as con:
            frame = read_frame(con, feed) if has_table(con, feed) else None
    except WorkspaceError:
        return None
    return frame if frame is not None and frame.height else None


def known_codes(reference: Reference, rows: FeedRows) -> Known:
    """The codes of the reference files and of the register, and the names that stand for them."""
    register = rows.of("units")
    codes = {
        "serial": register["serial"].drop_nulls().unique().sort(),
        "site": register["site"].drop_nulls().unique().sort(),
        "agency": reference.agencies["agency"].unique().sort(),
        "product": reference.treatments["product"],
        "model": reference.models["model"],
        "cause": reference.causes["cause"],
        "region": reference.regions["region"],
    }
    names = {
        "agency": _names(reference.agencies, "agency", "name"),
        "product": _names(reference.treatments, "product", "description"),
        "model": _names(reference.models, "model", "description"),
        "cause": _names(reference.causes, "cause", "description"),
        "region": _names(reference.regions, "region", "name"),
        "site": _names(register, "site", "site_name"),
    }
    return Known(codes, names)


def _names(frame: pl.DataFrame, code: str, name: str) -> dict[str, str]:
    """Names in plain lower case to codes; a name of several codes stands for none."""
    pairs = frame.select(code, name).drop_nulls().unique()
    pairs = pairs.with_columns(pl.col(name).str.to_lowercase().str.strip_chars())
    single = pairs.filter(pl.len().over(name) == 1).sort(name)
    return dict(zip(single[name], single[code], strict=True))
