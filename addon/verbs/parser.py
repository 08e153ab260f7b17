"""The words of the command line: verbs, options, and how they are checked."""

import argparse
import math
from typing import NoReturn

from ..rules.base.errors import BadInput
from ..rules.inspect.heads import HEAD_KPA
from ..rules.inspect.light import FEWEST_DIRECTIONS, MOST_DIRECTIONS
from ..rules.inspect.print_check import PREVIEW

UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}

_EXITS = "exit status: 0 no stop finding, 1 at least one stop finding, 2 the input cannot be used"


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        raise BadInput(f"{message}; see {self.prog} --help")


def make_parser(program: str = "linkwright") -> argparse.ArgumentParser:
    """Make the parser. Wrong words raise BadInput with one line; ``--help`` prints and exits 0."""
    parser = _Parser(prog=program, description="Chain printed in place and cast in place.", epilog=_EXITS)
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB", parser_class=_Parser)

    chain = verbs.add_parser("chain", help="make the chain of a job file", epilog=_EXITS)
    _job(chain)
    _out(chain, "where the links go: .stl, .3mf or .blend, at finished size")
    chain.add_argument(
        "--width", type=_positive, metavar="MM", help="make the same design with links this wide, its gap held in mm"
    )
    _json(chain)

    inspect = verbs.add_parser("inspect", help="inspect the bodies of mesh files", epilog=_EXITS)
    inspect.add_argument(
        "files", nargs="+", metavar="FILE", help=".stl, .obj, .3mf or .blend; together they are one set"
    )
    inspect.add_argument("--profile", default="bench", metavar="NAME", help="process profile (default: bench)")
    inspect.add_argument("--gap-floor", type=_not_negative, metavar="MM", help="printed gap below which it is a stop")
    inspect.add_argument(
        "--range", type=_positive, default=1.5, metavar="MM", help="search range for gaps (default: 1.5)"
    )
    inspect.add_argument("--unit", choices=tuple(UNITS_MM), help="unit of .stl and .obj files (default: mm)")
    inspect.add_argument(
        "--scale", type=_scale, default=1.0, metavar="S", help="size in print over size in the file (default: 1)"
    )
    inspect.add_argument(
        "--expansion", type=_expansion, default=0.0, metavar="PERCENT", help="the mould has grown by this (default: 0)"
    )
    inspect.add_argument(
        "--shrinkage", type=_shrinkage, default=0.0, metavar="PERCENT", help="the metal shrinks by this (default: 0)"
    )
    inspect.add_argument(
        "--head", choices=tuple(HEAD_KPA), default="vacuum", help="what drives the metal (default: vacuum)"
    )
    inspect.add_argument(
        "--print",
        action="store_true",
        help="this is the print as it stands on the plate at z = 0: an island is a stop, not advice",
    )
    inspect.add_argument("--layer", type=_positive, metavar="MM", help="printed layer (default: the profile's)")
    _light(inspect)
    inspect.add_argument(
        "--light-faces", action="store_true", help="list the light on every face in the report, in the file's order"
    )
    inspect.add_argument("--way-up", action="store_true", help="also compare ways to stand it on the plate")
    _json(inspect)

    gauge = verbs.add_parser("gauge", help="make a gauge of stepped gaps, or read one that was printed", epilog=_EXITS)
    gauge.add_argument("-o", dest="out", metavar="OUT", help="where the gauge goes: .stl, .3mf or .blend")
    gauge.add_argument("--gaps", type=_numbers, metavar="MM,MM,...", help="its gaps (default: 0.15 to 0.6 by 0.05)")
    gauge.add_argument("--layer", type=_positive, default=0.05, metavar="MM", help="printed layer (default: 0.05)")
    gauge.add_argument(
        "--cure",
        type=_numbers,
        metavar="DEPTH,CRITICAL,EXPOSURE",
        help="work out the over-cure from the resin's penetration depth in mm, its critical exposure and a layer's",
    )
    gauge.add_argument("--readings", metavar="FILE.toml", help="what was measured; gives the lines for a job file")
    _json(gauge)

    feed = verbs.add_parser("feed", help="chain and lattice, or a set of bodies and lattice, one solid", epilog=_EXITS)
    feed.add_argument(
        "files",
        nargs="+",
        metavar="FILE",
        help="the job file of a chain; or .stl, .obj, .3mf, .blend files: the bodies of all of them are one set",
    )
    _out(feed, "where the solid goes: .stl, .3mf or .blend, at finished size")
    feed.add_argument("--profile", metavar="NAME", help="process profile for mesh files (default: bench)")
    feed.add_argument("--unit", choices=tuple(UNITS_MM), help="unit of .stl and .obj files (default: mm)")
    _json(feed)

    plan = verbs.add_parser("plan", help="weights, flask, investment, temperatures", epilog=_EXITS)
    _job(plan)
    _json(plan)
    plan.add_argument("--sheet", metavar="OUT.html", help="also write the bench sheet")

    run = verbs.add_parser("run", help="all of it: report.json, sheet.html, print.stl, print.3mf", epilog=_EXITS)
    _job(run)
    run.add_argument("-o", dest="out", required=True, metavar="DIR", help="the folder for the files")
    _light(run)
    run.add_argument("--even-so", action="store_true", help="write the print files although a stop finding stands")
    return parser


def _job(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB.toml", help="the job file")


def _out(parser: argparse.ArgumentParser, words: str) -> None:
    parser.add_argument("-o", dest="out", required=True, metavar="OUT", help=words)


def _light(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--light",
        type=_directions,
        default=PREVIEW,
        metavar="N",
        help=f"directions the curing light comes from, an even number; 0 leaves it out (default: {PREVIEW})",
    )


def _json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", metavar="PATH", help="write the report there; - prints it and nothing else")


def _numbers(text: str) -> tuple[float, ...]:
    try:
        return tuple(float(one) for one in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no list of mm; give numbers with commas: 0.2,0.3") from None


def _not_negative(text: str) -> float:
    return _number(text, least=0.0)


def _positive(text: str) -> float:
    value = _number(text, least=0.0)
    if value == 0.0:
        raise argparse.ArgumentTypeError("must be above 0 mm")
    return value


def _directions(text: str) -> int:
    count = int(text) if text.isdecimal() else -1
    if count != 0 and (count % 2 or not FEWEST_DIRECTIONS <= count <= MOST_DIRECTIONS):
        raise argparse.ArgumentTypeError(
            f"{text!r} does not work; give 0, or an even number from {FEWEST_DIRECTIONS} to {MOST_DIRECTIONS}"
        )
    return count


def _scale(text: str) -> float:
    return _number(text, least=0.5, most=2.0, unit="")


def _expansion(text: str) -> float:
    return _number(text, least=-10.0, most=10.0, unit="percent")


def _shrinkage(text: str) -> float:
    return _number(text, least=0.0, most=10.0, unit="percent")


def _number(text: str, *, least: float, most: float = 1000.0, unit: str = "mm") -> float:
    try:
        value = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number{unit and f' of {unit}'}") from None
    if not math.isfinite(value) or not least <= value <= most:
        raise argparse.ArgumentTypeError(f"{text!r} does not work; give {least:g} to {most:g} {unit}".rstrip())
    return value
