"""Everything that a refresh needs from the workspace before it reads an export.

Belongs here: loading settings, reference, terms, mappings and letter templates, all checked before
anything is written. Does not belong here: the exports themselves.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import json
from dataclasses import dataclass, field, replace
from pathlib import Path

from dashboards.letters import LetterTemplates, TemplateFault
from pipelines.errors import WorkspaceError
from pipelines.events.recorded import DeskRecord, read_recorded
from pipelines.records.mapping import Mapping, load_mapping
from pipelines.records.serving import Mappings, conflicts
from pipelines.store.file_hashes import hash_of
from pipelines.terms import Terms, load_terms
from pipelines.workspace.engine_settings import without_places
from pipelines.workspace.layout import Workspace, entries_in
from pipelines.workspace.reference import Reference, load_reference
from pipelines.workspace.settings import Settings, load_settings, today
from pipelines.workspace.typed_days import typed_day

LAID_IN = ("mappings", "reference", "terms", "settings")
READINGS = 3  # so often an edit may fall into the reading


@dataclass(frozen=True)
class Inputs:
    """A workspace whose settings, reference files, terms, mappings and templates are sound.

    `digests` has the SHA-256 over the files of each kind of LAID_IN, with their paths; `recorded`
    is what people did at the desk up to then.
    """

    workspace: Workspace
    settings: Settings
    reference: Reference
    terms: Terms
    mappings: Mappings
    as_of: dt.date
    digests: dict[str, str]
    letter_templates: LetterTemplates
    recorded: DeskRecord = field(default_factory=DeskRecord)

    @property
    def fingerprint(self) -> str:
        """One hash over all of them but the day: settings, mappings, reference, terms, letters."""
        return hashlib.sha256(json.dumps(self.digests, sort_keys=True).encode()).hexdigest()


# Sound inputs by workspace, day and digests: read once while their files stay as they are.
_KNOWN: dict[tuple[object, ...], Inputs] = {}
_MOST_KNOWN = 4


def load_inputs(
    folder: Path | str,
    as_of: str | dt.date | None = None,
    recorded: DeskRecord | None = None,
) -> Inputs:
    """Loads and checks everything but the exports.

    Args:
        recorded: what people did at the desk, where that was read before; None to read it.

    Raises:
        UsageError: `as_of` is no date.
        WorkspaceError: every fault of the settings, mappings, reference files, terms and templates.
    """
    workspace = Workspace.open(folder)
    for _ in range(READINGS):
        inputs = _load_inputs(workspace, as_of, recorded)
        if inputs.digests == digests_of(workspace, inputs.settings):
            return inputs
    raise WorkspaceError(
        f"{workspace.root}: the settings, mappings, reference files or terms change while they are "
        "being read; wait until they are all in their place, then try again."
    )


def _load_inputs(
    workspace: Workspace, as_of: str | dt.date | None, recorded: DeskRecord | None
) -> Inputs:
    settings = load_settings(workspace)
    day = as_of_date(as_of, settings)
    recorded = read_recorded(workspace, settings) if recorded is None else recorded
    key = (workspace.root, day, *digests_of(workspace, settings).values())
    if key in _KNOWN:
        return replace(_KNOWN[key], recorded=recorded)
    inputs = _read_inputs(workspace, settings, day, recorded)
    if tuple(inputs.digests.values()) == key[2:]:
        _KNOWN[key] = replace(inputs, recorded=DeskRecord())
        while len(_KNOWN) > _MOST_KNOWN:
            _KNOWN.pop(next(iter(_KNOWN)), None)
    return inputs


def _read_inputs(
    workspace: Workspace, settings: Settings, day: dt.date, recorded: DeskRecord
) -> Inputs:
    files = input_files(workspace, settings)
    if faults := workspace.links_out([path for paths in files.values() for path in paths]):
        raise WorkspaceError(*faults)
    digests = digests_of(workspace, settings)
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
            warning=terms.warning if terms is not None else None,
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
        Mappings.of_workspace(mappings, reference.aliases),
        day,
        digests,
        templates,
        recorded,
    )


def mapping_files(workspace: Workspace) -> list[Path]:
    """Every mapping of the workspace, by name."""
    entries = entries_in(workspace.mappings)
    return [path for path in entries if path.name.casefold().endswith(".toml")]


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
    return given if isinstance(given, dt.date) else typed_day("--as-of", given)


def digests_of(workspace: Workspace, settings: Settings) -> dict[str, str]:
    """One hash over the files of each kind of LAID_IN, with their paths below the workspace."""
    hashes = {
        kind: [
            [path.relative_to(workspace.root).as_posix(), _hash_of(workspace, path)]
            for path in paths
        ]
        for kind, paths in input_files(workspace, settings).items()
    }
    return {
        kind: hashlib.sha256(json.dumps(files).encode()).hexdigest()
        for kind, files in hashes.items()
    }


def input_files(workspace: Workspace, settings: Settings) -> dict[str, list[Path]]:
    """Every file of each kind of LAID_IN that is read, and maybe more."""
    folders = {
        "mappings": [workspace.mappings],
        "reference": [workspace.reference],
        "terms": [workspace.terms(settings.terms)],
        "settings": [workspace.letters],
    }
    files = {
        kind: [path for folder in folders[kind] for path in entries_in(folder) if path.is_file()]
        for kind in LAID_IN
    }
    files["settings"].insert(0, workspace.settings_file)
    return files


def read_input(workspace: Workspace, path: Path) -> bytes:
    """What of an input file decides results: all of it, but of the settings where work is done."""
    content = path.read_bytes()
    return without_places(content) if path == workspace.settings_file else content


def _hash_of(workspace: Workspace, path: Path) -> str:
    """A file's hash; empty where it cannot be read, which whoever reads it tells with more."""
    try:
        if path == workspace.settings_file:
            return hashlib.sha256(read_input(workspace, path)).hexdigest()
        return hash_of(path)
    except OSError:
        return ""
