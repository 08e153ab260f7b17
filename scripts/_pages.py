"""Fill in the figures and pictures of the pages in sample_scenes/pages/ from their jobs themselves.

    python3 scripts/make_pages.py [--pictures] [--reports FOLDER] [NAME ...]

Each job is run as from the command line, one after the other; with --reports a report that a run left in
FOLDER/NAME/report.json is read instead. --pictures draws the pictures as well.
"""

import argparse
import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import _setup

ROOT = Path(_setup.ROOT)
SCENES = ROOT / "sample_scenes"
PAGES = SCENES / "pages"
BLOCK = re.compile(r"(<!-- figures: .*? -->\n).*?(<!-- end of figures -->)", re.DOTALL)
# The whole job of this one takes minutes; its page gives what its chain alone tells.
CHAIN_ONLY = ("lighthouse",)
SCENE_ONLY = ("loose_links",)
LIMIT_S = 600
PICTURE_PX = (480, 320)


def main():
    """Fill in the pages that are named, or all."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--reports", type=Path, metavar="FOLDER")
    parser.add_argument("--pictures", action="store_true")
    options = parser.parse_args()
    for page in sorted(PAGES.glob("*.md")):
        if options.names and page.stem not in options.names:
            continue
        report = report_of(page.stem, options.reports)
        page.write_text(_filled(page.read_text("utf-8"), table(report)), encoding="utf-8")
        if options.pictures:
            code = subprocess.run([sys.executable, __file__, "--draw", page.stem], timeout=LIMIT_S).returncode
            if code:
                return code
        print(page.relative_to(ROOT), flush=True)
    return 0


def _filled(text, told):
    """Put figures in the place that a page has for them."""
    return BLOCK.sub(lambda found: f"{found[1]}{told}\n{found[2]}", text)


def report_of(name, kept=None):
    """Give the report of a sample: of its run, its chain, or the inspection of its scene."""
    if kept is not None and (kept / name / "report.json").is_file():
        return json.loads((kept / name / "report.json").read_text("utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        if name in SCENE_ONLY:
            words = ["inspect", str(SCENES / f"{name}.blend"), "--json", str(report)]
        elif name in CHAIN_ONLY:
            words = ["chain", str(SCENES / f"{name}.toml"), "-o", f"{folder}/chain.stl", "--json", str(report)]
        else:
            words = ["run", str(SCENES / f"{name}.toml"), "-o", folder]
        command = [sys.executable, str(ROOT / "scripts" / "linkwright.py"), *words]
        run = subprocess.run(command, capture_output=True, text=True, timeout=LIMIT_S)
        if run.returncode not in (0, 1):
            _setup.fail(run.stderr.strip())
        return json.loads(report.read_text("utf-8"))


def table(report):
    """Give the figures of a report as a table."""
    rows = [*_chain(report), *_lattice(report), *_print(report), *_cast(report), *_findings(report)]
    return "\n".join(["| figure | value |", "|---|---|", *(f"| {name} | {value} |" for name, value in rows)])


def chain_rows(chain):
    """Give the figures of a chain as rows of its page."""
    yield "Links", f"{chain['links']}, {'closed' if chain['closed'] else 'open'}"
    worn, printed = chain["inner_length_mm"], chain["printed_inner_length_mm"]
    if worn is None:
        worn, printed = chain["length_mm"], chain["printed_length_mm"]
    yield "Length as worn", f"{worn:.1f} mm"
    yield "Length as printed", f"{printed:.1f} mm"
    yield "Smallest gap", f"{chain['smallest_gap_mm']:.3f} mm"


def _chain(report):
    if "chain" in report:
        yield from chain_rows(report["chain"])
    else:
        gaps = [pair["gap_mm"] for pair in report["pairs"] if pair["gap_mm"] is not None]
        yield "Bodies", str(len(report["bodies"]))
        yield "Pairs within 1.5 mm", str(len(gaps))
        yield "Smallest gap", f"{min(gaps):.3f} mm"


def _lattice(report):
    if "lattice" in report:
        struts = report["lattice"]["struts"]
        yield "Gates", str(sum(strut["feeds"] is not None for strut in struts))
        yield "Metal of the lattice", f"{report['lattice']['volume_mm3'] / 1000:.2f} cm3"


def _print(report):
    if "chain" in report and "layers" in report:
        layers = report["layers"]
        yield "Layers", f"{layers['count']} of {layers['layer_mm']:g} mm"
        yield "Starts in mid-air", str(len(layers["islands"]))


def _cast(report):
    cast = report.get("cast")
    if cast:
        yield "Metal", f"{cast['alloy']}, {cast['chain_g']:.1f} g in the chain, {cast['metal_g']:.1f} g to melt"
        flask = cast["flask"]
        if flask:
            yield "Flask", f"{flask['diameter_mm']:g} x {flask['height_mm']:g} mm"
        yield "Investment", f"{cast['investment_g']:.0f} g with {cast['water_g']:.0f} g of water"
        said = [link["verdict"] for link in cast["links"]]
        told = [f"{said.count(word)} {word}" for word in dict.fromkeys(("sound", *said)) if said.count(word)]
        yield "Links of the forecast", ", ".join(told)


def _findings(report):
    found = report["findings"]
    counts = [f"{sum(f['severity'] == kind for f in found)} {kind}" for kind in ("stop", "warn", "note")]
    yield "Findings", ", ".join(counts)
    stops = sorted({f["code"] for f in found if f["severity"] == "stop"})
    if stops:
        yield "Stops", ", ".join(f"`{code}`" for code in stops)


def draw(name):
    """Draw the picture of a sample: its chain, with the lattice where its page tells of one."""
    import bpy

    sys.path.append(_setup.ROOT)
    import _demo_picture
    import numpy as np
    from _png import write_png

    import addon
    from addon.host.quiet import quiet

    addon.register()
    try:
        with tempfile.TemporaryDirectory() as folder, quiet():
            if name in SCENE_ONLY:
                bpy.ops.wm.open_mainfile(filepath=str(SCENES / f"{name}.blend"))
            else:
                bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
                bpy.ops.linkwright.set_millimetres()
                bpy.ops.linkwright.load_job(filepath=str(SCENES / f"{name}.toml"))
                bpy.ops.linkwright.verify()
                if name not in CHAIN_ONLY:
                    bpy.ops.linkwright.add_lattice()
            _demo_picture.SIZE = PICTURE_PX
            _demo_picture.draw_picture(Path(folder) / "drawn.png")
            image = bpy.data.images.load(str(Path(folder) / "drawn.png"))
            pixels = np.empty(4 * PICTURE_PX[0] * PICTURE_PX[1], dtype=np.float32)
            image.pixels.foreach_get(pixels)
        pixels = pixels.reshape(PICTURE_PX[1], PICTURE_PX[0], 4)[::-1, :, :3]
        write_png(SCENES / "pictures" / f"{name}.png", np.round(255.0 * pixels))
    finally:
        addon.unregister()
    return 0


if __name__ == "__main__":
    _setup.enter()
    sys.exit(draw(sys.argv[2]) if sys.argv[1:2] == ["--draw"] else main())
