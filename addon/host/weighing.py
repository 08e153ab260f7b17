"""What a chain and its lattice weigh in the scene's alloy, kept on the chain while it is designed.

Volumes are noted when the chain is made, masses when it is made or the alloy chosen; the panel only reads them.
"""

from typing import Any

from ..rules.base.errors import BadInput
from ..rules.cast.weights import mass_g
from ..rules.chain.chain import Chain
from ..rules.solid.measure import volume_mm3
from ..verbs.own_materials import own_materials


def note_chain(figures: Any, scene_group: Any, chain: Chain) -> None:
    """Note the metal of a chain that was just made; links that share a mesh are measured once."""
    known: dict[int, float] = {}
    for body in chain.bodies:
        if id(body.mesh) not in known:
            known[id(body.mesh)] = volume_mm3(body.mesh)
    figures.chain_mm3 = sum(known[id(body.mesh)] for body in chain.bodies)
    weigh(figures, scene_group)


def note_lattice(figures: Any, scene_group: Any, lattice_mm3: float) -> None:
    """Note the metal of a lattice that was just planned."""
    figures.lattice_mm3 = lattice_mm3
    weigh(figures, scene_group)


def weigh(figures: Any, scene_group: Any, *, again: bool = False) -> None:
    """Write the masses. The alloy's density is read from the tables where another alloy was weighed, or ``again``."""
    if again or figures.weighed_in != scene_group.alloy:
        try:
            figures.metal_g_cm3 = own_materials().alloy(scene_group.alloy).density_g_cm3.value
        except BadInput:
            # An alloy of another machine's tables: planning says so, and no weight is shown.
            figures.metal_g_cm3 = 0.0
        figures.weighed_in = scene_group.alloy
    figures.chain_g = mass_g(figures.chain_mm3, figures.metal_g_cm3)
    figures.lattice_g = mass_g(figures.lattice_mm3, figures.metal_g_cm3)


def weigh_all(scene: Any) -> None:
    """Weigh the chains of a scene after its alloy was chosen."""
    for ob in scene.objects:
        if ob.linkwright.schema > 0 and ob.library is None:
            weigh(ob.linkwright.figures, scene.linkwright)
