"""The sentences of the bench sheet: steps before and after the pour, and the cautions.

Steps are common practice of the trade, no published source, unless a figure's own source is named on the sheet. Limits
in the cautions are those of the United States, 29 CFR 1910.1053 for silica; local rules come first.
"""

from ..cast.plan import CastPlan
from .blocks import bulk, grams

COMMON = "Common practice of the trade, no published source, but for the figures listed at the end of this sheet."
DEFER = (
    "The data sheets of the makers of your resin, investment, metal and tools, your local codes and the advice of "
    "people licensed and trained for this work come before anything on this page."
)
FIRST = (
    "Molten metal, fumes, silica dust, resin, solvent and acid can hurt you: read the cautions before you start. Your "
    "makers' data sheets, local codes and licensed practice come before this page."
)

BLINDING_C = 1400.0  # liquidus from which a melt wants a welder's shade: common practice, no published source


def before_steps(plan: CastPlan, *, trunk_printed: bool, hub_aside_mm: float = 0.0) -> tuple[str, ...]:
    """Give the steps from the print to the pour. ``hub_aside_mm``: how far from the middle of the job its hub lies."""
    t, s, flask, lean = plan.temperatures, plan.schedule, plan.flask.flask, plan.flask.lean.deg
    water = plan.mix.water_g / plan.mix.powder_g
    trunk = (
        "Hand step: set the printed trunk (trunk.stl) with its peg into the socket of the hub, on the plate side, and "
        "seal the joint all round with wax; see that it is straight and firm."
        if trunk_printed
        else f"Hand step: set a wax trunk of {plan.trunk_d_mm:.0f} mm diameter, {plan.margins.trunk_mm:.0f} mm long, "
        "on the hub, on the plate side. Melt it on all round with a rounded fillet and no notch."
    )
    if hub_aside_mm > plan.trunk_d_mm:
        trunk += (
            f" The hub lies {hub_aside_mm:.0f} mm aside from the middle of the job: lead the trunk over in a slant, so "
            "that the job stands in the middle of the flask and keeps its distance to the wall all round."
        )
    if lean:
        trunk += f" The job leans by {lean} degrees in the flask: set the trunk so that its end stands upright then."
    wall = " Wrap the perforated wall before filling." if flask.perforated else ""
    liquid = "water" if plan.investment.bond == "gypsum" else "water, or of the liquid its maker sells for it"
    investing = (
        f"Mix {bulk(plan.mix.powder_g)} of powder into {bulk(plan.mix.water_g)} of {liquid} ({100.0 * water:.0f} to "
        "100, the thin end of the range) with a wetting agent; vacuum the slurry, pour it down the wall of the "
        f"flask, vacuum again. Be done within {plan.investment.working_min.value:.0f} minutes of the first wetting."
    )
    slow = (
        ""
        if plan.resin.melts
        else f"Rise slowly from {plan.resin.slow_from_c.value:.0f} to {plan.resin.slow_to_c.value:.0f} °C: resin "
        "swells there before it breaks up, and cracks thin webs. "
    )
    burnout = (
        f"Burn out after the table, about {s.total_h:.0f} h in all. {slow}Air in, fumes out. A grey or black mould "
        "needs more time and air."
    )
    wash = (
        "Free it of support wax as its maker's sheet says, keep it cool, dry it fully. Do not flex the chain."
        if plan.resin.melts
        else "Wash twice in fresh solvent, blow out every joint, dry fully. Cure all sides, also the undersides; no "
        "link may feel tacky inside. Do not flex the chain."
    )
    pour = f"Flask at {t.flask_c:.0f} °C, metal at {t.pour_c:.0f} °C, head by {plan.head}: pour in one motion."
    if plan.spin_arm is not None:
        pour = (
            f"Balance the arm for {plan.arm_load_g / 1000.0:.1f} kg of flask, mould and metal before it is hot. Flask "
            f"at {t.flask_c:.0f} °C, metal at {t.pour_c:.0f} °C: guard shut, nobody in its plane, let go."
        )
    return (
        "First casting of a new design: a test length of 3 to 5 links with its own gates, before the whole piece.",
        f"Weigh the clean, dry print: about {plan.print_g:.1f} g expected, without the trunk. A good deal more means "
        "resin left in the joints, less means a failed part.",
        wash,
        trunk,
        "Plate side towards the pouring cone: the wheel or base ring sits next to the button, the chain lies beyond.",
        f"Flask {flask.diameter_mm:g} x {flask.height_mm:g} mm: at least {plan.margins.wall_mm:.1f} mm to the wall, "
        f"{plan.margins.cover_mm:.0f} mm over the far end.{wall}",
        investing,
        f"Let it stand at least {s.rest_h:g} h, undisturbed, and do not let it dry out before the kiln.",
        burnout,
        f"Melt {grams(plan.metal_g)} in a crucible of at least {plan.crucible_cm3:.0f} cm³: at least "
        f"{grams(plan.fresh_metal_g)} of it new metal, no more than {plan.alloy.scrap_percent.value:.0f} % returned. "
        "Cover or flux the melt; check it with a probe.",
        pour,
    )


def after_steps(plan: CastPlan) -> tuple[str, ...]:
    """Give the steps from the pour to the finished chain."""
    (low, high), flask = plan.stand_min, plan.flask.flask
    breaking = (
        "Break the mould out wet."
        if plan.investment.bond == "gypsum"
        else "This bond does not fall apart in water: let it soak through, tap it loose and pick it out wet, never dry."
    )
    return (
        f"Let the flask stand, button up, about {low:.0f} to {high:.0f} minutes for {plan.alloy.label} in a flask of "
        f"{flask.diameter_mm:g} x {flask.height_mm:g} mm; a hot casting tears when it is shaken or quenched too hot.",
        "Quench in a large bucket of plain water, at arm's length, behind a shield. " + breaking,
        "Clear the joints before anything moves: soak in cool plain water with a little citric acid and detergent, "
        "then water jet and ultrasound, and again until no investment is left.",
        "Only then flex each joint by hand, a little at a time. Thin fins snap; never pry with a tool.",
        "Cut off button and trunk, then cut in the order of the list, the job held by the metal that is still there. "
        "File or sand the stubs, then tumble. Faces inside the joints cannot be polished.",
        "Count links and stubs, weigh the chain and the metal that goes back to the pot.",
        "Measure one straight run of links against the drawing: the ratio is this mould's own scale.",
    )


def cautions(plan: CastPlan) -> tuple[tuple[str, str], ...]:
    """Give the cautions that apply, each a heading and its text."""
    found = [
        (
            "Molten metal and moisture",
            "Water in or under molten metal can explode. Keep scrap, tools, moulds and floor dry and hot tools "
            "preheated. Wear flame-resistant cover, closed boots, gloves, a face shield over spectacles with a shade "
            "for the glare; no synthetics. Nobody else within reach of a splash or of the spin.",
        ),
        (
            "Kiln, torch and hot flask",
            "A flask burns long after it has stopped glowing. Tongs that grip, a clear way from kiln to pour, a "
            "fire-proof floor, nothing that burns near by. Dry sand and a dry extinguisher at hand, never water on "
            "metal. Gas: no leaks, off at the bottle afterwards.",
        ),
        (
            "Burnout fumes",
            "Burning resin gives acrid fumes, carbon monoxide and, with gypsum moulds, sulphur dioxide. Kiln under "
            "an extract that leads outdoors, with make-up air; never in a living space.",
        ),
        (
            "Silica dust",
            "Investment powder and broken moulds hold fine crystalline silica, which scars lungs for good (limit in "
            "the United States 0.05 mg/m³ over 8 hours). Work wet, use extraction and a fitted respirator, no dry "
            "sweeping, no compressed air.",
        ),
        (
            "Uncured resin",
            "It irritates and can make the skin allergic for life. Nitrile gloves, eye protection, good air; cure "
            "rests and wipes before disposal.",
        ),
        (
            "Solvent",
            "Isopropanol gives off flammable vapour at room temperature (flash point about 12 °C). No flame, spark "
            "or hot kiln near; closed containers; good air.",
        ),
        (
            "Acid and pickle",
            "Acid into water, never water into acid; never together with bleach; gloves, eye protection, tongs that "
            "are not iron. Even mild acid fumes when hot.",
        ),
    ]
    if plan.alloy.liquidus_c.value > BLINDING_C:
        found.append(
            (
                "Glare",
                "Metal this hot blinds and burns the eyes: look at it only through a welder's shade, as dark as the "
                "maker of torch or furnace asks.",
            )
        )
    if plan.investment.bond == "phosphate":
        found.append(
            (
                "Acids for this mould",
                "Some shops dissolve what is left of a phosphate-bonded mould in hydrofluoric acid, which kills "
                "through the skin: not for a small studio. Leave that to people licensed and equipped for it.",
            )
        )
    if "zinc" in plan.alloy.cautions:
        found.append(
            (
                "Zinc",
                "This alloy holds or can hold zinc, which boils at 911 °C. Its white fume causes metal fume fever. "
                "Melt under cover, no hotter than needed, under extraction; trade zinc can carry cadmium, which is "
                "far worse.",
            )
        )
    if "lead" in plan.alloy.cautions:
        found.append(
            (
                "Lead",
                "Casting brass of this grade holds lead: poisonous fume and dust, and many places limit lead in "
                "jewellery. Ask for a lead-free grade and put its figures into your materials folder.",
            )
        )
    if "nickel" in plan.alloy.cautions:
        found.append(
            (
                "Nickel",
                "White gold may hold nickel, a common skin allergen; some laws limit how much a worn piece may "
                "release.",
            )
        )
    if plan.alloy.name.endswith(("bronze", "brass", "copper")):
        found.append(
            ("Copper alloys", "Copper fume irritates the lungs. Refuse scrap of unknown make: some holds beryllium.")
        )
    return tuple(found)
