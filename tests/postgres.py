"""A private PostgreSQL server for one run: real programs, own data folder, own port, gone afterwards."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def programs() -> Path:
    """The folder of initdb and pg_ctl; the newest of Debian's, or what is on PATH."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    found = debian[-1] if debian else shutil.which("initdb")
    if not found:
        raise RuntimeError("no PostgreSQL programs: run `python3 dev.py test` once as root")
    return Path(found).parent


@contextmanager
def private_server(durable: bool = False) -> Iterator[str]:
    """The URL of a fresh server's `postgres` database. Without `durable`, it does not wait for the disk."""
    bins, base = programs(), Path(tempfile.mkdtemp(prefix="pg-"))  # short: socket paths end at 107 bytes
    who: dict[str, object] = {}
    if os.geteuid() == 0:  # initdb and postgres refuse root
        shutil.chown(base, "postgres", "postgres")
        who = {"user": "postgres", "group": "postgres", "extra_groups": []}
    env = {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"}

    def run(*words: object) -> None:
        subprocess.run([str(w) for w in words], check=True, cwd=base, env=env, stdout=subprocess.DEVNULL, **who)  # type: ignore[call-overload]

    run(
        bins / "initdb", "-D", base / "data", "-U", "app", "-A", "trust", "-E", "UTF8", "--no-sync", "--no-instructions"
    )
    port = free_port()
    loose = "" if durable else " -c fsync=off -c full_page_writes=off -c synchronous_commit=off"
    run(
        bins / "pg_ctl",
        "-D",
        base / "data",
        "-w",
        "-s",
        "-l",
        base / "log",
        "-o",
        f"-p {port} -h 127.0.0.1 -k {base}{loose}",
        "start",
    )
    try:
        yield f"postgresql+psycopg://app@127.0.0.1:{port}/postgres"
    finally:
        run(bins / "pg_ctl", "-D", base / "data", "-m", "immediate", "-s", "stop")
        shutil.rmtree(base, ignore_errors=True)
