"""The demo's steps, played on Blender by the operators behind the panel's buttons. Argument: the folder to write to."""

import json
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.append(str(ROOT))

import bpy  # noqa: E402
from _demo_picture import draw_picture  # noqa: E402

import addon  # noqa: E402
from addon.host.quiet import quiet  # noqa: E402

SCENE = ROOT / "sample_scenes" / "curb_bracelet.blend"
PICTURE = "picture.png"
STARTED = time.monotonic()


def main(folder: Path) -> int:
    """Play the steps; returns 0 when the print files were written."""
    folder.mkdir(parents=True, exist_ok=True)
    addon.register()
    try:
        _step(f"Opening {SCENE.relative_to(ROOT)}", bpy.ops.wm.open_mainfile, filepath=str(SCENE))
        _step("Making its chain exactly", _make_chain)
        _step("Inspecting the chain", bpy.ops.linkwright.inspect)
        _step("Adding the lattice", bpy.ops.linkwright.add_lattice)
        _step("Inspecting and exporting the whole", bpy.ops.linkwright.export, directory=str(folder))
        _step("Drawing a picture", draw_picture, folder / PICTURE)
    except RuntimeError as error:
        # What an operator reports as an error reaches a script so; its text is meant for the jeweller.
        print(f"The demo stopped: {' '.join(str(error).split())}")
        return 1
    finally:
        addon.unregister()
    for line in _summary(folder):
        print(line)
    return 0


def _step(words, call, *arguments, **options):
    print(f"[{time.monotonic() - STARTED:4.1f} s] {words}", flush=True)
    with quiet():
        call(*arguments, **options)


def _make_chain():
    """Make the links anew from the settings that the scene's chain carries."""
    (chain,) = (ob for ob in bpy.context.scene.objects if ob.linkwright.schema > 0)
    bpy.context.view_layer.objects.active = chain
    chain.select_set(True)
    bpy.ops.linkwright.verify()


def _summary(folder):
    """What was made, read back from the report that was written."""
    report = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    chain, lattice = report["chain"], report["lattice"]
    gates = sum(1 for strut in lattice["struts"] if strut["feeds"] is not None)
    counts = {kind: sum(f["severity"] == kind for f in report["findings"]) for kind in ("stop", "warn", "note")}
    metal = sum(body["volume_mm3"] for body in report["bodies"])
    yield ""
    yield (
        f"Chain:    {chain['links']} links, pitch {chain['pitch_mm']:.3f} mm, worn inside length "
        f"{chain['inner_length_mm']:.1f} mm, smallest gap {chain['smallest_gap_mm']:.3f} mm"
    )
    yield f"Lattice:  {gates} gates, {len(lattice['struts'])} struts, {lattice['volume_mm3'] / 1000:.2f} cm3"
    yield f"Links:    {metal / 1000:.2f} cm3"
    yield f"Findings: {counts['stop']} stop, {counts['warn']} warn, {counts['note']} note"
    yield f"Made in {time.monotonic() - STARTED:.1f} s, in {folder}:"
    for path in sorted(folder.iterdir()):
        if path.is_file():
            yield f"  {path.name:14} {path.stat().st_size / 1000:9.1f} kB"


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
