"""The web door: entries in, sheets out, and a line held open to every page that wants to know when a case grows."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import AsyncIterator, Awaitable, Callable, Collection
from contextlib import asynccontextmanager
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import UUID

import msgspec
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from spiracle.case.events import encode
from spiracle.case.fold import Case
from spiracle.case.ledger import LEDGER
from spiracle.doors.clock import Clock
from spiracle.doors.live import EVERY_CASE, Live, message
from spiracle.doors.log_store import LogStore
from spiracle.doors.log_store_write import with_ledger, would, write
from spiracle.doors.web_audit import AuditDoor
from spiracle.doors.web_guard import LOOPBACK, Guard
from spiracle.doors.web_live import MonitorDoor
from spiracle.doors.web_pages import Pages, web_folder
from spiracle.doors.web_paper import Asked, asked, printed
from spiracle.doors.web_wire import Turned, answer, body_of, events_of, number_param, turned_away
from spiracle.refusals import Contradiction, Missing, NotAllowed, NotOneOf, Refusal, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts
    from spiracle.doors.monitor_hub import MonitorHub
    from spiracle.doors.waves.archive import WaveArchive
    from spiracle.sheets.scanned import Kind
    from spiracle.sheets.shapes import (
        Board,
        CaseView,
        EarlierHere,
        MachinesSheet,
        ProtocolDraft,
        ProtocolOffers,
        ProtocolsSheet,
        Scanned,
    )

ENDED_FOR = timedelta(hours=24)
SAME_VIEW = timedelta(seconds=1)
Handler = Callable[[Request], Awaitable[Response]]


class Door:
    """The handlers, over one store, one set of facts and one clock."""

    def __init__(self, store: LogStore, facts: Facts, clock: Clock, live: Live) -> None:
        self.store, self.facts, self.clock, self.live = store, facts, clock, live
        self._views: OrderedDict[tuple[str, bool], tuple[tuple[int, object], datetime, CaseView]] = OrderedDict()

    # ---- entries

    async def post_events(self, request: Request) -> Response:
        case = case_of(request)
        events = events_of(await body_of(request), case)
        return answer(await run_in_threadpool(write, self.store, self.facts, self.clock, case, events))

    async def post_would(self, request: Request) -> Response:
        case = case_of(request)
        events = events_of(await body_of(request), case)
        return answer(await run_in_threadpool(would, self.store, self.facts, self.clock, case, events))

    async def get_log(self, request: Request) -> Response:
        case = case_of(request)
        after = number_param(request.query_params.get("after", "0"), "after")
        entries = await run_in_threadpool(self.store.entries, case, after)
        return answer(
            [{"seq": n.seq, "arrived_at": n.arrived_at, "event": msgspec.Raw(encode(n.event))} for n in entries]
        )

    # ---- machines

    async def get_machines(self, _request: Request) -> Response:
        return answer(await run_in_threadpool(self._machines))

    def _machines(self) -> MachinesSheet:
        from spiracle.sheets.machines import machines_sheet

        return machines_sheet(*self.store.case(LEDGER), self.facts, self.clock.now())

    # ---- protocols

    async def get_protocols(self, _request: Request) -> Response:
        return answer(await run_in_threadpool(self._protocols))

    def _protocols(self) -> ProtocolsSheet:
        from spiracle.sheets.protocols import protocols_sheet

        return protocols_sheet(*self.store.case(LEDGER), self.facts)

    async def get_offers(self, request: Request) -> Response:
        return answer(await run_in_threadpool(self._offers, case_of(request)))

    def _offers(self, case: str) -> ProtocolOffers:
        from spiracle.sheets.protocols import offers

        return offers(self._patient(case)[0], self.store.case(LEDGER)[0], self.facts, self.clock.now())

    async def get_draft(self, request: Request) -> Response:
        asked = request.query_params.get("protocol", "")
        return answer(await run_in_threadpool(self._draft, case_of(request), asked))

    def _draft(self, case: str, protocol: str) -> ProtocolDraft:
        from spiracle.sheets.protocols import draft

        return draft(self._patient(case)[0], self.store.case(LEDGER)[0], protocol)

    def _patient(self, case: str) -> tuple[Case, int]:
        """A case that is in the log and a patient's: the hospital's ledger is neither opened nor drawn as one."""
        folded, seq = self.store.case(case)
        if case == LEDGER:
            raise Turned(404, NotAllowed("case", "is the hospital's ledger, no patient.", "Ask for the protocols."))
        if not seq:
            raise Turned(404, Unknown("case", f"{case} is not in the log.", "Open it first."))
        return folded, seq

    # ---- sheets

    async def get_case(self, request: Request) -> Response:
        return answer(await run_in_threadpool(self._view, case_of(request), "expected" in request.query_params))

    def _view(self, case: str, expected: bool = False) -> CaseView:
        """The sheet of a case; the same for a second, so that ten tablets woken by one entry cost one sheet."""
        from spiracle.sheets.case_view import case_view

        folded, seq = self._patient(case)
        now = self.clock.now()
        wave = self.live.on_wave(case, now)
        rests_on = (seq, wave.asks if wave is not None else None)
        kept = self._views.get((case, expected))
        if kept is not None and kept[0] == rests_on and timedelta(0) <= now - kept[1] < SAME_VIEW:
            return kept[2]
        view = case_view(folded, seq, with_ledger(self.facts, self.store, case), now, expected=expected, wave=wave)
        self._views[case, expected] = (rests_on, now, view)
        while len(self._views) > 64:
            self._views.popitem(last=False)
        return view

    async def get_earlier(self, request: Request) -> Response:
        return answer(await run_in_threadpool(self._earlier, case_of(request)))

    def _earlier(self, case: str) -> EarlierHere:
        from spiracle.sheets.earlier import chip_as_written, earlier_here

        here = self._patient(case)[0]
        named = {c for words in chip_as_written(here) for c in self.store.describing(words)}
        return earlier_here(here, {c: self.store.case(c)[0] for c in named}, self.facts)

    async def get_scanned(self, request: Request) -> Response:
        """What a label's code stands for. `of` is the case that the code names, where it is not the open one."""
        from spiracle.sheets.scanned import KINDS

        case, asked = case_of(request), request.path_params
        one_of("kind", asked["kind"], KINDS)
        named = request.query_params.get("of") or case
        return answer(await run_in_threadpool(self._scanned, case, uuid_of(named), asked["kind"], asked["id"]))

    def _scanned(self, case: str, named: str, kind: Kind, id_: str) -> Scanned:
        from spiracle.sheets.scanned import has, of_another, scanned, unknown
        from spiracle.sheets.told import told

        now = self.clock.now()
        here = told(self._patient(case)[0], self.facts, now)
        found = scanned(here, kind, id_) if named == case else None
        if found is not None:
            return found
        for other in [named] if named != case else self.store.open_cases(now - ENDED_FOR):
            folded, seq = self.store.case(other)
            if other in {case, LEDGER} or not seq:
                continue
            owner = told(folded, self.facts, now)
            if named != case or has(owner, kind, id_):
                raise Turned(409, of_another(here, owner, kind, id_))
        raise Turned(404, unknown(here, kind, id_))

    async def get_board(self, _request: Request) -> Response:
        return answer(await run_in_threadpool(self._board))

    def _board(self) -> Board:
        from spiracle.sheets.board import board

        now = self.clock.now()
        cases: dict[str, Case] = {c: self.store.case(c)[0] for c in self.store.open_cases(now - ENDED_FOR)}
        return board(cases, self.facts, now)

    async def get_hospital(self, _request: Request) -> Response:
        from spiracle.sheets.hospital import hospital

        return answer(await run_in_threadpool(hospital, self.facts))

    async def get_formulary(self, request: Request) -> Response:
        from spiracle.patient import read_species
        from spiracle.sheets.picker import pick_rows

        species = read_species(request.query_params.get("species", ""))
        return answer(await run_in_threadpool(pick_rows, species, self.facts))

    async def get_emergency(self, request: Request) -> Response:
        """The sheet of a weight without a case. A weight of which nothing is said counts as estimated."""
        from spiracle.patient import read_species
        from spiracle.quantity import Quantity, nearest, read
        from spiracle.sheets.emergency_sheet import emergency_sheet

        asked = request.query_params
        species = read_species(asked.get("species", ""))
        if "weight" not in asked:
            raise Missing("weight", "was not given.", "Give it with its unit, like weight=12.4 kg.")
        exact = read(asked["weight"], "weight", "weight")
        weight = Quantity(
            nearest(exact.number("kg"), Decimal("0.01")), exact.unit
        )  # pounds give no ten decimals of a kg
        self.facts.patient.check_weight(species, weight.number("kg"), confirmed=True)
        basis = one_of("method", asked.get("method", "estimated"), ("scale", "estimated", "owner", "earlier visit"))
        sheet = await run_in_threadpool(emergency_sheet, species, weight, basis, self.facts, None, self.clock.now())
        return answer(sheet)

    # ---- paper

    async def get_paper(self, request: Request) -> Response:
        case, sheet = case_of(request), request.path_params["sheet"]
        usual = self.facts.hospital.label if sheet == "labels" else "a4"
        want = asked(request.query_params, str(request.base_url), usual)
        made = await run_in_threadpool(self._paper, case, sheet, want)
        return Response(made, media_type="application/pdf", headers={
            "Cache-Control": "no-store", "Content-Disposition": f'inline; filename="{sheet}-{case[:8]}.pdf"',
        })  # fmt: skip

    def _paper(self, case: str, sheet: str, want: Asked) -> bytes:
        folded, _ = self.store.case(case)
        return printed(sheet, folded, self._view(case), self.facts, want, self.clock.now())

    # ---- live

    async def get_live(self, request: Request) -> Response:
        case = case_of(request)
        _, seq = await run_in_threadpool(self.store.case, case)
        return stream(self.live, case, message(case, seq))

    async def get_board_live(self, _request: Request) -> Response:
        return stream(self.live, EVERY_CASE, message("", 0))


def stream(live: Live, case: str, first: bytes) -> Response:
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return StreamingResponse(live.hear(case, first), media_type="text/event-stream", headers=headers)


def case_of(request: Request) -> str:
    return uuid_of(request.path_params["case"])


def uuid_of(text: str) -> str:
    try:
        sound = str(UUID(text)) == text
    except ValueError:
        sound = False
    if not sound:
        raise Turned(
            404, Unknown("case", f"{text[:60]!r} is not a case's id.", "Give the UUID the case was opened with.")
        )
    return text


def one_of(field: str, value: str, choices: Collection[str]) -> str:
    if value not in choices:
        raise NotOneOf(field, f"{value[:40]!r} is not offered.", f"Give one of: {', '.join(choices)}.")
    return value


# ---- errors


async def _on_turned(_request: Request, fault: Exception) -> Response:
    assert isinstance(fault, Turned)  # noqa: S101
    return turned_away(fault.refusal, fault.status)


async def _on_refusal(_request: Request, fault: Exception) -> Response:
    assert isinstance(fault, Refusal)  # noqa: S101
    return turned_away(fault, 422)


async def _on_http(_request: Request, fault: Exception) -> Response:
    status = fault.status_code if isinstance(fault, HTTPException) else 500
    headers = fault.headers if isinstance(fault, HTTPException) else None
    if status == 405:
        response = turned_away(
            NotAllowed("method", "is not taken here.", "See the manual's page of addresses."), status
        )
    else:
        response = turned_away(Unknown("page", "is not here.", "Open the front page."), status)
    response.headers.update(headers or {})
    return response


async def _on_fault(_request: Request, _fault: Exception) -> Response:
    return turned_away(Contradiction("server", "met a fault of its own; nothing was written by this request.",
                                     "Try again; the server's own log says more."), 500)  # fmt: skip


def build_app(
    store: LogStore, facts: Facts, clock: Clock, *, hosts: Collection[str] | None = LOOPBACK, pages: Path | None = None,
    hub: MonitorHub | None = None, archive: WaveArchive | None = None,
) -> Starlette:  # fmt: skip
    """The whole web door. `hosts` None trusts the network; `pages` is the built tablet's folder; `hub` is where monitors speak, `archive`
    what is kept of it."""
    live = Live(store, hub=hub)
    monitors = MonitorDoor(hub, archive, store, facts, live)
    door, audit = Door(store, facts, clock, live), AuditDoor(store, facts)

    @asynccontextmanager
    async def running(_app: Starlette) -> AsyncIterator[None]:
        live.start()
        yield
        live.stop()

    def get(path: str, handler: Handler) -> Route:
        return Route(path, handler, methods=["GET"])

    routes = [
        get("/api/hospital", door.get_hospital),
        get("/api/board", door.get_board),
        get("/api/board/live", door.get_board_live),
        get("/api/formulary", door.get_formulary),
        get("/api/emergency", door.get_emergency),
        get("/api/machines", door.get_machines),
        get("/api/protocols", door.get_protocols),
        get("/api/audit/inductions", audit.get_inductions),
        get("/api/cases/{case}", door.get_case),
        get("/api/cases/{case}/earlier", door.get_earlier),
        get("/api/cases/{case}/protocols", door.get_offers),
        get("/api/cases/{case}/as-protocol", door.get_draft),
        get("/api/cases/{case}/scanned/{kind}/{id}", door.get_scanned),
        get("/api/cases/{case}/live", door.get_live),
        get("/api/cases/{case}/replay", monitors.get_replay),
        get("/api/monitors", monitors.get_monitors),
        get("/api/cases/{case}/log", door.get_log),
        get("/api/cases/{case}/{sheet}.pdf", door.get_paper),
        Route("/api/cases/{case}/events", door.post_events, methods=["POST"]),
        Route("/api/cases/{case}/would", door.post_would, methods=["POST"]),
        get("/api/{path:path}", _no_such),
        get("/{path:path}", Pages(pages or web_folder()).__call__),
    ]
    app = Starlette(
        routes=routes,
        lifespan=running,
        middleware=[Middleware(Guard, hosts=hosts), Middleware(GZipMiddleware, minimum_size=1400, compresslevel=5)],
        exception_handlers={Turned: _on_turned, Refusal: _on_refusal, HTTPException: _on_http, 500: _on_fault},
    )
    app.state.live = live
    return app


async def _no_such(_request: Request) -> Response:
    return turned_away(Unknown("address", "is not one of Spiracle's.", "See the manual's page of addresses."), 404)
