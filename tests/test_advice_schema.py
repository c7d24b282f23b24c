"""The published form of the advice against its schema: what is accepted, and what the schema would catch."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from calib.decision.advice import Advice, Expectation, Move

SCHEMA = json.loads((Path(__file__).parent / "advice.schema.json").read_text(encoding="utf-8"))
ADVICE = Advice(
    setup="chest-corners", cuts_used=3, step="move_and_test",
    moves=(Move("key", 6.14, 6.00, "toward the cutter"),),
    readings=(Expectation("clearance", 0.07, 0.03, 0.12, 0.07, 0.03, (0.02, 0.12), 0.86, 0.31),),
    pieces_left=16, probability_next=0.86, probability_all=0.31, cut_now_min=71.0, best_min=38.5,
    tests_expected=1.3, check_after_pieces=10, cautions=("Isolate the machine first.",),
)  # fmt: skip


def test_the_schema_is_a_schema_and_the_form_of_an_advice_agrees_with_it() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    text = json.dumps(ADVICE.as_dict(), allow_nan=False)
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(text))


@pytest.mark.parametrize(
    "spoil",
    [
        lambda form: form.update(schema="calib.advice/2"),
        lambda form: form.update(step="think"),
        lambda form: form.update(step="measure_again"),  # which moves nothing
        lambda form: form.update(moves=[]),  # yet the step is a move
        lambda form: form.update(probability_next=1.0),
        lambda form: form.update(probability_all=-0.1),
        lambda form: form.update(extra=1),
        lambda form: form.pop("holds_for_pieces"),
        lambda form: form.update(holds_for_pieces=2.5),
        lambda form: form["minutes"].update(best=-1.0),
        lambda form: form["moves"][0].update(why="because"),
        lambda form: form["readings"][0].update(interval90_mm=[0.02]),
        lambda form: form["readings"][0].update(interval90_mm=[0.02, 0.05, 0.12]),
        lambda form: form["readings"][0].update(u_mm=None),
        lambda form: form.update(cautions="Isolate."),
    ],
)
def test_the_schema_refuses_what_the_contract_does_not_say(spoil: Callable[[dict[str, Any]], object]) -> None:
    form = ADVICE.as_dict()
    spoil(form)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(SCHEMA).validate(form)
