"""What a spin adds: the load on the arm, and a wide job of which one side fills before the other."""

from ..inspect.finding import Finding
from .flask import flask_volume_cm3, flask_wall_g
from .materials import Flask, Investment, SpinArm
from .quick import SPIN_ARM_MM

WIDE_SHARE = 0.5  # of the distance from the axis to the metal at rest; our judgement


def arm_load_g(flask: Flask, investment: Investment, metal_g: float) -> float:
    """Give what the arm carries: steel, burnt-out mould and metal; cradle and crucible are the machine's own."""
    return flask_wall_g(flask) + flask_volume_cm3(flask) * investment.mould_density_g_cm3.value + metal_g


def spin_findings(
    spin_arm: SpinArm | None, across_mm: float, tall_mm: float, load_g: float, arm_mm: float = SPIN_ARM_MM
) -> tuple[Finding, ...]:
    """Check a job that is spun: not too heavy for its arm, not so wide that the metal runs to one side first.

    ``across_mm`` and ``tall_mm`` of the job at export scale. The arm starts from rest and the metal lags behind it: it
    runs along the trailing side, which in a wide and low job fills, and may freeze, first (common practice, no
    published source).
    """
    found = []
    if spin_arm is not None and load_g > spin_arm.load_g.value:
        text = (
            f"flask, mould and metal weigh {load_g / 1000:.1f} kg, more than {spin_arm.label} carries, "
            f"{spin_arm.load_g.value / 1000:.1f} kg; take a smaller flask or a larger arm (cast.spin_arm), or pour by "
            "vacuum"
        )
        found.append(Finding("spin-arm", "stop", (), text, None, load_g, spin_arm.load_g.value))
    limit = WIDE_SHARE * arm_mm
    if across_mm > limit and across_mm > tall_mm:
        text = (
            f"the job is {across_mm:.0f} mm across, wide for a spin: the metal lags as the arm starts, so the trailing "
            f"side fills first and the other side may stay short. Up to {limit:.0f} mm is safer: pour by vacuum, lay "
            "the chain out narrower (a coil is narrowest), or let the arm start gently"
        )
        found.append(Finding("spin-wide", "warn", (), text, None, across_mm, limit))
    return tuple(found)
