"""Fixtures that tests of the store and of the workflow share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from shopkit import CORNERS, thumb_advice, ticking

from calib.workflow import setups
from calib.workflow.shopfloor import Shop, open_shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """Return an empty shop with a clock that goes on by one second a look."""
    with open_shop(tmp_path / "shop.db", now=ticking()) as opened:
        yield opened


@pytest.fixture
def corners(shop: Shop) -> Shop:
    """Return the same with the setup chest-corners."""
    setups.add(shop, CORNERS)
    return shop


@pytest.fixture
def thumb(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a rule of thumb advise instead of the model."""
    monkeypatch.setattr("calib.workflow.next.model", lambda: (thumb_advice, "thumb/1"))
    monkeypatch.setattr("calib.workflow.keep.model", lambda: (thumb_advice, "thumb/1"))
