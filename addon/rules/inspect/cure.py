"""How deep light cures resin: the working curve, and what it cures beyond the face that was drawn.

C = D ln(E / E_c): the cured depth C of resin of penetration depth D and critical exposure E_c under an exposure E
(P. F. Jacobs, Rapid Prototyping and Manufacturing: Fundamentals of StereoLithography, SME 1992; also I. Gibson,
D. Rosen and B. Stucker, Additive Manufacturing Technologies, equations 4.11 to 4.16). Exposures may be in any unit, all
in the same. The data sheet of the resin's maker gives D and E_c, or a test print does; laboratories disagree on one
resin by a factor of several, so a printed gauge has the last word. What is cured below a face that looks down is the
profile's ``over_cure_mm``, which the gap ladder takes off a level gap.
"""

import math

from ..base.errors import BadInput

# Clear resin lets light through for a few mm; more than this is another unit.
DEEPEST_MM = 10.0


def cure_depth_mm(exposure: float, *, penetration_mm: float, critical: float) -> float:
    """Give the depth that one exposure cures, mm; 0 below the critical exposure, where nothing sets."""
    _check(penetration_mm, critical)
    _check_exposure(exposure)
    return penetration_mm * math.log(exposure / critical) if exposure > critical else 0.0


def exposure_for(depth_mm: float, *, penetration_mm: float, critical: float) -> float:
    """Give the exposure that cures to a depth, mm, in the unit of ``critical``."""
    _check(penetration_mm, critical)
    if not 0.0 <= depth_mm <= DEEPEST_MM:
        raise BadInput(f"cure: a depth of {depth_mm:g} mm does not work; give a number from 0 to {DEEPEST_MM:g} mm")
    try:
        return critical * math.exp(depth_mm / penetration_mm)
    except OverflowError:
        raise BadInput(
            f"cure: no light cures {depth_mm:g} mm deep in resin of penetration depth {penetration_mm:g} mm; check "
            "that both are in mm"
        ) from None


def over_cure_mm(
    exposure: float, layer_mm: float, *, penetration_mm: float, critical: float, layers: float = 1
) -> float:
    """Give how far resin sets below a face that looks down, mm, once ``layers`` layers have been exposed over it.

    Light that goes through the layers above adds to what came before: the n-th of them reaches the face's own depth
    weakened by exp(-(n - 1) layer / D) (Beer and Lambert), and the exposures add up. With one layer it is the cured
    depth less the layer; ``layers`` may be ``math.inf``, since the sum has an end.
    """
    _check(penetration_mm, critical)
    _check_exposure(exposure)
    if not 0.0 < layer_mm <= DEEPEST_MM:
        raise BadInput(
            f"cure: a layer of {layer_mm:g} mm does not work; give a number above 0 and up to {DEEPEST_MM:g} mm"
        )
    if not layers >= 1:
        raise BadInput(f"cure: {layers:g} layers do not work; give 1 or more")
    step = layer_mm / penetration_mm
    together = exposure * (math.expm1(-layers * step) / math.expm1(-step))
    return max(0.0, cure_depth_mm(together, penetration_mm=penetration_mm, critical=critical) - layer_mm)


def _check(penetration_mm: float, critical: float) -> None:
    if not 0.0 < penetration_mm <= DEEPEST_MM:
        raise BadInput(
            f"cure: a penetration depth of {penetration_mm:g} mm does not work; give a number above 0 and up to "
            f"{DEEPEST_MM:g} mm"
        )
    if not (math.isfinite(critical) and critical > 0.0):
        raise BadInput(f"cure: a critical exposure of {critical:g} does not work; give a number above 0")


def _check_exposure(exposure: float) -> None:
    if not (math.isfinite(exposure) and exposure >= 0.0):
        raise BadInput(f"cure: an exposure of {exposure:g} does not work; give a number of at least 0")
