"""Files that joins bring together: read all, join, then parse what is to become of them.

Belongs here: the files of one group (`pipelines.store.deliveries`). Does not belong here: how one
file is read (`file_parts`), how rows are joined (`pipelines.records.joining`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipelines.exports.reading import Reading
from pipelines.records.feed_file import ParsedFile, parse_file
from pipelines.records.join_ends import JoinedRows, settle
from pipelines.records.joining import Joining, Source, join_files
from pipelines.records.mapping import Mapping
from pipelines.records.reasons import no_reasons
from pipelines.records.row_cells import Place
from pipelines.steps.file_parts import read_parts
from pipelines.steps.read_part import ReadPart, refused, typed_parts
from pipelines.store.deliveries import Delivered
from pipelines.store.inputs import Inputs


@dataclass(frozen=True)
class _At:
    """A part, and the file that it is of."""

    file: str
    part: ReadPart

    @property
    def name(self) -> str:
        """What people look for: the file, or its sheet."""
        return f"the sheet {self.part.sheet} of {self.file}" if self.part.sheet else self.file


def read_together(inputs: Inputs, files: Sequence[Delivered]) -> dict[str, list[ReadPart]]:
    """By path the parts of files that are read together."""
    read = [(file.export.path, part) for file in files for part in read_parts(inputs, file)]
    typed = typed_parts(inputs, read)
    parts = [_At(path, part) for (path, _), part in zip(read, typed, strict=True)]
    names = sorted({at.part.mapping.name for at in parts if at.part.mapping and at.part.is_open})
    done = {number: at.part for number, at in enumerate(parts) if not at.part.is_open}
    for name in names:
        mine = {
            number: at
            for number, at in enumerate(parts)
            if at.part.mapping is not None and at.part.mapping.name == name
        }
        done |= _join(inputs, mine)
    by_path: dict[str, list[ReadPart]] = {file.export.path: [] for file in files}
    for number, at in enumerate(parts):
        if number in done:
            by_path[at.file].append(done[number])
    return by_path


def _join(inputs: Inputs, parts: dict[int, _At]) -> dict[int, ReadPart]:
    """The open parts of one mapping, parsed; of those of one joined sheet only the first."""
    mapping = next(at.part.mapping for at in parts.values() if at.part.is_open)
    assert mapping is not None
    open_parts = {number: at for number, at in parts.items() if at.part.is_open}
    firsts = {number: at for number, at in open_parts.items() if not at.part.join}
    joined = [
        {number: at for number, at in open_parts.items() if at.part.join == join.name}
        for join in mapping.joins
    ]
    joined_sources = [[_source(at) for at in of_join.values()] for of_join in joined]
    joining = join_files(mapping, [_source(at) for at in firsts.values()], joined_sources)
    lacking = _lacking(mapping, parts)
    done = {
        number: _parsed(inputs, at, reading, joining, place, lacking)
        for place, ((number, at), reading) in enumerate(
            zip(firsts.items(), joining.readings, strict=True)
        )
    }
    return done | _settled(mapping, joined, joining)


def _source(at: _At) -> Source:
    return Source(Place(at.file, at.part.sheet), _read(at))


def _read(at: _At) -> Reading:
    assert at.part.reading is not None
    return at.part.reading


def _parsed(
    inputs: Inputs, at: _At, reading: Reading, joining: Joining, place: int, lacking: str
) -> ReadPart:
    """A file of the mapping's own with what its joins gave it."""
    part, mapping = at.part, at.part.mapping
    assert mapping is not None
    if lacking:
        sentence = f"{at.file} {lacking}"
        aside = refused(
            part.feed, mapping, part.sheet, "join_missing", sentence, reading, part.place
        )
        return replace(aside, named_date=part.named_date, landed=part.landed, reading=part.reading)
    parsed = parse_file(
        part.feed,
        reading,
        mapping,
        inputs.settings.timezone,
        Place(at.file, part.sheet),
        joining.not_joined[place],
        inputs.recorded.corrections(part.feed),
    )
    return replace(part, parsed=parsed, is_open=False, header=reading.header)


def _lacking(mapping: Mapping, parts: dict[int, _At]) -> str:
    """What a file that needs the joins is told of the first that has no file; empty with all."""
    for join in mapping.joins:
        mine = [at for at in parts.values() if at.part.join == join.name]
        needs = f"needs the join {join.name} of {mapping.name}"
        whole = next((at.name for at in mine if at.part.parsed.is_whole), None)
        if whole is not None:
            return f"{needs}, and {whole}, which it names, is set aside; mend that file."
        if not any(at.part.is_open for at in mine):
            listed = ", ".join(join.files)
            return (
                f"{needs}, and no file below exports/ is read for it (files = {listed}); put it "
                "there, or correct the join."
            )
    return ""


def _settled(
    mapping: Mapping, joined: Sequence[dict[int, _At]], joining: Joining
) -> dict[int, ReadPart]:
    """The joined parts, each with what became of its rows under all joins that read it."""
    of_place: dict[tuple[str, str], list[tuple[int, int, int]]] = {}
    for join, parts in enumerate(joined):
        for source, (number, at) in enumerate(parts.items()):
            of_place.setdefault((at.file, at.part.sheet), []).append((number, join, source))
    done = {}
    for reads in of_place.values():
        number, join, _ = reads[0]
        part = joined[join][number].part
        sources = [(j, source, _read(joined[j][n])) for n, j, source in reads]
        rows = settle(mapping, sources, joining.ends)
        done[number] = replace(part, parsed=_of_joined(part, rows), is_open=False)
    return done


def _of_joined(part: ReadPart, rows: JoinedRows) -> ParsedFile:
    return replace(
        part.parsed,
        set_aside=rows.set_aside.sort("line", maintain_order=True),
        besides=no_reasons(),
        left_out=rows.left_out,
        joined=rows.joined,
        duplicates=rows.duplicates,
    )
