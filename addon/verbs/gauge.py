"""The verb for the gauge: make its model, and turn what was measured on its print into lines for a job's [process]."""

import math
from argparse import Namespace
from pathlib import Path
from typing import Any

import numpy as np

from ..rules.base.errors import BadInput
from ..rules.files.named import Named
from ..rules.files.readings import read_readings
from ..rules.files.report import report_text
from ..rules.files.written import lines_of
from ..rules.inspect.calibration import Calibration, Growth, calibrate
from ..rules.inspect.cure import cure_depth_mm, exposure_for, over_cure_mm
from ..rules.inspect.gauge import GAPS_MM, gauge
from . import commands
from .commands import Outcome
from .host import HostTools

# As much as `over_cure_mm` of a job file may be.
MOST_MM = 1.0


def gauge_or_readings(args: Namespace, host: HostTools | None) -> Outcome:
    """Write a gauge, read the readings of one, or both."""
    if args.out is None and args.gaps is not None:
        raise BadInput("--gaps: belongs to making a gauge; add -o OUT, or leave --gaps out")
    if args.out is None and args.readings is None and args.cure is None:
        raise BadInput(
            "gauge: nothing is asked for; give -o OUT to make a gauge, --readings FILE to read one, or --cure to work "
            "out the over-cure from the resin's figures"
        )
    lines: list[str] = []
    parts: list[dict[str, Any]] = []
    if args.readings is not None:
        read = read_readings(Path(args.readings))
        found = calibrate(read.readings, scale=read.scale)
        lines += _calibration_lines(found)
        parts.append({"calibration": _calibration_part(found)})
    if args.cure is not None:
        told, figures = _from_resin(args.cure, args.layer)
        lines += told
        parts.append(figures)
    if args.out is not None:
        gaps = GAPS_MM if args.gaps is None else args.gaps
        out = commands._out_file(args.out, host)
        bodies = gauge(gaps, layer_mm=args.layer)
        commands._write(out, tuple(Named(body.name, body.placed()) for body in bodies), host)
        points = np.concatenate([body.points() for body in bodies])
        size = np.ptp(points, axis=0).tolist()
        measures = " x ".join(f"{side:.1f}" for side in size)
        lines += [
            f"gauge: {len(gaps)} gap{'s' if len(gaps) > 1 else ''}, {measures} mm; print it as it stands, full size",
            f"written: {out}",
        ]
        parts.append({"gauge": {"gaps_mm": gaps, "size_mm": size}, **commands._files(out)})
    return Outcome((), tuple(lines), report_text("gauge", "gauge", parts))


def _from_resin(cure: tuple[float, ...], layer_mm: float) -> tuple[list[str], dict[str, Any]]:
    """Work out the over-cure from a resin's penetration depth and critical exposure, and the exposure of a layer."""
    if len(cure) != 3:
        raise BadInput(f"--cure: takes 3 numbers, {len(cure)} were given; give DEPTH,CRITICAL,EXPOSURE: 0.175,8,30")
    penetration, critical, exposure = cure
    depth = cure_depth_mm(exposure, penetration_mm=penetration, critical=critical)
    first, all_in = (
        over_cure_mm(exposure, layer_mm, penetration_mm=penetration, critical=critical, layers=layers)
        for layers in (1, math.inf)
    )
    if depth < layer_mm:
        least = exposure_for(layer_mm, penetration_mm=penetration, critical=critical)
        raise BadInput(
            f"--cure: that exposure cures {depth:.3f} mm deep, less than a layer of {layer_mm:g} mm, so no layer would "
            f"hold on the last; give at least {least:.3g}"
        )
    if all_in > MOST_MM:
        raise BadInput(
            f"--cure: these figures cure {all_in:.2f} mm below the lowest face, more than the {MOST_MM:g} mm a job "
            "file takes; check the exposure and its unit"
        )
    lines = [
        f"One layer cures {depth:.3f} mm deep, {first:.3f} mm below a layer of {layer_mm:g} mm; "
        f"all layers over one another cure {all_in:.3f} mm below the lowest face",
        "Worked out from the figures given, not measured: print a gauge to be sure",
        "For a job file:",
        "[process]",
        f"over_cure_mm = {all_in:.3f}",
    ]
    return lines, {"cure": {"depth_mm": depth, "over_cure_mm": first, "accumulated_over_cure_mm": all_in}}


def found_lines(found: Calibration) -> list[str]:
    """Say in sentences what was found, where gaps come free, and what to know before the figures are used."""
    lines = [
        f"{name} {growth.mm:.3f} mm from {growth.count} reading{'s' if growth.count > 1 else ''}"
        + ("" if growth.spread_mm is None else f", spread {growth.spread_mm:.3f} mm")
        for name, growth in (("Bleed", found.bleed), ("Over-cure", found.over_cure))
        if growth is not None
    ]
    return lines + _free_lines(found) + [f"Note: {note}" for note in found.notes]


def _free_lines(found: Calibration) -> list[str]:
    if found.free_gap_mm is None or found.gap_floor_mm is None:
        return []
    return [f"Gaps come free from {found.free_gap_mm:g} mm in the model, {found.gap_floor_mm:.2f} mm as printed"]


def _calibration_lines(found: Calibration) -> list[str]:
    """Say what was found, then the lines that go into a job file."""
    return [*found_lines(found), "For a job file:", "[process]", *lines_of(found.profile_values())]


def _calibration_part(found: Calibration) -> dict[str, Any]:
    return {
        "bleed": _growth_part(found.bleed),
        "over_cure": _growth_part(found.over_cure),
        "free_gap_mm": found.free_gap_mm,
        "gap_floor_mm": found.gap_floor_mm,
        "process": found.profile_values(),
        "notes": found.notes,
    }


def _growth_part(growth: Growth | None) -> dict[str, Any] | None:
    return None if growth is None else {"mm": growth.mm, "spread_mm": growth.spread_mm, "readings": growth.count}
