"""The two files that all charts of a site share: the drawing library and the specifications.

Belongs here: their text, made once for one version of our charts and their libraries. Does not
belong here: altair, which a site whose files are kept has no need of; where the files go (`site`).
"""

from __future__ import annotations

import json
from functools import cache
from importlib.metadata import version
from pathlib import Path

from dashboards.kept import made_once
from dashboards.theme import VEGA_LITE

_LIBRARIES = ("altair", "vl-convert-python")
_DASHBOARDS = Path(__file__).parents[1]
_CHARTS = ("charts/*.py", "specifications.py", "theme.py")


@cache
def chart_library() -> str:
    """Everything that draws charts in a browser, as one script."""
    return made_once("vega-bundle", _versions(), _make_library)


@cache
def chart_specifications(currency: str) -> str:
    """Every chart, compiled, as a script that hands them to the pages."""
    parts = [_versions(), currency.encode(), *(path.read_bytes() for path in sources())]
    return made_once("specifications", b"\0".join(parts), lambda: _make_specifications(currency))


def sources() -> list[Path]:
    """The files of ours that a chart's look depends on."""
    return sorted(path for part in _CHARTS for path in _DASHBOARDS.glob(part))


def _versions() -> bytes:
    return " ".join([VEGA_LITE, *(f"{name} {version(name)}" for name in _LIBRARIES)]).encode()


def _make_library() -> str:
    import vl_convert

    return vl_convert.javascript_bundle(vl_version=VEGA_LITE)  # type: ignore[call-arg]


def _make_specifications(currency: str) -> str:
    from dashboards.specifications import compiled_specifications

    specs = json.dumps(compiled_specifications(currency), separators=(",", ":"))
    return f"window.limeledgerSpecs = {specs};\n"
