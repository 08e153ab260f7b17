"""Channels cut into elements by hand, for checks of filling: bores in a row, rings, and what joins them."""

import math
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from addon.rules.base.progress import finish
from addon.rules.cast.cases import Cases
from addon.rules.cast.fill import STEPS, Filled, fill
from addon.rules.cast.network import BUTTON, Network, Owner
from tests.freezing_rods import cases_of, mould_of

# What a check of flow alone takes in place of figures of metal and mould: no heat is lost, and gas leaves freely.
COLD_DOES_NOTHING = {"interface_w_m2_k": 1e-6, "conductivity_w_m_k": 1e-6, "permeability_m2": 1e-3}
NO_LIMIT_G_S = 1e9


@dataclass
class Channel:
    """A network as it is put together; the root is a button of ``root_mm3``, ``root_depth_mm`` under the cone's top."""

    root_mm3: float = 500.0
    root_depth_mm: float = 0.0
    rows: list[tuple] = field(default_factory=list)
    meets: list[tuple] = field(default_factory=list)
    owners: list[Owner] = field(default_factory=list)

    def __post_init__(self):
        self.owners.append(Owner("button", BUTTON))
        self.rows.append((self.root_mm3, 1e-3, 20.0, 1e-3, 0, self.root_depth_mm, False))

    def owner(self, name: str, kind: str, feeds: str | None = None) -> int:
        self.owners.append(Owner(name, kind, feeds))
        return len(self.owners) - 1

    def bore(self, owner: int, mm: float, length: float, parts: int, depths, *, tip=False) -> list[int]:
        """A round bore in so many parts; ``depths`` one for all, or those of its ends."""
        begin, end = np.broadcast_to(np.asarray(depths, dtype=float), 2)
        each = length / parts
        made = []
        for k in range(parts):
            depth = begin + (end - begin) * (k + 0.5) / parts
            made.append(self.element(owner, math.pi / 4 * mm**2 * each, math.pi * mm * each, mm, each, depth, tip))
        for a, b in pairwise(made):
            self.join(a, b)
        return made

    def ring(self, owner: int, mm: float, length: float, parts: int, depths) -> list[int]:
        """A closed round bore; it begins at the first of ``depths`` and is at the second half way round."""
        begin, end = np.broadcast_to(np.asarray(depths, dtype=float), 2)
        made = self.bore(owner, mm, length, parts, begin)
        for k, e in enumerate(made):
            depth = begin + (end - begin) * 0.5 * (1.0 - math.cos(2.0 * math.pi * k / parts))
            self.rows[e] = (*self.rows[e][:5], depth, False)
        self.join(made[-1], made[0])
        return made

    def element(self, owner, volume, cooling, bore, length, depth, tip=False) -> int:
        self.rows.append((volume, cooling, bore, length, owner, depth, tip))
        return len(self.rows) - 1

    def join(self, a, b, section=None, path=None, loss=0.0, spare=False):
        bore, length = min(self.rows[a][2], self.rows[b][2]), (self.rows[a][3] + self.rows[b][3]) / 2.0
        section = math.pi / 4 * bore**2 if section is None else section
        self.meets.append((a, b, section, length if path is None else path, loss, spare))

    def network(self) -> Network:
        volume, cooling, bore, length, owner, depth, tip = (np.array(x) for x in zip(*self.rows, strict=True))
        a, b, section, path, loss, spare = (np.array(x) for x in zip(*self.meets, strict=True))
        return Network(
            volume_mm3=volume,
            cooling_mm2=cooling,
            bore_mm=bore,
            length_mm=length,
            at=np.zeros((len(volume), 3)),
            owner=owner,
            owners=tuple(self.owners),
            tip=tip,
            joints=np.stack([a, b], axis=1),
            section_mm2=section.astype(float),
            path_mm=path.astype(float),
            loss=loss.astype(float),
            spare=spare,
            depth_mm=depth.astype(float),
            root=0,
        )


def filled(network: Network, cases: Cases, **options) -> Filled:
    """Fill it in a mould that is thick all round."""
    return finish(fill(network, mould_of(network, radius=network.bore_mm / 2.0), cases, **options))


def running(network: Network, longest_s: float = 20.0, steps: int = STEPS, **figures) -> Filled:
    """Fill it with metal that keeps its heat, in a mould that lets all gas out."""
    return filled(
        network, cases_of(len(network.volume_mm3), **COLD_DOES_NOTHING | figures), longest_s=longest_s, steps=steps
    )


def straight(bore: float, length: float, parts: int, *, root_depth=0.0, depths=None, root_mm3=500.0) -> Network:
    """One bore from the button on, level with it if no depths are given."""
    made = Channel(root_mm3, root_depth)
    link = made.owner("link 1", "link")
    elements = made.bore(link, bore, length, parts, root_depth if depths is None else depths)
    made.join(0, elements[0])
    return made.network()
