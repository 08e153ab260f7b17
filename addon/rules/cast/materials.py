"""Alloys, investments, resins, flasks and spin arms, figures with their source: ours, the user's laid over them."""

import difflib
import os
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, Protocol, TypeVar

from ..base.errors import BadInput
from ..base.profile import DATA
from ..base.tables import Table, read_toml
from .figures import BySection, Figure, read_by_section, read_figure, read_numbers
from .own_file import OwnFile, read_own
from .weights import mass_mix_density_g_cm3

CAUTIONS = ("zinc", "lead", "nickel")
FILES = ("alloys.toml", "investments.toml", "resins.toml", "flasks.toml", "spin_arms.toml")

# Limits of what a figure can be, for alloys and investments and resins: key, above (excluded) or least, most.
_ALLOY_LIMITS = {
    "liquid_density_g_cm3": (0.5, 30.0), "solidus_c": (100.0, 3500.0), "liquidus_c": (100.0, 3500.0),
    "latent_heat_kj_kg": (1.0, 1000.0), "heat_solid_j_kg_k": (50.0, 2000.0), "heat_liquid_j_kg_k": (50.0, 2000.0),
    "conductivity_solid_w_m_k": (1.0, 1000.0), "conductivity_liquid_w_m_k": (1.0, 1000.0),
    "shrinkage_percent": (0.0, 10.0), "surface_tension_n_m": (0.05, 5.0), "scrap_percent": (0.0, 100.0),
    "stand_min": (0.0, 1000.0),
}  # fmt: skip
_INVESTMENT_LIMITS = {
    "water_per_powder": (0.05, 2.0), "powder_density_g_cm3": (1.0, 8.0), "mould_density_g_cm3": (0.3, 5.0),
    "conductivity_w_m_k": (0.01, 20.0), "heat_j_kg_k": (100.0, 3000.0), "thermal_expansion_percent": (0.0, 5.0),
    "setting_expansion_percent": (-1.0, 5.0), "expanded_above_c": (50.0, 1500.0), "limit_c": (100.0, 2000.0),
    "carbon_limit_c": (100.0, 2000.0), "clean_limit_c": (100.0, 2000.0), "hot_strength_mpa": (0.01, 200.0),
    "interface_w_m2_k": (10.0, 1e5), "permeability_m2": (1e-18, 1e-8),
    "working_min": (0.5, 120.0), "rest_h": (0.0, 72.0), "ramp_c_per_h": (5.0, 2000.0),
}  # fmt: skip
# What a complete investment of the user's may lack, as one written before there were these: of ours of the same bond.
_LATER_KEYS = ("interface_w_m2_k", "permeability_m2")
_RESIN_LIMITS = {
    "density_g_cm3": (0.5, 3.0), "slow_from_c": (20.0, 1000.0), "slow_to_c": (20.0, 1000.0),
    "slow_ramp_c_per_h": (5.0, 2000.0), "extra_top_hold_h": (0.0, 48.0),
}  # fmt: skip
_SPIN_ARM_LIMITS = {"flask_diameter_mm": (10.0, 1000.0), "flask_height_mm": (10.0, 1000.0), "load_g": (50.0, 1e6)}


@dataclass(frozen=True, slots=True)
class Alloy:
    """A casting alloy. Every key names its unit; ``shrinkage_percent`` is linear, from solidus to 20 degC.

    ``gypsum``: whether a gypsum-bonded mould takes it: yes, care or no. ``superheat_k`` over the liquidus and
    ``flask_c`` go by the thinnest section. ``mix_percent`` by mass, empty when it is not known.
    """

    name: str
    label: str
    gypsum: str
    cautions: tuple[str, ...]
    mix_percent: Mapping[str, float]
    density_g_cm3: Figure
    liquid_density_g_cm3: Figure
    solidus_c: Figure
    liquidus_c: Figure
    latent_heat_kj_kg: Figure
    heat_solid_j_kg_k: Figure
    heat_liquid_j_kg_k: Figure
    conductivity_solid_w_m_k: Figure
    conductivity_liquid_w_m_k: Figure
    shrinkage_percent: Figure
    surface_tension_n_m: Figure
    scrap_percent: Figure
    stand_min: Figure
    superheat_k: BySection
    flask_c: BySection


@dataclass(frozen=True, slots=True)
class Burnout:
    """A burnout schedule for flasks up to a size: holds in degC and hours, then the hold at casting temperature."""

    diameter_mm: float
    height_mm: float
    hold_c: tuple[float, ...]
    hold_h: tuple[float, ...]
    cast_hold_h: float


@dataclass(frozen=True, slots=True)
class Investment:
    """A mould material. ``bond`` is gypsum or phosphate; ``water_per_powder`` by mass.

    ``limit_c`` is the hottest flask, ``carbon_limit_c`` the same with carbon left in, ``clean_limit_c`` where the bond
    itself breaks down. Conductivity, heat, density and permeability are those of the burnt-out mould; ``interface``
    is what passes between metal and mould.
    """

    name: str
    label: str
    bond: str
    water_per_powder: Figure
    powder_density_g_cm3: Figure
    mould_density_g_cm3: Figure
    conductivity_w_m_k: Figure
    heat_j_kg_k: Figure
    thermal_expansion_percent: Figure
    setting_expansion_percent: Figure
    expanded_above_c: Figure
    limit_c: Figure
    carbon_limit_c: Figure
    clean_limit_c: Figure
    hot_strength_mpa: Figure
    interface_w_m2_k: Figure
    permeability_m2: Figure
    working_min: Figure
    rest_h: Figure
    ramp_c_per_h: Figure
    burnout: tuple[Burnout, ...]
    burnout_status: str
    burnout_source: str


@dataclass(frozen=True, slots=True)
class Resin:
    """A pattern material in general terms. ``melts``: it runs out before it burns, as wax does."""

    name: str
    label: str
    density_g_cm3: Figure
    slow_from_c: Figure
    slow_to_c: Figure
    slow_ramp_c_per_h: Figure
    extra_top_hold_h: Figure
    melts: bool


@dataclass(frozen=True, slots=True)
class Flask:
    """A flask: inside sizes in mm, wall solid or perforated; ``wall_mm`` of steel, 2 unless said (from memory)."""

    name: str
    diameter_mm: float
    height_mm: float
    perforated: bool = False
    wall_mm: float = 2.0


@dataclass(frozen=True, slots=True)
class SpinArm:
    """A spin machine: the largest flask it takes, and how much flask, mould and metal together may weigh."""

    name: str
    label: str
    flask_diameter_mm: Figure
    flask_height_mm: Figure
    load_g: Figure


class _Named(Protocol):
    @property
    def name(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Materials:
    """All materials by kind, each in the order of its file; ``warnings`` say which user entries were left out."""

    alloys: tuple[Alloy, ...]
    investments: tuple[Investment, ...]
    resins: tuple[Resin, ...]
    flasks: tuple[Flask, ...]
    spin_arms: tuple[SpinArm, ...] = ()
    warnings: tuple[str, ...] = ()

    def alloy(self, name: str) -> Alloy:
        """Find an alloy. Raises BadInput that names those there are."""
        return _find(self.alloys, name, "cast.alloy")

    def investment(self, name: str) -> Investment:
        """Find an investment. Raises BadInput that names those there are."""
        return _find(self.investments, name, "cast.investment")

    def resin(self, name: str) -> Resin:
        """Find a resin. Raises BadInput that names those there are."""
        return _find(self.resins, name, "cast.resin")

    def spin_arm(self, name: str) -> SpinArm:
        """Find a spin arm. Raises BadInput that names those there are."""
        return _find(self.spin_arms, name, "cast.spin_arm")


T = TypeVar("T", bound=_Named)


def load_materials(data: Path = DATA, user: Path | None = None) -> Materials:
    """Read the tables of ``data`` and lay the user's own of folder ``user`` over them.

    A user entry of a known name changes the keys it writes; a new name must be complete, or say ``like = "name"``. What
    entries of earlier versions had not yet comes from ours of the same bond.
    A user's entry that cannot be used is left out and named with its line in ``warnings``; all others count. Raises
    BadInput for ``data``.
    """
    warnings: list[str] = []

    def kind(file: str, make: Callable[[str, Any, str], T]) -> tuple[T, ...]:
        ours = read_toml(data / file)
        found = {name: make(name, values, f"{file}: {name}") for name, values in ours.items()}
        if user is None or not os.path.exists(user / file):
            return tuple(found.values())
        theirs = read_own(user / file)
        warnings.extend(theirs.faults)
        for name, values in theirs.tables.items():
            where = f"{theirs.path}: {name}"
            try:
                laid = _laid_over(ours, theirs.tables, name, where) if isinstance(values, dict) else values
                found[name] = make(name, laid, where)
            except BadInput as error:
                warnings.append(_with_line(str(error), where, theirs, name))
        return tuple(found.values())

    materials = Materials(
        alloys=kind("alloys.toml", _alloy),
        investments=kind("investments.toml", _investment),
        resins=kind("resins.toml", _resin),
        flasks=kind("flasks.toml", _flask),
        spin_arms=kind("spin_arms.toml", _spin_arm),
    )
    return replace(materials, warnings=(*warnings, *_strangers(user)))


def _with_line(text: str, where: str, file: OwnFile, name: str) -> str:
    """Put the line of the key a message names after the file's name."""
    told = text.removeprefix(where)
    key = re.match(r"\.([\w. -]+?)(?::|$)", told)
    line = file.line_of(name, key[1] if key is not None else "")
    return f"{file.path} line {line}: {name}{told} (the entry {name} was left out)"


def _strangers(user: Path | None) -> list[str]:
    """Name files of the user's folder that nothing reads, since a misspelt name would go unseen."""
    if user is None:
        return []
    try:
        files = sorted(user.iterdir())
    except FileNotFoundError:
        return []
    except NotADirectoryError:
        return [f"{user}: is no folder; put your tables into a folder of that name"]
    except OSError as error:
        return [f"{user}: cannot be read ({error.strerror or error}); check its permissions"]
    read = [user / file for file in FILES if os.path.exists(user / file)]
    strange = [p for p in files if _meant(p.name) and not any(p.samefile(one) for one in read)]
    return [f"{p}: is not read; rename it to one of {', '.join(FILES)}" for p in strange]


def _meant(name: str) -> bool:
    """Tell whether a file looks as if it were to be a table: a note or a picture beside the tables is not."""
    stem, *endings = name.lower().split(".")
    return bool(endings) and bool(stem) and ("toml" in endings or f"{stem}.toml" in FILES)


def _laid_over(ours: Mapping[str, Any], theirs: Mapping[str, Any], name: str, where: str) -> dict[str, Any]:
    """Lay a user's entry over ours of the same name, or over the one that ``like`` names, which may be the user's."""
    values = theirs[name]
    base: dict[str, Any] = ours.get(name, {})
    like = values.get("like")
    if like is not None:
        both = {key: values for key, values in {**theirs, **ours}.items() if key != name}
        if not isinstance(like, str) or not isinstance(both.get(like), dict):
            raise BadInput(f"{where}.like: there is no other entry {like!r}; name one of {', '.join(both)}")
        if like not in ours and "like" in theirs[like]:
            raise BadInput(f"{where}.like: {like!r} is itself like another; name that one")
        base = both[like]
    laid = {**base, **{k: v for k, v in values.items() if k != "like"}}
    kin: Mapping[str, Any] = next(
        (one for one in ours.values() if "bond" in one and one["bond"] == laid.get("bond")), {}
    )
    laid = {key: kin[key] for key in _LATER_KEYS if key in kin} | laid
    if "mix_percent" in values and "density_g_cm3" not in values:
        laid.pop("density_g_cm3", None)
    return laid


def _alloy(name: str, values: object, where: str) -> Alloy:
    known = tuple(Alloy.__dataclass_fields__)[1:]
    table = Table(values, where, known=known)
    mix = _mix(table)
    if mix and not table.has("density_g_cm3"):
        rho = mass_mix_density_g_cm3(mix, where=table.name("mix_percent"))
        density = Figure(rho, rho, rho, "derived", "mass mix of its elements")
    else:
        density = read_figure(table, "density_g_cm3", least=0.5, most=30.0)
    figures = {key: read_figure(table, key, least=least, most=most) for key, (least, most) in _ALLOY_LIMITS.items()}
    if figures["solidus_c"].value > figures["liquidus_c"].value:
        raise BadInput(
            f"{table.name('solidus_c')}: {figures['solidus_c'].value:g} is above the liquidus "
            f"{figures['liquidus_c'].value:g}; swap the two"
        )
    return Alloy(
        name=name,
        label=table.text("label", name),
        gypsum=table.choice("gypsum", ("yes", "care", "no")),
        cautions=_words(table, "cautions", CAUTIONS),
        mix_percent=MappingProxyType(mix),
        density_g_cm3=density,
        **figures,
        superheat_k=read_by_section(table, "superheat_k", least=0.0, most=500.0),
        flask_c=read_by_section(table, "flask_c", least=20.0, most=1500.0),
    )


def _mix(table: Table) -> dict[str, float]:
    written = table.raw("mix_percent")
    if written is None:
        return {}
    if not isinstance(written, dict):
        raise BadInput(f"{table.name('mix_percent')}: must be a table such as {{ Ag = 92.5, Cu = 7.5 }}")
    part = Table(written, table.name("mix_percent"), known=tuple(written))
    mix = {element: part.number(element, above=0.0, most=100.0, unit="percent by mass") for element in written}
    total = sum(mix.values())
    if not 99.0 <= total <= 101.0:
        raise BadInput(f"{table.name('mix_percent')}: the shares add up to {total:g}; they must make 100")
    return mix


def _words(table: Table, key: str, choices: tuple[str, ...]) -> tuple[str, ...]:
    written = table.raw(key)
    if not isinstance(written, list) or any(w not in choices for w in written):
        raise BadInput(f"{table.name(key)}: must be a list of words out of {', '.join(choices)}; it can be empty")
    return tuple(written)


def _investment(name: str, values: object, where: str) -> Investment:
    table = Table(values, where, known=tuple(Investment.__dataclass_fields__)[1:])
    figures = {key: read_figure(table, key, least=lo, most=hi) for key, (lo, hi) in _INVESTMENT_LIMITS.items()}
    rows = table.raw("burnout")
    if not isinstance(rows, list) or not rows:
        raise BadInput(f"{table.name('burnout')}: missing; write one or more [[{name}.burnout]] tables")
    burnout = [_burnout(row, f"{table.name('burnout')} {i + 1}") for i, row in enumerate(rows)]
    return Investment(
        name=name,
        label=table.text("label", name),
        bond=table.choice("bond", ("gypsum", "phosphate")),
        **figures,
        burnout=tuple(sorted(burnout, key=lambda b: b.diameter_mm**2 * b.height_mm)),
        burnout_status=table.text("burnout_status"),
        burnout_source=table.text("burnout_source"),
    )


def _burnout(row: object, where: str) -> Burnout:
    table = Table(row, where, known=tuple(Burnout.__dataclass_fields__))
    hold_c = read_numbers(table, "hold_c", least=20.0, most=1500.0)
    if not hold_c or list(hold_c) != sorted(set(hold_c)):
        raise BadInput(f"{table.name('hold_c')}: must be one or more temperatures that rise")
    return Burnout(
        diameter_mm=table.number("diameter_mm", above=0.0, most=1000.0),
        height_mm=table.number("height_mm", above=0.0, most=1000.0),
        hold_c=hold_c,
        hold_h=read_numbers(table, "hold_h", least=0.0, most=72.0, count=len(hold_c)),
        cast_hold_h=table.number("cast_hold_h", least=0.0, most=72.0),
    )


def _resin(name: str, values: object, where: str) -> Resin:
    table = Table(values, where, known=tuple(Resin.__dataclass_fields__)[1:])
    figures = {key: read_figure(table, key, least=lo, most=hi) for key, (lo, hi) in _RESIN_LIMITS.items()}
    if figures["slow_from_c"].value > figures["slow_to_c"].value:
        raise BadInput(f"{table.name('slow_from_c')}: is above slow_to_c; swap the two")
    return Resin(name=name, label=table.text("label", name), **figures, melts=table.flag("melts", False))


def _flask(name: str, values: object, where: str) -> Flask:
    table = Table(values, where, known=tuple(Flask.__dataclass_fields__)[1:])
    return Flask(
        name=name,
        diameter_mm=table.number("diameter_mm", above=10.0, most=1000.0, unit="mm"),
        height_mm=table.number("height_mm", above=10.0, most=1000.0, unit="mm"),
        perforated=table.flag("perforated", False),
        wall_mm=table.number("wall_mm", 2.0, above=0.0, most=20.0, unit="mm"),
    )


def _spin_arm(name: str, values: object, where: str) -> SpinArm:
    table = Table(values, where, known=tuple(SpinArm.__dataclass_fields__)[1:])
    figures = {key: read_figure(table, key, least=lo, most=hi) for key, (lo, hi) in _SPIN_ARM_LIMITS.items()}
    return SpinArm(name=name, label=table.text("label", name), **figures)


def _find(items: Iterable[T], name: str, key: str) -> T:
    by_name = {item.name: item for item in items}
    if name in by_name:
        return by_name[name]
    near = difflib.get_close_matches(name, by_name, n=1)
    hint = f"did you mean {near[0]!r}? There are" if near else "choose"
    raise BadInput(f"{key}: there is no {name!r}; {hint} {', '.join(by_name)}")
