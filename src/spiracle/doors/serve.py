"""Starting the app: the log, the facts, the web door, and the address where it is found."""

from __future__ import annotations

import gc
import ipaddress
import socket
import sys
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from spiracle.doors.clock import WallClock
from spiracle.doors.log_store import open_store
from spiracle.doors.log_store_schema import data_folder, sqlite_url
from spiracle.doors.monitor_doors import Asked
from spiracle.doors.web import build_app
from spiracle.doors.web_guard import LOOPBACK
from spiracle.refusals import NotAllowed


def loopback(host: str) -> bool:
    """Whether only this computer can reach the host."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def need_loopback(host: str, trust_network: bool) -> None:
    """There are no accounts yet: whoever reaches the server can write. Another host needs the user's word."""
    if not loopback(host) and not trust_network:
        raise NotAllowed("host", f"{host} can be reached from other machines, and Spiracle has no accounts yet.",
                         "Leave it at 127.0.0.1, or add --trust-network if the network is yours.")  # fmt: skip


def run(
    database_url: str | None,
    host: str = "127.0.0.1",
    port: int = 8470,
    demo: bool = False,
    trust_network: bool = False,
    hospital: Path | None = None,
    monitors: Asked | None = None,
) -> None:
    """Serve until interrupted. The demo has a log of its own, written afresh at each start unless a database is named."""
    need_loopback(host, trust_network)
    from spiracle.doors.monitor_doors import open_doors
    from spiracle.doors.tables import load_facts

    clock = WallClock()
    log_url = database_url or (fresh_demo_url() if demo else None)
    if demo:
        from spiracle.doors import demo as invented

        facts = load_facts(hospital or invented.hospital_path())
        store = open_store(log_url, clock)
        invented.fill(store, facts, clock)
    else:
        facts = load_facts(hospital)
        store = open_store(log_url, clock)
    from spiracle.doors.monitor_breaths import Readers
    from spiracle.doors.monitor_hub import MonitorHub
    from spiracle.doors.waves.archive import open_archive

    archive = open_archive(log_url, None, clock)
    hub = MonitorHub(store, facts, archive, clock, Readers(archive)).start()
    if demo:
        invented.let_speak(hub, clock)
    doors = None
    try:
        doors = open_doors(monitors or Asked(), facts.monitors, hub, clock, trust_network)
        app = build_app(store, facts, clock, hosts=None if trust_network else LOOPBACK, hub=hub, archive=archive)
        gc.collect()
        gc.freeze()  # tables and modules stay for good; walking them on every full collection costs 40 ms
        gc.set_threshold(50_000, 20, 50)
        sys.setswitchinterval(
            0.001
        )  # the loop that answers pages must not wait 5 ms for each thread that reads a message
        for said in doors.said:
            print(said)
        print(f"Spiracle is at http://{_shown(host)}:{port}/", flush=True)
        Server(config(app, host, port)).run()
    finally:
        if doors is not None:
            doors.stop()
        hub.stop()
        archive.close()
        store.close()


class Server(uvicorn.Server):
    """Lets the live streams end by themselves first; otherwise each would hold the stop up until it is cut."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        app = self.config.app
        if isinstance(app, Starlette):
            app.state.live.stop()
        await super().shutdown(sockets)


def config(app: Starlette, host: str = "127.0.0.1", port: int = 0) -> uvicorn.Config:
    return uvicorn.Config(
        app, host, port, log_level="warning", timeout_graceful_shutdown=2, server_header=False, ws="none"
    )


def fresh_demo_url() -> str:
    """The demo's own files, emptied: invented cases never stand beside real ones, and what invented monitors sent does not pile up."""
    file = data_folder() / "demo.sqlite"
    for kept in (file, file.with_name(f"{file.stem}-waves{file.suffix}")):
        for part in (kept, *(kept.with_name(kept.name + tail) for tail in ("-wal", "-shm"))):
            part.unlink(missing_ok=True)
    return sqlite_url(file)


def _shown(host: str) -> str:
    return f"[{host}]" if ":" in host and not host.startswith("[") else host
