"""What one setup asks of the store does not go through the whole shop.

`tests/benchmarks/big_store.py` measures the time.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from shopkit import CORNERS, cut

from calib.workflow import mountings, setups
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop

#: What a shop has few of: tools, words of its own, and what was undone.
FEW = {
    "cutters", "stocks", "stock_abrasiveness", "feel_words", "gauges", "sharpenings", "undos", "undo", "redo",
}  # fmt: skip


@pytest.fixture
def busy(shop: Shop) -> Shop:
    """Three setups on one cutter, two mountings each."""
    for k in range(3):
        setups.add(shop, replace(CORNERS, name=f"corners-{k}"))
        for _ in range(2):
            mountings.mount(shop, f"corners-{k}")
            for _ in range(4):
                cut(shop, f"corners-{k}", key=6.0, height=8.1, clearance=0.07, proud=0.1, feel="hand")
    return shop


def statements(shop: Shop, name: str) -> list[str]:
    """Return what `next` reads, as it was asked."""
    asked: list[str] = []
    shop.connection.set_trace_callback(asked.append)
    next_step(shop, name, store=False)
    shop.connection.set_trace_callback(None)
    return [text for text in asked if text.lstrip().startswith("SELECT")]


def test_next_goes_through_no_table_of_the_whole_log(busy: Shop) -> None:
    """Every plan searches by an index wherever rows are many; a scan is only of what is few, or of a part."""
    asked = statements(busy, "corners-1")
    assert len(asked) > 10
    for text in asked:
        for row in busy.connection.execute(f"EXPLAIN QUERY PLAN {text}").fetchall():
            scanned = re.match(r"SCAN (\w+)", row["detail"])
            if scanned and "CONSTANT" not in row["detail"]:
                name = scanned.group(1)
                part = name in ("cut", "m", "f") or name.startswith("(")
                latest = name == "feels" and "ORDER BY id DESC LIMIT" in text
                assert name in FEW or part or latest, (row["detail"], text)


def test_a_setup_is_found_by_its_present_name_alone(busy: Shop) -> None:
    """One that was renamed is not found by its old name, which another may have taken."""
    setups.change(busy, "corners-0", replace(setups.get(busy, "corners-0"), name="chest"))
    setups.add(busy, replace(CORNERS, name="corners-0", pieces_left=3))
    assert setups.get(busy, "corners-0").pieces_left == 3
    assert setups.get(busy, "chest").pieces_left == 16
