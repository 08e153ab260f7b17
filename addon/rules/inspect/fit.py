"""Findings about the fit of a generated chain: hand, size, gap, and what its ends are made of."""

from ..base.errors import LinkwrightError
from ..base.profile import Profile
from ..chain.chain import Chain
from ..chain.ends import clasp_of
from ..chain.layout_check import ends_of
from .finding import Finding

# A length this far off the one asked for is worth a warning; nearer, a note. Our judgement.
WARN_SHARE = 0.02
SAME_MM = 0.05
# A closure whose length is given differs this much from the one made before it is worth a warning. Our judgement.
CLASP_MM = 1.0
EASED = ("ring", "straight")


def fit_findings(chain: Chain, profile: Profile | None = None) -> tuple[Finding, ...]:
    """Say what the maker must know of a chain's fit. With a ``profile``, also whether the joints look open."""
    return (*_hand(chain), *_size(chain), *_ends(chain), *_gap(chain), *_looks(chain, profile))


def _hand(chain: Chain) -> tuple[Finding, ...]:
    worn, hand = chain.worn_inner_length_mm, chain.layout.hand_mm
    if not chain.closed or worn is None:
        return ()
    if hand is None:
        text = (
            f"the chain closes without a clasp and must pass over the hand: it wears at {worn:.1f} mm inside; measure "
            f"round the widest part of the hand and give it as hand_mm"
        )
        return (Finding("hand", "warn", (), text, value=worn),)
    if worn >= hand:
        return ()
    text = (
        f"the chain wears at {worn:.1f} mm inside and does not pass over a hand of {hand:g} mm; it lacks "
        f"{hand - worn:.1f} mm: ask for a longer inner_length_mm, or leave the chain open for a clasp"
    )
    return (Finding("hand", "stop", (), text, value=worn, limit=hand),)


def _size(chain: Chain) -> tuple[Finding, ...]:
    asked, worn = chain.asked_mm, chain.worn_mm
    if asked is None or worn is None:
        return ()
    off = worn - asked
    found = []
    if abs(off) > SAME_MM:
        sizes = ", ".join(f"{links} links wear at {mm:.1f} mm" for links, mm in _beside(chain))
        side = "over" if off > 0 else "under"
        text = f"{chain.count} links wear at {worn:.1f} mm, {abs(off):.1f} mm {side} the {asked:g} asked for"
        text += f"; {sizes}" if sizes else ""
        can_ease = chain.layout.shape in EASED and not chain.spec.tapered and chain.layout.fit != "ease"
        text += '; fit = "ease" meets it exactly' if can_ease else ""
        severity = "warn" if abs(off) > WARN_SHARE * asked else "note"
        found.append(Finding("size-off", severity, (), text, value=worn, limit=asked))
    if chain.eased_from_mm is not None:
        eased = chain.spec.link_length_mm
        text = f"the links are {eased:.3f} mm long, eased from {chain.eased_from_mm:g} to meet the length"
        found.append(Finding("size-off", "note", (), text, value=eased, limit=chain.eased_from_mm))
    return tuple(found)


def _beside(chain: Chain) -> tuple[tuple[int, float], ...]:
    """Give the next smaller and the next larger number of links that keep the gap, and what they wear at."""
    kept = [(s.links, s.worn_mm) for s in chain.sizes if s.gap_mm >= chain.spec.gap_mm]
    below = [size for size in kept if size[0] < chain.count]
    above = [size for size in kept if size[0] > chain.count]
    return (*below[-1:], *above[:1])


def _ends(chain: Chain) -> tuple[Finding, ...]:
    """Say what the ends of a chain are: a closure and what it adds, bare ends worn round, or a cover."""
    ends, layout = ends_of(chain.layout), chain.layout
    if ends == "cover":
        joined = any(len(chain.bodies) - 1 in pair for pair in chain.joints)
        text = "the cover holds the first and the last link, which are one body with it" + (
            "" if joined else "; they are joined when the chain is built exactly"
        )
        return (Finding("cover", "note", (chain.bodies[-1].name,), text),)
    if ends != "open":
        return ()
    if layout.clasp is None:
        if layout.inner_length_mm is None or layout.clasp_length_mm is not None:
            return ()
        text = (
            f"the ends are bare and meet at {chain.worn_mm or layout.inner_length_mm:.1f} mm: choose a clasp, or give "
            "the length of the one that is put on later as clasp_length_mm"
        )
        return (Finding("clasp", "warn", (), text),)
    names = (chain.bodies[-2].name, chain.bodies[-1].name)
    text = f"{names[0]} and {names[1]} are cast in place uncoupled and add {chain.clasp_mm:.1f} mm to the worn length"
    if layout.clasp == "eyes":
        text += ", with a jump ring as wide inside as two of their wires and a gap, closed by hand"
    if layout.clasp_length_mm is None:
        return (Finding("clasp", "note", names, text, value=chain.clasp_mm),)
    return (_given_length(chain, names),)


def _given_length(chain: Chain, names: tuple[str, str]) -> Finding:
    """Hold the length given for a closure against that of the one made."""
    given, clasp = chain.layout.clasp_length_mm, chain.layout.clasp
    assert given is not None
    assert clasp is not None
    try:
        made = clasp_of(chain.spec, clasp, chain.pattern).length_mm
    except LinkwrightError:
        made = given
    off = abs(made - given) > CLASP_MM
    text = (
        f"{names[0]} and {names[1]} count with the {given:g} mm given as clasp_length_mm; as made they add {made:.1f}"
    )
    text += "; leave it out to count that" if off else ""
    return Finding("clasp", "warn" if off else "note", names, text, value=given, limit=made)


def _gap(chain: Chain) -> tuple[Finding, ...]:
    if chain.smallest_gap_mm >= chain.spec.gap_mm:
        return ()
    a, b = chain.smallest_gap_between
    at = next(body.pose.origin for body in chain.bodies if body.name == a)
    text = (
        f"the smallest gap is {chain.smallest_gap_mm:.2f} mm, between {a} and {b}, under the {chain.spec.gap_mm:g} "
        f"asked for: open the curve there, ask for less, or take a smaller wire"
    )
    place = (float(at[0]), float(at[1]), float(at[2]))
    return (Finding("gap-unmet", "stop", (a, b), text, place, chain.smallest_gap_mm, chain.spec.gap_mm),)


def _looks(chain: Chain, profile: Profile | None) -> tuple[Finding, ...]:
    if profile is None or chain.smallest_gap_mm <= profile.looks_ceiling_mm:
        return ()
    text = (
        f"every gap is at least {chain.smallest_gap_mm:.2f} mm; over {profile.looks_ceiling_mm:g} mm the links no "
        f"longer read as one chain: take a thicker wire or a smaller link"
    )
    return (Finding("looks", "note", (), text, value=chain.smallest_gap_mm, limit=profile.looks_ceiling_mm),)
