"""The picture of the tube in the patient: golden places in millimetres, worked by hand, and what the printed picture must hold."""

from __future__ import annotations

import re
from decimal import Decimal
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from room_tables import airway_tables
from spiracle import airway
from spiracle.airway.drawing import TubeDrawing, drawn
from spiracle.airway.measured import depth_bounds_cm
from spiracle.quantity import Quantity
from spiracle.sheets.airway_bars_svg import GaugeFigures, dead_space_svg, gauge_svg
from spiracle.sheets.airway_svg import tube_svg
from spiracle.sheets.print_marks import WIDTH

Q = Quantity.of
LETTER = 0.45
STOCK = [
    airway.TubeInStock(id_mm=Decimal(i), od_mm=Decimal(o), length_mm=Decimal(n), tip_to_cuff_top_mm=Decimal(42),
                       cuff_length_mm=Decimal(22), side_hole_mm=Decimal(8))
    for i, o, n in (("3.5", "4.8", "180"), ("4.0", "5.4", "200"), ("4.5", "6.1", "220"))
]  # fmt: skip


def cat(
    *, measured: airway.Measured, stock: list[airway.TubeInStock] | None = None, adult: bool | None = None
) -> airway.AirwayChoice:
    return airway.lay_out(airway_tables(), "cat", Q(4, "kg"), measured=measured, stock=stock, adult=adult)


def full() -> TubeDrawing:
    measured = airway.Measured.read(
        incisors_to_thoracic_inlet="13.2 cm", incisors_to_larynx="7.5 cm", tracheal_diameter="8.6 mm"
    )
    found = drawn(cat(measured=measured, stock=STOCK, adult=True))
    assert found is not None
    return found


def bare() -> TubeDrawing:
    found = drawn(cat(measured=airway.Measured.read(incisors_to_thoracic_inlet="13 cm")))
    assert found is not None
    return found


def test_golden_places_of_a_fully_measured_cat() -> None:
    """By hand: 13.2 cm is cut to 13.0; cuff top 130 - 42, its lower end 22 further, hole 130 - 8, stylet a centimetre behind the
    tip (8 + 2 is no more), uncut end 200 - 130 outside; fork 75 + 125.13 ± 28.82 mm."""
    got = full()
    places = {name: getattr(got, name).at_mm for name in (
        "incisors", "connector", "cut_end", "larynx", "cuff_top", "cuff_bottom", "stylet_tip", "side_hole", "tip", "inlet", "uncut_end",
    )}  # fmt: skip
    assert places == {
        "incisors": 0, "connector": 0, "cut_end": 0, "larynx": 75, "cuff_top": 88, "cuff_bottom": 110, "stylet_tip": 120,
        "side_hole": 122, "tip": 130, "inlet": 132, "uncut_end": -70,
    }  # fmt: skip
    assert got.fork == (pytest.approx(171.31), pytest.approx(228.95))
    assert (got.trachea_mm, got.id_mm, got.od_mm, got.od_how) == (8.6, 4.0, 5.4, "measured")
    assert got.stylet_tip.how == "memory" and got.uncut_end.how == "measured"


def test_what_nobody_measured_has_no_place() -> None:
    got = bare()
    for name in ("larynx", "cuff_top", "cuff_bottom", "side_hole"):
        assert getattr(got, name).at_mm is None and getattr(got, name).how == "unknown"
    assert got.trachea_mm is None and got.fork is None
    assert got.od_how == "memory" and got.uncut_end.how == "memory"
    assert len(got.questions) == 3


def test_without_a_depth_there_is_no_picture() -> None:
    assert drawn(cat(measured=airway.Measured())) is None


def test_a_tube_that_is_too_short_is_not_cut_and_ends_before_the_inlet() -> None:
    stock = [airway.TubeInStock(id_mm=Decimal("4.0"), length_mm=Decimal(110))]
    got = drawn(cat(measured=airway.Measured.read(incisors_to_thoracic_inlet="13 cm"), stock=stock))
    assert got is not None
    assert (got.tip.at_mm, got.inlet.at_mm, got.uncut_end.at_mm) == (110, 130, 0)
    assert "do not cut, 11 cm long" in tube_svg(got)


@given(
    st.sampled_from(["dog", "cat"]),
    st.integers(8, 120),
    st.floats(0, 1),
    st.floats(0.05, 0.95),
    st.integers(0, 30),
    st.booleans(),
)
def test_nothing_of_the_tube_lies_beyond_the_inlet(
    species: str, tenths: int, along: float, larynx: float, hole: int, stocked: bool
) -> None:
    kg = Decimal(tenths) / 10
    low, high = depth_bounds_cm(airway_tables(), species, float(kg))
    depth = (low + (high - low) * Decimal(str(along))).quantize(Decimal("0.1"))
    before = (depth * Decimal(str(larynx))).quantize(Decimal("0.01"))
    measured = airway.Measured(incisors_to_inlet=Q(depth, "cm"), larynx_depth=Q(max(before, Decimal("0.1")), "cm"))
    stock = None
    if stocked:
        stock = [airway.TubeInStock(id_mm=Decimal(n) / 2, side_hole_mm=Decimal(hole), tip_to_cuff_top_mm=Decimal(60),
                                    cuff_length_mm=Decimal(25), length_mm=Decimal(250)) for n in range(4, 21)]  # fmt: skip
    got = drawn(airway.lay_out(airway_tables(), species, Q(kg, "kg"), measured=measured, stock=stock))
    assert got is not None and got.tip.at_mm is not None and got.inlet.at_mm is not None
    assert got.cut_end.at_mm == got.connector.at_mm == got.incisors.at_mm == 0
    assert 0 < got.tip.at_mm <= got.inlet.at_mm
    for place in (got.cuff_top, got.cuff_bottom, got.side_hole, got.stylet_tip, got.uncut_end):
        assert place.at_mm is None or place.at_mm < got.tip.at_mm
    if got.stylet_tip.at_mm is not None:
        assert got.stylet_tip.at_mm <= got.tip.at_mm - 10
        assert got.side_hole.at_mm is None or not got.has_side_hole or got.stylet_tip.at_mm < got.side_hole.at_mm
    assert inside(tube_svg(got)) and no_words_on_words(tube_svg(got))


def no_words_on_words(svg: str) -> bool:
    """No two names in the picture lie on one another."""
    texts = list(inside(svg).iter("{http://www.w3.org/2000/svg}text"))
    boxes = [(*across(t), float(t.get("y", "0"))) for t in texts if len(t.text or "") > 2]
    return not [1 for (a, b, y), (c, d, z) in combinations(boxes, 2) if abs(y - z) < 10 and a < d - 2 and c < b - 2]


@given(
    st.integers(8, 400),
    st.lists(st.tuples(st.sampled_from(["connector", "HME filter", "elbow", "CO2 sensor", "a part with quite a long name"]),
                       st.integers(1, 600).map(lambda n: Q(Decimal(n) / 10, "mL"))), min_size=1, max_size=6),
)  # fmt: skip
def test_the_stack_stays_on_the_page_and_no_name_covers_another(tenths: int, parts: list[tuple[str, Quantity]]) -> None:
    kg = Decimal(tenths) / 10
    svg = dead_space_svg(airway.lay_out(airway_tables(), "dog", Q(kg, "kg"), parts=parts))
    assert inside(svg) and no_words_on_words(svg)


def inside(svg: str) -> ElementTree.Element:
    """The picture parses, is 160 mm wide, uses one ink, and no letter is under 3 mm."""
    root = ElementTree.fromstring(svg)  # noqa: S314  our own picture
    assert root.get("width") == "160mm" and root.get("viewBox", "").startswith(f"0 0 {WIDTH:g} ")
    high = float(root.get("viewBox", "").split()[3])
    for text in root.iter("{http://www.w3.org/2000/svg}text"):
        assert float(text.get("font-size", "0")) >= 12
        left, right = across(text)
        assert left >= -2 and right <= WIDTH + 2, text.text
        assert 0 < float(text.get("y", "-1")) < high
    assert set(re.findall(r"#[0-9A-Fa-f]{3,6}", svg)) <= {"#1A221E", "#fff"}
    return root


def across(text: ElementTree.Element) -> tuple[float, float]:
    """About where the words begin and end on the page: a letter is about 0.45 as wide as the type is high (measured on a print)"""
    wide, x = len(text.text or "") * float(text.get("font-size", "0")) * LETTER, float(text.get("x", "0"))
    left = x - wide * {"start": 0, "middle": 0.5, "end": 1}[text.get("text-anchor", "start")]
    return left, left + wide


def words(svg: str) -> list[str]:
    return [t.text or "" for t in inside(svg).iter("{http://www.w3.org/2000/svg}text")]


def test_the_picture_says_what_is_known_and_how() -> None:
    known = words(tube_svg(full()))
    for said in ("larynx 7.5 cm", "cuff top 8.8 cm", "side hole 12.2 cm", "stylet tip 10 mm inside", "thoracic inlet 13.2 cm",
                 "≈ fork, 17 to 23 cm", "ID 4.0 mm: cut to 13 cm, tip to connector", "70 mm come away"):  # fmt: skip
        assert said in known
    assert "?" not in known
    assert "url(#hatch)" in tube_svg(full())


def test_an_unmeasured_larynx_is_an_open_gap_with_a_question() -> None:
    svg = tube_svg(bare())
    said = words(svg)
    assert "?" in said and "larynx not measured" in said
    assert sum(s.startswith("? ") for s in said) == 3
    assert 'stroke-dasharray="6 4"' in svg  # the typical outside diameter and uncut length
    assert 'fill="url(#hatch)"' not in svg  # nothing is predicted
    assert not any(s.startswith(("cuff", "side hole")) for s in said)


def test_the_dead_space_stack_adds_up_and_names_the_change_that_helps_most() -> None:
    parts = [("connector", Q(2, "mL")), ("HME filter", Q(12, "mL")), ("elbow", Q(4, "mL")), ("CO2 sensor", Q(1, "mL"))]
    choice = airway.lay_out(airway_tables(), "cat", Q(4, "kg"), parts=parts,
                            measured=airway.Measured.read(incisors_to_thoracic_inlet="13 cm"))  # fmt: skip
    svg = dead_space_svg(choice)
    said = words(svg)
    assert "= 19 mL, 47.5 % of a breath of 40 mL, 4.75 mL/kg" in said
    assert "Helps most: Leave the HME filter out: 12 mL less, 30 % of a breath." in said
    assert {"HME filter 12", "elbow 4", "connector 2", "CO2 sensor 1", "0.88 gone by cutting"} <= set(said)
    wide = [float(r.get("width", "0")) for r in inside(svg).iter("{http://www.w3.org/2000/svg}rect")][:4]
    assert wide == pytest.approx([w * wide[3] for w in (2, 12, 4, 1)], abs=0.3)


def test_the_gauge_stands_at_its_share_and_its_reserve_is_hatched() -> None:
    """Half of full points straight up: 120 units across, 76 over the hub at 112."""
    gauge = GaugeFigures(share=0.5, reserve_share=0.25, gauge="68.5 bar", full="137 bar", litres="340 L left of 680 L",
                         minutes="2 h 50 min", above_reserve="85 min above the reserve (from memory)")  # fmt: skip
    svg = gauge_svg(gauge)
    assert "M120.0 112.0L120.0 36.0" in svg
    assert 'fill="url(#hatch)"' in svg
    assert {"68.5 bar", "137 bar", "2 h 50 min"} <= set(words(svg))
