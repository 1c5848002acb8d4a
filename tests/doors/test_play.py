"""A recording played as a monitor to the real listening door: what is heard is what the file says, and all of it says TEST."""

from __future__ import annotations

import asyncio
import gzip
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import numpy as np
import pyedflib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heard_by import Shelf
from looped import looped
from monitor_table import monitor_tables
from spiracle.doors.cli import main
from spiracle.doors.clock import SetClock
from spiracle.doors.mllp import MllpServer
from spiracle.doors.play import Played, Stage, play, stage
from spiracle.doors.play_file import csv_recording, edf_recording, read_recording
from spiracle.monitors.heard import Heard
from spiracle.refusals import Contradiction, Missing, NotAllowed, NotAQuantity, NotOneOf, OutOfRange, Refusal

NOW = datetime(2026, 3, 12, 10, 15, tzinfo=UTC)
CSV = "time_s,co2_mmhg,pleth,etco2_mmhg,spo2_percent\n" + "".join(
    f"{n * 0.02:.2f},{'' if n == 30 else f'{n % 40}.{n % 10}'},{n % 100},{'38' if n == 50 else ''},{'97' if n % 50 == 0 else ''}\n"
    for n in range(101)
)


@dataclass
class Taken:
    ok: bool = True
    reason: str = ""


class Ear(Shelf):
    """The keeping end of the door."""

    def __init__(self, answer: Taken | None = None) -> None:
        super().__init__()
        self.answer = answer or Taken()

    def heard(self, heard: Heard, arrived: datetime) -> Taken:
        self.take(heard, arrived)
        return self.answer


def heard_of(body: Callable[[int], object], answer: Taken | None = None) -> Ear:
    """Run `body` beside an open door, whose port it is given."""
    ear = Ear(answer)

    async def all_of_it() -> None:
        server = MllpServer(monitor_tables(), ear.heard)
        port = await server.start(port=0)
        try:
            await asyncio.to_thread(body, port)
        finally:
            await server.stop()

    looped(all_of_it())
    return ear


class Time:
    """A clock that the waiting itself moves."""

    def __init__(self) -> None:
        self.now = 0.0

    def wait(self, seconds: float) -> None:
        self.now += seconds

    def monotonic(self) -> float:
        return self.now


def perform(text: str, on: Callable[[int], Stage], time: Time | None = None, answer: Taken | None = None) -> Ear:
    recording = csv_recording(text.encode(), "recording.csv")
    at = time or Time()
    return heard_of(
        lambda port: play(recording, monitor_tables(), on(port), SetClock(NOW), at.wait, at.monotonic), answer
    )


def at_home(port: int, live: bool = False, speed: int = 1) -> Stage:
    return stage(f"127.0.0.1:{port}", "Trolley 3", "Theatre 2", speed=speed, live=live)


def waved(ear: Ear, name: str) -> list[float | None]:
    return [
        None if s is None else round(s * w.scale + w.offset, 6)
        for h in ear.all
        for w in h.waves
        if w.wave == name
        for s in w.samples
    ]


def test_what_is_heard_is_what_the_file_says() -> None:
    ear = perform(CSV, at_home)
    assert waved(ear, "co2") == [None if n == 30 else float(f"{n % 40}.{n % 10}") for n in range(101)]
    assert waved(ear, "pleth") == [float(n % 100) for n in range(101)]
    numbers = [(n.reading, n.value, n.device_at) for h in ear.all for n in h.numbers]
    assert [(r, v) for r, v, _ in numbers] == [("spo2", 97), ("etco2", 38), ("spo2", 97), ("spo2", 97)]
    assert numbers[1][2] == NOW.replace(second=1)
    assert {(h.name, h.place != "") for h in ear.all} == {("Trolley 3", True)}
    assert len({h.monitor for h in ear.all}) == 1
    assert len({h.message_id for h in ear.all}) == len(ear.all)
    assert [problem for h in ear.all for problem in h.problems] == []


def test_all_that_is_played_says_test() -> None:
    ear = perform(CSV, at_home)
    assert all(h.test for h in ear.all)
    assert all("TEST" in n.flags for h in ear.all for n in h.numbers)


def test_as_live_only_to_this_computer() -> None:
    ear = perform(CSV, lambda port: at_home(port, live=True))
    assert not any(h.test for h in ear.all)
    with pytest.raises(NotAllowed, match="as-live"):
        stage("monitors.example:2575", "Trolley 3", live=True)
    assert stage("monitors.example:2575", "Trolley 3").sender().test is not False


@pytest.mark.parametrize("speed", [1, 4, 60])
def test_the_pace_of_the_recording_and_faster(speed: int) -> None:
    """101 samples at 50 Hz are 2.02 s."""
    time = Time()
    perform(CSV, lambda port: at_home(port, speed=speed), time)
    assert time.now == pytest.approx(2.02 / speed)


def test_waves_follow_one_another_without_a_break_or_an_overlap() -> None:
    ear = perform(CSV, at_home)
    ends = None
    for wave in (w for h in ear.all for w in h.waves if w.wave == "co2"):
        assert wave.device_at is not None
        begins = (wave.device_at - NOW).total_seconds()
        assert ends is None or begins == pytest.approx(ends, abs=0.0011)
        ends = begins + len(wave.samples) / wave.rate_hz


def test_a_loop_begins_again_until_it_is_stopped() -> None:
    recording = csv_recording(CSV.encode(), "recording.csv")
    time = Time()
    played = Played()

    def body(port: int) -> None:
        on = stage(f"127.0.0.1:{port}", "Trolley 3", loop=True)

        def until_five_seconds(seconds: float) -> None:
            if time.now > 5:
                raise KeyboardInterrupt
            time.wait(seconds)

        with pytest.raises(KeyboardInterrupt):
            play(recording, monitor_tables(), on, SetClock(NOW), until_five_seconds, time.monotonic, played)

    ear = heard_of(body)
    assert played.messages == len(ear.all)
    assert 4.8 < played.seconds < 5.4
    co2 = waved(ear, "co2")
    assert co2[101:150] == co2[:49]


def test_a_door_that_refuses_ends_the_play_with_its_reason() -> None:
    with pytest.raises(Refusal, match="no practice case is open"):
        perform(CSV, at_home, answer=Taken(ok=False, reason="no practice case is open"))


def test_nobody_there() -> None:
    with pytest.raises(Missing, match="does not answer"):
        play(
            csv_recording(CSV.encode(), "x.csv"),
            monitor_tables(),
            at_home(9),
            SetClock(NOW),
            lambda _: None,
            lambda: 0.0,
        )


def test_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "short.csv.gz"
    file.write_bytes(gzip.compress(b"time_s,co2_kpa\n0,0.1\n0.02,5.0\n0.04,5.1\n"))
    ear = heard_of(
        lambda port: main(["play", str(file), "--to", f"127.0.0.1:{port}", "--as", "Trolley 3", "--speed", "60"])
    )
    assert waved(ear, "co2") == [0.1, 5.0, 5.1]
    assert ear.all[0].waves[0].unit == "kPa"
    assert "all acknowledged" in capsys.readouterr().out


def edf(path: Path, signals: dict[str, tuple[str, float, float, float, np.ndarray]]) -> bytes:
    """An EDF+ file by another library: label -> unit, rate, lowest, highest, samples."""
    with pyedflib.EdfWriter(str(path), len(signals), file_type=pyedflib.FILETYPE_EDFPLUS) as file:
        for n, (label, (unit, rate, low, high, _)) in enumerate(signals.items()):
            file.setSignalHeader(n, {"label": label, "dimension": unit, "sample_frequency": rate, "physical_min": low, "physical_max": high,
                                     "digital_min": -32768, "digital_max": 32767, "transducer": "", "prefilter": ""})  # fmt: skip
        file.writeSamples([samples for *_, samples in signals.values()])
    return path.read_bytes()


def test_edf_written_by_another_library(tmp_path: Path) -> None:
    """CO2 at 50 Hz and a pleth at 100 Hz by pyedflib; a step is 100/65535; the writer cuts to a step, we to a tenth."""
    co2 = 20 + 20 * np.sin(np.arange(200) / 10)
    pleth = 50 + 40 * np.sin(np.arange(400) / 15)
    raw = edf(
        tmp_path / "x.edf",
        {"CO2": ("mmHg", 50, 0, 100, co2), "Pleth": ("%", 100, 0, 100, pleth), "EEG": ("uV", 100, 0, 100, pleth)},
    )
    recording = edf_recording(raw, "x.edf")
    assert [(w.term, w.unit, w.rate_hz, len(w.samples)) for w in recording.waves] == [
        ("co2-wave", "mm[Hg]", 50, 200),
        ("pleth-wave", "%", 100, 400),
    ]
    assert recording.unread == ("EEG",)
    assert [float(s * recording.waves[0].scale) for s in recording.waves[0].samples if s is not None] == pytest.approx(
        co2, abs=1.1 * 100 / 65535
    )
    ear = heard_of(
        lambda port: play(recording, monitor_tables(), at_home(port), SetClock(NOW), lambda _: None, lambda: 0.0)
    )
    assert waved(ear, "co2") == pytest.approx(co2, abs=1.1 * 100 / 65535)
    assert waved(ear, "pleth") == pytest.approx(pleth, abs=1.1 * 100 / 65535)


@pytest.mark.parametrize(
    ("text", "kind", "field"),
    [("", Missing, "time_s"), ("co2_mmhg\n1\n", Missing, "time_s"), ("time_s\n1\n", Missing, "heading"),
     ("time_s,co2\n0,1\n", NotOneOf, "heading"), ("time_s,co2_mmhg,co2_kpa\n0,1,1\n", Contradiction, "heading"),
     ("time_s,co2_mmhg\n", Missing, "rows"), ("time_s,co2_mmhg\n0,1\n", Missing, "rows"),
     ("time_s,co2_mmhg\n0,1\n0,2\n", Contradiction, "row 3"), ("time_s,co2_mmhg\n0,1\n1,x\n", NotAQuantity, "row 3"),
     ("time_s,co2_mmhg\n0,1\n0.1,1e5\n", NotAQuantity, "row 3"), ("time_s,co2_mmhg\n0,1\n0.1\n", Contradiction, "row 3"),
     ("time_s,co2_mmhg\n0,1\n0.1,2\n0.25,3\n0.35,3\n0.45,3\n", Contradiction, "row 4"),
     ("time_s,co2_mmhg\n0,1\n5,2\n", OutOfRange, "time_s"), ("time_s,spo2_percent\n0,97\n,98\n", Contradiction, "row 3")],
)  # fmt: skip
def test_a_file_that_cannot_be_played_is_refused_by_its_place(text: str, kind: type[Refusal], field: str) -> None:
    with pytest.raises(kind) as refused:
        csv_recording(text.encode(), "x.csv")
    assert refused.value.field == field


def test_gaps_of_time_are_missing_samples() -> None:
    recording = csv_recording(b"time_s,co2_mmhg\n0,1\n0.1,2\n0.5,3\n0.6,4\n", "x.csv")
    assert recording.waves[0].samples == (1, 2, None, None, None, 3, 4)
    assert (recording.waves[0].rate_hz, recording.seconds) == (Decimal(10), pytest.approx(0.7))


def test_what_is_no_recording(tmp_path: Path) -> None:
    with pytest.raises(Missing, match="file"):
        read_recording(tmp_path / "not there.csv")
    (tmp_path / "broken.gz").write_bytes(gzip.compress(CSV.encode())[:40])
    with pytest.raises(Refusal, match="gzip"):
        read_recording(tmp_path / "broken.gz")
    with pytest.raises(Refusal, match="whole EDF"):
        edf_recording(b"0       " + b" " * 100, "x.edf")


@given(
    st.text(alphabet="0123456789.", min_size=0, max_size=8),
    st.sampled_from(["", "127.0.0.1", "127.0.0.1:", "a:b", "x:0", "x:70000", ":2575"]),
)
def test_where_to_is_host_and_port(digits: str, to: str) -> None:
    with pytest.raises(NotOneOf, match="to"):
        stage(to if to else digits, "Trolley 3")


@pytest.mark.parametrize(
    ("name", "speed", "kind"),
    [("", 1, Missing), ("x" * 61, 1, Missing), ("Trolley", 0, OutOfRange), ("Trolley", 61, OutOfRange)],
)
def test_name_and_speed(name: str, speed: int, kind: type[Refusal]) -> None:
    with pytest.raises(kind):
        stage("127.0.0.1:2575", name, speed=speed)
