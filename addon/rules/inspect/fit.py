"""Findings about the fit of a generated chain: does it go over the hand, is it the size and the gap asked for."""

from ..base.profile import Profile
from ..chain.chain import Chain
from .finding import Finding

# A length this far off the one asked for is worth a warning; nearer, a note. Our judgement.
WARN_SHARE = 0.02
SAME_MM = 0.05


def fit_findings(chain: Chain, profile: Profile | None = None) -> tuple[Finding, ...]:
    """Say what the maker must know of a chain's fit. With a ``profile``, also whether the joints look open."""
    return (*_hand(chain), *_size(chain), *_gap(chain), *_looks(chain, profile))


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
        sizes = ", ".join(f"{links} links wear at {mm:.1f} mm" for links, mm in chain.nearby)
        side = "over" if off > 0 else "under"
        text = f"{chain.links} links wear at {worn:.1f} mm, {abs(off):.1f} mm {side} the {asked:g} asked for"
        text += f"; {sizes}" if sizes else ""
        text += '; fit = "ease" meets it exactly' if chain.layout.shape != "curve" else ""
        severity = "warn" if abs(off) > WARN_SHARE * asked else "note"
        found.append(Finding("size-off", severity, (), text, value=worn, limit=asked))
    if chain.eased_from_mm is not None:
        eased = chain.spec.link_length_mm
        text = f"the links are {eased:.3f} mm long, eased from {chain.eased_from_mm:g} to meet the length"
        found.append(Finding("size-off", "note", (), text, value=eased, limit=chain.eased_from_mm))
    return tuple(found)


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
