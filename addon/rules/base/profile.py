"""Process profiles: what the printer, the resin and the mould allow. Editable figures, read from addon/data."""

from dataclasses import dataclass, replace
from pathlib import Path

from .errors import BadInput
from .tables import Table, read_toml

DATA = Path(__file__).resolve().parents[2] / "data"

# Keys a job may override, in the order of the job format.
OVERRIDES = (
    "layer_mm", "bleed_mm", "over_cure_mm", "gap_floor_mm", "web_floor_mm", "strut_web_mm",
    "wall_floor_mm", "overhang_deg", "bridge_mm", "feed_distance_mm", "scale",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Profile:
    """The limits one printer, resin and mould work to. Lengths in mm, angles in degrees from the horizontal.

    ``gap_floor_mm``/``gap_warn_mm`` hold for the printed gap, ``web_floor_mm``/``web_warn_mm`` for the investment in
    a joint, ``strut_web_mm``/``strut_web_aim_mm`` for the investment between a strut and anything not its own.
    A face with a light reach under ``blind_share`` counts as blind. ``build_x_mm``, ``build_y_mm`` and ``build_z_mm``
    are the room of the printer. ``feed_distance_mm`` None: ``feed_wires`` times the local thickness, which goes by the
    alloy. ``scale`` None: automatic, from metal and mould.
    """

    name: str
    layer_mm: float
    bleed_mm: float
    over_cure_mm: float
    gap_floor_mm: float
    gap_warn_mm: float
    web_floor_mm: float
    web_warn_mm: float
    strut_web_mm: float
    strut_web_aim_mm: float
    wall_floor_mm: float
    looks_ceiling_mm: float
    overhang_deg: float
    bridge_mm: float
    peel_pressure_kpa: float
    blind_share: float
    build_x_mm: float
    build_y_mm: float
    build_z_mm: float
    feed_distance_mm: float | None
    scale: float | None
    feed_wires: float = 7.0

    def with_gap_floor(self, floor_mm: float) -> "Profile":
        """Give this profile with another stop for the printed gap; the warning never lies below the stop."""
        return replace(self, gap_floor_mm=floor_mm, gap_warn_mm=max(floor_mm, self.gap_warn_mm))


def profile_names(folder: Path = DATA) -> tuple[str, ...]:
    """List the profiles in a data folder."""
    return tuple(sorted(read_toml(folder / "profiles.toml")))


def load_profile(name: str = "bench", folder: Path = DATA) -> Profile:
    """Read a profile by name. Raises BadInput naming the profiles there are."""
    file = folder / "profiles.toml"
    tables = read_toml(file)
    if name not in tables:
        raise BadInput(f"process.profile: there is no profile {name!r}; choose {', '.join(sorted(tables))}")
    keys = tuple(Profile.__dataclass_fields__)[1:]
    table = Table(tables[name], f"{file.name}: {name}", known=(*keys, "note"))
    return override(_EMPTY, table, name=name, complete=True)


def override(profile: Profile, table: Table, *, name: str | None = None, complete: bool = False) -> Profile:
    """Lay the keys written in a table over a profile. With ``complete`` every key must be there."""

    def number(
        key: str, *, above: float | None = None, least: float | None = None, most: float, unit: str = "mm"
    ) -> float:
        default = None if complete else getattr(profile, key)
        return table.number(key, default, above=above, least=least, most=most, unit=unit)

    gap_floor = number("gap_floor_mm", least=0.0, most=5.0)
    web_floor = number("web_floor_mm", least=0.0, most=5.0)
    strut_web = number("strut_web_mm", least=0.0, most=10.0)
    return Profile(
        name=name or profile.name,
        layer_mm=number("layer_mm", above=0.0, most=1.0),
        bleed_mm=number("bleed_mm", least=0.0, most=1.0),
        over_cure_mm=number("over_cure_mm", least=0.0, most=1.0),
        gap_floor_mm=gap_floor,
        gap_warn_mm=max(gap_floor, number("gap_warn_mm", least=0.0, most=5.0)),
        web_floor_mm=web_floor,
        web_warn_mm=max(web_floor, number("web_warn_mm", least=0.0, most=5.0)),
        strut_web_mm=strut_web,
        strut_web_aim_mm=max(strut_web, number("strut_web_aim_mm", least=0.0, most=10.0)),
        wall_floor_mm=number("wall_floor_mm", least=0.0, most=10.0),
        looks_ceiling_mm=number("looks_ceiling_mm", above=0.0, most=10.0),
        overhang_deg=number("overhang_deg", least=0.0, most=89.0, unit="degrees"),
        bridge_mm=number("bridge_mm", least=0.0, most=100.0),
        peel_pressure_kpa=number("peel_pressure_kpa", least=0.0, most=1000.0, unit="kPa"),
        blind_share=number("blind_share", least=0.0, most=1.0, unit="(a share)"),
        build_x_mm=number("build_x_mm", above=0.0, most=1000.0),
        build_y_mm=number("build_y_mm", above=0.0, most=1000.0),
        build_z_mm=number("build_z_mm", above=0.0, most=1000.0),
        feed_distance_mm=_or_auto(
            table, "feed_distance_mm", profile.feed_distance_mm, above=0.0, most=1000.0, unit="mm"
        ),
        scale=_or_auto(table, "scale", profile.scale, least=0.5, most=2.0),
    )


def _or_auto(
    table: Table,
    key: str,
    default: float | None,
    *,
    above: float | None = None,
    least: float | None = None,
    most: float,
    unit: str = "",
) -> float | None:
    if not table.has(key):
        return default
    if table.raw(key) == "auto":
        return None
    return table.number(key, above=above, least=least, most=most, unit=f'{unit} or "auto"'.strip())


_EMPTY = Profile("", *(0.0,) * 18, None, None)
