"""Why a claim stands otherwise now than it did: what differs, and what of its grounds has changed.

Belongs here: comparing two decisions and what each rested on. Does not belong here: finding either
(`past_explanation`), or deciding.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

Row = dict[str, Any]
Place = tuple[str, str]
COMPARED = (
    "verdict",
    "lead_reason",
    "missing",
    "edition",
    "parts_payable",
    "labor_payable",
    "travel_payable",
    "ruling",
    "standing",
    "parts_standing",
    "labor_standing",
    "travel_standing",
)
_OF_RULING = ("ruling", "standing", "parts_standing", "labor_standing", "travel_standing")


@dataclass(frozen=True)
class Rested:
    """What a publication's decision of one claim rested on.

    files: by kind of input the files with their SHA-256. rows: the records by feed and key.
    decision: its row of `decision_archive`.
    """

    publication: Row
    files: Mapping[str, list[Row]]
    rows: Mapping[Place, Row]
    decision: Row


def differences(then: Row, rested: Rested, now: Row | None, now_rested: Rested | None) -> list[Row]:
    """What differs: a list of what, then, now, because."""
    if now is None:
        return [
            {
                "what": "claim",
                "then": then["verdict"],
                "now": None,
                "because": "The claim is no longer in the exports, or not seen by the present "
                "as-of day.",
            }
        ]
    grounds = list(_grounds(rested, now_rested))
    differing = [
        {"what": name, "then": then[name], "now": now[name], "because": _because(grounds, name)}
        for name in COMPARED
        if then[name] != now[name]
    ]
    before = {finding["condition"]: finding for finding in then["findings"]}
    for finding in now["findings"]:
        old = before.get(finding["condition"])
        if old is None or (old["outcome"], old["reason"]) == (
            finding["outcome"],
            finding["reason"],
        ):
            continue
        places = {(one["feed"], one["key"]) for one in (*old["evidence"], *finding["evidence"])}
        differing.append(
            {
                "what": finding["condition"],
                "then": {"outcome": old["outcome"], "reason": old["reason"]},
                "now": {"outcome": finding["outcome"], "reason": finding["reason"]},
                "because": _because(grounds, finding["condition"], places),
            }
        )
    return differing


@dataclass(frozen=True)
class _Ground:
    """One thing that changed: what kind it is, the record where it is one, and the sentence."""

    kind: str
    sentence: str
    place: Place | None = None


def _grounds(then: Rested, now: Rested | None) -> Iterator[_Ground]:
    """All that has changed of what the decision rests on."""
    if now is None:
        yield _Ground("rows", "Nothing is archived of the claim as it stands now.")
        return
    yield from _rows(then.rows, now.rows, then.publication["day"])
    for kind, words in (
        ("terms", "terms"),
        ("reference", "reference files"),
        ("settings", "settings"),
    ):
        if names := _changed(then.files[kind], now.files[kind]):
            yield _Ground(kind, f"Other {words}: {', '.join(names)}.")
    before, after = then.publication, now.publication
    if before["as_of"] != after["as_of"]:
        yield _Ground("day", f"Decided as of {after['as_of']}, then as of {before['as_of']}.")
    if before["tool"] != after["tool"]:
        yield _Ground(
            "tool",
            f"Decided by version {after['tool_version']} of the tool, then by "
            f"{before['tool_version']}"
            + (" (of another source)." if after["tool_version"] == before["tool_version"] else "."),
        )
    through = {row["feed"]: row["through_date"] for row in before["through_dates"]}
    days = [
        (row["feed"], through.get(row["feed"]), row["through_date"])
        for row in after["through_dates"]
    ]
    moved = [(feed, was, now) for feed, was, now in days if was != now]
    if moved:
        is_further = all(was is None or (now is not None and was < now) for _, was, now in moved)
        days_told = [
            f"{feed} to {now or 'no day'} (then {was or 'no day'})" for feed, was, now in moved
        ]
        how = "further" if is_further else "to other days"
        yield _Ground("through", f"The exports are complete {how}: {', '.join(days_told)}.")


def _rows(then: Mapping[Place, Row], now: Mapping[Place, Row], day: dt.date) -> Iterator[_Ground]:
    """The records that differ; `day` is that of the publication before."""
    for place in sorted({*then, *now}):
        feed, key = place
        kind = "ruling" if feed == "rulings" else "row"
        name = f"{feed} {key}"
        if place not in then:
            row = now[place]
            came, where = row["arrived_on"], f"{row['file']}, line {row['line']}"
            # What was known by then had left the exports, or was not seen as of the day then.
            sentence = (
                f"{name} came on {came} ({where})."
                if came > day
                else f"{name} counts now and did not then ({where}; first read on {came})."
            )
            yield _Ground(kind, sentence, place)
        elif place not in now:
            yield _Ground(kind, f"{name} has left the exports.", place)
        elif then[place]["row_sha256"] != now[place]["row_sha256"]:
            old, new = then[place]["values"], now[place]["values"]
            cells = [
                f"{column} {old.get(column, 'nothing')} → {new.get(column, 'nothing')}"
                for column in dict.fromkeys([*old, *new])
                if old.get(column) != new.get(column)
            ]
            yield _Ground(kind, f"{name} changed: {', '.join(cells)}.", place)


def _changed(then: list[Row], now: list[Row]) -> list[str]:
    before = {file["path"]: file["sha256"] for file in then}
    after = {file["path"]: file["sha256"] for file in now}
    return [path for path in sorted({*before, *after}) if before.get(path) != after.get(path)]


def _because(grounds: list[_Ground], what: str, places: set[Place] | None = None) -> str:
    """The grounds that bear on it: a finding's own records first, else all that could.

    What bears on which finding beyond the records that it cites is for the rules to know; so all
    that changed is told where none of its own records did.
    """
    # A ruling changes what stands, and no finding: it is no ground of one.
    rulings = [ground for ground in grounds if ground.kind == "ruling"]
    if what in _OF_RULING and rulings:
        return " ".join(ground.sentence for ground in rulings)
    others = [ground for ground in grounds if ground.kind != "ruling"]
    if places is not None:
        own = [ground for ground in others if ground.place in places]
        inputs = [ground for ground in others if ground.place is None]
        others = [*own, *inputs] if own else others
    if not others:
        return "Nothing that it rests on has changed but the history of the claim."
    return " ".join(ground.sentence for ground in others)
