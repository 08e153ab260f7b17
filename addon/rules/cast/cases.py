"""Cases of one pour that are solved beside each other: figures of metal and mould, and sizes that are stretched.

Every case runs on the same network. Arrays have the case as their last axis, so that one step serves all.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from ..solid.mesh import FloatArray
from .network import Network


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """b cases; all (b,) unless said. Temperatures degC.

    Metal: ``solid_g_cm3`` and ``liquid_g_cm3``; ``solidus_c``, ``liquidus_c``, ``latent_j_g``, ``heat_solid_j_g_k``,
    ``heat_liquid_j_g_k``, ``conductivity_w_m_k``, ``tension_n_m``. ``interface_w_m2_k`` between metal and mould.
    Mould: ``mould_w_m_k``, ``mould_j_cm3_k`` (density times specific heat), ``permeability_m2``.
    Pour: ``pour_c``, ``flask_c``, ``push_kpa`` on the metal in the cone besides its own weight, which is by
    ``pull_m_s2``: gravity, or what a spin makes of it; ``pour_g_s``.
    Sizes: ``wider`` (n, b) factor on diameters, ``longer`` (n, b) on lengths along the flow, ``spare`` (b,) bool:
    whether the network's spare joints are open.
    """

    solid_g_cm3: FloatArray
    liquid_g_cm3: FloatArray
    solidus_c: FloatArray
    liquidus_c: FloatArray
    latent_j_g: FloatArray
    heat_solid_j_g_k: FloatArray
    heat_liquid_j_g_k: FloatArray
    conductivity_w_m_k: FloatArray
    tension_n_m: FloatArray
    interface_w_m2_k: FloatArray
    mould_w_m_k: FloatArray
    mould_j_cm3_k: FloatArray
    permeability_m2: FloatArray
    pour_c: FloatArray
    flask_c: FloatArray
    push_kpa: FloatArray
    pull_m_s2: FloatArray
    pour_g_s: FloatArray
    wider: FloatArray
    longer: FloatArray
    spare: np.ndarray[tuple[int], np.dtype[np.bool_]]

    @property
    def count(self) -> int:
        """Give how many cases there are."""
        return len(self.pour_c)

    def take(self, rows: Sequence[int]) -> "Cases":
        """Give some of the cases."""
        chosen = np.asarray(rows, dtype=np.int64)
        return replace(self, **{f.name: getattr(self, f.name)[..., chosen] for f in fields(self)})


def beside(cases: Sequence[Cases]) -> Cases:
    """Put cases beside each other."""
    return Cases(**{f.name: np.concatenate([getattr(c, f.name) for c in cases], axis=-1) for f in fields(Cases)})


@dataclass(frozen=True, slots=True, eq=False)
class Sized:
    """The sizes of a network in every case: (n, b) of elements, (m, b) of joints, as in `Network`.

    ``bridge_mm`` (m, b) is what conducts heat at a joint, area over distance: from the middle of each element to where
    they meet through its own section.
    """

    volume_mm3: FloatArray
    cooling_mm2: FloatArray
    bore_mm: FloatArray
    length_mm: FloatArray
    section_mm2: FloatArray
    path_mm: FloatArray
    bridge_mm: FloatArray


def sized(network: Network, cases: Cases) -> Sized:
    """Stretch the sizes of a network in every case; a joint's section goes with the thinner of its sides.

    It grows no further than the other side has room. Spare joints have no section in the cases that do not open them.
    """
    wide, long = cases.wider, cases.longer
    a, b = network.joints.T
    is_thinner = network.bore_mm[a] <= network.bore_mm[b]
    thinner, thicker = np.where(is_thinner, a, b), np.where(is_thinner, b, a)
    as_is = network.section_mm2[:, None]
    room = (network.volume_mm3 / network.length_mm)[thicker, None] * wide[thicker] ** 2
    least = as_is * np.minimum(wide[a], wide[b]) ** 2
    section = np.maximum(least, np.minimum(as_is * wide[thinner] ** 2, room))
    there = np.where(network.spare[:, None], cases.spare[None], True)
    section = np.where(there, section, 0.0)
    volume, length = network.volume_mm3[:, None] * wide**2 * long, network.length_mm[:, None] * long
    path = network.path_mm[:, None] * (long[a] + long[b]) / 2
    whole = volume / length
    with np.errstate(divide="ignore"):
        holding = 0.5 * path * (1.0 / np.maximum(whole[a], section) + 1.0 / np.maximum(whole[b], section))
    return Sized(
        volume_mm3=volume,
        cooling_mm2=network.cooling_mm2[:, None] * wide * long,
        bore_mm=network.bore_mm[:, None] * wide,
        length_mm=length,
        section_mm2=section,
        path_mm=path,
        bridge_mm=np.where(section > 0.0, 1.0 / holding, 0.0),
    )
