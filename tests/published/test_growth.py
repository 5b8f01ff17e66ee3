"""A22: standard weight from length.

FSA package (R), data-raw/WSlit.csv, read; numbers recomputed from its coefficients. The English
coefficients (pounds and inches, same table) are an independent rounding of the same relations.
"""

from __future__ import annotations

import numpy as np
import pytest

from simulator.growth import relation, species_with_relation, weight

FORMULA = 1e-3
ROUNDING = 4e-3  # metric against English

CHECKS = {  # mm, g
    "bluegill": (200, 180.4), "largemouth bass": (400, 974.0), "smallmouth bass": (400, 994.5),
    "channel catfish": (500, 1231.4), "white bass": (300, 368.1), "striped bass": (600, 2690.9),
    "yellow perch": (250, 228.7), "walleye": (500, 1348.1), "northern pike": (700, 2351.9),
    "rainbow trout": (400, 762.4), "lake trout": (600, 2172.0), "common carp": (500, 1745.8),
    "black crappie": (250, 253.0), "gizzard shad": (250, 168.1), "European perch": (200, 109.0),
}  # fmt: skip
ENGLISH = {  # intercept of log10(lb) against log10(inch)
    "bluegill": -3.371, "largemouth bass": -3.587, "smallmouth bass": -3.491,
    "channel catfish": -3.829, "white bass": -3.394, "striped bass": -3.358,
    "yellow perch": -3.506, "walleye": -3.642, "northern pike": -3.745, "rainbow trout": -3.354,
    "lake trout": -3.778, "common carp": -3.194, "black crappie": -3.576, "gizzard shad": -3.580,
}  # fmt: skip
SHORTEST_MM = {
    "bluegill": 80, "largemouth bass": 150, "smallmouth bass": 150, "channel catfish": 70,
    "white bass": 115, "striped bass": 150, "yellow perch": 100, "walleye": 150,
    "northern pike": 100, "rainbow trout": 120, "lake trout": 280, "common carp": 200,
    "black crappie": 100, "gizzard shad": 180, "European perch": 80,
}  # fmt: skip


def test_every_row_is_there_and_checked() -> None:
    assert set(species_with_relation()) == set(CHECKS) == set(SHORTEST_MM)


@pytest.mark.parametrize("species", CHECKS)
def test_weights(species: str) -> None:
    mm, grams = CHECKS[species]
    assert weight(species, mm / 1000.0).kg * 1000.0 == pytest.approx(grams, rel=FORMULA)


def test_european_perch_at_300_mm() -> None:
    assert weight("European perch", 0.3).kg == pytest.approx(0.4183, rel=FORMULA)


@pytest.mark.parametrize("species", ENGLISH)
def test_metric_and_english_agree(species: str) -> None:
    inches = CHECKS[species][0] / 25.4
    slope = relation(species).slope
    pounds = 10.0 ** (ENGLISH[species] + slope * np.log10(inches))
    assert weight(species, inches * 0.0254).kg == pytest.approx(pounds * 0.45359237, rel=ROUNDING)


@pytest.mark.parametrize("species", SHORTEST_MM)
def test_a_fish_too_short_for_its_relation_is_refused(species: str) -> None:
    shortest = SHORTEST_MM[species] / 1000.0
    assert weight(species, shortest).kg > 0.0
    with pytest.raises(ValueError, match=rf"must be at least {shortest:g} m, .*you gave 0\.069"):
        weight(species, 0.069)


@pytest.mark.parametrize(
    ("species", "length_m", "kilograms"),
    [("largemouth bass", 0.36, 0.70), ("channel catfish", 0.43, 0.75)],
)
def test_what_anglers_expect(species: str, length_m: float, kilograms: float) -> None:
    """Common practice, no source: a 36 cm bass is near 0.7 kg, a 43 cm catfish near 0.75 kg. The
    curves say 0.690 and 0.749; a rule of thumb is not held tighter than 5 %."""
    found = weight(species, length_m)
    assert found.kg == pytest.approx(kilograms, rel=0.05)
    assert found.low < kilograms < found.high
