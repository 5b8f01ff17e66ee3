"""A fish's weight from its length, by published standard-weight relations.

A standard weight is the 75th percentile over many waters, not the weight of an average fish; a
relation is refused outside the lengths it was published for.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from simulator.targets import positive, require

__all__ = ["Relation", "Weight", "relation", "species_with_relation", "weight"]

# Share of the standard weight that bounds the stated band. 0.8: a leaner fish counts as severely
# thin (Wright 2000, Auburn University extension sheet ANR-1193). 1.1: assumed, no source.
LEANEST, FATTEST = 0.8, 1.1
NOTE = (
    "75th-percentile standard weight: an average fish weighs less. Band: 80 % (below it a fish "
    "counts as severely thin, Wright 2000) to 110 % (assumed, no source)"
)


@dataclass(frozen=True)
class Relation:
    """One row: log10(g) = intercept + slope x + curvature x^2, x = log10(total length in mm).

    shortest, longest: bounds of the relation, m (longest is None where none is given). form: our
    drawing of the species, empty without one. source: where the relation comes from.
    """

    title: str
    intercept: float
    slope: float
    shortest: float
    source: str
    curvature: float = 0.0
    longest: float | None = None
    form: str = ""


@dataclass(frozen=True)
class Weight:
    """Weight of a fish, kg: by the relation, and the low and high end of a stated band.

    Shaped as the lengths given. source: of the relation; note: how to read it.
    """

    kg: Any
    low: Any
    high: Any
    source: str
    note: str


@cache
def _table() -> dict[str, Relation]:
    text = files("simulator").joinpath("tables/growth.toml").read_text(encoding="utf-8")
    found = {}
    for row in tomllib.loads(text)["relation"]:
        longest = row.pop("longest", None)
        found[row["title"].lower()] = Relation(
            **{**row, "shortest": row["shortest"] / 1000.0, "source": f"{row['source']}, in FSA"},
            longest=None if longest is None else longest / 1000.0,
        )
    return found


def species_with_relation() -> tuple[str, ...]:
    """Names of the species with a published relation of length and weight."""
    return tuple(row.title for row in _table().values())


def relation(species: str) -> Relation:
    """The relation of a species, or of one of our forms (perch, carp, trout, pike).

    Raises ValueError, naming those that have one, for any other.
    """
    table = _table()
    asked = str(species).strip().lower()
    by_form = {row.form: row for row in table.values() if row.form}
    if asked in by_form:
        return by_form[asked]
    if asked in table:
        return table[asked]
    raise ValueError(
        "Species must be one with a published relation of length and weight; you gave "
        f"{species!r}. Of our forms {', '.join(by_form)} have one; so have "
        f"{', '.join(species_with_relation())}."
    )


def weight(species: str, length_m: ArrayLike) -> Weight:
    """Weight (kg) of a fish of total length length_m (m), with a band and where it comes from.

    species: a name of `species_with_relation` or one of our forms. kg, low and high are shaped as
    length_m. kg is the standard weight: an average fish weighs less. Source: tables/growth.toml.
    Raises ValueError for a species without a relation and for lengths outside it.
    """
    row = relation(species)
    length = np.asarray(length_m, dtype=float)
    positive(length, "Fish length", "0.3")
    mm = 1000.0 * length
    least, most = round(1000.0 * row.shortest), row.longest and round(1000.0 * row.longest)
    for holds, word, limit in (
        (mm >= least - 1e-6, "at least", least),
        (mm <= (most or np.inf) + 1e-6, "at most", most),
    ):
        require(
            length,
            holds,
            f"Length of {row.title} must be {word} {(limit or 0) / 1000.0:g} m, where its "
            f"published weight relation {'begins' if word == 'at least' else 'ends'}",
            f"Try {(limit or 0) / 1000.0:g}.",
        )
    x = np.log10(mm)
    kg = (10.0 ** (row.intercept + row.slope * x + row.curvature * x**2) / 1000.0)[()]
    upper = "" if row.longest else " The relation states no greatest length that we know of."
    return Weight(kg, LEANEST * kg, FATTEST * kg, row.source, f"{NOTE}.{upper}")
