"""The registries hold together, and everything the program says stands in them."""

from __future__ import annotations

import ast
import importlib.util
import re
from pathlib import Path

import pytest

from tracker.columns import COLUMNS, FIT_NUMBERS, HEADER, NUMBERS, PATH_COLUMNS, column
from tracker.flags import FLAGS, REASONS, REGISTRY, describe, explain
from tracker.results import SIDED
from tracker.video.errors import REASONS as CLIP_REASONS

ROOT = Path(__file__).resolve().parents[2]


def test_every_number_has_its_uncertainty_right_after_it():
    for number in NUMBERS:
        assert HEADER[HEADER.index(number.name) + 1] == f"{number.name}_u"
    assert len(set(HEADER)) == len(HEADER)


def test_a_number_s_name_says_its_unit():
    for number in (*NUMBERS, *FIT_NUMBERS):
        assert number.unit, number.name
        if number.unit == "1":
            continue
        ending = re.search(r"board|_ft$|_deg$|_mph$|_rpm$", number.name)
        assert ending is not None, number.name
        assert ending[0].strip("_") == number.unit


def test_numbers_of_the_physical_fit_are_not_in_the_table():
    assert {c.name for c in FIT_NUMBERS}.isdisjoint(HEADER)
    assert set(SIDED) < {c.name for c in FIT_NUMBERS}


def test_texts_have_no_uncertainty():
    assert "shot_id_u" not in HEADER
    assert "phase_at_pins_u" not in HEADER


def test_codes_are_unique_and_plain():
    assert len(REGISTRY) == len(REASONS) + len(FLAGS)
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", code) for code in REGISTRY)


def test_every_reason_says_what_to_do():
    assert [flag.code for flag in REASONS if not flag.what_to_do] == []


def test_reasons_of_the_reader_are_registered():
    assert {code for code in CLIP_REASONS if code not in REGISTRY} == set()


def _failures(source: str) -> set[str]:
    calls = (n for n in ast.walk(ast.parse(source)) if isinstance(n, ast.Call) and n.args)
    made = (c for c in calls if getattr(c.func, "id", "") == "Failure")
    return {c.args[0].value for c in made if isinstance(c.args[0], ast.Constant)}


@pytest.mark.parametrize("package", ["calibration", "tracker"])
def test_codes_of_failures_in_the_source_are_registered(package: str):
    used = {code for file in (ROOT / package).rglob("*.py") for code in _failures(file.read_text("utf-8"))}
    assert {code for code in used if code not in REGISTRY} == set()


def test_an_unknown_code_stands_for_itself():
    assert describe("brand_new").title == "brand new"
    assert explain("gutter") == "gutter: gutter ball"
    assert explain("") == ""


def test_an_unknown_column_is_a_mistake_of_the_caller():
    with pytest.raises(KeyError, match="no column 'oil'"):
        column("oil")


def test_docs_are_up_to_date():
    spec = importlib.util.spec_from_file_location("make_numbers", ROOT / "docs" / "make_numbers.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.PAGE.read_text("utf-8") == module.page(), "run: python docs/make_numbers.py"
    assert all(f"`{c.name}`" in module.page() for c in (*COLUMNS, *PATH_COLUMNS, *FIT_NUMBERS))
