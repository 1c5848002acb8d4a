"""Every kind of event has one sentence, and the sentences say what was entered in the trade's words."""

from __future__ import annotations

from typing import Any

import pytest

from casebook import Book, d, filled
from spiracle.case import events as ev
from spiracle.case.events import Event, every_event
from spiracle.sheets.names import Names
from spiracle.sheets.words import SAYS, words

NAMES = Names(
    drugs={"methadone": "methadone"}, hands={"rowan": "RW", "ilse": "IK"}, orders={"o-1": "methadone 0.3 mg/kg IM"}
)


@pytest.mark.parametrize("kind", every_event(), ids=lambda k: k.__name__)
def test_every_event_has_a_sentence(kind: type[Event]) -> None:
    said = words(filled(kind), NAMES)
    assert kind in SAYS
    assert said and said[0] == said[0].upper()
    assert not said.endswith((".", ",", " ")) and ", ," not in said and "  " not in said
    assert "None" not in said and "Decimal" not in said


def test_no_sentence_for_what_is_no_event() -> None:
    assert set(SAYS) == set(every_event())


def say(kind: type[Event], **fields: Any) -> str:
    book = Book()
    book.tell(0, kind, **fields)
    return words(book.entries[0].event, NAMES)


def test_a_dose_says_amount_volume_route_site_and_who_pushed() -> None:
    said = say(ev.DrugGiven, drug="methadone", amount=d("1.60"), unit="mg", volume_ml=d("0.16"), concentration="10 mg/mL",
               route="IM", side="left", site="thigh", purpose="premedication", giver="ilse")  # fmt: skip
    assert said == "Methadone 1.6 mg, 0.16 mL of 10 mg/mL IM, left thigh, premedication, by IK"


def test_micrograms_are_never_the_greek_letter() -> None:
    """U1: mcg in words, whatever was typed."""
    said = say(ev.DrugGiven, drug="dexmedetomidine", amount=d("40"), unit="mcg", volume_ml=d("0.08"), route="IM")
    assert said == "Dexmedetomidine 40 mcg, 0.08 mL IM"


def test_an_estimated_weight_is_called_so() -> None:
    assert say(ev.Weighed, weight_kg=d("12.0"), method="estimated") == "Weight ESTIMATED: 12 kg"
    assert say(ev.Weighed, weight_kg=d("4.60"), method="scale", scale="scale 2") == "Weighed on scale 2: 4.6 kg"


def test_a_doppler_stays_one_figure_and_a_cuff_gives_three() -> None:
    assert (
        say(ev.PressureTaken, sap=d("88"), method="Doppler", cuff_cm=d("2.5"))
        == "Pressure 88 mmHg, Doppler, cuff 2.5 cm"
    )
    said = say(ev.PressureTaken, sap=d("104"), map=d("71"), dap=d("55"), method="oscillometric", site="left fore")
    assert said == "Pressure 104/55 (71) mmHg, oscillometric, left fore"


def test_readings_keep_their_decimals() -> None:
    assert say(ev.ReadingTaken, reading="temperature", value=d("37"), unit="Cel") == "T 37.0 °C"
    assert (
        say(ev.ReadingTaken, reading="spo2", value=d("97"), unit="%", source="device", monitor="oximeter")
        == "SpO₂ 97 %, oximeter"
    )


def test_an_order_stands_in_the_veterinarians_words() -> None:
    said = say(ev.DrugOrdered, order="o-1", drug="methadone", purpose="premedication", route="IM", low=d("0.2"), high=d("0.3"),
               unit="mg/kg", given_as="oral", ordered_by="ilse", read_back_by="rowan")  # fmt: skip
    assert said == "Ordered: methadone 0.2 to 0.3 mg/kg IM, premedication, oral, IK, read back by RW"


def test_the_turn_says_whether_the_circuit_was_off() -> None:
    """A8: a turn with the circuit on stands in the record."""
    assert (
        say(ev.Positioned, position="left side", disconnected_first=True) == "Position: left side, disconnected first"
    )
    assert (
        say(ev.Positioned, position="left side", disconnected_first=False)
        == "Position: left side, NOT disconnected first"
    )
    assert say(ev.Positioned, position="on its back") == "Position: on its back"


def test_vaporiser_off_and_on() -> None:
    assert say(ev.VaporiserSet, agent="isoflurane", percent=d("1.50")) == "Isoflurane dial to 1.5 %"
    assert say(ev.VaporiserSet, agent="isoflurane", percent=d("0")) == "Isoflurane off"


def test_waste_without_a_second_person_says_so() -> None:
    """D22: what nobody saw is called so."""
    assert say(ev.DrugWasted, drug="methadone", volume_ml=d("0.04"), manner="in sharps") == (
        "Wasted: methadone 0.04 mL, in sharps, no second person"
    )
