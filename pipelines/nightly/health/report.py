"""What all health checks of a workspace add up to.

Belongs here: the order of the looks and what they add up to. Does not belong here: the looks
themselves (`workspace_checks`, `store_checks`), or reading the exports (`checking`).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from pipelines.nightly.health.desk_checks import desk_findings
from pipelines.nightly.health.finding import Finding, looked
from pipelines.nightly.health.workspace_checks import all_findings
from pipelines.workspace import clock
from pipelines.workspace.layout import Workspace


@dataclass(frozen=True)
class Diagnosis:
    """All findings of one workspace, the heaviest first."""

    workspace: str
    looked_at: str
    findings: list[Finding]

    @property
    def exit_code(self) -> int:
        """2 where the next refresh would fail, 1 where something needs a person, else 0."""
        weights = {finding.weight for finding in self.findings}
        return 2 if "fault" in weights else 1 if "warning" in weights else 0

    def to_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "workspace": self.workspace,
            "looked_at": self.looked_at,
            "findings": [asdict(finding) for finding in self.findings],
            "exit_code": self.exit_code,
        }


def diagnose(folder: Path | str, now: dt.datetime | None = None) -> Diagnosis:
    """Looks a workspace over.

    Args:
        folder: the workspace.
        now: the moment to look from, with its time zone; None for the present one.

    Raises:
        WorkspaceError: the folder is no workspace.
    """
    moment = now or clock.now()
    workspace = Workspace.open(folder)
    every = (*all_findings(workspace, moment), *looked("desk", desk_findings(workspace)))
    by_sentence = {finding.sentence: finding for finding in reversed(every)}
    findings = [*reversed(by_sentence.values())]  # two looks may meet the same thing
    weights = ("fault", "warning", "note")
    findings.sort(key=lambda finding: weights.index(finding.weight))
    return Diagnosis(str(workspace.root), moment.isoformat(timespec="seconds"), findings)
