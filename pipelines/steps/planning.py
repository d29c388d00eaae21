"""What a run of some steps will do, and why it cannot: told before anything is written.

Belongs here: comparing what is selected with what stands there. Does not belong here: doing it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from pipelines.errors import RefusedError
from pipelines.steps.all_steps import STEPS
from pipelines.steps.step import Step
from pipelines.store.transaction import RefreshSession

MOST_NAMED = 12


@dataclass(frozen=True)
class Plan:
    """By step the tables that are selected, and those of them that are still to be made."""

    selected: Mapping[str, tuple[str, ...]]
    to_make: Mapping[str, tuple[str, ...]]

    @property
    def is_current(self) -> bool:
        """Whether all that is selected is there already."""
        return not any(self.to_make.values())


def plan(
    session: RefreshSession, selected: Collection[str], steps: Collection[str] | None = None
) -> Plan:
    """What the run will make of the selected tables.

    Args:
        selected: the tables, and what is published, that the run is to make.
        steps: only these steps will be executed; None for all that have to do with the selection.

    Raises:
        RefusedError: something that is read and not selected is not of this run's inputs.
    """
    chosen: dict[str, tuple[str, ...]] = {}
    to_make: dict[str, tuple[str, ...]] = {}
    will_be: set[str] = set()
    lacking: dict[str, str] = {}
    for step in STEPS:
        if steps is not None and step.name not in steps:
            continue
        chosen[step.name] = tuple(name for name in step.tables if name in selected)
        made = tuple(name for name in chosen[step.name] if not step.is_current(session, name))
        to_make[step.name] = made
        if made:  # what is there already asks for nothing, however old what it was made from is
            for name in step.read_for(made):
                # What an earlier step of this run makes will be of its inputs by then.
                if name not in will_be and (fault := session.fault(name)):
                    lacking.setdefault(name, fault)
        will_be |= set(made)
    if lacking:
        raise RefusedError(_refusal(session, lacking, selected))
    return Plan(chosen, to_make)


def _refusal(session: RefreshSession, lacking: Mapping[str, str], selected: Collection[str]) -> str:
    """Which table is of other inputs, which the run has, and the ways out."""
    name, fault = next(iter(lacking.items()))
    others = len(lacking) - 1
    sentence = f"The table {name} {fault}"
    if others:
        sentence += f"; {others} more that the selection reads are not of this run's inputs either"
    root = session.inputs.workspace.root
    ways = [
        f"run `limeledger refresh {root} --as-of {session.state.as_of}`",
        _wider(session, lacking, selected),
    ]
    if day := _other_day(session, lacking):
        ways.insert(0, f"give the as-of day {day} (resources.session.config.as_of)")
    return f"{sentence}. Nothing was written. Either {', or '.join(ways)}."


def _wider(session: RefreshSession, lacking: Collection[str], selected: Collection[str]) -> str:
    """The selection that would do."""
    needed = set(selected) | set(lacking)
    for step in reversed(STEPS):
        made = [
            name for name in step.tables if name in needed and not step.is_current(session, name)
        ]
        needed |= {name for name in step.read_for(made) if session.fault(name)}
    names = [name for name in _names(STEPS) if name in needed]
    if len(names) > MOST_NAMED:
        return "run the whole job `refresh`"
    return f"select {', '.join(names)}"


def _names(steps: Sequence[Step]) -> list[str]:
    return [name for step in steps for name in step.tables]


def _other_day(session: RefreshSession, lacking: Mapping[str, str]) -> str | None:
    """The one day as of which all that is lacking would do, where only the day differs."""
    days = {session.day_of(name) for name in lacking}
    return str(days.pop()) if len(days) == 1 and None not in days else None
