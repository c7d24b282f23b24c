"""What pictures and the card are made from: load, ask the core, hand out plain records."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from calib.box.drawing import BoardDrawing, draw_boards
from calib.decision.advice import Advice
from calib.decision.profile import Along, chances_along, forecasts, need_a_cut, to_come
from calib.errors import CalibError
from calib.present.card_text import about_lines, mounting_line, reading_lines, setting_lines, start_lines
from calib.present.pictures.card import Card
from calib.present.pictures.dialin import MOST_CUTS, DialIn
from calib.regression.infer import posterior
from calib.shop import Cut, Setup
from calib.store.database import snapshot
from calib.workflow import cutters, keptboxes, setups
from calib.workflow.history import history
from calib.workflow.honesty import Judged, judge, judge_all
from calib.workflow.mountings import where_to_start
from calib.workflow.next import model
from calib.workflow.setups import bench_of
from calib.workflow.sharing import edge_wear
from calib.workflow.shopfloor import Shop
from calib.workflow.wear import WearReport
from calib.workflow.wear import wear as wear_of_cutter

#: Mountings that a card tells of, and the name of one that is still to come.
LAST_MOUNTINGS = 3
NEXT_MOUNTING = "the next mounting"


def dial_in(shop: Shop, setup_name: str) -> DialIn:
    """Return what the picture of a setup's dial-in shows; nothing is stored."""
    setup, log, advice = _advised(shop, setup_name)
    ranges = forecasts(setup, log, advice, MOST_CUTS)
    shown = tuple(cut for cut in log if cut.pieces)
    return DialIn(setup, shown, ranges, _acts_on(setup, log), to_come(log, advice))


def band(shop: Shop, setup_name: str) -> tuple[Setup, tuple[Along, ...]]:
    """Return a setup, and the chance of its next good piece along every scale; nothing is stored."""
    setup, log, advice = _advised(shop, setup_name)
    return setup, chances_along(setup, log, advice)


def wear(shop: Shop, name: str | None) -> tuple[WearReport, Literal["mm", "in"]]:
    """Return the wear of the cutter that is in a setup (or is named itself), and the setup's units."""
    with snapshot(shop.connection):
        is_setup = any(one.name == name for one in setups.all(shop))
        if name is not None and not is_setup and any(one.name == name for one in cutters.all(shop)):
            return wear_of_cutter(shop, name), "mm"
        setup = setups.get(shop, setups.resolve(shop, name))
    return wear_of_cutter(shop, setup.cutter.name), setup.units


def honesty(shop: Shop, name: str | None) -> Judged:
    """Return how often the chances of a setup came true, of the whole shop when none is named.

    Raises
    ------
    CalibError
        When nothing was judged yet.
    """
    found = judge(shop, name) if name is not None else judge_all(shop)[0]
    if found.ranges is None:
        whose = name or "the shop"
        raise CalibError(
            f"{whose}: nothing to draw yet. It takes advice (calib next), followed, and the next cut "
            "measured with a number."
        )
    return found


def box(shop: Shop, name: str | None) -> tuple[str, tuple[BoardDrawing, ...]]:
    """Return a kept box, the only one when none is named, as its boards are drawn."""
    if name is None:
        names = [one.name for one in keptboxes.all(shop)]
        if len(names) != 1:
            told = f"There are {', '.join(names)}" if names else "No box is kept yet: calib box plan"
            raise CalibError(f"which box? {told}. Name it: --box NAME")
        name = names[0]
    return name, draw_boards(keptboxes.get(shop, name).plan)


def _acts_on(setup: Setup, log: Sequence[Cut]) -> dict[str, tuple[str, ...]]:
    """Return the adjusters that move each reading."""
    blocks = [found.block for found in posterior(setup, log).blocks]
    return {
        reading: tuple(a for k, a in enumerate(block.adjusters) if block.slopes[f, k] != 0.0)
        for block in blocks
        for f, reading in enumerate(block.readings)
    }


def _metres(shop: Shop, setup: Setup) -> float:
    """Return the metres that a setup's cutter has cut since it was sharp."""
    return sum(one.metres_m for one in cutters.all(shop) if one.name == setup.cutter.name)


def _advised(shop: Shop, setup_name: str) -> tuple[Setup, Sequence[Cut], Advice]:
    """Return a setup with its log and the advice on it."""
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
        wear = edge_wear(shop.connection, bench)
    return wear.setup, bench.log, model()[0](wear.setup, bench.log, **wear.known)


def card(shop: Shop, setup_name: str, units: str | None = None) -> Card:
    """Return what the card of a setup says, dated by the shop's clock; nothing is stored."""
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
        start, rests_on = where_to_start(bench)
        wear = edge_wear(shop.connection, bench)
    setup, log = wear.setup, bench.log
    need_a_cut(setup, log)
    advise = model()[0]
    advice = advise(setup, log, **wear.known)
    settings = {**log[-1].settings_mm, **start}
    row = Cut(number=0, kind="test", settings_mm=settings, pieces=0, mounting=NEXT_MOUNTING)
    unit = units or setup.units
    scaleless = {a.name for a in setup.adjusters if not a.has_scale}
    by_eye = {reading for reading, acting in _acts_on(setup, log).items() if scaleless & set(acting)}
    ended = [m for m in history(shop, setup_name).mountings if m.cuts]
    return Card(
        setup=setup,
        title=setup.name,
        date=shop.now()[:10],
        about=tuple(about_lines(setup, unit, _metres(shop, setup))),
        start=tuple(start_lines(setup, start, rests_on, advise(setup, [*log, row]), by_eye, unit)),
        settings=tuple(setting_lines(setup, log[-1].settings_mm, unit)),
        readings=tuple(reading_lines(advice, unit)),
        mountings=tuple(
            mounting_line(m.number, m.when, m.cutter, m.cuts, setup, unit) for m in ended[-LAST_MOUNTINGS:]
        ),
        cautions=advice.cautions,
    )
