"""The command line: parse, run the rules, report. Imports no Blender."""

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from ..rules.base.errors import BadInput, CannotBuild
from ..rules.files.atomic import write_whole
from ..rules.inspect.finding import stops
from . import commands
from .gauge import gauge_or_readings
from .host import HostTools
from .parser import make_parser

_VERBS: dict[str, Callable[..., commands.Outcome]] = {
    "chain": commands.chain,
    "inspect": commands.inspect_files,
    "gauge": gauge_or_readings,
    "feed": commands.feed,
    "plan": commands.plan,
    "run": commands.run,
}


def main(argv: Sequence[str], host: HostTools | None = None, *, program: str = "linkwright") -> int:
    """Run one command and return its exit status: 0 no stop, 1 a stop finding, 2 the input cannot be used.

    ``host`` is None where there is no Blender. Errors are one line on standard error.
    """
    try:
        args = make_parser(program).parse_args(list(argv))
        json_path: str | None = getattr(args, "json", None)
        if json_path not in (None, "-"):
            commands.check_folder(Path(str(json_path)))
        outcome = _VERBS[args.verb](args, host)
        if json_path == "-":
            sys.stdout.write(outcome.report)
        else:
            if json_path is not None:
                write_whole(Path(json_path), outcome.report.encode())
            sys.stdout.write("\n".join(outcome.lines) + "\n")
    except (BadInput, CannotBuild) as error:
        sys.stderr.write(f"{program}: {' '.join(str(error).split())}\n")
        return error.exit_code
    return 1 if stops(outcome.findings) else 0
