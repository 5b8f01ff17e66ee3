"""The list of formulas points at code and tests that exist, and holds the whole acceptance set."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TEXT = (ROOT / "simulator" / "FORMULAS.md").read_text(encoding="utf-8")
FILES = sorted(set(re.findall(r"`((?:published|physics|simulator)/test_\w+\.py)`", TEXT)))
NAMES = sorted(set(re.findall(r"`([a-z_]+(?:\.[A-Za-z_]\w*)+)`", TEXT)))
SET = [f"A{n}" for n in range(1, 26)]


@pytest.mark.parametrize("name", FILES)
def test_a_named_test_file_exists(name: str) -> None:
    assert (ROOT / "tests" / name).is_file()


@pytest.mark.parametrize("name", NAMES)
def test_a_named_function_exists(name: str) -> None:
    parts = name.split(".")
    for cut in range(len(parts), 0, -1):
        try:
            thing = importlib.import_module(".".join(["simulator", *parts[:cut]]))
        except ModuleNotFoundError:
            continue
        for attribute in parts[cut:]:
            thing = getattr(thing, attribute)
        return
    raise AssertionError(f"simulator.{name} is not there")


@pytest.mark.parametrize("item", SET)
def test_every_item_of_the_acceptance_set_is_named_here_and_in_a_test(item: str) -> None:
    """Ranges such as A5–A9 stand for all between."""
    listed = set(re.findall(r"\bA\d+\b", TEXT))
    for low, high in re.findall(r"\bA(\d+)–A(\d+)\b", TEXT):
        listed |= {f"A{n}" for n in range(int(low), int(high) + 1)}
    assert item in listed
    number = item[1:]
    here = re.compile(rf"(?:\b|_)[Aa]{number}(?:\b|_)")
    tests = (ROOT / "tests").rglob("test_*.py")
    assert any(here.search(p.read_text(encoding="utf-8")) for p in tests if p != Path(__file__))
