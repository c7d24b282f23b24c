"""How good each reading of a setup is: from the gauge it was taken with, as that gauge is known by now.

A gauge that is studied later makes the earlier readings it took better known too, so nothing of this is
stored: it is worked out from the raw readings and the gauges every time.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from types import MappingProxyType

from calib.errors import CalibError
from calib.measurement.derived import Raw, derive
from calib.measurement.kinds import LEAST_DOF, Gauge, Studied, direct_worth, kind_of, raw_with
from calib.shop import Setup, Worth
from calib.store import nouns, raws, studies
from calib.store.events import NOW

Measured = Mapping[int, Mapping[str, list[sqlite3.Row]]]


def gauges_of(connection: sqlite3.Connection, upto: int = NOW) -> dict[str, Gauge]:
    """Return the shop's gauges by name, with what their latest studies found."""
    rows = nouns.current(connection, "gauges", upto)
    if not rows:
        return {}
    details = studies.details(connection, upto)
    studied: dict[int, dict[str, Studied]] = {}
    for study in studies.studies(connection, upto):
        if study["dof"] < LEAST_DOF:
            continue  # too few readings to take an earlier study's place
        found = Studied(study["repeat_sd_mm"], study["hand_sd_mm"], study["dof"])
        studied.setdefault(study["gauge_id"], {})[study["held"]] = found
    return {row["name"]: _gauge(row, details.get(row["root"]), studied.get(row["root"], {})) for row in rows}


def _gauge(row: sqlite3.Row, more: sqlite3.Row | None, studied: Mapping[str, Studied]) -> Gauge:
    return Gauge(
        row["name"],
        row["kind"],
        row["resolution_mm"],
        row["limit_of_error_mm"],
        None if more is None else more["inside_limit_mm"],
        None if more is None else more["zero_limit_mm"],
        MappingProxyType(dict(studied)),
    )


class Worths:
    """What the readings of one setup are worth.

    Parameters
    ----------
    measured : mapping of root id and reading to measurement rows
    """

    def __init__(
        self, connection: sqlite3.Connection, setup_id: int, setup: Setup, measured: Measured, upto: int = NOW
    ) -> None:
        self.setup, self.measured = setup, measured
        self.gauges = {name: g for name, g in gauges_of(connection, upto).items() if _is_known(g.kind)}
        self.raws = raws.of_setup(connection, setup_id, upto)

    def of_cut(self, root: int) -> dict[str, tuple[Worth | None, ...]]:
        """Return the worth of each reading of a cut, in the order of its measurements."""
        found = {name: tuple(map(self._of, rows)) for name, rows in self.measured.get(root, {}).items()}
        return {name: worths for name, worths in found.items() if any(worths)}

    def of_next(self) -> Mapping[str, Worth]:
        """Return the worth of the next reading: as the last one was taken, else with the setup's gauge."""
        last: dict[str, sqlite3.Row] = {}
        for readings in self.measured.values():
            for name, rows in readings.items():
                for row in rows:
                    if row["value_mm"] is not None and row["id"] > _id(last.get(name)):
                        last[name] = row
        found: dict[str, Worth] = {}
        for band in self.setup.bands:
            worth = self._of(last[band.name]) if band.name in last else None
            if worth is None and band.gauge in self.gauges:
                worth = direct_worth(self.gauges[str(band.gauge)], band.name)
            if worth is not None:
                found[band.name] = worth
        return MappingProxyType(found)

    def _of(self, row: sqlite3.Row) -> Worth | None:
        if row["id"] in self.raws:
            return self._of_raws(row["reading"], self.raws[row["id"]])
        gauge = self.gauges.get(row["gauge"])
        return None if gauge is None else direct_worth(gauge, row["reading"])

    def _of_raws(self, reading: str, rows: list[sqlite3.Row]) -> Worth:
        """The worth does not depend on what was read, only on with what and how often."""
        known = self.setup.knowledge
        sds = known.scale(reading, "reading_sd_mm"), known.scale(reading, "zero_sd_mm")
        parts: dict[str, Raw] = {}
        factors: dict[str, float] = {}
        for row in rows:
            gauge = self.gauges.get(row["gauge"])
            parts[str(row["id"])] = raw_with(gauge, row["name"], (0.0,), *sds)
            factors[str(row["id"])] = row["factor"]
        return derive(parts, factors, reading).worth


def _id(row: sqlite3.Row | None) -> int:
    return -1 if row is None else int(row["id"])


def _is_known(kind: str) -> bool:
    """Say whether a kind is one that something is assumed of (an old database may hold any word)."""
    try:
        kind_of(kind)
    except CalibError:
        return False
    return True
