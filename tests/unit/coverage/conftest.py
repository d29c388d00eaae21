"""Cases of one parametrized test are decided side by side: alone each takes ten times as long.

Before the first of them, each is begun with a bench that only notes what it is asked to decide, and
left where it first looks at a decision. Then each test runs as it stands, and asks the bench for
the same again, which the bench has decided along with the others' by then.
"""

from __future__ import annotations

import inspect
from typing import Any

import pytest

from tests.unit.coverage.bench import Bench, Pending

_BEGUN: set[Any] = set()  # functions whose cases were looked at beforehand


class _LookedAtError(Exception):
    """A case came to where it looks at a decision."""


class _Unseen:
    """Stands for what is not decided yet."""

    def __getattr__(self, name: str) -> Any:
        raise _LookedAtError(name)


class _Foreseeing:
    """The bench of a test: it decides, or has decided already."""

    def __init__(self, bench: Bench, foreseen: dict[str, Pending], *, is_noting: bool) -> None:
        self._bench, self._foreseen, self._is_noting = bench, foreseen, is_noting

    def decide(self, *args: Any, **given: Any) -> Any:
        """A case that is decided along with the others, or one that nobody foresaw."""
        case = repr((args, sorted(given.items())))
        if not self._is_noting:
            return self._foreseen.pop(case, None) or self._bench.decide(*args, **given)
        if given.get("history") is None:
            self._foreseen[case] = self._bench.decide(*args, **given)
        return _Unseen()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._bench, name)


_FORESEEN: dict[str, Pending] = {}


@pytest.fixture
def bench(bench: Bench, tools: Any, request: pytest.FixtureRequest) -> Any:
    """Decides the plain claim with changes; of a parametrized test all cases at once."""
    test = request.node
    if hasattr(test, "callspec") and test.function not in _BEGUN:
        _BEGUN.add(test.function)
        noting = {"bench": _Foreseeing(bench, _FORESEEN, is_noting=True), "tools": tools}
        for other in request.session.items:
            if getattr(other, "function", None) is test.function:
                _begin(test.function, noting | other.callspec.params)
    return _Foreseeing(bench, _FORESEEN, is_noting=False)


def _begin(function: Any, given: dict[str, Any]) -> None:
    """Begins a case with a bench that notes, where it needs nothing but bench and parameters."""
    names = inspect.signature(function).parameters
    if not names.keys() <= given.keys():
        return
    try:
        function(**{name: given[name] for name in names})
    except Exception:  # where it looks at a decision, or in whatever the test itself will tell
        return
