"""Job files: one chain, its layout, process, feed and pour, as TOML. Every length in mm, every temperature in degC."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ..base.errors import BadInput
from ..base.profile import OVERRIDES, Profile, load_profile, override
from ..base.tables import Table, read_toml
from ..cast.spec import HEADS, CastSpec
from ..chain.layout_check import check_layout
from ..chain.spec import ChainSpec, LayoutSpec
from ..feed.spec import FeedSpec
from . import job_chain, job_feed, job_layout
from .job_chain import ReadBlend, chain_lines, read_chain
from .job_feed import feed_lines, read_feed
from .job_layout import layout_lines, read_layout
from .written import lines_of

SCHEMA = 1
MOST_CURRENCY = 12
USUAL_RESIN = CastSpec().resin

_PRICES = ("metal_price_per_g", "investment_price_per_kg")
_CAST_KEYS = (
    "alloy", "investment", "metal_c", "flask_c", "head", "flask", "resin", "tilt", "spin_arm", *_PRICES, "currency",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Job:
    """Everything one piece is made from."""

    name: str
    chain: ChainSpec
    layout: LayoutSpec
    profile: Profile
    feed: FeedSpec
    cast: CastSpec


def read_job(path: Path, read_blend: ReadBlend | None = None) -> Job:
    """Read a job file. The file of an own link is looked for beside it; ``read_blend`` reads one that is a .blend.

    Raises BadInput that names the file, the key and the range that works.
    """
    return parse_job(read_toml(path), path.name, folder=path.parent, read_blend=read_blend)


def parse_job(
    values: dict[str, object], where: str, *, folder: Path = Path(), read_blend: ReadBlend | None = None
) -> Job:
    """Check the tables of a job; ``where`` names them in messages, ``folder`` is where its own link's file lies."""
    top = Table(values, f"{where}:", known=("schema", "name", "chain", "layout", "process", "feed", "cast"))
    schema = top.whole("schema", least=1, most=1_000_000)
    if schema != SCHEMA:
        raise BadInput(f"{top.name('schema')}: {schema} is newer than this version reads; write schema = {SCHEMA}")
    for needed in ("chain", "layout"):
        if not top.has(needed):
            raise BadInput(f"{where}: the table [{needed}] is missing; add it with its keys")
    with _told_of(where):
        chain = read_chain(top.table("chain", known=job_chain.KEYS), folder, read_blend)
        layout = read_layout(top.table("layout", known=job_layout.KEYS))
        check_layout(layout)
    return Job(
        name=top.text("name", "Untitled chain").strip() or "Untitled chain",
        chain=chain,
        layout=layout,
        profile=_profile(top.table("process", known=("profile", *OVERRIDES))),
        feed=read_feed(top.table("feed", known=job_feed.KEYS)),
        cast=_cast(top.table("cast", known=_CAST_KEYS)),
    )


@contextmanager
def _told_of(where: str) -> Iterator[None]:
    """Put the file's name before what the chain's own rules say of its values."""
    try:
        yield
    except BadInput as error:
        text = str(error)
        raise BadInput(text if text.startswith(f"{where}:") else f"{where}: {text}") from None


def _profile(table: Table) -> Profile:
    name = table.text("profile", "bench")
    return override(load_profile(name), table)


def _cast(table: Table) -> CastSpec:
    return CastSpec(
        alloy=table.text("alloy", "tin-bronze"),
        metal_c=table.optional_number("metal_c", least=100.0, most=3000.0, unit="degC"),
        flask_c=table.optional_number("flask_c", least=20.0, most=2000.0, unit="degC"),
        head=table.choice("head", HEADS, "vacuum"),
        flask_mm=_flask(table),
        investment=table.text("investment") if table.has("investment") else None,
        resin=table.text("resin", USUAL_RESIN),
        tilt=table.flag("tilt", False),
        spin_arm=table.text("spin_arm") if table.has("spin_arm") else None,
        metal_price_per_g=table.optional_number("metal_price_per_g", least=0.0, most=1e9),
        investment_price_per_kg=table.optional_number("investment_price_per_kg", least=0.0, most=1e9),
        currency=_currency(table),
    )


def _currency(table: Table) -> str:
    text = table.text("currency", "").strip()
    if len(text) > MOST_CURRENCY:
        raise BadInput(
            f"{table.name('currency')}: {text[:20]!r}... is too long; give a sign or a word of up to "
            f"{MOST_CURRENCY} letters"
        )
    return text


def _flask(table: Table) -> tuple[float, float] | None:
    text = table.text("flask", "auto")
    if text == "auto":
        return None
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[xX]\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*", text)
    size = (float(match[1]), float(match[2])) if match else (0.0, 0.0)
    if not all(10.0 <= side <= 2000.0 for side in size):
        raise BadInput(
            f'{table.name("flask")}: {text!r} does not work; give "auto" or "DIAMETERxHEIGHT" in mm, 10 to 2000'
        )
    return size


def job_text(job: Job, profile_base: Profile) -> str:
    """Write a job as TOML text that `parse_job` reads back to the same job.

    ``profile_base`` is the profile the job names; only keys that differ from it are written. Raises BadInput for an own
    link that has no file to name.
    """
    changed = {key: getattr(job.profile, key) for key in OVERRIDES}
    process = {key: value for key, value in changed.items() if value != getattr(profile_base, key)}
    process |= {key: "auto" for key, value in process.items() if value is None}
    cast: dict[str, object] = {"alloy": job.cast.alloy, "head": job.cast.head, "investment": job.cast.investment}
    cast |= {"metal_c": job.cast.metal_c, "flask_c": job.cast.flask_c, "flask": _flask_text(job.cast)}
    cast |= {"resin": job.cast.resin if job.cast.resin != USUAL_RESIN else None}
    cast |= {"tilt": job.cast.tilt or None, "spin_arm": job.cast.spin_arm, "currency": job.cast.currency or None}
    cast |= {key: getattr(job.cast, key) for key in _PRICES}
    tables = (
        lines_of({"schema": SCHEMA, "name": job.name}),
        chain_lines(job.chain),
        layout_lines(job.layout),
        ["[process]", *lines_of({"profile": profile_base.name, **process})],
        feed_lines(job.feed),
        ["[cast]", *lines_of(cast)],
    )
    return "\n\n".join("\n".join(lines) for lines in tables) + "\n"


def _flask_text(cast: CastSpec) -> str | None:
    return None if cast.flask_mm is None else "x".join(repr(side).removesuffix(".0") for side in cast.flask_mm)
