"""The verbs: read, run the rules, write, say. Each returns what was found and the lines for people."""

import os
from argparse import Namespace
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..rules.base.errors import BadInput
from ..rules.base.profile import Profile, load_profile
from ..rules.base.progress import finish
from ..rules.cast.layouts import LayoutFigures
from ..rules.cast.plan import CastPlan
from ..rules.chain.resize import resized
from ..rules.feed.join import Boolean, Solid
from ..rules.feed.lattice import Lattice
from ..rules.feed.spec import FeedSpec
from ..rules.files import stl, threemf
from ..rules.files.atomic import write_whole
from ..rules.files.job import Job, read_job
from ..rules.files.named import Named, unique_names
from ..rules.files.read import SUFFIXES as MESHES
from ..rules.files.read import read_bodies
from ..rules.files.report import (
    chain_part,
    findings_part,
    inspection_part,
    lattice_part,
    layouts_part,
    play_part,
    print_part,
    report_text,
)
from ..rules.inspect.finding import Finding, stops, worst_first
from ..rules.inspect.inspection import Inspection, inspect
from ..rules.inspect.print_check import PrintCheck, as_advice, print_check
from ..rules.inspect.way_up import WayUp, best_way_up
from ..rules.solid.mesh import Body, Mesh, merged
from . import flow, words
from .export import fed_parts, write_job
from .host import HostTools
from .inspection_words import inspection_lines
from .own_materials import own_materials
from .parser import UNITS_MM
from .print_words import print_lines
from .sets import feed_set
from .sheets import sheet_text
from .way_up_words import way_up_lines, way_up_part

SUFFIXES = (".stl", ".3mf", ".blend")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a verb has to say: findings for the exit status, lines for people, the JSON report."""

    findings: tuple[Finding, ...]
    lines: tuple[str, ...]
    report: str


def chain(args: Namespace, host: HostTools | None) -> Outcome:
    """Make the chain of a job file and write its links at finished size."""
    job = _job(args, host)
    if args.width is not None:
        job = replace(job, chain=resized(job.chain, args.width))
    out = _out_file(args.out, host)
    made = finish(flow.make(job, flow.scaling(job, own_materials()), _boolean(host)))
    least = flow.least(job)
    named = tuple(Named(b.name, b.placed()) for b in made.chain.bodies)
    _write(out, named, host)
    parts = (
        inspection_part(made.inspection),
        findings_part(made.findings),
        chain_part(made.chain, least),
        play_part(made.play),
        _files(out),
    )
    lines = (
        *words.chain_lines(made.chain),
        *words.least_lines(least),
        *words.play_lines(made.play),
        *words.finding_lines(made.findings),
        f"written: {out}",
    )
    return Outcome(made.findings, lines, report_text("chain", job.name, parts))


def inspect_files(args: Namespace, host: HostTools | None) -> Outcome:
    """Inspect the bodies of mesh files, all of them as one set."""
    profile = load_profile(args.profile)
    if args.gap_floor is not None:
        profile = profile.with_gap_floor(args.gap_floor)
    if args.layer is not None:
        profile = replace(profile, layer_mm=args.layer)
    bodies = _bodies(args, host)
    inspection = finish(
        inspect(
            bodies,
            profile,
            range_mm=args.range,
            scale=args.scale,
            mould_expansion=args.expansion / 100.0,
            shrinkage=args.shrinkage / 100.0,
            head=args.head,
        )
    )
    check, refused = _printed(args, bodies, profile, inspection)
    ways: tuple[WayUp, ...] = ()
    if args.way_up and check is not None:
        comparing = best_way_up(bodies, profile, scale=args.scale, pairs=inspection.pairs, fused=inspection.met())
        ways = finish(comparing)
    told = () if check is None else check.findings if args.print else as_advice(check.findings)
    findings = worst_first((*inspection.findings, *told))
    lines = (
        *inspection_lines(inspection, range_mm=args.range, head=args.head),
        *((f"no print check: {refused}",) if check is None else print_lines(check)),
        *(way_up_lines(ways) if ways else ()),
        *words.finding_lines(findings),
    )
    names = ", ".join(Path(name).name for name in args.files)
    asked = {
        "profile": profile.name,
        "gap_floor_mm": profile.gap_floor_mm,
        "range_mm": args.range,
        "scale": args.scale,
        "expansion_percent": args.expansion,
        "shrinkage_percent": args.shrinkage,
        "head": args.head,
        "print": args.print,
        "layer_mm": profile.layer_mm,
        "light_directions": args.light,
    }
    parts = (
        {"asked": asked},
        inspection_part(inspection),
        findings_part(findings),
        print_part(check, refused, faces=args.light_faces),
        way_up_part(ways) if ways else {},
    )
    return Outcome(findings, lines, report_text("inspect", names, parts))


def _printed(
    args: Namespace, bodies: Sequence[Body], profile: Profile, inspection: Inspection
) -> tuple[PrintCheck | None, str | None]:
    """See whether bodies print; what is no solid has no layers, and the inspection has said so: give the reason."""
    check = print_check(
        bodies,
        profile,
        scale=args.scale,
        plate_mm=0.0 if args.print else None,
        fused=inspection.met(),
        directions=args.light,
        head=args.head,
    )
    try:
        return finish(check), None
    except BadInput as error:
        if not stops(inspection.findings) and (args.print or args.layer is not None):
            raise
        return None, str(error)


def feed(args: Namespace, host: HostTools | None) -> Outcome:
    """Make chain and lattice, or a set of bodies and lattice, as one solid at finished size."""
    host = _needs_host("feed", host)
    meshes = [name for name in args.files if Path(name).suffix.lower() in MESHES]
    if len(meshes) == len(args.files):
        return _feed_files(args, host)
    if len(args.files) > 1:
        raise BadInput(
            f"feed {' '.join(args.files)}: "
            + ("a job file and mesh files do not go together" if meshes else "one job file at a time")
            + "; give one job file, or only files that end in "
            + ", ".join(MESHES)
        )
    for option in ("profile", "unit"):
        if getattr(args, option) is not None:
            raise BadInput(f"--{option}: is for mesh files; a job file says it itself, so leave --{option} out")
    job = read_job(Path(args.files[0]), host.read_blend)
    out = _out_file(args.out, host)
    scaled = flow.scaling(job, own_materials())
    made = finish(flow.build(job, host.boolean))
    fed = finish(flow.feed(job, made, scaled, host.boolean))
    _write(out, (Named(job.name, _solid_or_parts(fed.solid, fed.chain.bodies, fed.lattice)),), host)
    parts = (*fed_parts(fed), _files(out))
    lines = (*_fed_lines(fed), *words.finding_lines(fed.findings), f"written: {out}")
    return Outcome(fed.findings, lines, report_text("feed", job.name, parts))


def _feed_files(args: Namespace, host: HostTools) -> Outcome:
    """Stand the bodies of mesh files on a lattice, all of them as one set."""
    profile = load_profile(args.profile or "bench")
    bodies = _bodies(args, host)
    out = _out_file(args.out, host)
    names = ", ".join(Path(name).name for name in args.files)
    fed = finish(feed_set(names, bodies, profile, FeedSpec(), host.boolean))
    _write(out, (Named(Path(args.files[0]).stem, _solid_or_parts(fed.solid, fed.bodies, fed.lattice)),), host)
    parts = (
        {"asked": {"profile": profile.name}},
        inspection_part(fed.inspection),
        findings_part(fed.findings),
        lattice_part(fed.lattice, fed.lattice_mm3, fed.solid, fed.cutting),
        print_part(fed.printed),
        _files(out),
    )
    lines = (
        f"{len(fed.bodies)} {'body' if len(fed.bodies) == 1 else 'bodies'}",
        *words.lattice_lines(fed.lattice, fed.lattice_mm3),
        *words.cutting_lines(fed.cutting),
        *(() if fed.printed is None else print_lines(fed.printed)),
        *words.finding_lines(fed.findings),
        f"written: {out}",
    )
    return Outcome(fed.findings, lines, report_text("feed", names, parts))


def plan(args: Namespace, host: HostTools | None) -> Outcome:
    """Plan the pour: weights, flask, investment, temperatures."""
    job = _job(args, host)
    if args.sheet is not None:
        check_folder(Path(args.sheet))
    materials = own_materials()
    scaled = flow.scaling(job, materials)
    fed = finish(flow.feed(job, finish(flow.build(job, _boolean(host))), scaled, None))
    planned = finish(flow.cast(job, fed, materials, scaled))
    findings = worst_first((*fed.findings, *planned.findings))
    compared = flow.compare(job, fed, materials, scaled)
    lines = [*_fed_lines(fed), *_plan_lines(planned, compared), *words.finding_lines(findings)]
    if args.sheet is not None:
        write_whole(Path(args.sheet), sheet_text(job, fed, planned, scaled, findings, layouts=compared).encode())
        lines.append(f"written: {args.sheet}")
    parts = (*fed_parts(fed), findings_part(findings), layouts_part(compared), {"cast": planned.to_dict()})
    return Outcome(findings, tuple(lines), report_text("plan", job.name, parts))


def run(args: Namespace, host: HostTools | None) -> Outcome:
    """Do all of it: report.json, sheet.html and, unless a stop stands, the print files at export scale."""
    host = _needs_host("run", host)
    job = _job(args, host)
    folder = _out_folder(args.out)
    materials = own_materials()
    scaled = flow.scaling(job, materials)
    fed = finish(flow.feed(job, finish(flow.build(job, host.boolean)), scaled, host.boolean, directions=args.light))
    planned = finish(flow.cast(job, fed, materials, scaled))
    findings = worst_first((*fed.findings, *planned.findings))
    compared = flow.compare(job, fed, materials, scaled)
    codes = sorted({f.code for f in stops(findings)}) if args.even_so else []
    done = write_job(folder, job, fed, planned, scaled, findings, layouts=compared, override="even-so", codes=codes)
    lines = [*_fed_lines(fed), *_plan_lines(planned, compared), *words.finding_lines(findings)]
    if not done.printed:
        lines.append("no print file: mend the stop findings first, or add --even-so to print all the same")
    lines.append(f"written to {folder}: {', '.join(done.files)}")
    return Outcome(findings, tuple(lines), done.report)


def _fed_lines(fed: flow.Fed) -> tuple[str, ...]:
    return (
        *words.chain_lines(fed.chain),
        *words.play_lines(fed.play),
        *words.lattice_lines(fed.lattice, fed.lattice_mm3),
        *words.cutting_lines(fed.cutting),
        *(() if fed.printed is None else print_lines(fed.printed)),
    )


def _plan_lines(planned: CastPlan, compared: Sequence[LayoutFigures]) -> tuple[str, ...]:
    return (*words.plan_lines(planned), *words.layout_lines(compared))


def _job(args: Namespace, host: HostTools | None) -> Job:
    return read_job(Path(args.job), None if host is None else host.read_blend)


def _boolean(host: HostTools | None) -> Boolean | None:
    return None if host is None else host.boolean


def _bodies(args: Namespace, host: HostTools | None) -> list[Body]:
    """Read the bodies of all files, each with a name of its own."""
    read = [
        body
        for name in args.files
        for body in read_bodies(Path(name), _unit(name, args.unit), None if host is None else host.read_blend)
    ]
    names_apart = unique_names([body.name for body in read])
    return [replace(body, name=name) for body, name in zip(read, names_apart, strict=True)]


def _solid_or_parts(solid: Solid | None, bodies: Sequence[Body], lattice: Lattice) -> Mesh:
    if solid is not None and solid.mesh is not None:
        return solid.mesh
    return merged([b.placed() for b in bodies] + [s.mesh for s in lattice.solids])


def _files(out: Path) -> dict[str, Any]:
    return {"export": {"files": [out.name], "scale": 1.0, "override": None, "overridden": []}}


def _needs_host(verb: str, host: HostTools | None) -> HostTools:
    if host is None:
        raise BadInput(
            f"{verb}: needs Blender's solid union, and no bpy is here; install bpy, or use chain, inspect or plan"
        )
    return host


def _unit(name: str, unit: str | None) -> float | None:
    if unit is not None and Path(name).suffix.lower() in (".3mf", ".blend"):
        raise BadInput(f"--unit {unit}: {Path(name).name} carries its own unit; leave --unit out for it")
    return None if unit is None else UNITS_MM[unit]


def _out_file(text: str, host: HostTools | None) -> Path:
    path = Path(text)
    if path.suffix.lower() not in SUFFIXES:
        raise BadInput(
            f"-o {text}: cannot write {path.suffix or 'a file without a suffix'}; end it in {', '.join(SUFFIXES)}"
        )
    if path.suffix.lower() == ".blend" and host is None:
        raise BadInput(f"-o {text}: a .blend file needs bpy, and none is here; write .stl or .3mf")
    check_folder(path)
    return path


def check_folder(path: Path) -> None:
    """Raise BadInput unless a file can be written at ``path``."""
    folder = path.parent
    if path.is_dir():
        raise BadInput(f"{path}: is a folder; name a file in it")
    if not folder.is_dir():
        raise BadInput(f"{path}: there is no folder {folder}; make it first or name another")
    if not os.access(path if path.exists() else folder, os.W_OK):
        raise BadInput(f"{path}: cannot be written there; change its permissions or name another")


def _out_folder(text: str) -> Path:
    folder = Path(text)
    if folder.exists() and not folder.is_dir():
        raise BadInput(f"-o {text}: is a file; name a folder")
    if not folder.exists() and not folder.absolute().parent.is_dir():
        raise BadInput(f"-o {text}: there is no folder {folder.absolute().parent}; make it first or name another")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise BadInput(f"-o {text}: the folder cannot be made ({error.strerror}); name another") from None
    if not os.access(folder, os.W_OK):
        raise BadInput(f"-o {text}: nothing can be written there; change its permissions or name another")
    return folder


def _write(path: Path, named: Sequence[Named], host: HostTools | None) -> None:
    suffix = path.suffix.lower()
    if suffix == ".stl":
        stl.write(path, merged([one.mesh for one in named]))
    elif suffix == ".3mf":
        threemf.write(path, tuple(named))
    elif host is not None:
        host.write_blend(path, tuple(named))
