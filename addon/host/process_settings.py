"""Between what the panel holds of a scene and the rules' own values: profile, lattice, pour, and their stamp."""

from dataclasses import replace
from typing import Any

from ..rules.base.errors import BadInput
from ..rules.base.profile import Profile, load_profile
from ..rules.cast.spec import CastSpec
from ..rules.chain.spec import ChainSpec, LayoutSpec
from ..rules.feed.spec import FeedSpec
from ..rules.files.job import Job
from .stamps import stamp
from .units import exact

PROFILE_KEYS = ("gap_floor_mm", "web_floor_mm", "strut_web_mm", "wall_floor_mm", "bleed_mm", "over_cure_mm", "layer_mm")
# Sizes of the lattice, each 0 where it is left to the rules.
FEED_KEYS = (
    "tip_mm", "gate_mm", "gate_length_mm", "ring_mm", "upper_ring_mm", "post_mm", "spoke_mm", "hub_mm",
    "trunk_length_mm",
)  # fmt: skip
FEED_CHOICES = ("upper_ring", "trunk", "cut")


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
    sizes: dict[str, Any] = {key: exact(getattr(scene_group, key)) or None for key in FEED_KEYS}
    return FeedSpec(
        upper_ring=bool(scene_group.upper_ring),
        **sizes,
        trunk=scene_group.trunk,
        cut=scene_group.cut,
        fillet_mm=exact(scene_group.fillet_mm),
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
        resin=scene_group.resin,
        tilt=bool(scene_group.tilt),
        spin_arm=scene_group.spin_arm or None,
        metal_price_per_g=exact(scene_group.metal_price_per_g) or None,
        investment_price_per_kg=exact(scene_group.investment_price_per_kg) or None,
        currency=scene_group.currency,
    )


def make_job(name: str, chain: ChainSpec, layout: LayoutSpec, scene_group: Any, feed: FeedSpec) -> Job:
    """Put a chain's specs, what is asked of its lattice and the scene's settings into one job."""
    named = scene_group.job_name.strip() or name
    return Job(named, chain, layout, profile(scene_group), feed, cast_spec(scene_group))


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
        for key in (*FEED_CHOICES, "fillet_mm"):
            setattr(scene_group, key, getattr(job.feed, key))
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
        scene_group.resin = job.cast.resin
        scene_group.tilt = job.cast.tilt
        scene_group.spin_arm = job.cast.spin_arm or ""
        scene_group.metal_price_per_g = job.cast.metal_price_per_g or 0.0
        scene_group.investment_price_per_kg = job.cast.investment_price_per_kg or 0.0
        scene_group.currency = job.cast.currency
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
    pour = {
        key: repr(getattr(scene_group, key))
        for key in (
            "alloy", "investment", "head", "metal_c", "flask_c", "own_flask", "flask_diameter_mm", "flask_height_mm",
            "resin", "tilt", "spin_arm", "metal_price_per_g", "investment_price_per_kg", "currency",
        )
    }  # fmt: skip
    scene_group.stamp = stamp(*_planned_by(scene_group), pour)


def feed_stamp(scene_group: Any) -> str:
    """Give the stamp of the settings that a lattice is planned by: of the pour, what sets the scale."""
    pour = ("alloy", "investment", "metal_c", "flask_c") if scene_group.auto_scale else ()
    return stamp(*_planned_by(scene_group), [repr(getattr(scene_group, key)) for key in pour])


def _planned_by(scene_group: Any) -> tuple[dict[str, str], dict[str, str]]:
    own = {key: repr(getattr(scene_group, key)) for key in (*PROFILE_KEYS, "profile", "auto_scale", "scale")}
    lattice = {key: repr(getattr(scene_group, key)) for key in (*FEED_KEYS, *FEED_CHOICES, "fillet_mm")}
    return own, lattice
