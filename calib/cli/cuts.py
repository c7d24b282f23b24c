"""Commands for cuts: `cut`, `again`, `moved`, `work`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from calib.cli.asking import asked_words
from calib.cli.complete import box_names, setup_names
from calib.cli.kit import (
    LOOSE,
    DbOption,
    JsonOption,
    Units,
    UnitsOption,
    ask,
    at_terminal,
    columns,
    opened,
    remark,
    say,
    say_json,
)
from calib.cli.movewords import MoveWords, amount_mm, sort_words
from calib.cli.words import BLADES, OTHERS, Said, is_plain, read_words, split_setup, understood
from calib.errors import CalibError, UsageError
from calib.present.figures import count, fine_length, reading_text, typed_length
from calib.present.history_text import cut_line, move_line
from calib.present.layout import paragraph
from calib.shop import Interval, Reading, Setup
from calib.workflow import cuts, moves, setups
from calib.workflow.shopfloor import Shop
from calib.workflow.undo import undo

Words = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="SETUP NAME=VALUE", autocompletion=setup_names, help="Default setup: the last used."
    ),
]
NotMoved = Annotated[bool, typer.Option("--not-moved", help="The advised move was not made.")]
GaugeOption = Annotated[
    str | None, typer.Option("--gauge", metavar="GAUGE", help="What the readings were taken with.")
]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Whose hand felt it.")]
AsAdvised = Annotated[bool, typer.Option("--as-advised", help="The advised move was made.")]


def register(app: typer.Typer) -> None:
    """Put the commands into the program."""
    app.command("cut", context_settings=LOOSE)(cut)
    app.command("again", context_settings=LOOSE)(again)
    app.command("moved", context_settings=LOOSE)(moved)
    app.command("work", context_settings=LOOSE)(work)


def cut(
    words: Words = None,
    as_advised: AsAdvised = False,
    not_moved: NotMoved = False,
    gauge: GaugeOption = None,
    by: By = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Log a test cut.

    It gets a number to write on the piece.

    Positions that are left out are where they were. A reading named twice is a repeat. With no words at all
    it asks, in a terminal.

    A clearance can be worked out: from slot and finger, or over=63.02 pitches=5 (outside jaws, over five
    pitches and one finger) and finger; play from float, or left and right; gap from pocket and insert;
    depth from thickness and step (what is left standing).

    goes= is a feeler blade or pin that goes in, stops= one that does not; clearance=0.05..0.10 says the same.

    \b
    calib cut corners goes=0.05 stops=0.10
    calib cut corners key=6.14 clearance=-0.07
    calib cut corners key=6.14 slot=6.02 slot=6.00 finger=6.07 --gauge calliper
    calib cut corners feel=mallet stock=cherry note="middle finger"
    """
    name, values = split_setup(words or [])
    with opened(db) as shop:
        setup = setups.get(shop, setups.resolve(shop, name))
        if not values and at_terminal():
            values, as_advised, not_moved = _asked(shop, setup, as_advised, not_moved, units)
        said = read_words(setup, values, units, ("adjusters", *OTHERS))
        _whose_hand(said, by)
        if not said.read_something:
            raise UsageError(f"cut {setup.name}: nothing was read. {_example(setup)}")
        said.plain.update({"gauge": gauge} if gauge else {})
        logged = _log(shop, setup, said, as_advised, not_moved)
    _answer(setup, logged, said, json_form, units)


def again(
    number: Annotated[int, typer.Argument(metavar="N", help="The number on the piece.")],
    words: Annotated[list[str], typer.Argument(metavar="NAME=VALUE", help="What it reads now.")],
    instead: Annotated[bool, typer.Option("--instead", help="Take the place of the old readings.")] = False,
    gauge: GaugeOption = None,
    by: By = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Measure a cut again.

    The new readings stand beside the old ones, as repeats.

    \b
    calib again 7 clearance=-0.06
    calib again 7 clearance=0.06 --instead
    """
    from calib.workflow.history import find_cut

    with opened(db) as shop:
        setup, _ = find_cut(shop, number)
        said = read_words(setup, words, units, ("feel", "by", "gauge", "pitches", *BLADES))
        _whose_hand(said, by)
        logged = cuts.measure_again(
            shop,
            number,
            said.readings,
            said.plain.get("feel"),
            texts=said.texts,
            gauge=gauge or said.plain.get("gauge"),
            instead=instead,
            gauges=said.gauges,
            raws=tuple(said.raws),
            pitches=said.pitches,
            by=said.plain.get("by"),
        )
    if json_form:
        return _answer(setup, logged, said, json_form, units)
    _echo(setup, logged, said, units)
    return say(
        f"Measured again: {cut_line(setup, logged.cut, units)}.",
        *_worked_out(setup, logged, units),
        f"Next: calib next {setup.name}",
    )


def moved(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="SETUP WORDS",
            autocompletion=setup_names,
            help="Nothing: as advised.",
        ),
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Log a move: as advised, to a position, or by an amount.

    Directions: toward or away (from the cutter), up or down, more or less (on the scale); a sign does too.

    \b
    calib moved corners
    calib moved corners key by 0.14 toward
    """
    asked = sort_words(words or [])
    with opened(db) as shop:
        setup = setups.get(shop, setups.resolve(shop, asked.setup))
        made = _move(shop, setup, asked, units)
    if json_form:
        return say_json({"setup": setup.name, "moves": made}, "calib.moved/1")
    unit = units or setup.units
    lines = [f"Moved {move_line(move.adjuster, move.from_mm, move.to_mm, unit)}." for move in made]
    return say(*lines, "Not so? calib undo")


def work(
    words: Words = None,
    pieces: Annotated[int, typer.Option("--pieces", "-n", min=1, help="How many good pieces were cut.")] = 1,
    box: Annotated[
        str | None,
        typer.Option(
            "--box", metavar="BOX", autocompletion=box_names, help="Whose pieces; none: of no box."
        ),
    ] = None,
    as_advised: AsAdvised = False,
    not_moved: NotMoved = False,
    gauge: GaugeOption = None,
    by: By = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Log good pieces.

    They are cut on the present setting; a reading speaks of the last one. They count for the one open box
    that uses the setup, or for the box that is named.

    \b
    calib work corners --pieces 16
    calib work corners --pieces 4 clearance=0.06 --box chest
    """
    name, values = split_setup(words or [])
    with opened(db) as shop:
        setup = setups.get(shop, setups.resolve(shop, name))
        said = read_words(setup, values, units, ("adjusters", *OTHERS))
        _whose_hand(said, by)
        said.plain.update({"gauge": gauge} if gauge else {})
        logged = _log(shop, setup, said, as_advised, not_moved, pieces, box)
        left = setups.get(shop, setup.name).pieces_left
    if json_form:
        return _answer(setup, logged, said, json_form, units)
    _echo(setup, logged, said, units)
    return say(
        f"Logged {count(pieces, 'good piece')} as number {logged.number}; {left} left to cut.",
        *_of_box(logged),
        *_worked_out(setup, logged, units),
        "Not so? calib undo",
    )


def _whose_hand(said: Said, by: str | None) -> None:
    """Take whose hand it was from the option or the word; `UsageError` when nothing was felt."""
    if by is not None:
        if by.strip() == "" or said.plain.get("by", by) != by:
            raise UsageError("--by names one person, as in --by ada. Give it once.")
        said.plain["by"] = by.strip()
    if "by" in said.plain and "feel" not in said.plain:
        raise UsageError(f"by {said.plain['by']}: nothing was felt. Say how it feels too, as in feel=hand.")


def _log(
    shop: Shop,
    setup: Setup,
    said: Said,
    as_advised: bool,
    not_moved: bool,
    pieces: int = 0,
    box: str | None = None,
) -> cuts.LoggedCut:
    """Log a test cut (no pieces) or good pieces; ask the maker what only the maker knows."""
    if as_advised and not_moved:
        raise UsageError("--as-advised and --not-moved contradict each other. Give one of them.")
    if as_advised:
        moves.moved_as_advised(shop, setup.name)
    try:
        return _asking(shop, setup.name, said, not_moved, pieces, box)
    except cuts.NeedsAnswer as needs:
        if not needs.settings_mm or not at_terminal():
            raise
        if _was_moved(needs.question):
            said.settings_mm = {**needs.settings_mm, **said.settings_mm}
            return _asking(shop, setup.name, said, False, pieces, box)
        return _asking(shop, setup.name, said, True, pieces, box)
    except CalibError:
        if as_advised:  # nothing of a refused command stays
            undo(shop, setup.name)
        raise


def _asking(
    shop: Shop, name: str, said: Said, not_moved: bool, pieces: int, box: str | None = None
) -> cuts.LoggedCut:
    """Log it; in a terminal, ask first about a reading that looks like a slip."""
    if not at_terminal():
        return _store(shop, name, said, not_moved, pieces, box)
    try:
        return _store(shop, name, said, not_moved, pieces, box, ask=True)
    except cuts.LooksLikeSlip as doubt:
        if _yes(str(doubt)):
            said.readings = cuts.corrected(said.readings, doubt.slips)
            for slip in doubt.slips:
                said.texts[slip.reading] += f" (meant {slip.meant_mm:g} mm)"
        return _store(shop, name, said, not_moved, pieces, box)


def _yes(question: str) -> bool:
    """Ask until the answer is yes or no."""
    while True:
        answer = ask(f"{question} [yes/no]").lower()
        if answer in ("yes", "y"):
            return True
        if answer in ("no", "n"):
            return False
        remark('Please answer "yes" or "no".')


def _store(
    shop: Shop, name: str, said: Said, not_moved: bool, pieces: int, box: str | None, ask: bool = False
) -> cuts.LoggedCut:
    """Hand what was said to the use case."""
    if pieces:
        return cuts.work(
            shop,
            name,
            pieces,
            said.readings,
            said.metres_m,
            feel=said.plain.get("feel"),
            stock=said.plain.get("stock"),
            note=said.plain.get("note"),
            texts=said.texts,
            settings_mm=said.settings_mm,
            not_moved=not_moved,
            gauge=said.plain.get("gauge"),
            box=box,
            gauges=said.gauges,
            raws=tuple(said.raws),
            pitches=said.pitches,
            by=said.plain.get("by"),
            ask=ask,
        )
    entry = cuts.CutEntry(
        settings_mm=said.settings_mm,
        readings=said.readings,
        texts=said.texts,
        feel=said.plain.get("feel"),
        stock=said.plain.get("stock"),
        note=said.plain.get("note"),
        gauge=said.plain.get("gauge"),
        by=said.plain.get("by"),
        metres_m=said.metres_m,
        not_moved=not_moved,
        moved=said.moved,
        gauges=said.gauges,
        raws=tuple(said.raws),
        pitches=said.pitches,
        ask=ask,
    )
    return cuts.log_cut(shop, name, entry)


def _of_box(logged: cuts.LoggedCut) -> list[str]:
    """Say for which box good pieces were counted; what is odd about it goes to stderr."""
    if logged.box is None:
        return []
    if logged.box.remark is not None:
        remark(logged.box.remark)
    if logged.box.box is None:
        return []
    return [f"Counted for box {logged.box.box}: {logged.box.left} of these left to cut."]


def _asked(
    shop: Shop, setup: Setup, as_advised: bool, not_moved: bool, units: Units | None
) -> tuple[list[str], bool, bool]:
    """Ask for a whole cut: first whether open advice was followed; return words, as advised, not moved."""
    standing, open_moves = setups.where_it_stands(shop, setup.name)
    if open_moves and not (as_advised or not_moved):
        told = " and ".join(
            f"{name} to {typed_length(mm, units or setup.units)}" for name, mm in open_moves.items()
        )
        as_advised = _was_moved(f"Moved as advised ({told}), or not moved?")
        not_moved = not as_advised
    return asked_words(setup, standing, open_moves, units), as_advised, not_moved


def _was_moved(question: str) -> bool:
    """Ask until the answer is moved or not."""
    while True:
        answer = ask(f"{question} [moved/not]").lower()
        if answer in ("moved", "m", "yes", "y", "as advised", "advised"):
            return True
        if answer in ("not", "n", "no", "not moved"):
            return False
        remark('Please answer "moved" or "not".')


def _move(shop: Shop, setup: Setup, asked: MoveWords, units: Units | None) -> list[moves.Moved]:
    """Log the move that the words say."""
    if asked.kind == "advised":
        return moves.moved_as_advised(shop, setup.name)
    if asked.kind == "by":
        adjuster = setup.adjuster(asked.adjuster or "")
        change = amount_mm(adjuster, asked.rest, units or setup.units)
        if not is_plain(asked.rest[0] if len(asked.rest) < 3 else "", _same_unit(setup, units)):
            remark(f"{adjuster.name} by {' '.join(asked.rest)} = {change:+.3f} mm on the scale")
        return moves.moved_by(shop, setup.name, adjuster.name, change, text=" ".join(asked.rest))
    said = read_words(setup, asked.rest, units, ("adjusters",))
    if said.readings:
        raise CalibError(f"moved takes positions, not readings. Log the reading with: calib cut {setup.name}")
    for name, mm in said.settings_mm.items():
        if not is_plain(said.texts[name], _same_unit(setup, units)):
            remark(f"{name} {said.texts[name]} = {mm:.3f} mm")
    return moves.moved_to(shop, setup.name, said.settings_mm, texts=said.texts)


def _answer(setup: Setup, logged: cuts.LoggedCut, said: Said, json_form: bool, units: Units | None) -> None:
    """Print what was logged, its number first."""
    if json_form:
        return say_json(_as_json(logged), "calib.cut/1")
    _echo(setup, logged, said, units)
    return say(
        f"Cut {logged.number}. Write {logged.number} on the piece.",
        f"  {cut_line(setup, logged.cut, units, numbered=False)}",
        *_worked_out(setup, logged, units),
        f"Not so? calib undo. Next: calib next {setup.name}",
    )


def _worked_out(setup: Setup, logged: cuts.LoggedCut, units: Units | None) -> list[str]:
    """Say how a reading was worked out, and how good it is."""
    unit = units or setup.units
    lines: list[str] = []
    for one in logged.worked_out:
        how = "" if one.u_mm is None else f"; standard uncertainty {fine_length(one.u_mm, unit)}"
        text = f"{one.reading} {_worked_out_value(one.value_mm, unit)}: {one.how}{how}"
        lines += paragraph(text, columns(), "  ", "    ")
    return lines


def _worked_out_value(reading: Reading, unit: Units) -> str:
    """Say a worked-out reading: to a tenth of what is usually told, or as what lies between two limits."""
    return reading_text(reading, unit) if isinstance(reading, Interval) else fine_length(reading, unit)


def _echo(setup: Setup, logged: cuts.LoggedCut, said: Said, units: Units | None) -> None:
    """Say what was understood, and what looks wrong."""
    for line in [*understood(said.texts, logged.echo, _same_unit(setup, units)), *logged.questions]:
        remark(line)


def _same_unit(setup: Setup, units: Units | None) -> bool:
    """Say whether bare numbers took the setup's own unit."""
    return units in (None, setup.units)


def _as_json(logged: cuts.LoggedCut) -> dict[str, Any]:
    """Return a logged cut for --json."""
    box = {} if logged.box is None else {"box": logged.box}
    return {
        "setup": logged.setup,
        "number": logged.number,
        "cut": logged.cut,
        "worked_out": logged.worked_out,
        "questions": logged.questions,
        **box,
    }


def _example(setup: Setup) -> str:
    """Show how a cut is written on this setup."""
    reading, adjuster = setup.bands[0].name, setup.adjusters[0].name
    return f"Write for example: calib cut {setup.name} {adjuster}=6.14 {reading}=0.07"
