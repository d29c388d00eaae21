"""The drawn parts of a claim's page: the unit's life on one line, and its water against limits.

Belongs here: rows for the two charts and their tables. Does not belong here: the other parts of the
page (`claim`), or how the charts look (`charts`).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from markupsafe import Markup

from dashboards import formats
from dashboards.shared_day import NEXT

# Kind of event -> line on the time line, and shape of its mark.
TRACKS = {
    "shipped": ("Unit", "paper"),
    "purchased": ("Unit", "paper"),
    "installed": ("Unit", "paper"),
    "retired": ("Unit", "paper"),
    "start-up requested": ("Start-up", "paper"),
    "start-up completed": ("Start-up", "upkeep"),
    "water test": ("Water tests", "water"),
    "treatment bought": ("Treatment", "paper"),
    "treatment fitted": ("Treatment", "treatment"),
    "cartridge changed": ("Cartridges", "upkeep"),
    "cartridges bought": ("Cartridges", "paper"),
    "delimed": ("Deliming", "upkeep"),
    "inspection": ("Calls", "upkeep"),
    "repair": ("Calls", "repair"),
}
EARLIER, COVER = "Earlier unit", "Cover"
ORDER = (
    COVER,
    "Parts cover",
    "Labor cover",
    EARLIER,
    "Unit",
    "Start-up",
    "Water tests",
    "Treatment",
    "Cartridges",
    "Deliming",
    "Calls",
)
_MAX_SHARE = 3.0


def life_line(
    decision: Mapping[str, Any],
    events: Iterable[Mapping[str, Any]],
    spans: Iterable[Mapping[str, Any]],
) -> dict[str, Any] | None:
    """Chart rows, table rows and legend of a unit's life; None where nothing is dated.

    A cartridge's cover without an end goes on.
    """
    stretches = _windows(decision) + [_cartridges(one) for one in spans]
    moments = [moment(event) for event in events if event["on"] is not None]
    failure = {"on": formats.chart_day(decision["failed_on"]), "label": "failure"}
    return drawn_line(stretches, moments, [failure], "The failure of this claim.")


def drawn_line(
    stretches: list[dict[str, str]],
    moments: list[dict[str, str]],
    failures: list[dict[str, str]],
    said: str,
) -> dict[str, Any] | None:
    """Chart rows, table rows and legend of stretches, moments and failures; `said` of the last."""
    if not stretches and not moments:
        return None
    present = {row["track"] for row in stretches} | {row["track"] for row in moments}
    rows = [
        [row["start"][:10], "goes on" if row["end"] == NEXT else row["end"][:10], row["label"]]
        for row in stretches
    ]
    rows += [[row["on"][:10], "", row["label"]] for row in moments]
    rows += [[failure["on"][:10], "", said] for failure in failures]
    kinds = {row["kind"] for row in stretches}
    legend = [
        (style, label)
        for kind, style, label in (
            ("base cover", "l-base", "cover"),
            ("cover with start-up", "l-more", "with the start-up"),
            ("cartridge in cover", "l-cartridge", "cartridge in cover"),
            ("cartridge lapsed", "l-lapse", "lapsed"),
        )
        if kind in kinds
    ]
    chart = {
        "rows": {"spans": stretches, "moments": moments, "failure": failures},
        "lists": {"tracks": [track for track in ORDER if track in present]},
    }
    return {
        "data": chart,
        "json": Markup(formats.script_json(formats.packed(chart))),
        "rows": sorted(rows),
        "legend": legend,
    }


def _windows(decision: Mapping[str, Any]) -> list[dict[str, str]]:
    spans = []
    for line in ("parts", "labor"):
        start = decision["clock_start"]
        base, extended = decision[f"{line}_base_end"], decision[f"{line}_extended_end"]
        track = f"{line.capitalize()} cover"
        if start and base:
            spans.append(span(track, "base cover", f"{track}, by itself", start, base))
        if base and extended and extended > base:
            label = f"{track}, with the start-up"
            spans.append(span(track, "cover with start-up", label, base, extended))
    return spans


def _cartridges(stretch: Mapping[str, Any]) -> dict[str, str]:
    lapsed = stretch["state"] == "lapsed"
    kind = "cartridge lapsed" if lapsed else "cartridge in cover"
    label = f"{stretch['product']}: {'lapsed' if lapsed else 'in cover'}"
    return span("Cartridges", kind, label, stretch["start"], stretch["end"])


def span(track: str, kind: str, label: str, start: dt.date, end: dt.date | None) -> dict[str, str]:
    """One stretch of a line; without an end it goes on to the day that the page refers to."""
    return {
        "track": track,
        "kind": kind,
        "label": label,
        "start": formats.chart_day(start),
        "end": NEXT if end is None else formats.chart_day(end),
    }


def moment(event: Mapping[str, Any]) -> dict[str, str]:
    """One mark of a line: kind, on, label, and earlier where it is of the unit before."""
    track, shape = TRACKS[event["kind"]]
    label = event["label"]
    if earlier := event.get("earlier"):
        track, label = EARLIER, f"{earlier}, which it took over from: {label}"
    return {
        "track": track,
        "kind": shape,
        "label": label,
        "on": formats.chart_day(event["on"]),
    }


def water_bars(
    values: list[Mapping[str, Any]], profile: Mapping[str, Any] | None
) -> dict[str, Any] | None:
    """Chart rows, table rows and a sentence for a test against its limits; None without one."""
    if not values:
        return None
    bars, ticks, names = [], [], []
    for row in values:
        scale = row["max"] if row["max"] is not None else row["min"]
        if not scale or (row["value"] is None and row["below"] is None):
            continue
        name = f"{formats.ANALYTES[row['analyte']][0]}, {_reported(row, short=True)}"
        names.append(name)
        bars.append(_bar(row, name, scale))
        ticks += _ticks(row, name, scale)
    outside = [formats.ANALYTES[row["analyte"]][0].lower() for row in values if row["outside"]]
    first = values[0]
    head = f"Sample {first['sample']} of {formats.long_day(first['sampled_on'])}: "
    tail = f"{formats.listed(outside)} outside the limits." if outside else "within the limits."
    chart = {"rows": {"rows": bars, "ticks": ticks}, "lists": {"analytes": names}}
    return {
        "data": chart,
        "json": Markup(formats.script_json(formats.packed(chart))),
        "rows": [analyte_row(row) for row in values],
        "sentence": head + tail,
        "profile": _profile(profile),
    }


def _profile(row: Mapping[str, Any] | None) -> list[str]:
    """What the water's profile adds: its class, and what does not add up in the test."""
    if row is None:
        return []
    said = [f"Class of the water: {row['profile']}."]
    return said + [f"To doubt: {doubt}." for doubt in row["doubts"] or ()]


def _reported(row: Mapping[str, Any], *, short: bool = False) -> str:
    """The value with its unit; `short`: to four digits, and without saying as what."""
    unit = formats.ANALYTES[row["analyte"]][1]
    if short:
        unit = unit.removesuffix(" CaCO₃")
    if row["value"] is not None:
        value = float(f"{row['value']:.4g}") if short else row["value"]
        return f"{formats.written(value)} {unit}".rstrip()
    if row["below"] is not None:
        return f"<{formats.written(row['below'])} {unit}".rstrip()
    return "not reported"


def _limit(row: Mapping[str, Any]) -> str:
    unit = formats.ANALYTES[row["analyte"]][1]
    low, high = row["min"], row["max"]
    if low is not None and high is not None:
        text = f"{formats.written(low)} to {formats.written(high)}"
    elif high is not None:
        text = f"at most {formats.written(high)}"
    elif low is not None:
        text = f"at least {formats.written(low)}"
    else:
        return "no limit"
    return f"{text} {unit}".rstrip()


def _bar(row: Mapping[str, Any], name: str, scale: float) -> dict[str, Any]:
    is_bound = row["value"] is None
    share = (row["below"] if is_bound else row["value"]) / scale
    return {
        "analyte": name,
        "share": round(min(share, _MAX_SHARE), 6),
        "text": _reported(row),
        "beyond": f"{share:.1f} times" if share > _MAX_SHARE else "",
        "outside": "bound" if is_bound else "yes" if row["outside"] else "no",
    }


def _ticks(row: Mapping[str, Any], name: str, scale: float) -> list[dict[str, Any]]:
    limits = [limit for limit in (row["min"], row["max"]) if limit is not None]
    return [
        {"analyte": name, "share": round(limit / scale, 6), "text": _limit(row)} for limit in limits
    ]


def analyte_row(row: Mapping[str, Any]) -> list[str]:
    """An analyte of a test: its name, what was reported, its limit, whether it is outside."""
    outside = "yes" if row["outside"] else "no"  # what was not detected is never outside
    return [formats.ANALYTES[row["analyte"]][0], _reported(row), _limit(row), outside]
