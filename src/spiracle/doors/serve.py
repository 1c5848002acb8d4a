"""Starting the app: the log, the facts, the web door, and the address where it is found."""

from __future__ import annotations

import gc
import ipaddress
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn

from spiracle.doors.clock import WallClock
from spiracle.doors.log_store import LogStore, open_store
from spiracle.doors.web import build_app
from spiracle.doors.web_guard import LOOPBACK
from spiracle.refusals import NotAllowed

if TYPE_CHECKING:
    from spiracle.case.facts import Facts


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
    fill: Callable[[LogStore, Facts], None] | None = None,
) -> None:
    """Serve until interrupted. `fill` writes the demo's cases into an empty log before the door opens."""
    need_loopback(host, trust_network)
    from spiracle.doors.tables import load_facts

    facts = load_facts(hospital)
    clock = WallClock()
    store = open_store(database_url, clock)
    try:
        if demo and fill is not None:
            fill(store, facts)
        app = build_app(store, facts, clock, hosts=None if trust_network else LOOPBACK)
        gc.collect()
        gc.freeze()  # tables and modules stay for good; walking them on every full collection costs 40 ms
        gc.set_threshold(50_000, 20, 50)
        print(f"Spiracle is at http://{_shown(host)}:{port}/", flush=True)
        uvicorn.run(app, host=host, port=port, log_level="warning", timeout_graceful_shutdown=2, server_header=False)
    finally:
        store.close()


def _shown(host: str) -> str:
    return f"[{host}]" if ":" in host and not host.startswith("[") else host
