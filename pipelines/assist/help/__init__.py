"""The pages of help/: mappings, terms, conditions, settings, told from what checks them.

Belongs here: the texts. Does not belong here: writing them (`pipelines.store.help_files`), the
checks and conditions themselves.
"""

from pipelines.assist.help.conditions import conditions_page
from pipelines.assist.help.mappings import mappings_page
from pipelines.assist.help.settings import settings_page
from pipelines.assist.help.terms import terms_page

__all__ = ["help_pages"]


def help_pages() -> dict[str, str]:
    """The text of each page by its path below the workspace."""
    return {
        "help/mappings.md": mappings_page(),
        "help/terms.md": terms_page(),
        "help/conditions.md": conditions_page(),
        "help/settings.md": settings_page(),
    }
