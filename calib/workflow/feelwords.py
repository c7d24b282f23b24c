"""The words for a fit: what the shop calls them, where they begin and end, and what each hand means by them.

Words belong to a kind of joint. A new name holds at once for every setup and for every cut that was ever
felt; new limits hold for the setups that are there, until one of them is given its own.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, replace
from types import MappingProxyType

from calib.errors import CalibError, near_name
from calib.feel import BETWEEN
from calib.setupform import default_words, with_word
from calib.setupform.feelwords import Words
from calib.shop import JOINT_KINDS, Setup
from calib.store import events
from calib.store import feelwords as rows
from calib.store import setups as setup_rows
from calib.store.events import NOW
from calib.store.setup_json import from_json
from calib.workflow.entries import plain_name
from calib.workflow.shopfloor import Shop

#: The reading that a kind's words speak of when a setup starts with them.
_FIRST = {"finger": "clearance", "inlay": "gap"}


@dataclass(frozen=True)
class ShopWords:
    """The words of one kind of joint, tight first, mm."""

    joint_kind: str
    words: Words


def all(shop: Shop) -> list[ShopWords]:
    """Return the words of every kind of joint."""
    return [ShopWords(kind, words_of(shop.connection, kind)) for kind in JOINT_KINDS]


def words_of(connection: sqlite3.Connection, kind: str, upto: int = NOW) -> Words:
    """Return the words that a setup of a kind starts with in this shop."""
    return spoken(connection, kind, default_words(kind, _FIRST.get(kind, "")), 0, upto)


def rename(shop: Shop, kind: str, old: str, new: str) -> ShopWords:
    """Call a word otherwise, in the maker's own language; cuts that were felt with it keep their meaning."""
    kind, new = _kind(kind), _plain_word(new)
    with shop.writing() as connection:
        words = words_of(connection, kind)
        known = sorted({*words, *_own_words(connection, kind)})
        if old not in known:
            near = near_name(old, known)
            hint = f'Did you mean "{near}"?' if near else f"It has: {', '.join(known) or 'none'}."
            raise CalibError(f'{kind}: there is no word "{old}". {hint}')
        word = _key(connection, kind, old)
        _refuse_taken(connection, kind, word, new, known)
        event_id = events.record(connection, shop.now(), "feel", f"the new name of {old} ({kind})")
        rows.add(connection, event_id, kind, word, new)
        return ShopWords(kind, words_of(connection, kind))


def change(shop: Shop, kind: str, name: str, low_mm: float, high_mm: float) -> ShopWords:
    """Move the limits of a word, or add a word; its neighbours give way."""
    kind, name = _kind(kind), _plain_word(name)
    with shop.writing() as connection:
        before = words_of(connection, kind)
        after = with_word(before, name, low_mm, high_mm)
        word = _key(connection, kind, name)
        if name not in before:
            _refuse_taken(connection, kind, word, name, list(before))
        verb = "the limits of" if name in before else "the new word"
        event_id = events.record(connection, shop.now(), "feel", f"{verb} {name} ({kind})")
        for changed, limits in after.items():
            if before.get(changed) != limits:
                rows.add(connection, event_id, kind, _key(connection, kind, changed), changed, limits)
        return ShopWords(kind, words_of(connection, kind))


def spoken(
    connection: sqlite3.Connection, kind: str, words: Words, since_event: int, upto: int = NOW
) -> Words:
    """Return words as the shop calls them, with the limits that were said after an event."""
    said = rows.said(connection, kind, upto)
    if not said:
        return words
    name = _names(connection, kind, said)
    found = {name(word): limits for word, limits in words.items()}
    for row in said:
        if row["low_mm"] is not None and row["event_id"] > since_event:
            found[name(row["word"])] = (row["low_mm"], row["high_mm"])
    return MappingProxyType(dict(sorted(found.items(), key=lambda item: item[1])))


class Tongue:
    """What every word is called now, for one kind of joint as it was at one event."""

    def __init__(self, connection: sqlite3.Connection, kind: str, upto: int = NOW) -> None:
        said = rows.said(connection, kind, upto)
        self._name = _names(connection, kind, said) if said or rows.names_ever(connection, kind) else None

    def __call__(self, word: str | None) -> str | None:
        if word is None or self._name is None:
            return word
        now = self._name(word)
        return now if now != word else BETWEEN.join(self._name(part.strip()) for part in word.split(BETWEEN))


def _names(connection: sqlite3.Connection, kind: str, said: list[sqlite3.Row]) -> Callable[[str], str]:
    """Return the function from any name that a word ever had to what it is called now."""
    ever = rows.names_ever(connection, kind)
    now = {row["word"]: row["name"] for row in said}
    return lambda name: now.get(ever.get(name, name), ever.get(name, name))


def in_the_shops_words(
    connection: sqlite3.Connection, setup: Setup, since_event: int, upto: int = NOW
) -> Setup:
    """Return a setup whose words are called as the shop does, where it has words at all."""
    kind = setup.joint.kind
    if not setup.feel.words and kind in _FIRST:
        return setup  # its first reading is not the fit
    words = spoken(connection, kind, setup.feel.words, since_event, upto)
    return setup if words is setup.feel.words else replace(setup, feel=replace(setup.feel, words=words))


def _plain_word(name: str) -> str:
    name = plain_name("feel word", name)
    if BETWEEN in name:
        raise CalibError(
            f'feel word "{name}" will not do: {BETWEEN} stands between two words, as in palm{BETWEEN}hand. '
            "Use a dash."
        )
    return name


def _key(connection: sqlite3.Connection, kind: str, name: str) -> str:
    return rows.names_ever(connection, kind).get(name, name)


def _own_words(connection: sqlite3.Connection, kind: str) -> list[str]:
    """Return the words that setups of a kind have of their own."""
    tongue = Tongue(connection, kind)
    versions = [row for row in setup_rows.current(connection) if row["joint_kind"] == kind]
    words = [word for version in versions for word in from_json(version["content"]).feel.words]
    return [str(tongue(word)) for word in words]


def _kind(kind: str) -> str:
    if kind in JOINT_KINDS:
        return kind
    near = near_name(kind, list(JOINT_KINDS))
    hint = f'Did you mean "{near}"?' if near else f"It is one of: {', '.join(JOINT_KINDS)}."
    raise CalibError(f'"{kind}" is no kind of joint. {hint}')


def _refuse_taken(connection: sqlite3.Connection, kind: str, word: str, new: str, known: list[str]) -> None:
    """Refuse a name that means, or once meant, another word: old cuts would change their meaning."""
    ever = rows.names_ever(connection, kind)
    defaults = default_words(kind, _FIRST.get(kind, ""))
    owner = ever.get(new, new if new in known or new in defaults else word)
    if owner != word:
        raise CalibError(f'{kind}: "{new}" stands for another word already. Take a name that was never used.')
