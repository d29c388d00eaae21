"""What the figures are computed from is not in memory when the pages are made."""

from __future__ import annotations

import gc
import weakref
from types import SimpleNamespace

import polars as pl
import pytest

from pipelines.steps import figures


class Context:
    """One that refers to itself, as what a context keeps for several figures does."""

    def __init__(self) -> None:
        self.kept = {"of": self}


@pytest.fixture
def by_counting_alone():
    """Nothing looks for circles but who asks for it."""
    gc.disable()
    yield
    gc.enable()


def test_a_context_is_gone_once_the_figures_are_made(monkeypatch, by_counting_alone) -> None:
    """It is there while they are, and not for what comes after them."""
    contexts = []

    def made(*_):
        context = Context()
        contexts.append(weakref.ref(context))
        return context

    def tables(context, wanted):
        assert contexts[0]() is context
        yield from ()

    units = pl.DataFrame({"serial": ["U1"] * figures.MANY_UNITS})
    monkeypatch.setattr(figures, "stored_exposure", lambda con: SimpleNamespace(units=units))
    monkeypatch.setattr(figures, "field_context", made)
    monkeypatch.setattr(figures, "figure_tables", tables)
    session = SimpleNamespace(con=None, inputs=None)
    assert list(figures.field_figures(session, ["rates"])) == []
    assert contexts[0]() is None
