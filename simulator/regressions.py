"""Published relations of a fish's length and its mean target strength, to compare with.

None is an input of the engine. None of them is for a species this program draws, so that every
form's echo is modelled; `is_measured` reads that from the table of forms.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.forms import Form, form
from simulator.targets import positive

Array = NDArray[np.float64]

# What to write beside an echo strength.
MODELLED = "modelled, not measured"
MEASURED = "measured relation"


def love_1971_dorsal(length_m: ArrayLike, frequency: ArrayLike) -> Any:
    """Mean target strength from above, dB re 1 m^2: 19.1 log L - 0.9 log f - 62.0, L cm, f kHz.

    Love 1971 (J. Acoust. Soc. Am. 49:816), many kinds of fish pooled. Taken from two later uses
    that agree; the paper was not opened, so its range of L/wavelength is not stated here.
    length_m (m) and frequency (Hz) broadcast. Raises ValueError.
    """
    return 19.1 * _log_cm(length_m) - 0.9 * _log_khz(frequency) - 62.0


def foote_1987(length_m: ArrayLike, kind: str = "physoclist") -> Any:
    """Mean target strength from above at 38 kHz, dB re 1 m^2, L cm.

    20 log L - 67.4 for physoclists (closed bladder), 20 log L - 71.9 for clupeoids. Marine fish.
    Foote 1987 (J. Acoust. Soc. Am. 82:981), abstract. Raises ValueError for another kind.
    """
    constants = {"physoclist": -67.4, "clupeoid": -71.9}
    if kind not in constants:
        raise ValueError(
            f"Kind must be one of {', '.join(constants)}; you gave {kind!r}. "
            "Physoclists have a closed gas bladder, as perch do."
        )
    return 20.0 * _log_cm(length_m) + constants[kind]


def vendace_2004(length_m: ArrayLike) -> Any:
    """Mean target strength of vendace at 120 kHz, dB re 1 m^2: 20 log L - 65.4 (+-0.1), L cm.

    Measured in Lake Pluszne: Swierzowski & Doroszczyk 2004 (Hydroacoustics 7:217). Raises
    ValueError.
    """
    return 20.0 * _log_cm(length_m) - 65.4


def regression_lines(length_m: ArrayLike, frequency: ArrayLike) -> dict[str, tuple[Any, str]]:
    """Each published relation by name: (mean target strength, dB re 1 m^2; where it holds).

    length_m (m) and frequency (Hz) broadcast; every level has their common shape, whether the
    relation follows frequency or not. Sources: the functions above. Raises ValueError.
    """
    one = np.zeros(np.broadcast_shapes(np.shape(length_m), np.shape(frequency)))
    lines = {
        "Love 1971": (
            love_1971_dorsal(length_m, frequency),
            "follows frequency; many kinds of fish pooled, from above",
        ),
        "Foote 1987, closed bladder": (
            foote_1987(length_m),
            "38 kHz only; marine fish with a closed gas bladder, from above",
        ),
        "Foote 1987, herring kind": (
            foote_1987(length_m, "clupeoid"),
            "38 kHz only; marine fish of the herring kind, from above",
        ),
        "vendace 2004": (
            vendace_2004(length_m),
            "120 kHz only; vendace of one lake, from above",
        ),
    }
    return {name: ((level + one)[()], note) for name, (level, note) in lines.items()}


def published_band(length_m: ArrayLike, frequency: ArrayLike) -> tuple[Any, Any]:
    """(low_db, high_db) spanning Love 1971, both of Foote 1987 and vendace 2004.

    Only Love's relation follows frequency; Foote's holds at 38 kHz and vendace at 120 kHz. A band
    to compare with, never an input of the engine. Shapes as `regression_lines`.
    """
    lines = [level for level, _ in regression_lines(length_m, frequency).values()]
    return np.min(lines, axis=0), np.max(lines, axis=0)


def is_measured(form_or_name: str | Form) -> bool:
    """Whether a measured relation of length and target strength is held for this very form.

    The `measured` field of tables/forms.toml; false for every form drawn there. Raises ValueError
    for a name that is no form's.
    """
    return (form(form_or_name) if isinstance(form_or_name, str) else form_or_name).measured


def strength_label(form_or_name: str | Form) -> str:
    """What to write beside a fish's echo strength: "modelled, not measured" unless it is.

    For fish only: a ball or another target has a stated strength or a solution of its own.
    Raises ValueError for a name that is no form's.
    """
    return MEASURED if is_measured(form_or_name) else MODELLED


def _log_cm(length_m: ArrayLike) -> Array:
    positive(length_m, "Fish length", "0.3")
    return np.log10(100.0 * np.asarray(length_m, dtype=float))


def _log_khz(frequency: ArrayLike) -> Array:
    positive(frequency, "Frequency", "120e3")
    return np.log10(np.asarray(frequency, dtype=float) / 1000.0)
