"""The sheet on which a person checks claims blind: their evidence without the verdict.

Belongs here: drawing, gathering the evidence of what is drawn, writing both files. Does not belong
here: which claims are drawn (`pipelines.assist.second_opinions.sampling`), how the printed
sheet looks (`dashboards`).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl
import polars.selectors as cs

from dashboards.data import FEEDS
from dashboards.site import blind_document
from pipelines.errors import NotFoundError, StorageError, UsageError
from pipelines.records.harmless import harmless
from pipelines.steps.claim_details import data_of_claims
from pipelines.steps.second_opinions import DRAWS, draw_claims, keep
from pipelines.store.database import query_frame, read_frame
from pipelines.store.inputs import Inputs, load_inputs
from pipelines.store.published_state import state_of
from pipelines.store.reading import open_store
from pipelines.store.repairs import IS_CLAIM
from pipelines.workspace.clock import now
from pipelines.workspace.layout import Workspace
from pipelines.workspace.lock import refresh_lock
from pipelines.workspace.permissions import private_umask, restrict_file

FOLDER = "second-opinions"
_CALL = (
    "call",
    "serial",
    "failed_on",
    "opened_on",
    "completed_on",
    "claimed_on",
    "agency",
    "cause",
    "part",
    "parts_amount",
    "labor_hours",
    "labor_rate",
    "travel_amount",
    "notes",
)
_UNIT = ("model", "site", "region")


@dataclass(frozen=True)
class Sheet:
    """What was drawn, and where it is written."""

    claims: list[str]
    seed: str
    csv: Path
    html: Path


def write_sheet(workspace: Workspace, sample: int, seed: str | None, folder: Path | None) -> Sheet:
    """Draws claims as of the last refresh, puts the draw down and writes the two files.

    The seed is the as-of date where none is given. The verdict stands in neither file, and their
    order tells nothing of it.

    Raises:
        NotFoundError: there is no claim that nobody has checked.
        UsageError: the sheet is there already; it may hold answers.
        StorageError: a file cannot be written.
    """
    with refresh_lock(workspace.store), open_store(workspace) as con:
        state = state_of(con)
        inputs = load_inputs(workspace.root, state.as_of if state else None)
        as_of = inputs.as_of.isoformat()
        chosen = as_of if seed is None else seed
        drawn = draw_claims(workspace, con, sample, chosen)
        if drawn.is_empty():
            raise NotFoundError(
                "There is no claim that nobody has checked yet; refresh when new claims are in."
            )
        csv, html = _files(folder or workspace.root / FOLDER, as_of, chosen)
        data = data_of_claims(inputs, con, drawn["claim"])
        data = dataclasses.replace(
            data,
            feeds=read_frame(con, "feed_states", columns=FEEDS.names()),
            terms_values=inputs.terms.values,
            terms_water_limits=inputs.terms.water_limits,
            terms_installation_limits=inputs.terms.installation_limits,
        )
        document = blind_document(data, drawn["claim"].to_list())
        answers = harmless(_answers(inputs, con, drawn))
        try:
            csv.parent.mkdir(parents=True, exist_ok=True)
            html.write_text(document, encoding="utf-8")
            # A byte order mark, without which spreadsheets take UTF-8 for something else.
            csv.write_text(answers.write_csv(), encoding="utf-8-sig")
        except OSError as error:
            raise StorageError(
                f"{csv.parent} cannot be written ({error.strerror or error}); give write "
                "permission or name another folder with --out."
            ) from None
        moment = now().astimezone(inputs.settings.zone).replace(tzinfo=None)
        facts = {"drawn_at": moment.isoformat(timespec="seconds"), "as_of": as_of, "seed": chosen}
        readers = inputs.settings.readable_by
        with private_umask(readers):
            keep(workspace, DRAWS, [facts | row for row in drawn.to_dicts()])
        restrict_file(workspace.store / DRAWS, readers)
    return Sheet(drawn["claim"].to_list(), chosen, csv, html)


def _files(folder: Path, as_of: str, seed: str) -> tuple[Path, Path]:
    safe = "".join(letter if letter.isalnum() or letter == "-" else "-" for letter in seed)[:40]
    stem = f"sheet-{as_of}" + ("" if seed == as_of else f"-{safe}")
    files = folder / f"{stem}.csv", folder / f"{stem}.html"
    for file in files:
        if file.exists():
            raise UsageError(
                f"{file} is there already and may hold answers; record it and move it away, or "
                "draw with another --seed or --out."
            )
    return files


def _answers(inputs: Inputs, con: duckdb.DuckDBPyConnection, drawn: pl.DataFrame) -> pl.DataFrame:
    """The sheet: what a person fills in, then what the call and the register say."""
    con.register("drawn_claims", drawn.select("claim"))
    columns = ", ".join([*(f"c.{name}" for name in _CALL), *(f"u.{name}" for name in _UNIT)])
    calls = query_frame(
        con,
        f"select c.claim, {columns}, u.site_name from service_calls c "
        "semi join drawn_claims using (claim) left join units u using (serial) "
        f"where {IS_CLAIM}",
    )
    con.unregister("drawn_claims")
    shown = [name for name in calls.columns if name not in (*inputs.settings.hide, "claim")]
    written = cs.decimal().cast(pl.String).str.strip_chars_end("0").str.strip_chars_end(".")
    return (
        drawn.select("claim")
        .join(calls.with_columns(written), on="claim", how="left", maintain_order="left")
        .select(
            "claim",
            pl.lit(None, pl.String).alias("verdict"),
            pl.lit(None, pl.String).alias("checked_by"),
            pl.lit(None, pl.String).alias("note"),
            *(pl.col(name).alias("call_notes" if name == "notes" else name) for name in shown),
        )
    )
