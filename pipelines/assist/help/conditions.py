"""help/conditions.md: the twenty conditions in order, as each declares itself."""

from __future__ import annotations

from pipelines.coverage.judging import CONDITIONS

OPENING = """# The conditions of cover

Every claim is held to the same twenty conditions, in this order. Each ends as one of:

| outcome | meaning |
| --- | --- |
| `met` | what it asks for holds |
| `unmet` | it does not |
| `unknown` | a document could settle it; the finding names the document |
| `disputed` | records contradict each other, or a person must look |
| `not_needed` | it does not bear on this claim; also where the edition switches it off |
| `not_evaluated` | an earlier condition settled the matter, or lacks what this one needs |

The last two never change a verdict. One `disputed` makes a claim `needs_review`; else one `unmet`
beats `unknown`, for parts and labor each with its own window. `conditions_off` in an edition of the
terms switches conditions off by these names. This page is made from the conditions themselves and
renewed by every refresh; changes to it are lost.
"""


def conditions_page() -> str:
    """The text of help/conditions.md."""
    parts = [OPENING]
    for name, condition in CONDITIONS.items():
        condition_help = condition.HELP
        says = (condition.__doc__ or "").strip().split("\n\n")[0].replace("\n", " ")
        lines = [f"## {condition.CLAUSE.paragraph}. {name}", "", says, ""]
        lines.append(f"Looks at: {condition_help.looks_at}.")
        if condition_help.reads:
            keys = ", ".join(f"`{key}`" for key in condition_help.reads)
            lines += ["", f"Keys of the terms: {keys}."]
        lines += ["", "| outcome | when |", "| --- | --- |"]
        lines += [f"| `{outcome}` | {when} |" for outcome, when in condition_help.outcomes.items()]
        if condition_help.documents:
            lines += ["", f"What settles an `unknown`: {'; or '.join(condition_help.documents)}."]
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)
