"""Writes the second company's exports as they would arrive, and what is true of them.

`python -m sample_data.second.generate` writes `workspace/` and `truth.toml` anew, the same each
time. Belongs here: all files, and the truth. Does not belong here: facts (`world`), how each system
writes them (`erp`, `systems`), mappings and reference files, written by hand in `written/`.
"""

from __future__ import annotations

import shutil
from decimal import Decimal
from pathlib import Path

from sample_data.second import erp, systems
from sample_data.second.world import World, make
from sample_data.second.writing import Writer

HOME = Path(__file__).parent


def write(folder: Path) -> Writer:
    """All exports below `folder`, and what must become of their rows."""
    writer = Writer(make(), folder)
    erp.register(writer)
    erp.calls(writer)
    erp.credits(writer)
    systems.startups(writer)
    systems.laboratory(writer)
    systems.shop(writer)
    return writer


def sums(world: World) -> dict[str, Decimal]:
    """What amounts must add up to."""
    lines = [line for call in world.calls if call.number != 410003 for line in call.lines]
    return {
        "parts_amount": sum((m for k, _, _, m, _ in lines if k == "MAT"), Decimal(0)),
        "labor_hours": sum((c for k, _, c, _, _ in lines if k == "LAB"), Decimal(0)),
        "travel_amount": sum((m for k, _, _, m, _ in lines if k == "TRV"), Decimal(0)),
        "credited_parts": sum((one[3] for one in world.credits), Decimal(0)),
    }


def main(folder: Path = HOME / "workspace") -> None:
    """Writes the exports below `folder`, and the truth beside this file."""
    shutil.rmtree(folder, ignore_errors=True)
    writer = write(folder)
    told = ["# What must become of the exports, by feed; written by `generate`, which made them."]
    for feed, counts in sorted(writer.truth.items()):
        told += ["", f"[{feed}]", *(f"{name} = {n}" for name, n in sorted(counts.items()) if n)]
    told += ["", "[sums]", *(f'{name} = "{total}"' for name, total in sums(writer.world).items())]
    (HOME / "truth.toml").write_text("\n".join(told) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
