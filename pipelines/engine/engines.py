"""The one seam between steps and whoever works on parts: in this process, or on a cluster.

Belongs here: what an engine is, the one of this process, and choosing. Does not belong here: the
cluster (`ray_engine`), what is worked out (`works`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from importlib.util import find_spec
from typing import TYPE_CHECKING, Protocol

import polars as pl

from pipelines.errors import WorkspaceError
from pipelines.workspace.layout import Workspace
from pipelines.workspace.settings import Settings

if TYPE_CHECKING:  # whoever only asks for an engine needs nothing of what it works out
    from pipelines.engine.ground import Frames, Ground

Progress = Callable[[str], None]
NEEDED = ("ray", "obstore")


class Engine(Protocol):
    """Works on parts."""

    def run(
        self, work: str, ground: Ground, parts: Iterable[Frames]
    ) -> Iterator[dict[str, pl.DataFrame]]:
        """What `WORKS[work]` makes of each part, in their order.

        Raises:
            EngineError: a cluster or a storage cannot be reached, or was lost.
        """

    def published(self) -> None:
        """What was worked out is published: what only earlier runs needed may go."""

    def close(self) -> None:
        """Lets go of everything."""


class LocalEngine:
    """Works on one part after the other, in this process."""

    def run(
        self, work: str, ground: Ground, parts: Iterable[Frames]
    ) -> Iterator[dict[str, pl.DataFrame]]:
        """What `WORKS[work]` makes of each part, in their order."""
        from pipelines.engine.works import WORKS

        for frames in parts:
            made = WORKS[work](ground, frames)
            del frames  # a part is let go of before the next one is read
            yield made
            del made

    def published(self) -> None:
        """Nothing was kept."""

    def close(self) -> None:
        """Nothing is held."""


def refuse_without_extra(settings: Settings) -> None:
    """Raises `WorkspaceError` where a cluster is asked for and cannot be spoken to."""
    # Found, not imported: Ray takes seconds, and most workspaces have no cluster.
    lacking = [name for name in NEEDED if find_spec(name) is None]
    if settings.engine.kind == "ray" and lacking:
        raise WorkspaceError(
            f'limeledger.toml: engine.kind is "ray", but {" and ".join(lacking)} cannot be found; '
            "`pip install limeledger[cluster]` brings Ray and the object-store client. Or write "
            'engine.kind = "local".'
        )


def engine_of(workspace: Workspace, settings: Settings, tool: str, progress: Progress) -> Engine:
    """The engine that the settings ask for; a cluster is not spoken to before there is work.

    Args:
        tool: what stands for the source of this tool.
    """
    refuse_without_extra(settings)
    if settings.engine.kind == "local":
        return LocalEngine()
    from pipelines.engine.ray_engine import RayEngine

    return RayEngine(workspace, settings, tool, progress)
