"""Fill the bench sheet from what a run made."""

from collections.abc import Sequence

from ..rules.cast.layouts import LayoutFigures
from ..rules.cast.plan import CastPlan
from ..rules.chain.chain import Chain
from ..rules.chain.spec import ChainSpec
from ..rules.files.job import Job
from ..rules.inspect.finding import Finding
from ..rules.inspect.inspection import Inspection
from ..rules.inspect.ladder import ladder
from ..rules.sheet.data import Row, SheetData
from ..rules.sheet.outcome import verdict_of
from ..rules.sheet.page import sheet
from .flow import Fed, Scaling

# A tapered chain has a type for every joint; the report has them all.
MOST_TYPES = 4


def sheet_text(
    job: Job,
    fed: Fed,
    plan: CastPlan,
    scaled: Scaling,
    findings: Sequence[Finding],
    *,
    layouts: Sequence[LayoutFigures] = (),
    overridden: Sequence[str] = (),
) -> str:
    """Write the bench sheet of a fed job as one HTML page.

    ``layouts`` what its links take in other shapes, ``overridden`` the stops it was exported in spite of.
    """
    return sheet(
        SheetData(
            title=job.name,
            plan=plan,
            bodies=fed.chain.bodies,
            struts=fed.lattice.struts,
            chain=chain_rows(fed.chain),
            sizes=size_rows(fed.chain, scaled),
            gaps=gap_rows(job, fed.inspection, plan, scaled),
            play=fed.play,
            layouts=tuple(layouts),
            findings=tuple(findings),
            cutting=fed.cutting,
            trunk_printed=bool(fed.lattice.apart),
            overrides=tuple(overridden),
            verdict=None if plan.forecast is None else verdict_of(plan.forecast, plan.investment),
        )
    )


def chain_rows(chain: Chain) -> tuple[Row, ...]:
    """Say what was made."""
    spec = chain.spec
    rows = [
        ("Family", spec.family),
        ("Links", f"{chain.count}, {'closed' if chain.closed else 'open ends'}"),
        ("Wire", wire_words(chain)),
        ("Link", f"{spec.link_length_mm:g} x {spec.link_width_mm:g} mm outside"),
    ]
    if spec.tapered:
        rows.append(("Growing to", taper_words(spec)))
    if len(chain.bodies) > chain.links:
        rows.append(("Closure", ", ".join(body.name for body in chain.bodies[chain.links :])))
    rows += [(f"Pitch, {fit.name}", f"{fit.pitch_mm:.3f} mm") for fit in chain.fits[:MOST_TYPES]]
    return tuple(rows)


def wire_words(chain: Chain) -> str:
    """Say the wire by its section, as the first link has it."""
    link = chain.pattern.link
    section = link.section
    if link.own is not None:
        return f"{section.thick_mm:.2f} mm thick where the neighbours hang, own link"
    if section.round:
        return f"{section.thick_mm:g} mm round"
    sizes = f"{section.thick_mm:g} x {section.broad_mm:g} mm {section.kind}"
    return sizes + ("" if section.flat_mm is None else f", flats at {section.flat_mm:g} mm from the middle")


def taper_words(spec: ChainSpec) -> str:
    """Say the last link's sizes where they differ from the first's."""
    ends = ((spec.end_wire_mm, "wire"), (spec.end_link_length_mm, "long"), (spec.end_link_width_mm, "wide"))
    return ", ".join(f"{mm:g} mm {name}" for mm, name in ends if mm is not None)


def size_rows(chain: Chain, scaled: Scaling) -> tuple[Row, ...]:
    """Say the worn, printed and pushed-together lengths in finished size, and the scale of the print."""
    inner = (chain.worn_inner_length_mm, chain.printed_inner_length_mm, chain.pushed_inner_length_mm)
    outer = (chain.worn_length_mm, chain.printed_length_mm, chain.pushed_length_mm)
    names = ("worn, joints drawn tight", "as it stands in the print", "joints pushed together")
    rows = [
        (f"{side} {name}", f"{mm:.1f} mm")
        for side, lengths in (("Inside", inner), ("Length", outer))
        for name, mm in zip(names, lengths, strict=True)
        if mm is not None
    ]
    if chain.clasp_mm:
        rows.append(("Closure's share of that", f"{chain.clasp_mm:.1f} mm"))
    if chain.asked_mm is not None:
        rows.append(("Asked for", f"{chain.asked_mm:g} mm worn"))
    rows.append(("Print file over finished size", f"{scaled.scale:.4f}"))
    return tuple(rows)


def gap_rows(job: Job, inspection: Inspection, plan: CastPlan, scaled: Scaling) -> tuple[Row, ...]:
    """Take the narrowest gap of the chain down the ladder."""
    near = [p for p in inspection.pairs if p.gap_mm is not None and p.point_a is not None and p.point_b is not None]
    if not near:
        return ()
    least = min(near, key=lambda p: p.gap_mm or 0.0)
    if least.gap_mm is None or least.point_a is None or least.point_b is None:
        return ()
    x, y, z = (b - a for a, b in zip(least.point_a, least.point_b, strict=True))
    rungs = ladder(
        least.gap_mm,
        (x, y, z),
        scale=scaled.scale,
        bleed_mm=job.profile.bleed_mm,
        over_cure_mm=job.profile.over_cure_mm,
        expansion=scaled.mould_expansion,
        shrinkage=plan.scale.shrinkage_percent / 100.0,
    )
    return (
        ("Narrowest between", f"{least.a} and {least.b}"),
        ("In the design", f"{rungs.model_mm:.2f} mm, wanted {job.chain.gap_mm:g} mm"),
        ("Printed", f"{rungs.printed_mm:.2f} mm"),
        ("Investment in the joint", f"{rungs.web_mm:.2f} mm"),
        ("Cast", f"{rungs.cast_mm:.2f} mm"),
    )
