"""The doctor's look at the warranty terms.

Belongs here: what a person must know of terms that are sound. Does not belong here: their faults,
which loading them tells (`pipelines.terms`).
"""

from __future__ import annotations

from collections.abc import Iterator

from pipelines.nightly.health.finding import Finding
from pipelines.store.inputs import Inputs


def terms_findings(inputs: Inputs) -> Iterator[Finding]:
    """Whether claims are decided by terms that are only an example."""
    if inputs.terms.warning is not None:
        yield Finding(
            "warning",
            "terms",
            inputs.terms.warning,
            "Put in your own terms, then take `example = true` out of the file.",
        )
