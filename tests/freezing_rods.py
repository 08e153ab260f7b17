"""Metal and mould of the simplest kinds for checks of freezing: rods cut into elements, thick mould, stores."""

from dataclasses import replace

import numpy as np

from addon.rules.base.progress import finish
from addon.rules.cast.cases import Cases, sized
from addon.rules.cast.freeze import Frozen, freeze
from addon.rules.cast.mould_around import Surroundings, surroundings
from addon.rules.cast.mould_law import advance, at_rest, pull
from addon.rules.cast.network import BUTTON, LINK, Mould, Network, Owner

STERLING = {
    "solid_g_cm3": 10.36,
    "liquid_g_cm3": 9.21,
    "solidus_c": 802.0,
    "liquidus_c": 893.0,
    "latent_j_g": 112.0,
    "heat_solid_j_g_k": 0.245,
    "heat_liquid_j_g_k": 0.32,
    "conductivity_w_m_k": 200.0,
    "tension_n_m": 0.92,
}
GYPSUM = {
    "interface_w_m2_k": 500.0,
    "mould_w_m_k": 0.4,
    "mould_j_cm3_k": 1.23,
    "permeability_m2": 1e-13,
}
POUR = {"pour_c": 970.0, "flask_c": 600.0, "push_kpa": 25.0, "pull_m_s2": 9.81, "pour_g_s": 150.0}
# So much passes so easily that nothing is held up there.
OPEN = 1e9


def cases_of(count: int, **figures: float | list[float]) -> Cases:
    """Sterling silver in gypsum for ``count`` elements, with some figures changed: a list gives a case for each."""
    figures = STERLING | GYPSUM | POUR | figures
    b = max(np.size(v) for v in figures.values())
    rows = {name: np.broadcast_to(np.asarray(value, dtype=float), b).copy() for name, value in figures.items()}
    return Cases(**rows, wider=np.ones((count, b)), longer=np.ones((count, b)), spare=np.zeros(b, dtype=bool))


def pinned_figures(inputs: dict) -> dict[str, float]:
    """Give the figures of a pinned heat solve of `tests/published/heat_3d.json` as those of a case."""
    metal, sand = inputs["metal"], inputs["mould"]
    return {
        "solid_g_cm3": metal["density"],
        "liquid_g_cm3": metal["density"],
        "solidus_c": metal["solidus"],
        "liquidus_c": metal["liquidus"],
        "latent_j_g": metal["latent"],
        "heat_solid_j_g_k": metal["heat_solid"],
        "heat_liquid_j_g_k": metal["heat_liquid"],
        "conductivity_w_m_k": metal["conductivity"],
        "mould_w_m_k": sand["conductivity"],
        "mould_j_cm3_k": sand["heat"],
        "interface_w_m2_k": sand["interface"],
        "pour_c": inputs["pour_c"],
        "flask_c": inputs["case"]["flask_c"],
    }


def network_of(volume, cooling, joints=(), section=(), path=(), owner=None, root=0, length=1.0) -> Network:
    """A network of elements of which only sizes and joints matter here."""
    volume, cooling = np.asarray(volume, dtype=float), np.asarray(cooling, dtype=float)
    n, m = len(volume), len(joints)
    owner = np.zeros(n, dtype=np.int64) if owner is None else np.asarray(owner)
    return Network(
        volume_mm3=volume,
        cooling_mm2=cooling,
        bore_mm=4.0 * volume / cooling,
        length_mm=np.full(n, float(length)),
        at=np.zeros((n, 3)),
        owner=owner,
        owners=(Owner("button", BUTTON), *(Owner(f"link {i}", LINK) for i in range(1, int(owner.max()) + 1))),
        tip=np.zeros(n, dtype=bool),
        joints=np.asarray(joints, dtype=np.int64).reshape(-1, 2),
        section_mm2=np.broadcast_to(np.asarray(section, dtype=float), m).copy(),
        path_mm=np.broadcast_to(np.asarray(path, dtype=float), m).copy(),
        loss=np.zeros(m),
        spare=np.zeros(m, dtype=bool),
        depth_mm=np.full(n, 50.0),
        root=root,
    )


def mould_of(network: Network, radius=np.inf, store=0.0, gap=np.inf, passing=0.0, cell=1e12) -> Mould:
    """One patch on every element, all before one cell that is so large that it stays cold if nothing else is said."""
    n = len(network.volume_mm3)
    return Mould(
        element=np.arange(n),
        area_mm2=network.cooling_mm2.copy(),
        gap_mm=np.broadcast_to(np.asarray(gap, dtype=float), n).copy(),
        facing=np.full(n, -1),
        store_mm3=np.broadcast_to(np.asarray(store, dtype=float), n).copy(),
        passing_mm=np.broadcast_to(np.asarray(passing, dtype=float), n).copy(),
        cell=np.zeros(n, dtype=np.int64),
        radius_mm=np.broadcast_to(np.asarray(radius, dtype=float), n).copy(),
        reach_mm=4.0,
        cell_mm3=np.array([cell]),
        cell_joints=np.zeros((0, 2), dtype=np.int64),
        cell_passing_mm=np.zeros(0),
        outward_mm=np.zeros(1),
        cell_at=np.zeros((1, 3)),
    )


def rod(diameters, length=1.0, owner=None) -> Network:
    """Round pieces of so many diameters in a row, each so long."""
    d = np.asarray(diameters, dtype=float)
    n = len(d)
    a = np.pi / 4.0 * d**2
    joints = np.stack([np.arange(n - 1), np.arange(1, n)], axis=1)
    return network_of(a * length, np.pi * d * length, joints, np.minimum(a[:-1], a[1:]), length, owner, length=length)


def frozen(network: Network, mould: Mould, cases: Cases, **options) -> Frozen:
    return finish(freeze(network, mould, cases, **options))


def held_at(around: Surroundings, metal_c: float, steps) -> tuple[np.ndarray, np.ndarray]:
    """Heat in J that metal held at a temperature has given to the mould after every step, and the clock."""
    state, given, taken = at_rest(around), 0.0, []
    metal = np.full(around.thick_film.shape, metal_c)
    for seconds in steps:
        step = pull(around, state, metal, float(seconds))
        given = given + ((step.conductance * metal - step.source) * seconds).sum(axis=0)
        state = advance(around, state, step, metal)
        taken.append(given)
    return np.cumsum(steps), np.array(taken)


def around_one(cases: Cases, radius=np.inf, **mould) -> Surroundings:
    """The mould around one element of 1 mm2 surface."""
    one = network_of([1.0], [1.0])
    return surroundings(mould_of(one, radius, **mould), sized(one, cases), cases)


def wider(cases: Cases, factor) -> Cases:
    return replace(cases, wider=cases.wider * np.asarray(factor, dtype=float))
