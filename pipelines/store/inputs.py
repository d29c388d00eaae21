"""Everything that a refresh needs from the workspace before it reads an export.

Belongs here: loading settings, reference, terms, mappings and letter templates, all checked before
anything is written. Does not belong here: the exports themselves.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from dashboards.letters import LetterTemplates, TemplateFault
from pipelines.errors import UsageError, WorkspaceError
from pipelines.records.mapping import Mapping, load_mapping
from pipelines.records.serving import Mappings, conflicts
from pipelines.terms import Terms, load_terms
from pipelines.workspace.layout import OPINIONS, Workspace
from pipelines.workspace.reference import Reference, load_reference
from pipelines.workspace.settings import Settings, load_settings, today


@dataclass(frozen=True)
class Inputs:
    """A workspace whose settings, reference files, terms, mappings and templates are sound."""

    workspace: Workspace
    settings: Settings
    reference: Reference
    terms: Terms
    mappings: Mappings
    as_of: dt.date
    fingerprint: str
    letter_templates: LetterTemplates


def load_inputs(folder: Path | str, as_of: str | dt.date | None = None) -> Inputs:
    """Loads and checks everything but the exports.

    Raises:
        UsageError: `as_of` is no date.
        WorkspaceError: every fault of the settings, mappings, reference files, terms and templates.
    """
    workspace = Workspace.open(folder)
    settings = load_settings(workspace)
    day = as_of_date(as_of, settings)
    if faults := workspace.links_out(_input_files(workspace, settings)):
        raise WorkspaceError(*faults)
    reference, terms = None, None
    try:
        reference = load_reference(workspace.reference, settings)
    except WorkspaceError as error:
        faults += error.faults
    if reference is not None:
        try:
            terms = load_terms(
                workspace.terms(settings.terms), reference.families, reference.abilities
            )
        except WorkspaceError as error:
            faults += error.faults
    mappings: list[Mapping] = []
    for path in mapping_files(workspace):
        try:
            mappings.append(load_mapping(path))
        except WorkspaceError as error:
            faults += error.faults
    faults += conflicts(mappings)
    templates = None
    try:
        templates = LetterTemplates(
            workspace.letters,
            maker=settings.maker,
            signature=settings.signature,
            currency=settings.currency,
            as_of=day,
        )
    except TemplateFault as fault:
        faults.append(str(fault))
    if faults or reference is None or terms is None or templates is None:
        raise WorkspaceError(*faults)
    return Inputs(
        workspace,
        settings,
        reference,
        terms,
        Mappings(tuple(mappings)),
        day,
        _fingerprint(workspace, settings),
        templates,
    )


def mapping_files(workspace: Workspace) -> list[Path]:
    """Every mapping of the workspace, by name."""
    if not workspace.mappings.is_dir():
        return []
    entries = (path for path in workspace.mappings.iterdir() if path.name[0] != ".")
    return sorted(path for path in entries if path.name.casefold().endswith(".toml"))


def sound_mappings(workspace: Workspace) -> Mappings:
    """The mappings of a workspace that have no fault, for whoever tells of faults elsewhere."""
    sound = []
    for path in mapping_files(workspace):
        with contextlib.suppress(WorkspaceError):
            sound.append(load_mapping(path))
    return Mappings(tuple(sound))


def as_of_date(given: str | dt.date | None, settings: Settings) -> dt.date:
    """The day to decide as of: the one given, else today in the workspace's time zone."""
    if given is None:
        return today(settings)
    if isinstance(given, dt.date):
        return given
    try:
        day = dt.date.fromisoformat(given)
        if len(given) != 10 or not 1900 <= day.year < 2200:  # the days that exports may have
            raise ValueError
    except ValueError:
        raise UsageError(
            f'--as-of "{given}" is no date from the year 1900 to 2199; write it as YYYY-MM-DD, '
            "such as 2026-03-31."
        ) from None
    return day


def _fingerprint(workspace: Workspace, settings: Settings) -> str:
    """One hash over every settings, mapping, reference, terms, template and opinions file."""
    told = {
        str(path.relative_to(workspace.root)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in _input_files(workspace, settings)
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def _input_files(workspace: Workspace, settings: Settings) -> list[Path]:
    """Every file that the inputs and letter templates are read from, and maybe more."""
    files = [workspace.settings_file]
    for folder in (
        workspace.mappings,
        workspace.reference,
        workspace.terms(settings.terms),
        workspace.letters,
    ):
        if folder.is_dir():
            files += sorted(p for p in folder.iterdir() if p.is_file() and p.name[0] != ".")
    opinions = workspace.store / OPINIONS
    return [*files, opinions] if opinions.is_file() else files
