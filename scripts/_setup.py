"""Bring a script of this folder into the Python of `.venv`, whatever Python it was started with.

`enter` is the first call of every script. It returns at once when this process already is the Python of a
finished `.venv`; otherwise it replaces the process by that Python, having `.venv` made first where it does not
stand. Python 2.7 must be able to read this file (it is what some machines start for `python3`, or older ones),
so it keeps to words that old Pythons know; the making itself is in `_environment.py`, for 3.11 and 3.13 only.
"""

import glob
import hashlib
import io
import os
import subprocess
import sys
import time

SUPPORTED = ("3.11", "3.13")
SCRIPTS = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(SCRIPTS)
VENV = os.path.join(ROOT, ".venv")
STAMP = "linkwright-stamp"
BLENDER_LOADS = "linkwright-blender-loads"
TESTS_MARK = "# for the tests only"
FAILED = 2

PROBE = """
import sys
missing = []
for name in ("venv", "ensurepip", "ssl", "zlib", "ctypes"):
    try:
        __import__(name)
    except ImportError:
        missing.append(name)
kind = getattr(getattr(sys, "implementation", None), "name", "old") + getattr(sys, "abiflags", "")
print("|".join(["%d.%d" % sys.version_info[:2], kind, ",".join(missing), sys.executable]))
"""


def enter(tests=False, blender=True):
    """Return in the Python of `.venv`, made and filled as asked; see the module's words.

    `tests` asks for the packages of the tests as well; `blender` insists that Blender loads on this machine.
    Ends the process with one line on standard error when no environment can be had.
    """
    inside = os.path.realpath(sys.prefix) == os.path.realpath(VENV)
    if stands(VENV, tests, blender):
        if not inside:
            _become([venv_python(VENV)])
        return
    chosen, lacking = _choose_python(inside)
    if chosen is None:
        fail(_no_python(lacking))
    version, python = chosen
    this_version = "%d.%d" % sys.version_info[:2]
    if inside or this_version not in SUPPORTED:
        _become([python])
    import _environment

    _environment.make_or_fail(VENV, python, version, tests=tests, blender=blender)
    _become([venv_python(VENV)])


def fail(line):
    """End with one clear line."""
    sys.stderr.write("linkwright: " + line + "\n")
    sys.exit(FAILED)


def venv_python(folder):
    """The Python of a virtual environment."""
    if os.name == "nt":
        return os.path.join(folder, "Scripts", "python.exe")
    return os.path.join(folder, "bin", "python")


def pins(version, tests, bpy=None):
    """The pinned requirements for a Python version ("3.11"); `bpy` names another Blender than the usual one."""
    path = os.path.join(SCRIPTS, "requirements", "py" + version.replace(".", "") + ".txt")
    with io.open(path, encoding="utf-8") as file:
        text = file.read()
    if not tests:
        text = text.split(TESTS_MARK)[0]
    lines = [line.strip() for line in text.splitlines()]
    lines = [str(line) for line in lines if line and not line.startswith("#")]
    if bpy is not None:
        lines = ["bpy==" + bpy if line.startswith("bpy==") else line for line in lines]
    return lines


def stamp(version, tests, bpy=None):
    """What a finished environment's stamp says: the Python, and a digest of each part of its pins."""
    return " ".join((version, _digest(pins(version, False, bpy)), _digest(pins(version, True, bpy)) if tests else "-"))


def stands(folder, tests, blender, bpy=None):
    """Whether a virtual environment is finished and holds today's pins."""
    words = _read(os.path.join(folder, STAMP)).split()
    if len(words) != 3 or words[0] not in SUPPORTED or not os.path.exists(venv_python(folder)):
        return False
    if blender and not os.path.exists(os.path.join(folder, BLENDER_LOADS)):
        return False
    if tests:
        return words == stamp(words[0], True, bpy).split()
    return words[:2] == stamp(words[0], False, bpy).split()[:2]


def find_python(versions, first=None):
    """Look for a Python of one of `versions` by running every candidate.

    Returns ((version, executable) or None, [(executable, missing module), ...]): the second part are those of
    the right version that cannot make an environment.
    """
    lacking = []
    seen = set()
    for command in _candidates(versions, first):
        answer = _probe(command)
        if answer is None or answer[3] in seen:
            continue
        version, kind, missing, executable = answer
        seen.add(executable)
        if version not in versions or kind != "cpython":
            continue
        if missing:
            lacking.append((version, executable, missing.split(",")[0]))
            continue
        return (version, executable), lacking
    return None, lacking


def _choose_python(inside):
    """The Python to make `.venv` with: of the version it was made for before, so that its packages can stay."""
    own = getattr(sys, "_base_executable", None) if inside else sys.executable
    before = _read(os.path.join(VENV, STAMP)).split()[:1]
    if before and before[0] in SUPPORTED:
        chosen, lacking = find_python(before, own)
        if chosen is not None:
            return chosen, lacking
    return find_python(SUPPORTED, own)


def _candidates(versions, first):
    if first:
        yield [first]
    folders = [part for part in os.environ.get("PATH", "").split(os.pathsep) if part]
    folders += ["/usr/local/bin", "/opt/homebrew/bin", "/usr/bin"]
    suffix = ".exe" if os.name == "nt" else ""
    for version in versions:
        for folder in folders:
            path = os.path.join(folder, "python" + version + suffix)
            if os.path.isfile(path):
                yield [path]
        if os.name == "nt":
            yield ["py", "-" + version]
        for pattern in _version_folders(version):
            for path in sorted(glob.glob(os.path.expanduser(pattern)), reverse=True):
                yield [path]
    for folder in folders:
        for name in ("python3", "python"):
            path = os.path.join(folder, name + suffix)
            if os.path.isfile(path):
                yield [path]


def _version_folders(version):
    """Where version managers and installers keep their Pythons."""
    environ = os.environ
    data = environ.get("XDG_DATA_HOME") or "~/.local/share"
    unix = os.path.join("bin", "python" + version)
    patterns = [
        os.path.join(environ.get("PYENV_ROOT") or "~/.pyenv", "versions", version + "*", unix),
        os.path.join("~", ".pyenv", "versions", version + "*", unix),
        os.path.join(environ.get("UV_PYTHON_INSTALL_DIR") or os.path.join(data, "uv", "python"), "*", unix),
        os.path.join(environ.get("ASDF_DATA_DIR") or "~/.asdf", "installs", "python", version + "*", unix),
        os.path.join(
            environ.get("MISE_DATA_DIR") or os.path.join(data, "mise"), "installs", "python", version + "*", unix
        ),
        os.path.join("/Library/Frameworks/Python.framework/Versions", version, unix),
        os.path.join("/opt", "python*", unix),
        os.path.join("/usr/local/opt/python@" + version, unix),
    ]
    if os.name == "nt":
        local = environ.get("LOCALAPPDATA") or "~"
        patterns += [
            os.path.join(local, "Programs", "Python", "Python" + version.replace(".", ""), "python.exe"),
            os.path.join("~", ".pyenv", "pyenv-win", "versions", version + "*", "python.exe"),
            os.path.join(environ.get("APPDATA") or "~", "uv", "python", "*" + version + "*", "python.exe"),
        ]
    return patterns


def _probe(command):
    """Run a candidate: its four answers, or None where it does not answer (a shim may not)."""
    command = list(command)
    command.extend(("-c", PROBE))
    try:
        with open(os.devnull, "r+") as nothing:
            process = subprocess.Popen(
                command, stdin=nothing, stdout=subprocess.PIPE, stderr=nothing, env=_clean_environment()
            )
    except (OSError, ValueError):
        return None
    deadline = time.time() + 20
    while process.poll() is None:
        if time.time() > deadline:
            process.kill()
            break
        time.sleep(0.005)
    answer = process.communicate()[0].decode("utf-8", "replace").strip().split("|")
    if process.returncode != 0 or len(answer) != 4:
        return None
    return answer


def _no_python(lacking):
    wanted = " or ".join(SUPPORTED)
    if not lacking:
        return (
            "Python {0} is needed and none was found (this is {1}.{2}): install one, or start this script with its "
            "full path".format(wanted, *sys.version_info[:2])
        )
    version, executable, module = lacking[0]
    if module in ("venv", "ensurepip"):
        return (
            "{0} cannot make an environment, its module {1} is missing: install it "
            "(on Debian: apt-get install python{2}-venv)".format(executable, module, version)
        )
    return "{0} was built without its module {1}, which is needed: install another Python {2}".format(
        executable, module, wanted
    )


def _become(command):
    """Go on as `command` with this script and its arguments."""
    command = list(command)
    command.append(os.path.abspath(sys.argv[0]))
    command.extend(sys.argv[1:])
    environment = _clean_environment()
    sys.stdout.flush()
    if os.name == "nt":
        sys.exit(subprocess.call(command, env=environment))
    try:
        os.execve(command[0], command, environment)
    except OSError as error:
        fail("{0} cannot be started ({1}): delete the folder .venv and try again".format(command[0], error.strerror))


def _clean_environment():
    environment = dict(os.environ)
    for name in ("PYTHONHOME", "PYTHONPATH", "__PYVENV_LAUNCHER__"):
        environment.pop(name, None)
    return environment


def _digest(lines):
    return hashlib.sha256("\n".join(lines).encode("ascii")).hexdigest()[:16]


def _read(path):
    try:
        with io.open(path, encoding="utf-8") as file:
            return file.read()
    except (IOError, OSError, ValueError):
        return ""
