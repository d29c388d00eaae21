"""help/terms.md: every key of the terms, its type, its default, and the conditions that read it."""

from __future__ import annotations

from pipelines.coverage.judging import CONDITIONS
from pipelines.terms.descriptions import ANY_ANALYTE, ANY_GAS, ANY_READING, TermKey, term_keys
from pipelines.terms.shape import BURNED_GASES, YES_NO_READINGS
from schemas import codes

_OPENING = f"""# The warranty terms

One file an edition in `terms/`. An edition holds for units bought (shipped, where no purchase date
is known) on or after its `effective_from`, until the next one begins. Keys with a dot stand in
tables: `coverage.parts_months` is `parts_months` under `[coverage]`. `[family.NAME.coverage]` gives
one family of reference/models.csv its own value of any of them, but for the first three.

`{ANY_ANALYTE}` stands for one of {", ".join(codes.LIMITED_ANALYTES)};
`{ANY_READING}` for one of
{", ".join(name for name in codes.READINGS if name not in YES_NO_READINGS)};
`{ANY_GAS}` for {" or ".join(BURNED_GASES)}.

This page is made from what checks the files and renewed by every refresh; changes to it are lost.
"""


def terms_page() -> str:
    """The text of help/terms.md."""
    rows = [
        f"| `{key.path}` | {key.about} | {key.type} | {_default(key)} | {_readers(key)} |"
        for key in term_keys()
    ]
    head = ["| key | meaning | holds | default | read by |", "| --- | --- | --- | --- | --- |"]
    return "\n".join([_OPENING, *head, *rows, ""])


def readers_of(path: str) -> list[str]:
    """The conditions that read a key, in their order."""
    return [
        name
        for name, condition in CONDITIONS.items()
        if any(path == read or path.startswith(f"{read}.") for read in condition.HELP.reads)
    ]


def _default(key: TermKey) -> str:
    return "needed" if key.is_required else key.default


def _readers(key: TermKey) -> str:
    names = ", ".join(f"`{name}`" for name in readers_of(key.path))
    return "; ".join(filter(None, [names, key.read_by])) or "-"
