"""Commands for the words of a fit: `feel list, rename, change, show`."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.cli.complete import SetupName
from calib.cli.kit import (
    DbOption,
    JsonOption,
    Units,
    UnitsOption,
    columns,
    new_app,
    opened,
    say,
    say_json,
    say_lines,
)
from calib.cli.words import pairs
from calib.errors import CalibError
from calib.present.feel_text import fit_lines, word_lines
from calib.setupform import reading_from_text
from calib.shop import Interval
from calib.workflow import feelwords, setups
from calib.workflow.feelfit import fit_of

if TYPE_CHECKING:
    from calib.regression.feelscale import FeelFit

app = new_app(help="The words for a fit: what they are called, and what they mean in your hand.")
Kind = Annotated[str, typer.Argument(metavar="KIND", help="finger, groove, inlay or plain.")]


@app.command("list")
def list_all(db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None) -> None:
    """List the words of every kind of joint.

    \b
    calib feel list
    calib feel list --units in
    """
    with opened(db) as shop:
        found = feelwords.all(shop)
    if json_form:
        return say_json(found, "calib.feelwords/1")
    return say_lines(line for own in found for line in word_lines(own.joint_kind, own.words, units or "mm"))


@app.command("rename")
def rename(
    kind: Kind,
    old: Annotated[str, typer.Argument(metavar="OLD", help="What it is called now.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="In your own language.")],
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Call a word otherwise.

    It holds for every setup of that kind, and for the cuts that were felt already.

    \b
    calib feel rename finger mallet hammer
    calib feel rename inlay drops passt
    """
    with opened(db) as shop:
        own = feelwords.rename(shop, kind, old, new)
    _answer(f"{old} is called {new} from now on.", own, json_form, units)


@app.command("change")
def change(
    kind: Kind,
    word: Annotated[str, typer.Argument(metavar="WORD=LOW..HIGH", help="A new word is added.")],
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Move the limits of a word, or add one; its neighbours give way.

    An open end is left out: ..-0.10 is all below.

    \b
    calib feel change finger hand=0.02..0.09
    calib feel change groove tight=..0.05
    """
    ((name, text),) = pairs([word])
    found = reading_from_text(text, units or "mm", name)
    if len(found) != 1 or not isinstance(found[0], Interval):
        raise CalibError(f'{name} "{text}" is not an interval. Write it as {name}=0.02..0.09.')
    with opened(db) as shop:
        own = feelwords.change(shop, kind, name, found[0].low_mm, found[0].high_mm)
    _answer(f"{name} is {_said(found[0])} from now on.", own, json_form, units)


@app.command("show")
def show(
    setup: SetupName = None, db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None
) -> None:
    """Show what the words of a setup mean, as re-fitted to cuts that were felt and measured.

    \b
    calib feel show corners
    calib feel show corners --json
    """
    with opened(db) as shop:
        found, fits = fit_of(shop, setups.resolve(shop, setup))
    if json_form:
        people = [_as_json(who, fit) for who, fit in fits.items()]
        return say_json({"setup": found.name, "words": found.feel.words, "people": people}, "calib.feel/1")
    return say_lines(fit_lines(found, fits, columns(), units or found.units))


def _answer(first: str, own: feelwords.ShopWords, json_form: bool, units: Units | None) -> None:
    """Print the words of a kind after a change."""
    if json_form:
        return say_json(own, "calib.feelwords/1")
    return say(first, *word_lines(own.joint_kind, own.words, units or "mm"), "Not so? calib undo")


def _as_json(who: str | None, fit: FeelFit) -> dict[str, Any]:
    """Return one hand's re-fitted scale; what every number is stands in the name of its key."""
    return {
        "by": who,
        "pairs": fit.pairs,
        "words": fit.scale.words,
        "limits": fit.limits,
        "own_spread_mm": fit.spread_mm,
        "own_spread_interval90_mm": [fit.spread_low_mm, fit.spread_high_mm],
        "spread_with_limits_unknown_mm": fit.scale.spread_mm,
    }


def _said(limits: Interval) -> str:
    if math.isinf(limits.low_mm):
        return f"all below {limits.high_mm:g} mm"
    if math.isinf(limits.high_mm):
        return f"all above {limits.low_mm:g} mm"
    return f"{limits.low_mm:g} to {limits.high_mm:g} mm"
