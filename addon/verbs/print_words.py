"""What a print check says, for people: a few lines of figures; the findings are not among them."""

from ..rules.inspect.print_check import PrintCheck


def print_lines(check: PrintCheck) -> list[str]:
    """Say how high the print is, where its layers are largest, how often it begins in mid-air, and the light."""
    layers, peel = check.layers, check.peel
    count = len(layers.heights_mm)
    lines = [
        f"print: {count} layers of {check.layer_mm:g} mm, {count * check.layer_mm:.1f} mm high; the largest "
        f"{peel.area_mm2:.0f} mm2 at {layers.heights_mm[peel.layer]:.1f} mm (the film pulls with about "
        f"{check.peel_n:.1f} N), the largest jump {peel.jump_mm2:.0f} mm2 at "
        f"{layers.heights_mm[peel.jump_layer]:.1f} mm"
    ]
    reaching = [one for one in check.overhangs if not one.begins]
    lines.append(
        f"starts in mid-air: {len(layers.islands) or 'none'}; undersides past the angle: "
        f"{sum(one.area_mm2 for one in reaching):.0f} mm2"
    )
    if check.light is not None:
        lines.append(
            f"light: {100.0 * check.blind_share:.2g} % of the surface gets less than "
            f"{100.0 * check.blind_limit:.0f} % of it "
            f"({check.light.directions} directions, told to within {100.0 * check.light.sampling_error:.0f} %)"
        )
    return lines
