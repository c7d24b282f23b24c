"""What the cards by the machine say, and what changed since they were last printed.

That a card was printed is an event of its own: it changes nothing and cannot be undone. What has changed
since is found by going through the log up to that event and up to now.
"""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace

from calib.decision.profile import need_a_cut
from calib.errors import CalibError
from calib.measurement.kinds import kind_of
from calib.present import boxcard_text
from calib.present.card_text import (
    about_lines,
    edge_lines,
    mounting_line,
    reading_lines,
    sample_lines,
    setting_lines,
    start_lines,
)
from calib.present.changes_text import Standing, changed_lines
from calib.present.pictures.boxcard import BoxCard
from calib.present.pictures.card import Card
from calib.shop import Cut, Setup
from calib.store import boxes as box_rows
from calib.store import events, nouns
from calib.store import setups as setup_rows
from calib.store.database import snapshot
from calib.workflow import cutters, keptboxes
from calib.workflow.bench import Bench, stand
from calib.workflow.history import history
from calib.workflow.learning import with_present
from calib.workflow.mountings import where_to_start
from calib.workflow.next import model
from calib.workflow.pictures import acts_on
from calib.workflow.setups import bench_of, version_of
from calib.workflow.shopfloor import Shop
from calib.workflow.told import told
from calib.workflow.wear import SetupAhead, wear

#: Mountings that a card tells of, and the name of one that is still to come.
LAST_MOUNTINGS = 3
NEXT_MOUNTING = "the next mounting"


def card(shop: Shop, setup_name: str, units: str | None = None) -> Card:
    """Return what the card of a setup says, dated by the shop's clock; nothing is stored."""
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
        start, rests_on = where_to_start(shop.connection, bench)
        known = told(shop.connection, bench)
        after = with_present(known.past, bench)
        since, changed = _changes(shop.connection, bench, units or bench.setup.units)
        samples = _samples(shop.connection, bench.setup)
    setup, log = bench.setup, bench.log
    need_a_cut(setup, log)
    advise = model()[0]
    advice = advise(known.setup, known.cuts, **known.known)
    settings = {**log[-1].settings_mm, **start}
    fresh = replace(setup, pieces_left=max(setup.pieces_left, 1))  # the next mounting is to cut something
    row = Cut(number=0, kind="test", settings_mm=settings, pieces=0, mounting=NEXT_MOUNTING)
    unit = units or setup.units
    scaleless = {a.name for a in setup.adjusters if not a.has_scale}
    by_eye = {reading for reading, acting in acts_on(setup, log).items() if scaleless & set(acting)}
    ended = [m for m in history(shop, setup_name).mountings if m.cuts]
    return Card(
        setup=setup,
        title=setup.name,
        date=shop.now()[:10],
        about=tuple(about_lines(setup, unit, _metres(shop, setup))),
        start=tuple(start_lines(setup, start, rests_on, advise(fresh, [row], **after.asked()), by_eye, unit)),
        settings=tuple(setting_lines(setup, log[-1].settings_mm, unit)),
        readings=(*reading_lines(advice, unit), *_edge(shop, setup)),
        mountings=tuple(
            mounting_line(m.number, m.when, m.cutter, m.cuts, setup, unit) for m in ended[-LAST_MOUNTINGS:]
        ),
        cautions=advice.cautions,
        samples=tuple(sample_lines(samples)),
        since=since,
        changed=tuple(changed),
    )


def box_card(shop: Shop, name: str, units: str | None = None) -> BoxCard:
    """Return what the card of a kept box says, dated by the shop's clock; nothing is stored."""
    unit = units or "mm"
    box = keptboxes.get(shop, name)
    since, changed = _box_changes(shop.connection, box, name)
    return boxcard_text.box_card(
        box.plan,
        title=name,
        date=shop.now()[:10],
        copies=box.question.copies,
        parts=box.parts,
        cautions=box.cautions,
        since=since,
        changed=changed,
        unit=unit,
    )


def printed(shop: Shop, setup_name: str) -> None:
    """Remember that the card of a setup was printed now."""
    with shop.writing() as connection:
        setup_id = int(version_of(connection, setup_name)["setup_id"])
        events.record(
            connection, shop.now(), "card", _card_of(setup_name), setup_id, undoable=False
        )


def box_printed(shop: Shop, name: str) -> None:
    """Remember that the card of a box was printed now."""
    with shop.writing() as connection:
        events.record(connection, shop.now(), "card", _card_of_box(name), undoable=False)


def _card_of(name: str) -> str:
    return f"the card of {name}"


def _card_of_box(name: str) -> str:
    return f"the card of box {name}"


def _changes(connection: sqlite3.Connection, bench: Bench, unit: str) -> tuple[str, list[str]]:
    """Return when the last card of a setup was printed, "" for never, and what changed since."""
    last = events.last_card(connection, "", bench.setup_id)
    version = None if last is None else setup_rows.version(connection, bench.setup_id, int(last["id"]))
    if last is None or version is None:
        return "", []
    then = stand(connection, version, int(last["id"]))
    before = _standing(connection, then, int(last["id"]))
    return str(last["at"])[:10], changed_lines(before, _standing(connection, bench), unit)


def _standing(connection: sqlite3.Connection, bench: Bench, upto: int = events.NOW) -> Standing:
    cuts = [item.cut for item in bench.own if item.cut is not None]
    return Standing(
        setup=bench.setup,
        edge=bench.edge.label_now,
        positions_mm=bench.positions_mm,
        start_mm=where_to_start(connection, bench, upto)[0],
        tests=sum(cut.kind == "test" for cut in cuts),
        good=sum(cut.pieces for cut in cuts if cut.kind == "good"),
        mountings=0 if bench.mounting is None else int(bench.mounting["number"]),
    )


def _box_changes(
    connection: sqlite3.Connection, box: keptboxes.KeptBox, name: str
) -> tuple[str, list[str]]:
    """Return when the last card of a box was printed, "" for never, and what changed since."""
    with snapshot(connection):
        last = events.last_card(connection, _card_of_box(name), None)
        now = box_rows.named(connection, name)
        if last is None or now is None:
            return "", []
        upto = int(last["id"])
        then = next((r for r in box_rows.current(connection, upto) if r["root"] == now["root"]), None)
        if then is None:
            return "", []
        before = box_rows.pieces_cut(connection, int(now["root"]), upto)
        after = box_rows.pieces_cut(connection, int(now["root"]))
        names = {key: setup_rows.version(connection, key) for key in after}
    cut = [
        (str(row["name"]), after[key] - before.get(key, 0))
        for key, row in names.items()
        if row is not None and after[key] != before.get(key, 0)
    ]
    anew = json.loads(then["numbers"]) != json.loads(now["numbers"])
    closes = (float(then["closes"]), float(now["closes"])) if anew else None
    copies = (int(then["copies"]), int(now["copies"]))
    return str(last["at"])[:10], boxcard_text.changed_lines(cut, closes, copies, bool(now["closed"]))


def _samples(connection: sqlite3.Connection, setup: Setup) -> list[tuple[str, str | None]]:
    """Return the kept sample joints of a setup with their notes: gauges of that kind that it names.

    One counts as the setup's when a reading is read by it, or when it is called SETUP-sample.
    """
    named = {f"{setup.name}-sample", *(band.gauge for band in setup.bands)}
    return [
        (str(row["name"]), row["note"])
        for row in nouns.current(connection, "gauges")
        if row["name"] in named and _is_sample(row["kind"])
    ]


def _is_sample(kind: str) -> bool:
    try:
        return kind_of(kind).name == "sample"
    except CalibError:  # an old database may hold any word
        return False


def _edge(shop: Shop, setup: Setup) -> list[str]:
    """Say how long the setup holds on its edge, where that is known."""
    report = wear(shop, setup.cutter.name)
    mine: list[SetupAhead] = [
        ahead for edge in report.edges for ahead in edge.setups if ahead.setup.name == setup.name
    ]
    return [line for ahead in mine for line in edge_lines(ahead.left)]


def _metres(shop: Shop, setup: Setup) -> float:
    """Return the metres that a setup's cutter has cut since it was sharp."""
    return sum(one.metres_m for one in cutters.all(shop) if one.name == setup.cutter.name)
