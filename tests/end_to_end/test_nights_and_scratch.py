"""Nights of deliveries, corrections and deletions end where one refresh of the last files does."""

import random
import shutil
from pathlib import Path

NIGHTS, SEED = 3, 20261126
# What tells of the way and not of where it led: the history, and when it last grew.
# What agencies were told on the way is of the way too.
OF_THE_WAY = (
    "main.decision_history",
    "main.table_states",
    "main.letters",
    "main.letter_texts",
)


def _files(workspace: Path) -> list[Path]:
    exports = workspace / "exports"
    return sorted(path.relative_to(exports) for path in exports.rglob("*.csv"))


def _corrected(text: str, rng: random.Random) -> str:
    """A file that came again: a row is gone, and the others stand in another order."""
    header, *rows = text.splitlines(keepends=True)
    if any('"' in row for row in rows) or len(rows) < 2:  # a row may go over several lines
        return text
    rows = [row if row.endswith("\n") else row + "\n" for row in rows]
    rng.shuffle(rows)
    return "".join([header, *rows[1:]])


def _night(rng: random.Random, originals: Path, workspace: Path) -> None:
    """Some files come or come again, some are corrected, some are taken away."""
    for name in _files(originals):
        path = workspace / "exports" / name
        original = (originals / "exports" / name).read_text(
            encoding="utf-8", errors="surrogateescape"
        )
        drawn = rng.random()
        if drawn < 0.15:
            path.unlink(missing_ok=True)
        elif drawn < 0.45:
            path.write_text(_corrected(original, rng), encoding="utf-8", errors="surrogateescape")
        elif drawn < 0.75:
            shutil.copy(originals / "exports" / name, path)


def _where_it_led(tables: dict) -> dict:
    return {name: frame for name, frame in tables.items() if name not in OF_THE_WAY}


def test_nights_end_where_one_refresh_does(unrefreshed, tmp_path, run, tools, day, no_figures):
    """Every table is the same to the byte, whatever was read, decided or taken away on the way."""
    rng = random.Random(SEED)
    originals = shutil.copytree(unrefreshed, tmp_path / "originals")
    decided = set()
    for _ in range(NIGHTS):
        _night(rng, originals, unrefreshed)
        assert run("refresh", unrefreshed, "--as-of", day).code == 1
        tables = tools["store"](unrefreshed)
        decided.add(tables["main.decisions"].select("claim", "verdict").write_csv())
    assert len(decided) == NIGHTS, "the nights must differ, else they show nothing"

    scratch = tmp_path / "scratch"
    shutil.copytree(unrefreshed, scratch, ignore=shutil.ignore_patterns("store", "published*"))
    assert run("refresh", scratch, "--as-of", day).code == 1
    once = tools["store"](scratch)
    assert tools["differing"](_where_it_led(tables), _where_it_led(once)) == []
