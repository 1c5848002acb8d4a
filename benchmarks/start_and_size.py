"""Cold start to the first byte, and what a tablet must load before the first screen."""

from __future__ import annotations

import gzip
import http.client
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from measuring import Result

ROOT = Path(__file__).resolve().parents[1]


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


def first_byte(command: list[str], port: int, path: str) -> float:
    """Seconds from starting the process to the first byte of an answer."""
    start = time.perf_counter()
    server = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        while True:
            try:
                line = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
                line.request("GET", path)
                line.getresponse().read(1)
                return time.perf_counter() - start
            except OSError:
                if time.perf_counter() - start > 30:
                    raise
    finally:
        server.kill()
        server.wait()


def script_bytes() -> int:
    web = ROOT / "src/spiracle/web"
    return sum(len(gzip.compress(p.read_bytes(), 9)) for p in web.rglob("*.js") if p.name != "sw.js")


def results() -> list[Result]:
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/start.sqlite"
        spiracle = str(Path(sys.executable).parent / "spiracle")
        times = []
        for _ in range(4):  # the first makes the database and is not counted
            port = free_port()
            times.append(first_byte([spiracle, "serve", "--database", url, "--port", str(port)], port, "/"))
        port = free_port()
        plain = first_byte([sys.executable, "-m", "http.server", "-b", "127.0.0.1", str(port)], port, "/")
    return [
        Result("cold start to first byte, database there", sorted(times[1:])[1], "s", "python -m http.server", plain, 1.5,
               f"first start, making the database: {times[0]:.2f} s"),
        Result("script of the tablet app, gzipped", script_bytes() / 1000, "kB", "", None, 200),
    ]  # fmt: skip
