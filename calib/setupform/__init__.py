"""A setup as plain text and numbers, and back: the form that a log's TOML and the store keep.

The form is a dict of str, int, float, bool, lists and dicts, the same in TOML and JSON: a length is a
number in the form's own unit or text with a unit of its own ("1/4 in"); infinity is the text "inf";
what is not known is left out. Nothing here opens a file; every problem is kept, none stops the reading.
"""

from __future__ import annotations

from calib.setupform.beliefs import knowledge_from_dict, stakes_from_dict
from calib.setupform.feelwords import default_words, with_word
from calib.setupform.lengths import length_out, number_mm, reading_from_text, reading_to_text
from calib.setupform.read import RESERVED, SCHEMA, read_setup, setup_from_dict
from calib.setupform.table import Problem
from calib.setupform.write import knowledge_to_dict, setup_to_dict, stakes_to_dict

__all__ = [
    "RESERVED",
    "SCHEMA",
    "Problem",
    "default_words",
    "knowledge_from_dict",
    "knowledge_to_dict",
    "length_out",
    "number_mm",
    "read_setup",
    "reading_from_text",
    "reading_to_text",
    "setup_from_dict",
    "setup_to_dict",
    "stakes_from_dict",
    "stakes_to_dict",
    "with_word",
]
