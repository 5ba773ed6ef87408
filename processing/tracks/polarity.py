"""The sign of an echo: metal turns the pulse round, an air-filled void does not, and what does neither is no object."""

import numpy as np

from .refine import Sightings

# An air-filled void: sign of the `along` echo, its stack over the noise, and over the `across` stack.
VOID_PHASE_DEG, VOID_STACK, VOID_SHARE = (20.0, 160.0), 6.0, 1.25
# Metal: phase of the `across` echo. On simulated slabs that of objects on their own lay between 165 and 270 degrees, that of
# leftovers of the direct wave and of limbs that cross at 300 and more, or below 90.
METAL_PHASE_DEG = (120.0, 290.0)


def metal_turn(phase_rad: float) -> float:
    """Phase from the negative extremum to the envelope's maximum, radians.

    A metal echo's envelope comes up to three quarters of a period after its extremum, never much before it.
    """
    return (phase_rad - np.pi + np.pi / 2) % (2 * np.pi) - np.pi / 2


def is_void(sightings: Sightings) -> bool:
    """Whether the echo with dipoles along the line has the sign of an air-filled void and is as strong as the other."""
    along, across = sightings.stacked["along"], sightings.stacked["across"]
    degrees = np.degrees(sightings.phase_rad["along"]) % 360
    return bool(along > VOID_STACK and along > VOID_SHARE * across and VOID_PHASE_DEG[0] < degrees < VOID_PHASE_DEG[1])


def is_neither(sightings: Sightings) -> bool:
    """Whether the echo has the sign of neither metal nor a void; False where no dipoles across the line have seen it."""
    degrees = np.degrees(sightings.phase_rad["across"]) % 360
    if not np.isfinite(degrees) or METAL_PHASE_DEG[0] < degrees < METAL_PHASE_DEG[1]:
        return False
    return not is_void(sightings)
