"""The command line: parse, run the rules, report. Imports no Blender."""

import json
import re
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TextIO

from ..rules.base.errors import BadInput, CannotBuild
from ..rules.files.atomic import write_whole
from ..rules.inspect.finding import stops
from . import commands
from .gauge import gauge_or_readings
from .host import HostTools
from .parser import make_parser

KEY = re.compile(r"(chain|layout|process|feed|cast)\.\w+: ")  # of a job file, as its tables and keys are called
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
    jobs: list[str] = []
    try:
        args = make_parser(program).parse_args(list(argv))
        jobs = [args.job] if "job" in args else getattr(args, "files", [])
        json_path: str | None = getattr(args, "json", None)
        if json_path not in (None, "-"):
            commands.check_folder(Path(str(json_path)))
        outcome = _VERBS[args.verb](args, host)
        if json_path == "-":
            _write(sys.stdout, _as_json_for(sys.stdout, outcome.report))
        else:
            if json_path is not None:
                write_whole(Path(json_path), outcome.report.encode())
            _write(sys.stdout, "\n".join(outcome.lines) + "\n")
    except (BadInput, CannotBuild) as error:
        _write(sys.stderr, f"{program}: {_placed(' '.join(str(error).split()), jobs)}\n")
        return error.exit_code
    return 1 if stops(outcome.findings) else 0


def _placed(text: str, jobs: Sequence[str]) -> str:
    """Put the name of the one job file before a message of a rule, which knows the key but not the file."""
    return f"{Path(jobs[0]).name}: {text}" if len(jobs) == 1 and KEY.match(text) else text


def _write(stream: TextIO, text: str) -> None:
    """Write a text to a stream that may not know all its letters; names of bodies come in any script."""
    code = stream.encoding or "utf-8"
    stream.write(text.encode(code, "backslashreplace").decode(code))


def _as_json_for(stream: TextIO, report: str) -> str:
    """Give a report as it is, or with its letters escaped the way JSON does where the stream cannot take them."""
    try:
        report.encode(stream.encoding or "utf-8")
    except UnicodeEncodeError:
        return json.dumps(json.loads(report), indent=1) + "\n"
    return report
