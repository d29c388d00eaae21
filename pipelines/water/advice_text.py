"""Advice as plain text for a terminal.

Belongs here: layout. Does not belong here: what is said.
"""

from __future__ import annotations

import textwrap
from itertools import groupby

from pipelines.water.advice_parts import Advice

WIDTH = 96


def render_text(advice: Advice) -> str:
    """The advice by topic, each line with its standing, the cautions below their topic."""
    test, model = advice.test, advice.model
    where = f" of site {test['site']}" if test["site"] else ""
    when = f", taken {test['sampled_on'].isoformat()}" if test["sampled_on"] else ""
    blocks = [
        _wrapped(
            f"Water test {test['sample']}{where}{when}, for model {model['model']} under the terms "
            f"{advice.edition} ({advice.family}): {advice.profile}."
        )
    ]
    for topic, group in groupby(advice.lines, key=lambda line: line.topic):
        lines = list(group)
        cautions = dict.fromkeys(caution for line in lines for caution in line.cautions)
        blocks.append(
            "\n".join(
                [
                    topic.capitalize(),
                    *(_wrapped(f"{line.text} [{line.standing}]", "  - ") for line in lines),
                    *(_wrapped(f"Caution: {caution}", "  ! ") for caution in cautions),
                ]
            )
        )
    return "\n\n".join(blocks) + "\n"


def _wrapped(text: str, bullet: str = "") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=bullet, subsequent_indent=" " * len(bullet))
