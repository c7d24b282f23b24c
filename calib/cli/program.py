"""Every command of the program: a module a noun, put together here."""

from __future__ import annotations

from calib.cli import (
    advice,
    box,
    boxkeep,
    boxparts,
    cuts,
    cutters,
    demo,
    feel,
    gauges,
    honesty,
    keep,
    learn,
    pictures,
    rehearse,
    setups,
    stocks,
    wear,
)
from calib.cli.kit import new_program

app = new_program()
demo.register(app)
app.add_typer(setups.app, name="setup")
app.add_typer(cutters.app, name="cutter")
app.add_typer(stocks.app, name="stock")
app.add_typer(gauges.app, name="gauge")
app.add_typer(feel.app, name="feel")
cuts.register(app)
advice.register(app)
honesty.register(app)
rehearse.register(app)
boxkeep.register(box.app)
boxparts.register(box.app)
wear.register(app)
learn.register(app)
app.add_typer(box.app, name="box")
pictures.register(app)
keep.register(app)
