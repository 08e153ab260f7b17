"""How long metal takes to freeze: the quick rules, from Chvorinov to the exact one-dimensional solutions."""

import math
from dataclasses import dataclass

from ..base.errors import BadInput


def chvorinov_time(constant: float, modulus: float, exponent: float = 2.0) -> float:
    """Give the freezing time C (V/A)^n in the units of the constant (N. Chvorinov, Giesserei 27, 1940)."""
    return float(constant * modulus**exponent)


def chvorinov_constant(time: float, modulus: float, exponent: float = 2.0) -> float:
    """Give the mould constant C from one casting whose freezing time is known."""
    return float(time / modulus**exponent)


def modulus_for_time(time: float, constant: float, exponent: float = 2.0) -> float:
    """Give the modulus V/A that freezes in ``time``: the size of a feeder that must outlast its casting."""
    return float((time / constant) ** (1.0 / exponent))


def bar_modulus_mm(diameter_mm: float) -> float:
    """Give V/A of a long round bar, and of any ring bent from it: d/4 (exactly so for the torus, by Pappus)."""
    return diameter_mm / 4.0


def cylinder_modulus_mm(diameter_mm: float, height_mm: float, *, cooling_ends: int = 2) -> float:
    """Give V/A of a cylinder of which 0, 1 or 2 end faces cool: d h / (4 h + k d)."""
    return diameter_mm * height_mm / (4.0 * height_mm + cooling_ends * diameter_mm)


def button_modulus_mm(volume_mm3: float) -> float:
    """Give V/A of a button taken as a cylinder as high as wide that cools on all sides but the one it feeds: d/5."""
    d = (4.0 * volume_mm3 / math.pi) ** (1.0 / 3.0)
    return cylinder_modulus_mm(d, d, cooling_ends=1)


def button_volume_mm3(modulus_mm: float) -> float:
    """Give the least button of a modulus: the inverse of `button_modulus_mm`."""
    return math.pi / 4.0 * (5.0 * modulus_mm) ** 3


@dataclass(frozen=True, slots=True)
class MouldHeat:
    """A thick mould that takes heat in: conductivity W/(m K), density kg/m3, specific heat J/(kg K)."""

    conductivity_w_m_k: float
    density_kg_m3: float
    heat_j_kg_k: float

    @property
    def diffusivity_m2_s(self) -> float:
        """Give k / (rho c)."""
        return self.conductivity_w_m_k / (self.density_kg_m3 * self.heat_j_kg_k)


def heat_ratio(mould: MouldHeat, rise_k: float, metal_density_kg_m3: float, heat_to_lose_kj_kg: float) -> float:
    """Give lambda: the heat a mould's volume takes to reach the metal's temperature, over what the metal must lose.

    ``rise_k`` freezing temperature less mould temperature; ``heat_to_lose_kj_kg`` latent heat and superheat.
    Raises BadInput when the mould is as hot as the metal.
    """
    if rise_k <= 0.0:
        raise BadInput(
            f"cast.flask_c: the mould is {-rise_k:g} degC hotter than the metal freezes; choose a cooler flask"
        )
    return rise_k * mould.density_kg_m3 * mould.heat_j_kg_k / (metal_density_kg_m3 * heat_to_lose_kj_kg * 1000.0)


def curved_mould_beta(ratio: float, curvature: int) -> float:
    """Solve beta^2 = lambda (2 beta / sqrt(pi) + q), q = 0 for a plate, 1/4 for a long cylinder, 1/3 for a sphere.

    beta is (V/A) / sqrt(alpha t). Adams and Taylor, Trans. AFS 65 (1957) 170, as carried in foundry textbooks for the
    sphere; ``curvature`` n 0, 1, 2 gives q = n / (2 (n + 1)).
    """
    q = curvature / (2.0 * (curvature + 1.0))
    half = ratio / math.sqrt(math.pi)
    return half + math.sqrt(half * half + ratio * q)


def curved_mould_time_s(modulus_mm: float, ratio: float, mould: MouldHeat, curvature: int) -> float:
    """Give the seconds until a plate (0), long cylinder (1) or sphere (2) is solid in a thick insulating mould."""
    beta = curved_mould_beta(ratio, curvature)
    return (modulus_mm / 1000.0 / beta) ** 2 / mould.diffusivity_m2_s


def plane_modulus_m(
    seconds: float, rise_k: float, metal_density_kg_m3: float, latent_kj_kg: float, mould: MouldHeat
) -> float:
    """Give the V/A in m that freezes in ``seconds`` against a thick insulating mould with a plane face.

    M = (2/sqrt pi) (rise / (rho L)) sqrt(k rho c) sqrt t (C. Schwarz 1931; Flemings, Solidification Processing, 1974).
    """
    effusivity = math.sqrt(mould.conductivity_w_m_k * mould.density_kg_m3 * mould.heat_j_kg_k)
    return (
        2.0
        / math.sqrt(math.pi)
        * rise_k
        / (metal_density_kg_m3 * latent_kj_kg * 1000.0)
        * effusivity
        * math.sqrt(seconds)
    )


def stefan_root(stefan: float, mould_ratio: float = 0.0) -> float:
    """Solve zeta exp(zeta^2) (erf zeta + phi) = Ste / sqrt(pi) for zeta, to 1e-15.

    ``stefan`` c (T_m - T_0) / L of the solid; ``mould_ratio`` phi, the solid's sqrt(k rho c) over the mould's,
    0 where the face is held at T_0 (F. Neumann, about 1860; Carslaw and Jaeger, Conduction of Heat in Solids, 11.2).
    """
    if stefan <= 0.0:
        raise BadInput(f"the Stefan number must be above 0, is {stefan:g}; the mould must be cooler than the metal")
    right = stefan / math.sqrt(math.pi)
    low, high = 0.0, 1.0
    while high * math.exp(high * high) * (math.erf(high) + mould_ratio) < right:
        high *= 2.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if middle * math.exp(middle * middle) * (math.erf(middle) + mould_ratio) < right:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def stefan_time_s(half_thickness_m: float, root: float, diffusivity_m2_s: float) -> float:
    """Give the time until fronts from both faces meet: half thickness = 2 zeta sqrt(alpha t)."""
    return (half_thickness_m / (2.0 * root)) ** 2 / diffusivity_m2_s
