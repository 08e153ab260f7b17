"""The scripts: old Pythons can read them, the search for a Python stands false ones, setup tells what is wrong."""

import ast
import glob
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCRIPTS = ROOT / "scripts"
READ_BY_OLD_PYTHONS = ["_setup.py", *sorted(path.name for path in SCRIPTS.glob("[!_]*.py"))]
THIS = "{}.{}".format(*sys.version_info[:2])
posix = pytest.mark.skipif(os.name == "nt", reason="makes shell scripts and symbolic links")


@pytest.fixture
def setup(monkeypatch):
    monkeypatch.syspath_prepend(str(SCRIPTS))
    import _setup

    return _setup


@pytest.fixture
def environment(setup):  # noqa: ARG001  (it lays the path)
    import _environment

    return _environment


def _words_unknown_to_old_pythons(tree):
    for node in ast.walk(tree):
        if isinstance(
            node, ast.JoinedStr | ast.AnnAssign | ast.NamedExpr | ast.AsyncFunctionDef | ast.Nonlocal | ast.Match
        ):
            yield f"{node.lineno}: {type(node).__name__}"
        if isinstance(node, ast.YieldFrom | ast.MatMult | ast.TryStar):
            yield f"{node.lineno}: {type(node).__name__}"
        if isinstance(node, ast.FunctionDef):
            names = [*node.args.args, node.args.vararg, node.args.kwarg]
            if node.returns or node.args.kwonlyargs or node.args.posonlyargs:
                yield f"{node.lineno}: arguments of {node.name}"
            if any(name is not None and name.annotation for name in names):
                yield f"{node.lineno}: annotations of {node.name}"
        if isinstance(node, ast.Raise) and node.cause:
            yield f"{node.lineno}: raise from"
        if isinstance(node, ast.List | ast.Tuple | ast.Set) and any(isinstance(e, ast.Starred) for e in node.elts):
            yield f"{node.lineno}: unpacking in a list"


@pytest.mark.parametrize("name", READ_BY_OLD_PYTHONS)
def test_scripts_keep_to_words_of_old_pythons(name):
    text = (SCRIPTS / name).read_text(encoding="utf-8")
    assert list(_words_unknown_to_old_pythons(ast.parse(text))) == []
    assert text.isascii(), "Python 2 reads no other letters without being told the encoding"


@pytest.mark.parametrize("text", ["f'{1}'", "def f(a: int): pass", "[*a, 1]", "def f(*, a): pass", "x: int = 1"])
def test_words_unknown_to_old_pythons_are_found(text):
    assert list(_words_unknown_to_old_pythons(ast.parse(text)))


def test_scripts_compile_on_every_old_python_of_this_machine(setup):
    """Only where a version manager keeps such Pythons; elsewhere the test above has to do."""
    old = [
        path
        for version in ("2.7", "3.4", "3.6", "3.7", "3.8", "3.9", "3.10")
        for pattern in setup._version_folders(version)
        for path in glob.glob(os.path.expanduser(pattern))
    ]
    if not old:
        pytest.skip("no older Python on this machine")
    for python in old:
        for name in READ_BY_OLD_PYTHONS:
            code = "import sys; compile(open(sys.argv[1]).read(), sys.argv[1], 'exec')"
            done = subprocess.run([python, "-c", code, str(SCRIPTS / name)], capture_output=True, text=True, timeout=30)
            assert done.returncode == 0, (python, done.stderr)


def _base_python():
    return getattr(sys, "_base_executable", None) or sys.executable


def _shim(folder, name, text):
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / name
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)
    return path


@posix
def test_search_passes_over_shims_that_do_not_answer(setup, monkeypatch, tmp_path):
    _shim(tmp_path / "a", f"python{THIS}", "echo 'version not set' >&2; exit 127")
    _shim(tmp_path / "b", f"python{THIS}", "echo nonsense")
    _shim(tmp_path / "c", f"python{THIS}", "echo '2.7|cpython||/usr/bin/python'")
    _shim(tmp_path / "d", f"python{THIS}", f"echo '{THIS}|pypy||/usr/bin/pypy'")
    good = tmp_path / "e" / f"python{THIS}"
    good.parent.mkdir()
    good.symlink_to(_base_python())
    monkeypatch.setenv("PATH", os.pathsep.join(str(tmp_path / part) for part in "abcde"))
    found, lacking = setup.find_python((THIS,))
    assert found == (THIS, str(good))
    assert lacking == []


@posix
def test_search_looks_in_the_folders_of_version_managers(setup, monkeypatch, tmp_path):
    place = tmp_path / "versions" / f"{THIS}.99" / "bin"
    place.mkdir(parents=True)
    (place / f"python{THIS}").symlink_to(_base_python())
    _shim(tmp_path / "shims", f"python{THIS}", "exit 127")
    monkeypatch.setenv("PATH", str(tmp_path / "shims"))
    monkeypatch.setenv("PYENV_ROOT", str(tmp_path))
    listed = [command[0] for command in setup._candidates((THIS,), None)]
    assert str(place / f"python{THIS}") in listed
    assert listed.index(str(tmp_path / "shims" / f"python{THIS}")) < listed.index(str(place / f"python{THIS}"))
    assert setup._probe([str(place / f"python{THIS}")])[0] == THIS


@posix
def test_search_prefers_a_python_that_can_make_environments(setup, monkeypatch, tmp_path):
    good = tmp_path / "b" / f"python{THIS}"
    good.parent.mkdir()
    good.symlink_to(_base_python())
    monkeypatch.setenv("PATH", str(good.parent))
    bare = _shim(tmp_path / "a", f"python{THIS}", f"echo '{THIS}|cpython|ensurepip|/opt/bare'")
    found, lacking = setup.find_python((THIS,), str(bare))
    assert found == (THIS, str(good))
    assert lacking == [(THIS, "/opt/bare", "ensurepip")]
    assert "apt-get install python3.11-venv" in setup._no_python([("3.11", "/opt/bare", "ensurepip")])


def test_no_python_at_all_is_one_line(setup):
    found, lacking = setup.find_python(("3.99",))
    assert found is None
    line = setup._no_python(lacking)
    assert "3.11 or 3.13" in line
    assert "\n" not in line


@posix
def test_search_gives_up_on_a_python_that_hangs(setup, monkeypatch, tmp_path):
    hanging = _shim(tmp_path, "python", "exec sleep 60")
    clock = iter([0.0, 100.0, 200.0])
    monkeypatch.setattr(setup.time, "time", lambda: next(clock))
    assert setup._probe([str(hanging)]) is None


@pytest.mark.parametrize("version", ["3.11", "3.13"])
def test_pins_are_exact_and_the_tests_add_to_them(setup, version):
    few, all_of_them = setup.pins(version, False), setup.pins(version, True)
    assert set(few) < set(all_of_them)
    names = [line.split("==")[0].lower() for line in all_of_them]
    assert len(set(names)) == len(names)
    assert all(len(line.split(";")[0].split("==")) == 2 for line in all_of_them)
    assert "pytest" not in " ".join(few)
    assert setup.pins(version, False, "5.0.1")[few.index(next(x for x in few if x.startswith("bpy==")))] == "bpy==5.0.1"


def test_what_is_installed_is_what_is_pinned_and_needs_nothing_more(setup):
    """Read from the environment these tests run in; a Blender beside the pinned one may stand in it."""
    if Path(sys.prefix).parent != ROOT or not Path(sys.prefix).name.startswith(".venv"):
        pytest.skip("not in an environment that the scripts made")
    from importlib.metadata import distributions

    installed = {d.metadata["Name"].lower().replace("_", "-"): d.version for d in distributions()}
    pinned = dict(line.split(";")[0].strip().lower().replace("_", "-").split("==") for line in setup.pins(THIS, True))
    pinned = {name: version for name, version in pinned.items() if name != "colorama"}
    assert {name: installed.get(name) for name in pinned if name != "bpy"} == {
        name: version for name, version in pinned.items() if name != "bpy"
    }
    assert set(installed) - set(pinned) <= {"pip", "setuptools"}
    checked = subprocess.run([sys.executable, "-m", "pip", "check"], capture_output=True, text=True, timeout=60)
    assert checked.returncode == 0, checked.stdout


def test_an_environment_stands_only_when_finished_for_todays_pins(setup, tmp_path):
    python = Path(setup.venv_python(str(tmp_path)))
    python.parent.mkdir(parents=True)
    python.touch()
    stamp = tmp_path / setup.STAMP
    asked = {"tests": False, "blender": False}
    assert not setup.stands(str(tmp_path), **asked), "half made: no stamp"
    stamp.write_text("3.11 0123456789abcdef -\n")
    assert not setup.stands(str(tmp_path), **asked), "other pins"
    stamp.write_text(setup.stamp("3.11", tests=False))
    assert setup.stands(str(tmp_path), **asked)
    assert not setup.stands(str(tmp_path), tests=True, blender=False)
    assert not setup.stands(str(tmp_path), tests=False, blender=True)
    (tmp_path / setup.BLENDER_LOADS).touch()
    assert setup.stands(str(tmp_path), tests=False, blender=True)
    stamp.write_text(setup.stamp("3.11", tests=True))
    assert setup.stands(str(tmp_path), tests=True, blender=True)
    python.unlink()
    assert not setup.stands(str(tmp_path), **asked), "its Python is gone"


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("WARNING: Retrying after connection broken by 'NewConnectionError(...)'", "check the network"),
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device", "the disk is full"),
        ("ERROR: No matching distribution found for bpy==4.5.15", "has no bpy==4.5.15 for this machine"),
        ("The virtual environment was not created because ensurepip is not available.", "python3-venv"),
        ("ERROR: something new\n", "ERROR: something new"),
    ],
)
def test_a_failed_step_is_explained_in_one_line(environment, tmp_path, said, expected):
    line = environment.explain(said, tmp_path / ".venv", ["bpy==4.5.15"], tmp_path / "log")
    assert expected in line
    assert "\n" not in line


def test_missing_libraries_are_named_with_their_packages(environment):
    said = "ImportError: libXi.so.6: cannot open shared object file: No such file or directory"
    names = environment.missing_libraries(said, None)
    assert names == ["libXi.so.6"]
    assert "apt-get install libxi6" in environment.library_line(names)
    assert "find the package that holds libnew.so.1" in environment.library_line(["libnew.so.1"])


@posix
def test_only_one_process_holds_the_lock(environment):
    with environment._lock():
        code = "import _environment as e; print(e._try_lock(open(e.__file__)))"
        command = [sys.executable, "-c", f"import sys; sys.path.insert(0, sys.argv[1]); {code}", str(SCRIPTS)]
        assert subprocess.run(command, capture_output=True, text=True, timeout=30).stdout.strip() == "False"
    assert subprocess.run(command, capture_output=True, text=True, timeout=30).stdout.strip() == "True"


@pytest.mark.usefixtures("setup")
def test_test_paths_are_sorted_by_room():
    import _test_run

    assert set(_test_run._by_room([])) == {"rules", "published", "host"}
    here = f"{Path(__file__)}::{test_test_paths_are_sorted_by_room.__name__}"
    assert _test_run._by_room([here]) == {
        "rules": [f"tests/rules/test_scripts.py::{test_test_paths_are_sorted_by_room.__name__}"]
    }
    with pytest.raises(SystemExit):
        _test_run._by_room(["no_such_test.py"])


@posix
@pytest.mark.usefixtures("setup")
def test_a_hanging_process_is_ended_with_all_it_started(tmp_path):
    import _limited

    child = tmp_path / "child"
    # A busy machine may not start the shell's child before the first limit; then a longer one.
    for limit_s in (0.3, 3.0, 30.0):
        assert _limited.run_limited(["/bin/sh", "-c", f"sleep 60 & echo $! > '{child}'; wait"], limit_s) == 124
        if child.exists() and (number := child.read_text().strip()):
            break
    state = Path(f"/proc/{number}/stat")

    def ended() -> bool:
        try:
            return state.read_text().split()[2] == "Z"
        except OSError:
            return True

    latest = time.monotonic() + 20.0
    while not ended() and time.monotonic() < latest:
        time.sleep(0.05)
    assert ended()


@posix
@pytest.mark.usefixtures("setup")
def test_a_process_is_called_off_and_what_it_said_is_kept(tmp_path):
    import _limited

    off, said = threading.Event(), tmp_path / "said"
    with said.open("wb") as output:
        words = ["/bin/sh", "-c", "echo $OPENBLAS_NUM_THREADS; echo spoken >&2"]
        assert _limited.run_limited(words, 20.0, output=output, threads=1, off=off) == 0
    assert said.read_text() == "1\nspoken\n"
    off.set()
    assert _limited.run_limited(["/bin/sh", "-c", "sleep 60"], 60.0, off=off) == 124


@pytest.mark.usefixtures("setup")
def test_rooms_beside_each_other_add_up_and_say_all(capfdbinary, monkeypatch):
    import _test_run

    def ran(room, _python, words, *, aside=None, **_options):
        _test_run._say(f"{room} {' '.join(words)}", None if aside is None else aside.said)
        return _test_run.Count(passed=len(words))

    monkeypatch.setattr(_test_run, "_pytest", ran)
    count = _test_run._rooms({"rules": ["a", "b"], "published": ["c"], "host": ["d", "e"]}, narrowed=False)
    assert count == _test_run.Count(passed=5)
    said = capfdbinary.readouterr().out
    assert all(line in said for line in (b"--- rules a b", b"--- published c", b"--- host d e"))
    assert _test_run._rooms({"rules": ["a"]}, narrowed=True) == _test_run.Count(passed=1)


@pytest.mark.usefixtures("setup")
def test_results_are_counted(tmp_path):
    import _test_run

    path = tmp_path / "results.xml"
    path.write_text('<testsuites><testsuite tests="7" failures="1" errors="1" skipped="2"/></testsuites>')
    assert _test_run._read_results(path) == _test_run.Count(passed=3, failed=2, skipped=2)
    assert str(_test_run.Count(3, 2, 2)) == "3 passed, 2 failed, 2 skipped"
    assert _test_run._read_results(tmp_path / "none.xml") == _test_run.Count()
