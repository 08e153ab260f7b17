"""Job files: one chain, its layout, process, feed and pour, as TOML. Every length in mm, every temperature in degC."""

import re
from dataclasses import dataclass
from pathlib import Path

from ..base.errors import BadInput
from ..base.profile import OVERRIDES, Profile, load_profile, override
from ..base.tables import Table, read_toml
from ..cast.spec import HEADS, CastSpec
from ..chain.spec import FAMILIES, SHAPES, ChainSpec, LayoutSpec
from ..feed.spec import FeedSpec

SCHEMA = 1
MAX_LINKS = 5000

_CHAIN_KEYS = (
    "family", "wire_mm", "link_length_mm", "link_width_mm", "gap_mm", "wire_width_mm", "section", "file", "turn_deg",
)  # fmt: skip
_LAYOUT_KEYS = (
    "shape", "inner_length_mm", "wrist_mm", "ease_mm", "length_mm", "links", "points", "hand_mm", "clasp_length_mm",
    "fit", "face", "ends",
)  # fmt: skip
_FEED_KEYS = ("base_ring", "upper_ring", "tip_mm", "gate_mm", "gate_length_mm", "ring_mm")
_CAST_KEYS = ("alloy", "investment", "metal_c", "flask_c", "head", "flask")
_READY_FAMILIES = ("curb", "trace")
_READY_SHAPES = ("straight", "ring", "curve")


@dataclass(frozen=True, slots=True)
class Job:
    """Everything one piece is made from."""

    name: str
    chain: ChainSpec
    layout: LayoutSpec
    profile: Profile
    feed: FeedSpec
    cast: CastSpec


def read_job(path: Path) -> Job:
    """Read a job file.

    Raises BadInput that names the file, the key and the range that works.
    """
    return parse_job(read_toml(path), path.name)


def parse_job(values: dict[str, object], where: str) -> Job:
    """Check the tables of a job; ``where`` names them in messages."""
    top = Table(values, f"{where}:", known=("schema", "name", "chain", "layout", "process", "feed", "cast"))
    schema = top.whole("schema", least=1, most=1_000_000)
    if schema != SCHEMA:
        raise BadInput(f"{top.name('schema')}: {schema} is newer than this version reads; write schema = {SCHEMA}")
    for needed in ("chain", "layout"):
        if not top.has(needed):
            raise BadInput(f"{where}: the table [{needed}] is missing; add it with its keys")
    return Job(
        name=top.text("name", "Untitled chain").strip() or "Untitled chain",
        chain=_chain(top.table("chain", known=_CHAIN_KEYS)),
        layout=_layout(top.table("layout", known=_LAYOUT_KEYS)),
        profile=_profile(top.table("process", known=("profile", *OVERRIDES))),
        feed=_feed(top.table("feed", known=_FEED_KEYS)),
        cast=_cast(top.table("cast", known=_CAST_KEYS)),
    )


def _chain(table: Table) -> ChainSpec:
    family = table.choice("family", FAMILIES)
    if family not in _READY_FAMILIES:
        ready = ", ".join(_READY_FAMILIES)
        raise BadInput(f"{table.name('family')}: {family!r} cannot be made by this version yet; choose {ready}")
    section = table.choice("section", ("round", "D", "rectangle"), "round")
    if section != "round" or table.has("wire_width_mm"):
        key = "wire_width_mm" if section == "round" else "section"
        raise BadInput(f"{table.name(key)}: only round wire can be made by this version yet; leave the key out")
    for key in ("file", "turn_deg"):
        if table.has(key):
            raise BadInput(f'{table.name(key)}: belongs to family "mesh"; leave it out for {family!r}')
    return ChainSpec(
        family=family,
        wire_mm=table.number("wire_mm", above=0.0, most=100.0, unit="mm"),
        link_length_mm=table.number("link_length_mm", above=0.0, most=1000.0, unit="mm"),
        link_width_mm=table.number("link_width_mm", above=0.0, most=1000.0, unit="mm"),
        gap_mm=table.number("gap_mm", above=0.0, most=20.0, unit="mm"),
    )


def _layout(table: Table) -> LayoutSpec:
    shape = table.choice("shape", SHAPES)
    if shape not in _READY_SHAPES:
        ready = ", ".join(_READY_SHAPES)
        raise BadInput(f"{table.name('shape')}: {shape!r} cannot be made by this version yet; choose {ready}")
    inner = table.optional_number("inner_length_mm", above=0.0, most=100_000.0, unit="mm")
    wrist = table.optional_number("wrist_mm", above=0.0, most=100_000.0, unit="mm")
    ease = table.optional_number("ease_mm", least=0.0, most=1000.0, unit="mm")
    length = table.optional_number("length_mm", above=0.0, most=100_000.0, unit="mm")
    links = table.optional_whole("links", least=2, most=MAX_LINKS)
    if ease is not None and wrist is None:
        raise BadInput(f"{table.name('ease_mm')}: goes with wrist_mm; give wrist_mm too, or inner_length_mm alone")
    if wrist is not None:
        if inner is not None:
            raise BadInput(f"{table.name('wrist_mm')}: inner_length_mm says the size already; keep one of the two")
        inner = wrist + (ease or 0.0)
    points = _points(table)
    _one_size(table, shape, {"inner_length_mm": inner, "length_mm": length, "links": links}, bool(points))
    ends = table.choice("ends", ("closed", "open", "cover")) if table.has("ends") else None
    _check_ends(table, shape, ends)
    fit = table.choice("fit", ("nearest", "ease"), "nearest")
    clasp = table.optional_number("clasp_length_mm", least=0.0, most=1000.0, unit="mm")
    if clasp is not None:
        raise BadInput(f"{table.name('clasp_length_mm')}: closures cannot be made by this version yet; leave it out")
    cyclic = bool(points) and (ends == "closed" or (ends is None and points[0] == points[-1]))
    if points and points[0] == points[-1]:
        points = points[:-1]
    return LayoutSpec(
        shape=shape,
        inner_length_mm=inner,
        length_mm=length,
        links=links,
        points=points,
        cyclic=cyclic,
        face=table.choice("face", ("out", "flat"), "out"),
        ends=ends,
        fit=fit,
        hand_mm=table.optional_number("hand_mm", above=0.0, most=100_000.0, unit="mm"),
    )


def _check_ends(table: Table, shape: str, ends: str | None) -> None:
    if ends == "cover":
        raise BadInput(f"{table.name('ends')}: a cover block cannot be made by this version yet; choose closed or open")
    if shape == "straight" and ends == "closed":
        raise BadInput(f'{table.name("ends")}: a straight chain has open ends; choose open, or shape = "ring"')
    if shape == "ring" and ends == "open":
        raise BadInput(
            f"{table.name('ends')}: open ends on a ring cannot be made by this version yet; choose closed, "
            'or shape = "curve" with points along an open arc'
        )


def _one_size(table: Table, shape: str, sizes: dict[str, float | int | None], has_points: bool) -> None:
    given = [key for key, value in sizes.items() if value is not None]
    works = {"ring": ("inner_length_mm", "links"), "straight": ("length_mm", "links")}.get(shape, tuple(sizes))
    for key in given:
        if key not in works:
            instead = " or ".join(works) + (", wrist_mm with ease_mm" if shape == "ring" else "")
            raise BadInput(f"{table.name(key)}: does not size a {shape} layout; give {instead} instead")
    if len(given) > 1:
        raise BadInput(f"{table.name(given[1])}: {given[0]} says the size already; keep one of the two")
    if shape == "curve":
        if not has_points:
            raise BadInput(f"{table.name('points')}: missing; give the curve as points = [[x, y, z], ...] in mm")
    elif not given:
        raise BadInput(f"{table.name(works[0])}: missing; give {' or '.join(works)}")
    elif has_points:
        raise BadInput(f'{table.name("points")}: belongs to shape = "curve"; leave it out or change the shape')


def _points(table: Table) -> tuple[tuple[float, float, float], ...]:
    raw = table.raw("points")
    if raw is None:
        return ()
    name = table.name("points")
    if not isinstance(raw, list) or len(raw) < 2:
        raise BadInput(f"{name}: must be a list of at least two points, [[x, y, z], ...] in mm")
    if len(raw) > 200_000:
        raise BadInput(f"{name}: {len(raw)} points; 200000 are the most, thin the curve out")
    result = []
    for index, item in enumerate(raw):
        numbers = isinstance(item, list) and len(item) == 3 and all(_is_number(c) for c in item)
        if not numbers:
            raise BadInput(
                f"{name}: point {index + 1} is {item!r}; write it as [x, y, z] with three finite numbers in mm"
            )
        x, y, z = (float(c) for c in item)
        result.append((x, y, z))
    return tuple(result)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e6


def _profile(table: Table) -> Profile:
    name = table.text("profile", "bench")
    return override(load_profile(name), table)


def _feed(table: Table) -> FeedSpec:
    if not table.flag("base_ring", True):
        raise BadInput(f"{table.name('base_ring')}: false leaves the links without metal; leave it out or write true")
    return FeedSpec(
        base_ring=True,
        upper_ring=table.flag("upper_ring", False),
        tip_mm=table.optional_number("tip_mm", above=0.0, most=20.0, unit="mm"),
        gate_mm=table.optional_number("gate_mm", above=0.0, most=30.0, unit="mm"),
        gate_length_mm=table.optional_number("gate_length_mm", above=0.0, most=60.0, unit="mm"),
        ring_mm=table.optional_number("ring_mm", above=0.0, most=60.0, unit="mm"),
    )


def _cast(table: Table) -> CastSpec:
    return CastSpec(
        alloy=table.text("alloy", "tin-bronze"),
        metal_c=table.optional_number("metal_c", least=100.0, most=3000.0, unit="degC"),
        flask_c=table.optional_number("flask_c", least=20.0, most=2000.0, unit="degC"),
        head=table.choice("head", HEADS, "vacuum"),
        flask_mm=_flask(table),
        investment=table.text("investment") if table.has("investment") else None,
    )


def _flask(table: Table) -> tuple[float, float] | None:
    text = table.text("flask", "auto")
    if text == "auto":
        return None
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[xX]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", text)
    size = (float(match[1]), float(match[2])) if match else (0.0, 0.0)
    if not all(10.0 <= side <= 2000.0 for side in size):
        raise BadInput(
            f'{table.name("flask")}: {text!r} does not work; give "auto" or "DIAMETERxHEIGHT" in mm, 10 to 2000'
        )
    return size


def job_text(job: Job, profile_base: Profile) -> str:
    """Write a job as TOML text that `parse_job` reads back to the same job.

    ``profile_base`` is the profile the job names; only keys that differ from it are written.
    """
    layout = job.layout
    lines = [f"schema = {SCHEMA}", f"name = {_quoted(job.name)}", "", "[chain]", f'family = "{job.chain.family}"']
    lines += [
        f"{key} = {getattr(job.chain, key)!r}" for key in ("wire_mm", "link_length_mm", "link_width_mm", "gap_mm")
    ]
    lines += ["", "[layout]", f'shape = "{layout.shape}"']
    sizes = ("inner_length_mm", "length_mm", "links", "hand_mm")
    lines += [f"{key} = {getattr(layout, key)!r}" for key in sizes if getattr(layout, key) is not None]
    if layout.points:
        lines.append(f"points = [{', '.join(f'[{x!r}, {y!r}, {z!r}]' for x, y, z in layout.points)}]")
    ends = "closed" if layout.cyclic else layout.ends
    if ends is not None:
        lines.append(f'ends = "{ends}"')
    lines += [f'fit = "{layout.fit}"', f'face = "{layout.face}"', "", "[process]", f'profile = "{profile_base.name}"']
    for key in OVERRIDES:
        value = getattr(job.profile, key)
        if value != getattr(profile_base, key):
            lines.append(f"{key} = " + ('"auto"' if value is None else repr(value)))
    lines += ["", "[feed]", f"base_ring = {str(job.feed.base_ring).lower()}"]
    lines.append(f"upper_ring = {str(job.feed.upper_ring).lower()}")
    optional = ("tip_mm", "gate_mm", "gate_length_mm", "ring_mm")
    lines += [f"{key} = {getattr(job.feed, key)!r}" for key in optional if getattr(job.feed, key) is not None]
    lines += ["", "[cast]", f"alloy = {_quoted(job.cast.alloy)}", f'head = "{job.cast.head}"']
    if job.cast.investment is not None:
        lines.append(f"investment = {_quoted(job.cast.investment)}")
    lines += [
        f"{key} = {getattr(job.cast, key)!r}" for key in ("metal_c", "flask_c") if getattr(job.cast, key) is not None
    ]
    if job.cast.flask_mm is not None:
        lines.append(f'flask = "{job.cast.flask_mm[0]:g}x{job.cast.flask_mm[1]:g}"')
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in plain) + '"'
