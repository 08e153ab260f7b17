"""Make a virtual environment and fill it with the pinned packages; say so, and say plainly what went wrong.

Only Python 3.11 and later reads this file. Everything is said on standard error, which stays silent once the
environment stands.
"""

import contextlib
import errno
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import _setup

DISK_NEEDED_GB = 3.0

# The system libraries that Blender's Python module asks for, with the Debian packages that hold them.
DEBIAN_PACKAGE = {
    "libGL.so.1": "libgl1",
    "libICE.so.6": "libice6",
    "libSM.so.6": "libsm6",
    "libX11.so.6": "libx11-6",
    "libXext.so.6": "libxext6",
    "libXfixes.so.3": "libxfixes3",
    "libXi.so.6": "libxi6",
    "libXrender.so.1": "libxrender1",
    "libXrandr.so.2": "libxrandr2",
    "libXxf86vm.so.1": "libxxf86vm1",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libgomp.so.1": "libgomp1",
    "libstdc++.so.6": "libstdc++6",
    "libEGL.so.1": "libegl1",
    "libxcb.so.1": "libxcb1",
    "libuuid.so.1": "libuuid1",
}

# Settings that would send the packages to another place than the environment.
SENT_ELSEWHERE = (
    "PYTHONHOME",
    "PYTHONPATH",
    "PIP_REQUIRE_VIRTUALENV",
    "PIP_TARGET",
    "PIP_PREFIX",
    "PIP_ROOT",
    "PIP_USER",
)

NETWORK_SIGNS = re.compile(
    r"NewConnectionError|NameResolutionError|ConnectTimeout|ReadTimeout|Read timed out|ProtocolError|ProxyError|"
    r"Connection (refused|reset|aborted|broken)|Network is unreachable|No route to host|Could not fetch URL|"
    r"Temporary failure in name resolution|Name or service not known|SSLError|Max retries exceeded|IncompleteRead"
)
DISK_SIGNS = re.compile(
    r"No space left on device|Disk quota exceeded|\[Errno 28\]|\[Errno 122\]|not enough space on the disk"
)
LIBRARY_SIGN = re.compile(r"(lib[\w.+-]+\.so[.\d]*): cannot open shared object file")


class SetupFailed(Exception):
    """The environment cannot be made. The message is one line: what is the matter and what to do."""


def make_or_fail(folder: str, python: str, version: str, *, tests: bool, blender: bool) -> None:
    """`make`, ending the process with one line when it cannot be."""
    try:
        make(folder, python, version, tests=tests, blender=blender)
    except SetupFailed as failure:
        _setup.fail(str(failure))
    except KeyboardInterrupt:
        sys.stderr.write("linkwright: stopped; the environment will be finished at the next start\n")
        sys.exit(130)


def make(folder: str, python: str, version: str, *, tests: bool, blender: bool, bpy: str | None = None) -> None:
    """Make `folder` stand: a virtual environment of `python` (of `version`, "3.11") with today's pins in it.

    `bpy` names another Blender than the pinned one. Raises SetupFailed.
    """
    try:
        with _lock() as held:
            if _setup.stands(folder, tests, blender, bpy):
                return
            _make(Path(folder), python, version, tests, bpy, held)
            if blender:
                _check_blender(Path(folder))
            say(f"{Path(folder).name} is ready")
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise SetupFailed(_disk_full(Path(folder))) from error
        raise SetupFailed(f"cannot write to {error.filename or folder}: {error.strerror}") from error


def _make(folder: Path, python: str, version: str, tests: bool, bpy: str | None, held: tuple[int, ...]) -> None:
    if _setup.stands(str(folder), tests, False, bpy):
        return
    stamp = folder / _setup.STAMP
    has_tests = False
    if _usable(folder, stamp, version):
        has_tests = not stamp.read_text(encoding="utf-8").strip().endswith("-")
        say(f"Bringing {folder.name} up to date")
    else:
        say(
            f"Making {folder.name} with Python {version}"
            + (", what stood there was not whole" if folder.exists() else "")
        )
        _run([python, "-m", "venv", "--clear", str(folder)], folder, [], held)
    wanted = _setup.pins(version, tests or has_tests, bpy)
    stamp.unlink(missing_ok=True)
    (folder / _setup.BLENDER_LOADS).unlink(missing_ok=True)
    say(f"Installing {len(wanted)} packages with Blender {_blender_version(wanted)}: fetches up to 400 MB")
    command = [_setup.venv_python(str(folder)), "-m", "pip", "install", "--no-deps", "--only-binary=:all:"]
    command += ["--no-input", "--disable-pip-version-check", "--progress-bar=off", *wanted]
    _run(command, folder, wanted, held)
    _write_whole(stamp, _setup.stamp(version, tests or has_tests, bpy))


def _usable(folder: Path, stamp: Path, version: str) -> bool:
    """Whether an environment was finished once for this Python, so that packages can be changed in place."""
    with contextlib.suppress(OSError):
        python = _setup.venv_python(str(folder))
        words = stamp.read_text(encoding="utf-8").split()
        return (
            len(words) == 3
            and words[0] == version
            and subprocess.run([python, "-c", "import pip"], capture_output=True).returncode == 0
        )
    return False


def _run(command: list[str], folder: Path, wanted: list[str], held: tuple[int, ...]) -> None:
    """Run a step, telling which big packages are being fetched; SetupFailed when it goes wrong.

    `held` is the lock's descriptor: the step holds it too, should this process be killed before it.
    """
    said: list[str] = []
    environment = {name: value for name, value in os.environ.items() if name not in SENT_ELSEWHERE}
    with subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        env=environment,
        pass_fds=held,
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            said.append(line)
            fetched = re.search(r"Downloading (?:\S*/)?([\w.]+?)-(\d[\w.]*)-\S+ \(([\d.]+ [MG]B)\)", line)
            if fetched and not fetched[3].startswith(("0.", "1.", "2.")):
                say("  fetching {} {} ({})".format(*fetched.groups()))
    if process.returncode != 0:
        text = "".join(said)
        log = folder / "linkwright-setup.log"
        with contextlib.suppress(OSError):
            log.write_text(text, encoding="utf-8")
        raise SetupFailed(explain(text, folder, wanted, log))


def explain(text: str, folder: Path, wanted: list[str], log: Path) -> str:
    """One line for what made a step fail, from what the step printed."""
    if DISK_SIGNS.search(text):
        return _disk_full(folder)
    if NETWORK_SIGNS.search(text):
        return "the package index cannot be reached: check the network (or pip's proxy settings) and start again"
    absent = re.search(r"No matching distribution found for (\S+)", text)
    if absent:
        return f"the package index has no {absent[1]} for this machine ({sys.platform}, {platform.machine()})"
    if "ensurepip" in text:
        return "this Python lacks its module ensurepip: install it (on Debian: apt-get install python3-venv)"
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    last = next((line for line in reversed(lines) if "error" in line.lower()), lines[-1] if lines else "no word of it")
    doing = "installing the packages" if wanted else "making the environment"
    return f"{doing} failed: {last}" + (f" (all of it: {log})" if log.exists() else "")


def missing_libraries(text: str, module: Path | None) -> list[str]:
    """The system libraries that are missing: the one a failed import names, and all others the module asks for."""
    names = LIBRARY_SIGN.findall(text)
    if module is not None and shutil.which("ldd"):
        table = subprocess.run(["ldd", str(module)], capture_output=True, text=True, errors="replace").stdout
        names += re.findall(r"(\S+) => not found", table)
    return sorted(set(names))


def library_line(names: list[str]) -> str:
    """One line that names missing system libraries and the packages that hold them."""
    packages = sorted({DEBIAN_PACKAGE[name] for name in names if name in DEBIAN_PACKAGE})
    unknown = [name for name in names if name not in DEBIAN_PACKAGE]
    line = "Blender does not load, system libraries are missing: " + ", ".join(names)
    if packages:
        line += "; on Debian: apt-get install " + " ".join(packages)
    if unknown:
        line += "; find the package that holds " + ", ".join(unknown)
    return line


def _check_blender(folder: Path) -> None:
    python = _setup.venv_python(str(folder))
    try:
        run = subprocess.run(
            [python, "-c", "import bpy"], capture_output=True, text=True, errors="replace", timeout=180
        )
    except subprocess.TimeoutExpired:
        raise SetupFailed(
            "Blender did not load within 180 s: the machine is too busy or too small; start again"
        ) from None
    if run.returncode != 0:
        find = "import importlib.util as u; s = u.find_spec('bpy'); print(s.origin if s else '')"
        origin = subprocess.run([python, "-c", find], capture_output=True, text=True).stdout.strip()
        names = missing_libraries(run.stderr, Path(origin) if origin else None)
        if names:
            raise SetupFailed(library_line(names))
        last = (run.stderr.strip().splitlines() or [f"exit code {run.returncode}"])[-1]
        raise SetupFailed(f"Blender does not load on this machine: {last}")
    _write_whole(folder / _setup.BLENDER_LOADS, "yes")


def _disk_full(folder: Path) -> str:
    places = {str(folder.parent): "here", tempfile.gettempdir(): "for what is being fetched"}
    free = ", ".join(f"{shutil.disk_usage(place).free / 1e9:.1f} GB free in {place}" for place in places)
    return (
        f"the disk is full: {free}; about {DISK_NEEDED_GB:.0f} GB are needed (TMPDIR names another place to fetch to)"
    )


def _blender_version(wanted: list[str]) -> str:
    return next(line.split("==")[1] for line in wanted if line.startswith("bpy=="))


def _write_whole(path: Path, text: str) -> None:
    new = path.with_name(path.name + ".new")
    new.write_text(text + "\n", encoding="utf-8")
    new.replace(path)


def say(line: str) -> None:
    """Tell on standard error what is being done."""
    sys.stderr.write(f"linkwright: {line}\n")
    sys.stderr.flush()


@contextlib.contextmanager
def _lock() -> Iterator[tuple[int, ...]]:
    """Hold the environments for this process alone; gives the descriptors that a child has to hold as well.

    The lock lies on this file itself, so that none is left behind; it goes when the processes do.
    """
    with open(__file__, "rb") as file:
        if not _try_lock(file):
            say("Another script is making the environment; waiting for it")
            while not _try_lock(file):
                time.sleep(0.2)
        yield () if os.name == "nt" else (file.fileno(),)


def _try_lock(file: BinaryIO) -> bool:
    try:
        if os.name == "nt":
            import msvcrt

            file.seek(1 << 30)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
