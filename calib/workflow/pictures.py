"""What pictures are made from: load, ask the core, hand out plain records."""

from __future__ import annotations

from collections.abc import Sequence

from calib.box.drawing import BoardDrawing, draw_boards
from calib.decision.advice import Advice
from calib.decision.profile import Along, chances_along, forecasts, to_come
from calib.errors import CalibError
from calib.present.pictures.dialin import MOST_CUTS, DialIn
from calib.regression.infer import posterior
from calib.shop import Cut, Setup
from calib.store.database import snapshot
from calib.workflow import keptboxes
from calib.workflow.honesty import Judged, judge, judge_all
from calib.workflow.next import model
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop
from calib.workflow.told import told
from calib.workflow.wear import WearReport, cutter_meant
from calib.workflow.wear import wear as wear_of_cutter


def dial_in(shop: Shop, setup_name: str) -> DialIn:
    """Return what the picture of a setup's dial-in shows; nothing is stored."""
    setup, log, advice = _advised(shop, setup_name)
    ranges = forecasts(setup, log, advice, MOST_CUTS)
    shown = tuple(cut for cut in log if cut.pieces)
    return DialIn(setup, shown, ranges, acts_on(setup, log), to_come(log, advice))


def band(shop: Shop, setup_name: str) -> tuple[Setup, tuple[Along, ...]]:
    """Return a setup, and the chance of its next good piece along every scale; nothing is stored."""
    setup, log, advice = _advised(shop, setup_name)
    return setup, chances_along(setup, log, advice)


def wear(shop: Shop, name: str | None) -> WearReport:
    """Return the wear of a cutter: named itself, or by a setup that it is in.

    Raises
    ------
    CalibError
        When it has not cut a metre that is known of.
    """
    report = wear_of_cutter(shop, cutter_meant(shop, name))
    if report.metres_m <= 0.0:
        raise CalibError(
            f"{report.sharpening}: nothing to draw yet, for no metres are counted. Say how much one piece "
            "takes: calib setup change SETUP metres_per_piece=0.05"
        )
    return report


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


def acts_on(setup: Setup, log: Sequence[Cut]) -> dict[str, tuple[str, ...]]:
    """Return the adjusters that move each reading."""
    blocks = [found.block for found in posterior(setup, log).blocks]
    return {
        reading: tuple(a for k, a in enumerate(block.adjusters) if block.slopes[f, k] != 0.0)
        for block in blocks
        for f, reading in enumerate(block.readings)
    }


def _advised(shop: Shop, setup_name: str) -> tuple[Setup, Sequence[Cut], Advice]:
    """Return a setup with its log and the advice on it."""
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
        known = told(shop.connection, bench)
    return known.setup, bench.log, model()[0](known.setup, known.cuts, **known.known)
