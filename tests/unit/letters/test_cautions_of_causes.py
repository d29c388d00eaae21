"""The cautions that each cause of the sample calls for, in a letter about it.

Which work touches which hazard: common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

import sample_data
from pipelines.letters.cautions import HAZARDS, cautions

CAUSES = Path(sample_data.__file__).parent / "workspace" / "reference" / "causes.csv"
CALLED_FOR = {
    "SCALE-HEATER": {"deliming", "electricity"},
    "SCALE-PROBE": {"deliming"},
    "SCALE-VALVE": {"deliming", "water"},
    "PITTED": {"steam"},
    "CORRODED": {"steam"},
    "CHLORINE-SEAL": {"water"},
    "CHLORAMINE-SEAL": {"water"},
    "SILICA-GLAZE": {"deliming", "electricity"},
    "SILT-VALVE": {"water"},
    "DOOR-GASKET": {"steam"},
    "BOARD": {"electricity"},
    "CONTACTOR": {"electricity"},
    "HEATER-OPEN": {"electricity"},
    "IGNITER": {"gas"},
    "FLAME-LIFT": {"gas", "steam"},
    "SENSOR": {"electricity"},
    "TANK-DRY": {"electricity", "steam", "water"},
    "LOW-FLOW": {"water"},
    "DRAIN-BACK": {"water"},
    "OUT-OF-LEVEL": {"water"},
    "DROPPED": set(),
    "WRONG-ACID": {"deliming", "steam"},
    "HINGE": set(),
    "LAMP": {"electricity", "water"},
    "OTHER": set(),
}


def _touched(text: str, cause_class: str | None) -> set[str]:
    frame = pl.DataFrame(
        {"text": [text], "class": [cause_class]}, schema={"text": pl.String, "class": pl.String}
    )
    found = set(frame.select(cautions(pl.col("text"), pl.col("class"))).item())
    return {name for name, (_, _, caution) in HAZARDS.items() if caution in found}


def test_every_cause_of_the_sample_has_its_cautions() -> None:
    """By its description and class; none is left out of this table."""
    causes = pl.read_csv(CAUSES, infer_schema=False)
    assert set(causes["cause"]) == set(CALLED_FOR)
    found = {
        row["cause"]: _touched(row["description"], row["class"])
        for row in causes.iter_rows(named=True)
    }
    assert found == CALLED_FOR


@pytest.mark.parametrize(
    ("cause", "words"),
    [("IGNITER", "gas"), ("BOARD", "electricity"), ("SILT-VALVE", "water"), ("PITTED", "steam")],
)
def test_a_cause_without_a_class_is_told_by_its_words(cause, words) -> None:
    """A company's list may leave the class empty."""
    causes = pl.read_csv(CAUSES, infer_schema=False)
    description = causes.filter(cause=cause)["description"].item()
    assert words in _touched(description, None)
