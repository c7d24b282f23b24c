"""The CSV half of a log: one row a cut.

Lines that start with # and blank lines are passed over. Columns are separated by a comma, a semicolon
or a tab, whichever the heading uses; where it is not the comma, a comma in a number is its decimal mark.
Every mistake is kept with its line, and reading goes on.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

from calib.errors import near_name
from calib.logfile.row import Row
from calib.setupform import RESERVED, reading_to_text
from calib.setupform.lengths import length_to_text
from calib.shop import Cut, Setup

TAB = "\t"
Record = tuple[int, list[str]]


def cuts_from_text(text: str, name: str, setup: Setup) -> tuple[list[Cut], list[str]]:
    """Return the cuts of a CSV text, and its problems as ``name:line: what was found. What to do.``"""
    problems: list[str] = []
    delimiter = delimiter_of(text)
    records = records_of(text, delimiter)
    try:
        head = next(records, None)
        if head is None:
            return [], [f"{name}: it has no heading. Start with a line such as kind,{_example(setup)}."]
        columns = _columns(head, name, setup, problems)
        cuts: list[Cut] = []
        for line, cells in records:
            named = _named(cells, columns, f"{name}:{line}", delimiter, problems)
            row = Row(f"{name}:{line}", named, setup, delimiter, problems)
            cuts.append(row.cut(len(cuts) + 1, cuts[-1] if cuts else None))
    except csv.Error as error:
        return [], [*problems, f"{name}: it cannot be read as CSV: {error}."]
    _check_numbers(cuts, name, problems)
    return cuts, [" ".join(problem.split()) for problem in problems]  # a quoted cell may hold line ends


def cuts_to_text(setup: Setup, cuts: Sequence[Cut]) -> str:
    """Return cuts as a CSV text in the setup's unit; `cuts_from_text` gives back equal cuts."""
    columns = _columns_needed(setup, cuts)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for cut in cuts:
        cells = _cells(setup, cut)
        writer.writerow([cells[column] for column in columns])
    return out.getvalue()


def delimiter_of(text: str) -> str:
    """Return the mark that separates the columns: a semicolon or a tab where the heading has one."""
    lines = (line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#"))
    heading = next(lines, "")
    return next((mark for mark in (";", TAB) if mark in heading), ",")


def records_of(text: str, delimiter: str) -> Iterator[Record]:
    """Yield each record with the line it starts on; a quoted note may hold line ends and # signs."""
    begin = 0
    fresh = True

    def feed() -> Iterator[str]:
        nonlocal begin, fresh
        for number, line in enumerate(io.StringIO(text, newline=""), 1):
            if fresh and (not line.strip() or line.lstrip().startswith("#")):
                continue
            if fresh:
                begin, fresh = number, False
            yield line

    for cells in csv.reader(feed(), delimiter=delimiter, skipinitialspace=True):
        fresh = True
        if any(cell.strip() for cell in cells):
            yield begin, [cell.strip() for cell in cells]


def _columns(head: Record, name: str, setup: Setup, problems: list[str]) -> list[str]:
    """Return the column names as the setup spells them; an unknown or doubled one becomes ''."""
    adjusters = [a.name for a in setup.adjusters]
    readings = [b.name for b in setup.bands]
    known = {spelling.lower(): spelling for spelling in (*readings, *adjusters, *RESERVED)}
    exact = {*readings, *adjusters, *RESERVED}
    line, cells = head
    columns: list[str] = []
    for cell in cells:
        column = cell if cell in exact else known.get(cell.lower(), "")
        if cell and not column:
            near = near_name(cell, list(exact))
            known_here = ", ".join([*adjusters, *readings, *RESERVED])
            advice = f'Did you mean "{near}"?' if near else f"Known: {known_here}."
            problems.append(f'{name}:{line}: there is no column "{cell}". {advice}')
        if column and column in columns:
            problems.append(f'{name}:{line}: the column "{column}" is there twice. Take one away.')
            column = ""
        columns.append(column)
    problems.extend(f"{name}:{line}: {lack}" for lack in _lacking(columns, setup))
    return columns


def _lacking(columns: Sequence[str], setup: Setup) -> Iterator[str]:
    if "kind" not in columns:
        yield 'the column "kind" is missing. Add it, with test or good in each row.'
    if not any(band.name in columns for band in setup.bands):
        yield f'no reading has a column. Add "{setup.bands[0].name if setup.bands else "clearance"}".'
    for adjuster in setup.adjusters:
        if adjuster.has_scale and adjuster.name not in columns:
            yield (
                f'the adjuster "{adjuster.name}" has no column. Add one with where its scale stood, '
                f"or write scale = false in [adjusters.{adjuster.name}]."
            )


def _named(
    cells: list[str], columns: list[str], where: str, delimiter: str, problems: list[str]
) -> dict[str, str]:
    """Return a record by column name, and note cells that no column stands above."""
    if any(cells[len(columns) :]):
        problems.append(
            f"{where}: {len(cells)} fields, but the heading has {len(columns)}. "
            f'Put a text with a {"tab" if delimiter == TAB else delimiter} in "quotes"'
            + (", or separate the columns by ; where numbers have a comma." if delimiter == "," else ".")
        )
    return {column: cell for column, cell in zip(columns, cells, strict=False) if column}


def _check_numbers(cuts: Sequence[Cut], name: str, problems: list[str]) -> None:
    seen: set[int] = set()
    for cut in cuts:
        if cut.number in seen:
            problems.append(f"{name}: cut number {cut.number} is there twice. Give each cut its own number.")
        seen.add(cut.number)


def _example(setup: Setup) -> str:
    return ",".join([*(a.name for a in setup.adjusters), *(b.name for b in setup.bands)])


def _columns_needed(setup: Setup, cuts: Sequence[Cut]) -> list[str]:
    """Return the headings: always the ones that people fill in, the others when a cut has them."""
    numbered = [cut.number for cut in cuts] != list(range(1, len(cuts) + 1))
    rare = {
        "metres": any(cut.metres_m is not None for cut in cuts),
        "stock": any(cut.stock is not None for cut in cuts),
        "mounting": any(cut.mounting is not None for cut in cuts),
        "sharpening": any(cut.sharpening is not None for cut in cuts),
        "moved": any(cut.moved for cut in cuts),
        "when": any(cut.when is not None for cut in cuts),
        "at_hand": not all(cut.at_hand for cut in cuts),
        "by": any(cut.by is not None for cut in cuts),
    }
    return [
        *(["number"] if numbered else []),
        "kind",
        "pieces",
        *(a.name for a in setup.adjusters),
        *(b.name for b in setup.bands),
        "feel",
        *(column for column, needed in rare.items() if needed),
        "note",
    ]


def _cells(setup: Setup, cut: Cut) -> dict[str, str]:
    units = setup.units
    return {
        "number": str(cut.number),
        "kind": cut.kind,
        "pieces": str(cut.pieces),
        **{a.name: length_to_text(cut.settings_mm[a.name], units) for a in setup.adjusters},
        **{b.name: reading_to_text(cut.readings.get(b.name, ()), units) for b in setup.bands},
        "feel": cut.feel or "",
        "by": cut.by or "",
        "metres": "" if cut.metres_m is None else repr(cut.metres_m),
        "stock": cut.stock or "",
        "mounting": cut.mounting or "",
        "sharpening": cut.sharpening or "",
        "moved": " ".join(sorted(cut.moved)),
        "when": cut.when or "",
        "at_hand": "yes" if cut.at_hand else "no",
        "note": cut.note or "",
    }
