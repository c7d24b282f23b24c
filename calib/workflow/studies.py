"""Gauge studies: kept as they were taken, and what they found becomes the gauge's own uncertainty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.errors import CalibError
from calib.measurement.kinds import LEAST_DOF, USES, Gauge, Studied, kind_of, repeat_sd_mm
from calib.store import events, studies
from calib.workflow.gauges import row_of
from calib.workflow.shopfloor import Shop
from calib.workflow.worths import gauges_of

if TYPE_CHECKING:
    from calib.measurement.gauge import GaugeStudy

#: part, operator, mm, as typed
StudyRow = tuple[str, str, float, str | None]


@dataclass(frozen=True)
class StudyDone:
    """A study with what follows from it.

    Parameters
    ----------
    held : str
        outside, inside, depth or travel: what the gauge was held to.
    parts, people, trials : int
    before_mm, now_mm : float, mm
        The sd of one reading by one hand that was and will be reckoned with.
    kept, used : bool
        It is stored; it speaks for the gauge (enough readings).
    """

    gauge: str
    held: str
    parts: int
    people: int
    trials: int
    study: GaugeStudy
    before_mm: float
    now_mm: float
    kept: bool
    used: bool


@dataclass(frozen=True)
class KeptStudy:
    """A study in the shop's record."""

    gauge: str
    held: str
    when: str
    repeat_sd_mm: float
    hand_sd_mm: float | None
    dof: int
    source: str


def study(
    shop: Shop,
    name: str,
    rows: Sequence[StudyRow],
    *,
    held: str | None = None,
    source: str = "typed",
    keep: bool = True,
) -> StudyDone:
    """Work a study out and keep it; the latest one of each use counts for the gauge.

    Parameters
    ----------
    rows : sequence of (part, operator, mm, as typed)
        Every person measures every part equally often.
    held : str or None
        What the gauge was held to; None = the first use of its kind.
    source : str
        "typed", "guided" or a file's name.
    keep : bool
        False: look only.

    Raises
    ------
    CalibError
        When there is no such gauge, it cannot be used so, or the rows do not balance.
    """
    from calib.measurement.gauge import gauge_study  # numpy comes with it

    row = row_of(shop.connection, name)
    use = _use(name, row["kind"], held)
    found = gauge_study((part, who, mm) for part, who, mm, _ in rows)
    hand_sd = found.operator
    values = {
        "held": use,
        "repeat_sd_mm": float(found.hand),
        "hand_sd_mm": None if hand_sd is None else float(hand_sd),
        "dof": int(found.hand_dof),
        "source": source,
    }
    known = gauges_of(shop.connection)[name]
    before = repeat_sd_mm(known, use)
    if keep:
        with shop.writing() as connection:
            event_id = events.record(connection, shop.now(), "gauge", f"the study of gauge {name}")
            studies.add_study(connection, event_id, int(row["root"]), values, rows)
    used = found.hand_dof >= LEAST_DOF
    fresh = _with(known, use, Studied(found.hand, hand_sd, found.hand_dof))
    now = repeat_sd_mm(fresh, use) if used else before
    parts, people = len({part for part, *_ in rows}), len({who for _, who, *_ in rows})
    trials = len(rows) // (parts * people)
    return StudyDone(name, use, parts, people, trials, found, before, now, keep, used)


def kept(shop: Shop, name: str) -> list[KeptStudy]:
    """Return the studies of a gauge, oldest first."""
    root = row_of(shop.connection, name)["root"]
    return [
        KeptStudy(
            name, row["held"], row["at"], row["repeat_sd_mm"], row["hand_sd_mm"], row["dof"], row["source"]
        )
        for row in studies.studies(shop.connection)
        if row["gauge_id"] == root
    ]


def usable(shop: Shop, name: str, held: str | None) -> str:
    """Return what a gauge is held to in a study; raise `CalibError` when there is no such gauge or use."""
    return _use(name, row_of(shop.connection, name)["kind"], held)


def _use(name: str, kind: str, held: str | None) -> str:
    uses = kind_of(kind).uses
    use = uses[0] if held is None else held.strip().lower()
    if use not in USES or use not in uses:
        raise CalibError(f"gauge {name}: a {kind} is not held to {use}. Choose one of: {', '.join(uses)}.")
    return use


def _with(gauge: Gauge, use: str, found: Studied) -> Gauge:
    return Gauge(
        gauge.name,
        gauge.kind,
        gauge.resolution_mm,
        gauge.limit_of_error_mm,
        gauge.inside_limit_mm,
        gauge.zero_limit_mm,
        {**gauge.studied, use: found},
    )
