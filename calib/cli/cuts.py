"""Commands for cuts: `cut`, `again`, `work`."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.complete import box_names, setup_names
from calib.cli.cutasking import Stood, asked_cut, log, unless_a_slip
from calib.cli.cutlines import answer, echo, of_box, worked_out_lines
from calib.cli.kit import LOOSE, DbOption, JsonOption, UnitsOption, at_terminal, opened, remark, say
from calib.cli.moved import moved
from calib.cli.words import BLADES, OTHERS, Said, read_words, split_setup
from calib.errors import UsageError
from calib.present.figures import count
from calib.present.history_text import cut_line
from calib.shop import Setup
from calib.workflow import cuts, setups

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

    feel=palm/hand lies between palm and hand; calib feel list shows the words.

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
        stood = Stood(as_advised, not_moved, at_terminal())
        if not values and stood.asks:
            values, stood = asked_cut(shop, setup, stood, units)
        said = read_words(setup, values, units, ("adjusters", *OTHERS))
        _whose_hand(said, by)
        if not said.read_something:
            raise UsageError(f"cut {setup.name}: nothing was read. {_example(setup)}")
        said.plain.update({"gauge": gauge} if gauge else {})
        logged = log(shop, setup, said, stood)
    answer(setup, logged, said, json_form, units)


def again(
    words: Annotated[
        list[str] | None,
        typer.Argument(metavar="N NAME=VALUE", help="N is the number on the piece; none: the last cut."),
    ] = None,
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
    calib again clearance=-0.06
    calib again 7 clearance=-0.06
    calib again 7 clearance=0.06 --instead
    """
    from calib.workflow.history import find_cut, last_number

    asked, values = _number(words or [])
    with opened(db) as shop:
        number = last_number(shop) if asked is None else asked
        setup, _ = find_cut(shop, number)
        said = read_words(setup, values, units, ("feel", "by", "gauge", "pitches", *BLADES))
        _whose_hand(said, by)
        logged = unless_a_slip(
            said,
            at_terminal(),
            lambda ask: cuts.measure_again(
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
                ask=ask,
            ),
        )
    if json_form:
        return answer(setup, logged, said, json_form, units)
    echo(setup, logged, said, units)
    return say(
        f"Measured again: {cut_line(setup, logged.cut, units)}.",
        *worked_out_lines(setup, logged, units),
        f"Next: calib next {setup.name}",
    )


def work(
    words: Words = None,
    pieces: Annotated[int, typer.Option("--pieces", "-n", min=1, help="How many good pieces were cut.")] = 1,
    box: Annotated[
        str | None,
        typer.Option("--box", metavar="BOX", autocompletion=box_names, help="Whose pieces; none: of no box."),
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
        logged = log(shop, setup, said, Stood(as_advised, not_moved, at_terminal()), pieces, box)
        left = setups.get(shop, setup.name).pieces_left
        if 0 < setup.pieces_left < pieces:
            remark(f"{pieces} is more than the {count(setup.pieces_left, 'piece')} that {_were(setup)} left.")
    if json_form:
        return answer(setup, logged, said, json_form, units)
    echo(setup, logged, said, units)
    return say(
        f"Logged {count(pieces, 'good piece')} as number {logged.number}; {left} left to cut.",
        *of_box(logged),
        *worked_out_lines(setup, logged, units),
        "Not so? calib undo",
    )


def _were(setup: Setup) -> str:
    return "was" if setup.pieces_left == 1 else "were"


def _whose_hand(said: Said, by: str | None) -> None:
    """Take whose hand it was from the option or the word; `UsageError` when nothing was felt."""
    if by is not None:
        if by.strip() == "" or said.plain.get("by", by) != by:
            raise UsageError("--by names one person, as in --by ada. Give it once.")
        said.plain["by"] = by.strip()
    if "by" in said.plain and "feel" not in said.plain:
        raise UsageError(f"by {said.plain['by']}: nothing was felt. Say how it feels too, as in feel=hand.")


def _number(words: list[str]) -> tuple[int | None, list[str]]:
    """Take the number of a cut off the words, when the first one is no name=value."""
    number, values = (words[0], words[1:]) if words and "=" not in words[0] else (None, words)
    if number is not None and not number.isdecimal():
        raise UsageError(f'"{number}" is not the number of a cut. Write for example: calib again 7 feel=hand')
    if not values:
        raise UsageError("again: what does it read now? Write for example: calib again clearance=0.07")
    return None if number is None else int(number), values


def _example(setup: Setup) -> str:
    """Show how a cut is written on this setup."""
    reading, adjuster = setup.bands[0].name, setup.adjusters[0].name
    return f"Write for example: calib cut {setup.name} {adjuster}=6.14 {reading}=0.07"
