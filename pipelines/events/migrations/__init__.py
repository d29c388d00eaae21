"""How a desk's database comes to the form that this version of the tool knows.

Belongs here: running what `versions/` holds, forward only, and refusing a newer database. Does
not belong here: what the tables are for (`pipelines.events.tables`).
"""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from pipelines.errors import WorkspaceError
from pipelines.events.letter_table import refold

VERSIONS = ("0001", "0002")  # oldest first
HEAD = VERSIONS[-1]
_VERSION = sa.text("select version_num from alembic_version")


def version_of(connection: sa.Connection) -> str | None:
    """The version of a database; None where it is empty.

    Raises:
        WorkspaceError: a newer tool made it.
    """
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    version: str | None = connection.execute(_VERSION).scalar()
    if version is not None and version not in VERSIONS:
        raise WorkspaceError(
            f"The desk's database has version {version}, which is newer than this tool "
            f"({HEAD}); update the tool. Nothing was changed."
        )
    return version


def migrate(connection: sa.Connection) -> None:
    """Brings a database to HEAD within the transaction of the connection.

    What is folded from events is made anew, in the form that it has now.
    """
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    script = ScriptDirectory.from_config(config)

    def steps(revision: object, _: object) -> object:
        return script._upgrade_revs(HEAD, revision)  # type: ignore[arg-type]

    with EnvironmentContext(config, script, fn=steps) as environment:
        environment.configure(connection=connection, transactional_ddl=True)
        with environment.begin_transaction():
            environment.run_migrations()
    refold(connection)
