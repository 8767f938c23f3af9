"""The file of a colour meter, as the invented survey's own meter would have exported it."""

from __future__ import annotations

import numpy as np

WAVELENGTHS_NM = range(400, 710, 10)
READINGS = 12


def exported() -> str:
    """
    Twelve spectra of clean granite on the parapet.

    Returns
    -------
    str
        CGATS.17 text. The spectra are invented: a smooth rise from blue to red, as grey granite
        has it, whose height varies from spot to spot.
    """
    draws = np.random.default_rng([1887, 12])
    wavelengths = np.array(WAVELENGTHS_NM, float)
    shape = 0.24 + 0.07 * (1 - np.exp(-(wavelengths - 400) / 120))
    names = " ".join(f"SPECTRAL_DEC{nm}" for nm in WAVELENGTHS_NM)
    lines = [
        "CGATS.17",
        'ORIGINATOR "invented for the Quillmere survey"',
        'DESCRIPTOR "Clean reference of the parapet, lift 3"',
        'INSTRUMENTATION "portable sphere d/8, specular included"',
        f"NUMBER_OF_FIELDS {len(WAVELENGTHS_NM) + 1}",
        "BEGIN_DATA_FORMAT",
        f"SAMPLE_NAME {names}",
        "END_DATA_FORMAT",
        f"NUMBER_OF_SETS {READINGS}",
        "BEGIN_DATA",
    ]
    for number in range(1, READINGS + 1):
        spectrum = shape * draws.lognormal(0.0, 0.12) * (1 + draws.normal(0, 0.01) * (shape - 0.27))
        lines.append(f"parapet_{number:02d} " + " ".join(f"{value:.4f}" for value in spectrum))
    return "\n".join([*lines, "END_DATA", ""])
