"""Between what the panel holds and the rules' own values: specs, profile, jobs, and the stamps that date results."""

import hashlib
from dataclasses import replace
from typing import Any

from ..rules.base.errors import BadInput
from ..rules.base.profile import Profile, load_profile
from ..rules.cast.spec import CastSpec
from ..rules.chain.spec import ChainSpec, LayoutSpec
from ..rules.feed.spec import FeedSpec
from ..rules.files.job import Job
from .splines import Polyline
from .units import exact

PROFILE_KEYS = ("gap_floor_mm", "web_floor_mm", "strut_web_mm", "wall_floor_mm", "bleed_mm", "over_cure_mm", "layer_mm")
CHAIN_KEYS = ("wire_mm", "link_length_mm", "link_width_mm", "gap_mm")
FEED_KEYS = ("tip_mm", "gate_mm", "gate_length_mm", "ring_mm")


def chain_spec(group: Any) -> ChainSpec:
    """Read what the maker asks of one link."""
    return ChainSpec(group.family, **{key: exact(getattr(group, key)) for key in CHAIN_KEYS})


def layout_spec(group: Any, line: Polyline | None) -> LayoutSpec:
    """Read how the chain lies; ``line`` is the followed curve in the chain's own coordinates, for shape "curve"."""
    inner = length = links = None
    if group.shape == "ring":
        if group.ring_size == "INNER":
            inner = exact(group.inner_length_mm)
        elif group.ring_size == "WRIST":
            inner = exact(group.wrist_mm) + exact(group.ease_mm)
        else:
            links = int(group.links)
    elif group.shape == "straight":
        if group.straight_size == "LENGTH":
            length = exact(group.length_mm)
        else:
            links = int(group.links)
    elif group.limit_links:
        links = int(group.links)
    points: tuple[tuple[float, float, float], ...] = ()
    if group.shape == "curve":
        if line is None:
            raise BadInput("layout: no curve is chosen; choose a curve object for the chain to follow")
        points = tuple((float(x), float(y), float(z)) for x, y, z in line.points)
    return LayoutSpec(
        shape=group.shape,
        inner_length_mm=inner,
        length_mm=length,
        links=links,
        points=points,
        cyclic=line is not None and line.cyclic,
        face=group.face,
        fit=group.fit,
        hand_mm=exact(group.hand_mm) if group.has_hand else None,
    )


def profile(scene_group: Any) -> Profile:
    """Read the process profile with the panel's figures laid over it."""
    base = load_profile(scene_group.profile)
    figures: dict[str, Any] = {key: exact(getattr(scene_group, key)) for key in PROFILE_KEYS}
    return replace(
        base,
        **figures,
        gap_warn_mm=max(figures["gap_floor_mm"], base.gap_warn_mm),
        web_warn_mm=max(figures["web_floor_mm"], base.web_warn_mm),
        strut_web_aim_mm=max(figures["strut_web_mm"], base.strut_web_aim_mm),
        scale=None if scene_group.auto_scale else exact(scene_group.scale),
    )


def feed_spec(scene_group: Any) -> FeedSpec:
    """Read the lattice's sizes; 0 leaves one to the rules."""
    tip, gate, gate_length, ring = (exact(getattr(scene_group, key)) or None for key in FEED_KEYS)
    return FeedSpec(
        upper_ring=bool(scene_group.upper_ring), tip_mm=tip, gate_mm=gate, gate_length_mm=gate_length, ring_mm=ring
    )


def cast_spec(scene_group: Any) -> CastSpec:
    """Read what the maker asks of the pour; 0 or empty leaves a figure to the rules."""
    own = (exact(scene_group.flask_diameter_mm), exact(scene_group.flask_height_mm))
    return CastSpec(
        alloy=scene_group.alloy,
        metal_c=exact(scene_group.metal_c) or None,
        flask_c=exact(scene_group.flask_c) or None,
        head=scene_group.head,
        flask_mm=own if scene_group.own_flask else None,
        investment=scene_group.investment or None,
    )


def make_job(name: str, chain: ChainSpec, layout: LayoutSpec, scene_group: Any) -> Job:
    """Put a chain's specs and the scene's settings into one job."""
    named = scene_group.job_name.strip() or name
    return Job(named, chain, layout, profile(scene_group), feed_spec(scene_group), cast_spec(scene_group))


def apply_chain(group: Any, chain: ChainSpec, layout: LayoutSpec) -> None:
    """Write specs into a chain's settings, every field of them, so that later defaults never change an old file."""
    group.family = chain.family
    for key in CHAIN_KEYS:
        setattr(group, key, getattr(chain, key))
    group.shape = layout.shape
    group.face = layout.face
    group.fit = layout.fit
    group.has_hand = layout.hand_mm is not None
    group.hand_mm = layout.hand_mm if layout.hand_mm is not None else group.hand_mm
    for key in ("wrist_mm", "ease_mm"):
        setattr(group, key, getattr(group, key))
    group.inner_length_mm = layout.inner_length_mm or group.inner_length_mm
    group.length_mm = layout.length_mm or group.length_mm
    group.links = layout.links or group.links
    group.ring_size = "LINKS" if layout.links is not None else "INNER"
    group.straight_size = "LINKS" if layout.links is not None else "LENGTH"
    group.limit_links = layout.shape == "curve" and layout.links is not None


def apply_scene(scene_group: Any, job: Job) -> None:
    """Write a job's process, feed and pour into a scene's settings."""
    scene_group.hold = True
    try:
        scene_group.job_name = job.name
        scene_group.profile = job.profile.name
        for key in PROFILE_KEYS:
            setattr(scene_group, key, getattr(job.profile, key))
        scene_group.auto_scale = job.profile.scale is None
        scene_group.scale = job.profile.scale or 1.0
        scene_group.upper_ring = job.feed.upper_ring
        for key in FEED_KEYS:
            setattr(scene_group, key, getattr(job.feed, key) or 0.0)
        scene_group.alloy = job.cast.alloy
        scene_group.investment = job.cast.investment or ""
        scene_group.head = job.cast.head
        scene_group.metal_c = job.cast.metal_c or 0.0
        scene_group.flask_c = job.cast.flask_c or 0.0
        scene_group.own_flask = job.cast.flask_mm is not None
        if job.cast.flask_mm is not None:
            scene_group.flask_diameter_mm, scene_group.flask_height_mm = job.cast.flask_mm
    finally:
        scene_group.hold = False
    note_process(scene_group)


def fill_profile(scene_group: Any) -> None:
    """Fill the scene's figures from the profile just chosen; an unknown name changes nothing."""
    if scene_group.hold:
        return
    try:
        chosen = load_profile(scene_group.profile)
    except BadInput:
        return
    scene_group.hold = True
    try:
        for key in PROFILE_KEYS:
            setattr(scene_group, key, getattr(chosen, key))
    finally:
        scene_group.hold = False


def note_process(scene_group: Any) -> None:
    """Date the scene's process, feed and pour anew, so that older results read as out of date."""
    if scene_group.hold:
        return
    own = {key: repr(getattr(scene_group, key)) for key in (*PROFILE_KEYS, "profile", "auto_scale", "scale")}
    lattice = {key: repr(getattr(scene_group, key)) for key in (*FEED_KEYS, "upper_ring")}
    pour = {
        key: repr(getattr(scene_group, key))
        for key in (
            "alloy", "investment", "head", "metal_c", "flask_c", "own_flask", "flask_diameter_mm", "flask_height_mm",
        )
    }  # fmt: skip
    scene_group.stamp = stamp(own, lattice, pour)


def stamp(*values: object) -> str:
    """Give a short text that differs whenever one of the values differs."""
    return hashlib.sha256(repr(values).encode()).hexdigest()[:16]
