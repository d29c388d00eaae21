"""What all parts of a run share: the terms, the reference files, and the settings that decide.

Belongs here: this bundle, the evidence that a part makes with it, and a part in slices that keep
the memory small. Does not belong here: what is worked out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

import polars as pl

from pipelines.coverage.evidence import Evidence
from pipelines.engine.groups import divided
from pipelines.terms import Terms
from pipelines.workspace.reference import Reference
from pipelines.workspace.settings import Settings
from schemas.codes import FEEDS, OPTIONAL_FEEDS, REFERENCES

# What a company may do without decides nothing.
DECIDING = tuple(feed for feed in FEEDS if feed not in OPTIONAL_FEEDS)
# When rulings were approved or withdrawn at the desk: of a part's claims, and only for deciding.
RULING_DAYS = ("approvals", "withdrawals")
CODED = ("models", "treatments", "causes")  # whose codes rows may name
_TERMS = ("values", "water_limits", "installation_limits")
Frames = Mapping[str, pl.DataFrame]


@dataclass(frozen=True)
class Values:
    """The settings, through dates and day that decide, as JSON holds them: days as ISO 8601."""

    as_of: str
    through: Mapping[str, str | None]
    timezone: str
    duty_hours_per_day: float
    tanks_l: tuple[float, ...]
    conductivity_to_tds: float
    calcium_share_of_hardness: float | None
    ruling_limits: Mapping[str, str] | None


NO_VALUES = Values("", {}, "", 0.0, (), 0.0, None, None)  # where none of them decides anything


@dataclass(frozen=True)
class Ground:
    """`frames` has those of the terms (`terms_values` …), of REFERENCES, and `lots`."""

    frames: Frames
    values: Values

    @classmethod
    def of(
        cls,
        terms: Terms,
        reference: Reference,
        settings: Settings,
        through: Mapping[str, dt.date | None],
        as_of: dt.date,
    ) -> Ground:
        """The ground of a run."""
        frames = {f"terms_{name}": getattr(terms, name) for name in _TERMS}
        frames |= {name: getattr(reference, name) for name in (*REFERENCES, "lots")}
        days = {feed: None if day is None else day.isoformat() for feed, day in through.items()}
        limits = settings.ruling_limits
        texts = None if limits is None else {name: str(most) for name, most in limits.items()}
        same = {
            field.name: getattr(settings, field.name)
            for field in fields(Values)
            if field.name not in ("as_of", "through", "ruling_limits")
        }
        return cls(frames, Values(as_of.isoformat(), days, ruling_limits=texts, **same))

    @classmethod
    def of_codes(cls, reference: Reference) -> Ground:
        """The ground of records: the codes that rows may name. No day and no setting bears on it,
        so that a part of rows that stay as they were is the same tomorrow."""
        return cls({name: getattr(reference, name) for name in CODED}, NO_VALUES)

    @classmethod
    def read(cls, frames: Frames, values: Mapping[str, Any]) -> Ground:
        """The same from frames and what JSON gave back."""
        tanks = tuple(values["tanks_l"])
        return cls(frames, Values(**{**values, "tanks_l": tanks}))

    @property
    def terms(self) -> Terms:
        """The frames of the terms; the nested editions, which no rule asks for, are left out."""
        frames = {name: self.frames[f"terms_{name}"] for name in _TERMS}
        return Terms(**frames, editions=(), sha256={})

    @property
    def as_of(self) -> dt.date:
        """The as-of day."""
        return dt.date.fromisoformat(self.values.as_of)

    @property
    def ruling_limits(self) -> dict[str, Decimal] | None:
        """Who may rule up to what amount; None: everyone may."""
        limits = self.values.ruling_limits
        return None if limits is None else {name: Decimal(most) for name, most in limits.items()}

    def evidence(self, records: Frames) -> Evidence:
        """Records of `DECIDING`, and where they are needed the days of rulings, as evidence."""
        through = {
            feed: None if day is None else dt.date.fromisoformat(day)
            for feed, day in self.values.through.items()
        }
        return Evidence(
            **{feed: records[feed] for feed in DECIDING},
            **{name: records[name] for name in RULING_DAYS if name in records},
            **{name: self.frames[name] for name in REFERENCES},
            through=through,
            as_of=self.as_of,
        )


def split(records: Frames, count: int) -> Iterator[dict[str, pl.DataFrame]]:
    """Records of `DECIDING` in so many slices, each of whole groups; what is empty comes too.

    A ruling goes with the claim that it is on; one on a claim that is not there with none.
    """
    if count == 1:
        yield dict(records)
        return
    parts = divided(records["units"].select("serial", "site", "replaces"), ties(records), count)
    placed = {
        feed: frame.with_columns(_slice=parts.of(frame))
        for feed, frame in records.items()
        if "serial" in frame.columns
    }
    for number in range(count):
        part = {
            feed: frame.filter(pl.col("_slice") == number).drop("_slice")
            for feed, frame in placed.items()
        }
        claims = part["service_calls"].select("claim").drop_nulls().unique()
        yield part | {"rulings": records["rulings"].join(claims, on="claim", how="semi")}


def ties(records: Frames) -> pl.DataFrame:
    """serial, site: what records name together, beside the register."""
    return pl.concat(
        frame.select("serial", "site").drop_nulls().unique()
        for feed, frame in records.items()
        if feed != "units" and {"serial", "site"} <= set(frame.columns)
    )
