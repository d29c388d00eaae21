"""The rows from which claim pages are made, each with the claim, unit or site that it is of.

Belongs here: picking them, and what stands for all of one page. Does not belong here: what the page
makes of them (`claim`), or the day as of which it is, to which it refers (`shared_day`).

A page is made of nothing but these rows, so that one of the same rows, by the same tool, is the
same page.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from dashboards.data import CITED, PageData
from dashboards.pages.claim_at_hand import AT_HAND
from dashboards.shared_day import SharedDay, referring

# One order, however many claims are drawn.
_OF_A_LIFE, _OF_COVERS = ("serial", "on", "kind", "label"), ("serial", "start", "product")
_OF_OTHERS = (
    "claim", "serial", "site", "failed_on", "standing", "cause", "parts_standing",
    "labor_standing", "travel_standing",
)  # fmt: skip
Rows = dict[str, list[dict[str, Any]]]
Address = Callable[[str], str | None]


@dataclass(frozen=True)
class ClaimRows:
    """What pages of claims are made of.

    `decisions` are the claims, in their order; `frames` have a first column by which their rows
    belong to a claim: claim, serial or site. `of_all` is the same for all of them.
    """

    decisions: pl.DataFrame
    frames: Mapping[str, pl.DataFrame]
    of_all: Mapping[str, Any]

    def keys(self) -> dict[str, str]:
        """By claim what stands for all that its page is made of."""
        of_all = repr(sorted(self.of_all.items()))
        texts = _as_text(self.decisions.select("claim", pl.all().exclude("claim")))
        texts = self.decisions.select("claim", "serial", "site").join(texts, on="claim")
        for name, frame in self.frames.items():
            own = _as_text(frame).rename({"text": name})
            texts = texts.join(own, on=frame.columns[0], how="left", maintain_order="left")
        return {
            claim: hashlib.sha256(repr((of_all, parts)).encode()).hexdigest()
            for claim, _, _, *parts in texts.iter_rows()
        }

    def only(self, claims: list[str]) -> ClaimRows:
        """Those of some of the claims."""
        chosen = pl.DataFrame({"claim": claims}, schema={"claim": pl.String})
        decisions = self.decisions.join(chosen, on="claim", how="semi", maintain_order="left")
        frames = {
            name: frame.join(decisions, on=frame.columns[0], how="semi", maintain_order="left")
            for name, frame in self.frames.items()
        }
        return replace(self, decisions=decisions, frames=frames)

    def by(self, name: str) -> Rows:
        """The rows of a frame by its first column."""
        grouped: Rows = defaultdict(list)
        key = self.frames[name].columns[0]
        for row in self.frames[name].iter_rows(named=True):
            grouped[row[key]].append(row)
        return grouped

    def one_by(self, name: str) -> dict[str, dict[str, Any]]:
        """The same, where there is one row at the most; of several the last."""
        return {key: rows[-1] for key, rows in self.by(name).items()}


def _as_text(frame: pl.DataFrame) -> pl.DataFrame:
    """The first column, and what all rows of each of its values say, in their order, as text."""
    key, *others = frame.columns
    content = pl.struct(others).struct.json_encode() if others else pl.lit("")
    rows = frame.select(pl.col(key), text=content)
    return rows.group_by(key, maintain_order=True).agg(pl.col("text").str.join("\n"))


def claim_rows(data: PageData, claims: Sequence[str], address: Address) -> ClaimRows:
    """The rows for the pages of the claims, in their order; `address` gives a claim's page."""
    chosen = pl.DataFrame({"claim": claims}, schema={"claim": pl.String})
    decisions = chosen.join(data.decisions, on="claim", how="inner", maintain_order="left")
    names = {
        "regions": data.regions.select("region", "name"),
        "agencies": data.agencies.select("agency", "name"),
        "causes": data.causes.select("cause", "description"),
    }
    return ClaimRows(
        decisions,
        {
            **_of_findings(data, decisions),
            **_of_the_claim(data, decisions),
            **_at_hand(data, decisions, address),
            **_of_the_unit(data, decisions),
            **_of_others(data, decisions, address),
        },
        {
            "currency": data.currency,
            **{name: frame.rows() for name, frame in names.items()},
        },
    )


def _of(decisions: pl.DataFrame, frame: pl.DataFrame, key: str = "claim") -> pl.DataFrame:
    own = frame.join(decisions.select(key), on=key, how="semi", maintain_order="left")
    return own.select(key, pl.all().exclude(key))


def _of_findings(data: PageData, decisions: pl.DataFrame) -> dict[str, pl.DataFrame]:
    findings = _of(decisions, data.findings).sort("claim", "position")
    cited = findings.select("claim", "evidence").explode("evidence").unnest("evidence")
    rows = data.evidence_rows.select(*CITED, "headers", "cells")
    evidence = cited.unique(["claim", *CITED]).join(rows, on=CITED)
    return {"findings": findings, "evidence": evidence.sort("claim", *CITED)}


def _of_the_claim(data: PageData, decisions: pl.DataFrame) -> dict[str, pl.DataFrame]:
    water = _of(decisions, data.water_values)
    judged_by = water.select("claim", "sample").unique(maintain_order=True)
    profiles = data.water_profiles.select("sample", "profile", "doubts")
    return {
        "water": water,
        "profiles": judged_by.join(profiles, on="sample"),
        "history": _of(decisions, data.history).sort("decided_at"),
        "rulings": _of(decisions, data.rulings).sort("ruled_at"),
        "payments": _of(decisions, data.payments),
        "credits": _of(decisions, data.credits).sort("credited_on", "credit"),
        "counterfactuals": _of(decisions, data.counterfactuals),
        "letters": _letters(data, decisions),
        "suggested": _of(decisions, data.cause_suggestions),
    }


def _at_hand(data: PageData, decisions: pl.DataFrame, address: Address) -> dict[str, pl.DataFrame]:
    listed = _of(decisions, data.worklist.select(AT_HAND))
    first = [row and row["claim"] for row in listed["original"]]
    return {
        "listed": listed.with_columns(_pages(first, address).alias("original_href")),
        "next_steps": _of(decisions, data.next_steps.select("claim", "label", "command")),
        "stale": _of(decisions, data.stale_corrections.select("claim", "sentence")),
    }


def _of_the_unit(data: PageData, decisions: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """`end` of a cover is null where it goes on and the page refers to its day."""
    spans = _of(decisions, data.cartridge_spans, "serial").sort(_OF_COVERS)
    if isinstance(data.as_of, SharedDay):
        following = data.as_of + dt.timedelta(days=1)
        spans = spans.with_columns(pl.when(pl.col("end") != following).then("end").alias("end"))
    return {
        "events": _of(decisions, data.events, "serial").sort(_OF_A_LIFE),
        "spans": spans,
        "units": _of(
            decisions, data.units.select("serial", "replacement", "clock_source"), "serial"
        ),
    }


def _of_others(
    data: PageData, decisions: pl.DataFrame, address: Address
) -> dict[str, pl.DataFrame]:
    """The claims on the same unit, and at the same site, the newest first."""
    frames = {}
    for name in ("serial", "site"):
        others = _of(decisions, data.decisions.select(_OF_OTHERS), name).sort(
            "failed_on", "claim", descending=[True, False]
        )
        pages = _pages(others["claim"].to_list(), address)
        frames[f"of_{name}"] = others.with_columns(pages.alias("href"))
    return frames


def _letters(data: PageData, decisions: pl.DataFrame) -> pl.DataFrame:
    """claim, to and html: the letter as the page shows it."""
    templates = data.letter_templates
    schema = {"claim": pl.String, "to": pl.String, "html": pl.String}
    if templates is None:
        return pl.DataFrame(schema=schema)
    shown = [
        {
            "claim": row["claim"],
            "to": row["agency_name"] or row["agency"] or "the service agency",
            "html": referring(templates.html(row, level=3), data.as_of),
        }
        for row in _of(decisions, data.letters).iter_rows(named=True)
    ]
    return pl.DataFrame(shown, schema=schema)


def _pages(claims: list[str | None], address: Address) -> pl.Series:
    return pl.Series([claim and address(claim) for claim in claims], dtype=pl.String)
