"""Second opinions kept beside the store: what was drawn, what was answered, and their tables.

Belongs here: the two files under store/, and putting them beside the decisions. Does not belong
here: sampling and agreement (`pipelines.assist.second_opinions`), how a sheet looks (`dashboards`).

Both files are only ever appended to; like recorded rulings they outlive the DuckDB file.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.assist.second_opinions.agreement import agreement
from pipelines.assist.second_opinions.opinions import with_latest
from pipelines.assist.second_opinions.sampling import STRATUM, draw, with_strata
from pipelines.errors import WorkspaceError
from pipelines.steps.step import Step, Written
from pipelines.store.claim_reads import tickets
from pipelines.store.database import read_frame
from pipelines.store.transaction import RefreshSession
from pipelines.workspace.append_log import append_rows
from pipelines.workspace.layout import OPINIONS, Workspace
from pipelines.workspace.small_csv import FormFault, read_small_csv
from schemas.codes import MONEY_BANDS, VERDICTS
from schemas.columns import polars_schema
from schemas.second_opinions import SecondOpinionAgreement, SecondOpinions

DRAWS = "second_opinion_draws.csv"
DRAW_COLUMNS = (
    "drawn_at",
    "as_of",
    "seed",
    "claim",
    *STRATUM,
    "stratum_claims",
    "stratum_drawn",
)
OPINION_COLUMNS = (
    "claim",
    "checked_at",
    "checked_by",
    "verdict",
    "note",
    "computed",
    "band",
    "drawn_at",
    "seed",
)
_WORDS = {"verdict": VERDICTS, "computed": VERDICTS, "band": MONEY_BANDS}
_MOMENTS = ("checked_at", "drawn_at")
_MOST_MB = 1_000


@dataclass(frozen=True)
class OpinionTables:
    """The two tables of second opinions."""

    second_opinions: pl.DataFrame
    second_opinion_agreement: pl.DataFrame


def second_opinion_tables(session: RefreshSession, wanted: Collection[str]) -> Iterator[Written]:
    """Sets recorded opinions beside the decisions."""
    tables = opinion_tables(session.inputs.workspace, session.con)
    session.refuse_changed_inputs()
    for name in STEP.tables:
        if name in wanted:
            session.put(session.write(name, getattr(tables, name), STEP.table_class(name)))
            yield Written(name)


def opinion_tables(workspace: Workspace, con: duckdb.DuckDBPyConnection) -> OpinionTables:
    """Every recorded opinion, and how far people and rules agree, beside the decisions now.

    Raises:
        WorkspaceError: a file of opinions was changed by hand into something else.
    """
    opinions = recorded_opinions(workspace)
    population = with_strata(_decisions(con)).group_by(STRATUM).agg(claims=pl.len())
    return OpinionTables(opinions, agreement(opinions.filter("counts"), population))


def recorded_opinions(workspace: Workspace) -> pl.DataFrame:
    """The table `second_opinions`, in the order of recording; empty where nothing is recorded."""
    recorded = _kept(workspace, OPINIONS, OPINION_COLUMNS)
    typed = recorded.with_columns(
        pl.col(name).str.to_datetime("%Y-%m-%dT%H:%M:%S", time_unit="us") for name in _MOMENTS
    )
    schema = polars_schema(SecondOpinions)
    return with_latest(typed).select(pl.col(name).cast(kind) for name, kind in schema.items())


def draw_claims(
    workspace: Workspace, con: duckdb.DuckDBPyConnection, sample: int, seed: str
) -> pl.DataFrame:
    """A sample of the decided claims that nobody has checked yet."""
    decisions = _decisions(con)
    answered = _kept(workspace, OPINIONS, OPINION_COLUMNS).select("claim").unique()
    left = with_strata(decisions).join(answered, on="claim", how="anti")
    return draw(left.join(tickets(con, seed), on="claim"), sample)


def drawn_claims(workspace: Workspace) -> dict[str, dict[str, str]]:
    """By claim, what its latest draw put down: computed, band, drawn_at, seed."""
    draws = _kept(workspace, DRAWS, DRAW_COLUMNS)
    rows = draws.select("claim", "computed", "band", "drawn_at", "seed").iter_rows()
    names = ("computed", "band", "drawn_at", "seed")
    return {claim: dict(zip(names, values, strict=True)) for claim, *values in rows}


def standing_opinions(workspace: Workspace) -> dict[tuple[str, str], tuple[str, str]]:
    """By claim and person, the verdict and note that they last recorded."""
    rows = _kept(workspace, OPINIONS, OPINION_COLUMNS)
    opinions = rows.select(
        "claim", "checked_by", "verdict", pl.col("note").fill_null("")
    ).iter_rows()
    return {(claim, who): (verdict, note) for claim, who, verdict, note in opinions}


def keep(workspace: Workspace, name: str, rows: Iterable[Mapping[str, object]]) -> None:
    """Appends rows to DRAWS or OPINIONS; they are on the disk and read back as they were given.

    Raises:
        UsageError, WorkspaceError: what was given would not be read back; none was recorded.
        OSError: the disk is full or cannot be written; none of the rows was recorded.
    """
    columns = DRAW_COLUMNS if name == DRAWS else OPINION_COLUMNS
    append_rows(workspace.store / name, columns, rows)


def _decisions(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    money = ("parts_claimed", "labor_claimed", "travel_claimed")
    return read_frame(con, "decisions", columns=["claim", "verdict", *money])


def _kept(workspace: Workspace, name: str, columns: Sequence[str]) -> pl.DataFrame:
    """One of the two files as text, checked; without a row where it is not there."""
    path = workspace.store / name
    schema = pl.Schema(dict.fromkeys(columns, pl.String()))
    if not path.is_file():
        return pl.DataFrame(schema=schema)
    shown = f"store/{name}"
    try:
        rows = read_small_csv(path, shown, columns, (), _MOST_MB).rows
    except FormFault as fault:
        raise WorkspaceError(f"{fault} The tool wrote the file; restore it from a copy.") from None
    frame = pl.DataFrame([cells for _, cells in rows], schema=schema, orient="row")
    _refuse_changed(frame, [line for line, _ in rows], shown)
    return frame


def _refuse_changed(frame: pl.DataFrame, lines: list[int], shown: str) -> None:
    """Stops where a value is none that the tool writes."""
    wrong = {
        **{name: ~pl.col(name).is_in(words) for name, words in _WORDS.items()},
        **{
            name: pl.col(name).str.to_datetime("%Y-%m-%dT%H:%M:%S", strict=False).is_null()
            for name in _MOMENTS
        },
        "claim": pl.col("claim").is_null(),
        "checked_by": pl.col("checked_by").is_null(),
    }
    numbered = frame.with_columns(_line=pl.Series(lines, dtype=pl.Int64))
    faults = [
        f"{shown} line {line}, column {name}: {value or 'nothing'} is none that the tool writes; "
        "restore the file from a copy."
        for name, check in wrong.items()
        if name in frame.columns
        for line, value in numbered.filter(check.fill_null(True))
        .select("_line", name)
        .head(5)
        .iter_rows()
    ]
    if faults:
        raise WorkspaceError(*faults)


STEP = Step(
    name="second_opinion_tables",
    group="second_opinions",
    title="Second opinions",
    tables={
        "second_opinions": SecondOpinions,
        "second_opinion_agreement": SecondOpinionAgreement,
    },
    reads=("decisions",),
    within={"second_opinion_agreement": ("second_opinions",)},
    work=second_opinion_tables,
    rooms=("pipelines/assist/second_opinions", "pipelines/steps/second_opinions.py"),
    about={"second_opinions": "Rows are only ever added, by `limeledger second-opinion --record`."},
)
