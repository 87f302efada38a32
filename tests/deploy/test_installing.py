"""Installed from a wheel: outside the checkout, twice, with service files that systemd takes."""

import os
import re
import shutil
import signal
import subprocess
import sys
import sysconfig
import threading
import time
import urllib.request
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

CHECKOUT = Path(__file__).parents[2]


def run(*words: object, **options: object) -> "subprocess.CompletedProcess[str]":
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, **options)  # type: ignore[call-overload]
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
    return done  # type: ignore[no-any-return]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel of the checkout as git has it, built with what is installed here."""
    folder = tmp_path_factory.mktemp("wheel")
    tracked = run("git", "ls-files", "-co", "--exclude-standard", cwd=CHECKOUT).stdout.splitlines()
    for name in tracked:
        if (CHECKOUT / name).is_file():
            (folder / "source" / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(CHECKOUT / name, folder / "source" / name)
    run(
        *(sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation"),
        *("--disable-pip-version-check", "-w", folder, folder / "source"),
    )
    (built,) = folder.glob("paneltide-*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files as install.sh lays them out, run twice; the packages it needs are borrowed from here."""
    root = tmp_path_factory.mktemp("root")
    environment = {
        **os.environ,
        "DESTDIR": str(root),
        "PANELTIDE_REQUIREMENT": str(wheel),
        "PIP_OPTIONS": "--no-deps --no-index --force-reinstall",
        "PYTHON": sys.executable,
    }
    run("sh", CHECKOUT / "deploy" / "install.sh", env=environment)
    (root / "etc/paneltide/environment").write_text("PANELTIDE_PORT=8051\n")
    run("sh", CHECKOUT / "deploy" / "install.sh", env=environment)
    version = f"python{sys.version_info.major}.{sys.version_info.minor}"
    packages = root / "opt/paneltide/lib" / version / "site-packages"
    (packages / "borrowed.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    return root


def test_installing_again_keeps_the_settings(installed: Path) -> None:
    assert (installed / "etc/paneltide/environment").read_text() == "PANELTIDE_PORT=8051\n"


def test_wheel_brings_its_own_data(installed: Path, tmp_path: Path) -> None:
    program = installed / "opt/paneltide/bin"
    where = run(program / "python", "-c", "import model; print(model.__file__)", cwd=tmp_path).stdout
    assert str(installed) in where
    environment = {"PATH": os.environ["PATH"], "PANELTIDE_DATA_DIR": str(tmp_path / "data")}
    said = run(program / "paneltide", "species", "hard maple", cwd=tmp_path, env=environment).stdout
    assert "sugar maple" in said
    assert run(program / "paneltide", "migrate", cwd=tmp_path, env=environment).stdout.endswith(".\n")


def test_demo_works_from_the_wheel_in_an_empty_folder(installed: Path, tmp_path: Path) -> None:
    environment = {
        "PATH": os.environ["PATH"],
        "HOME": str(tmp_path),
        "TMPDIR": str(tmp_path),
        "PANELTIDE_PORT": "0",
        "PYTHONUNBUFFERED": "1",
    }
    log = tmp_path / "log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            [installed / "opt/paneltide/bin/paneltide", "demo"],
            cwd=tmp_path,
            env=environment,
            stdout=out,
            stderr=out,
        )
    try:
        deadline = time.monotonic() + 240
        while not (found := re.search(r"http://127\.0\.0\.1:\d+/", log.read_text("utf-8"))):
            assert time.monotonic() < deadline, log.read_text("utf-8")
            assert process.poll() is None, log.read_text("utf-8")
            threading.Event().wait(0.1)
        with urllib.request.urlopen(found[0], timeout=120) as answer:
            assert "Wall cupboard" in answer.read().decode()
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(120)


def the_command(installed: Path, folder: Path, user: str, *words: str) -> "subprocess.CompletedProcess[str]":
    """The command on PATH as some user would run it; who one is, and runuser, are stood in for."""
    shims = folder / "shims"
    shims.mkdir()
    number = {"root": 0, "paneltide": 998}.get(user, 1000)
    told = 'echo "$* DATA=$PANELTIDE_DATA_DIR PORT=${PANELTIDE_PORT-} NOTIFY=${PANELTIDE_NOTIFY-} HOME=$HOME"'
    for name, body in {
        "id": f'[ "$1" = -u ] && echo {number} || echo {user}',
        "runuser": f'printf "runuser "; {told}',
        "program": f'printf "program "; {told}',
    }.items():
        (shims / name).write_text(f"#!/bin/sh\n{body}\n")
        (shims / name).chmod(0o755)
    text = (installed / "usr/local/bin/paneltide").read_text("utf-8")
    text = text.replace("/etc/paneltide", str(installed / "etc/paneltide"))
    (folder / "paneltide").write_text(
        text.replace("exec /opt/paneltide/bin/paneltide", f"exec {shims}/program")
    )
    environment = {"PATH": f"{shims}:{os.environ['PATH']}", "HOME": "/home/maker"}
    return subprocess.run(
        ["sh", str(folder / "paneltide"), *words], env=environment, capture_output=True, text=True
    )


def test_the_command_on_path_speaks_to_the_services_book(installed: Path, tmp_path: Path) -> None:
    assert os.access(installed / "usr/local/bin/paneltide", os.X_OK)
    (installed / "etc/paneltide/environment").write_text(
        '# mine\nPANELTIDE_PORT=8051\n\nPANELTIDE_NOTIFY="one two"\nPANELTIDE_UNITS=metric'
    )
    done = the_command(installed, tmp_path, "root", "ready", "Ash, 4/4")
    book = "DATA=/var/lib/paneltide PORT=8051 NOTIFY=one two HOME=/var/lib/paneltide\n"
    assert done.stdout == f"runuser -u paneltide -- /opt/paneltide/bin/paneltide ready Ash, 4/4 {book}"
    (tmp_path / "service").mkdir()
    done = the_command(installed, tmp_path / "service", "paneltide", "state")
    assert done.stdout == f"program state {book}"


def test_another_user_is_told_what_to_type(installed: Path, tmp_path: Path) -> None:
    done = the_command(installed, tmp_path, "maker", "state")
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr == (
        "paneltide: the service's book belongs to the user paneltide; type: sudo paneltide state\n"
    )


def test_systemd_takes_the_units(installed: Path, tmp_path: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("needs systemd-analyze (Debian package systemd)")
    for unit in (installed / "etc/systemd/system").iterdir():
        text = unit.read_text("utf-8").replace("/opt/paneltide", str(installed / "opt/paneltide"))
        (tmp_path / unit.name.replace("@.", "@1.")).write_text(text)
    units = sorted(tmp_path.iterdir())
    assert len(units) == 6
    said = run("systemd-analyze", "verify", *units)
    assert said.stderr == ""


def test_uninstalling_keeps_book_and_settings(installed: Path) -> None:
    book = installed / "var/lib/paneltide/paneltide.sqlite"
    book.parent.mkdir(parents=True)
    book.write_text("the book")
    run("sh", CHECKOUT / "deploy" / "uninstall.sh", env={**os.environ, "DESTDIR": str(installed)})
    assert book.read_text() == "the book"
    assert (installed / "etc/paneltide/environment").exists()
    assert not (installed / "opt/paneltide").exists()
    assert not (installed / "usr/local/bin/paneltide").exists()
    assert not list((installed / "etc/systemd/system").iterdir())
