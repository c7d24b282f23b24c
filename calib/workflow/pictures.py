"""What pictures and the card are made from: load, ask the core, hand out plain records."""

from __future__ import annotations

from collections.abc import Sequence

from calib.decision.advice import Advice
from calib.decision.profile import Along, chances_along, forecasts, to_come
from calib.present.pictures.dialin import DialIn
from calib.regression.infer import posterior
from calib.shop import Cut, Setup
from calib.store.database import snapshot
from calib.workflow.next import model
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop


def dial_in(shop: Shop, setup_name: str) -> DialIn:
    """Return what the picture of a setup's dial-in shows; nothing is stored."""
    setup, log, advice = _advised(shop, setup_name)
    ranges = forecasts(setup, log, advice)
    blocks = posterior(setup, log).blocks
    acts_on = {f: tuple(block.block.adjusters) for block in blocks for f in block.block.readings}
    return DialIn(setup, tuple(cut for cut in log if cut.pieces), ranges, acts_on, to_come(log, advice))


def band(shop: Shop, setup_name: str) -> tuple[Setup, tuple[Along, ...]]:
    """Return a setup, and the chance of its next good piece along every scale; nothing is stored."""
    setup, log, advice = _advised(shop, setup_name)
    return setup, chances_along(setup, log, advice)


def _advised(shop: Shop, setup_name: str) -> tuple[Setup, Sequence[Cut], Advice]:
    """Return a setup with its log and the advice on it."""
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
    return bench.setup, bench.log, model()[0](bench.setup, bench.log)
