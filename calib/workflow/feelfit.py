"""What the words of a setup mean in each hand."""

from __future__ import annotations

from calib.regression.feelpairs import fits_of
from calib.regression.feelscale import FeelFit
from calib.shop import Setup
from calib.store.database import snapshot
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop


def fit_of(shop: Shop, setup_name: str) -> tuple[Setup, dict[str | None, FeelFit]]:
    """Return a setup and the re-fitted scale of every person, from its own cuts and those of its kind."""
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
    return bench.setup, fits_of(bench.setup, bench.log)
