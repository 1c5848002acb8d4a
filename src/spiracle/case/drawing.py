"""Whether a drug may be drawn for this animal now: held like what is given, for the syringe in the hand will be given.

Carries U4, U9, U10, U14, U27. In an emergency what would stop is asked, and an old vial is no reason to wait.
"""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from spiracle.case import events as ev
from spiracle.case.allergies import ask_about_allergy
from spiracle.case.ceilings import draw_under
from spiracle.case.draw_asks import NO_DATE, asked_of_a_draw
from spiracle.case.fold import Case
from spiracle.case.limits import not_cautioned, order_fits
from spiracle.case.pushes import emergency_drugs, is_preserved
from spiracle.case.questions import asking, kept_unless_trouble
from spiracle.case.running import per_time
from spiracle.case.standing import dosing_weight_kg, species, troubled, weight_in_use
from spiracle.case.strengths import ask_about_strength, made_here, on_the_shelf
from spiracle.drugs import Drug, amount_of
from spiracle.drugs.vial import belongs, product_fits
from spiracle.quantity import Quantity, figure, unit
from spiracle.refusals import AskAgain, Missing, NotAQuantity, OutOfRange, Unknown

if TYPE_CHECKING:
    from spiracle.case.facts import Facts

EXPIRES = "Write it like 2028-03, 2028-03-31 or 03/2028."


def known_form(form: str, drug: Drug) -> None:
    """Vials of one strength differ by the words on them, and only by those."""
    forms = [s.words for s in drug.strengths if s.words]
    if form and form not in {*forms, "plain"}:
        raise Unknown("form", f"{form!r} is no form of {drug.name}.", "Known: " + ", ".join(["plain", *forms]) + ".")


def may_be_drawn(
    case: Case, event: ev.SyringeDrawn, drug: Drug, order: ev.DrugOrdered | None, vial: Quantity | None, holds: Quantity,
    facts: Facts, *, word: bool,
) -> None:  # fmt: skip
    with asking(event):
        _what_is_in_it(case, event, drug, order, vial, holds, facts)
    if event.diluent_volume_ml:
        with asking(event):
            _diluent(event, drug, facts)
    if not word:
        _too_old(case, event, drug, facts)
    if not word and not troubled(case):
        asked_of_a_draw(case, event, drug, order, facts)
        if order is not None:
            with asking(event):
                _not_tenfold(case, event, order, holds)
    passed = order is not None and bool(order.over_hard_by and order.reason)
    with asking(event):
        ask_about_allergy(case, event.drug, facts, word or passed or troubled(case))
    if word:
        return
    with kept_unless_trouble(case, event):
        _for_this_animal(case, event, drug, order, holds, facts)


def _what_is_in_it(
    case: Case, event: ev.SyringeDrawn, drug: Drug, order: ev.DrugOrdered | None, vial: Quantity | None, holds: Quantity,
    facts: Facts,
) -> None:  # fmt: skip
    """A vial that stands here or is listed, thinned with what this drug is thinned with."""
    able = [*on_the_shelf(drug, facts), *made_here(case, drug, order, facts, event.happened_at)]
    if vial is None:  # a powder: it holds what somebody made it up to
        ask_about_strength(drug, holds, [*able, *drug.made_up], "concentration")
    else:
        ask_about_strength(drug, vial, able, "strength")


def _diluent(event: ev.SyringeDrawn, drug: Drug, facts: Facts) -> None:
    names = [d.name for d in drug.diluents]
    if facts.drugs.diluent(event.diluent) in names:
        return
    there = f"It is thinned with {' or '.join(names)}." if names else "It is not thinned here."
    raise AskAgain("diluent", f"{event.diluent} is not listed for {drug.name}. {there}", "Take that, or confirm it.")


def _for_this_animal(
    case: Case, event: ev.SyringeDrawn, drug: Drug, order: ev.DrugOrdered | None, holds: Quantity, facts: Facts
) -> None:
    """The order as it stands on the weight of now, and what was found since it was given."""
    at = event.happened_at
    if order is None:
        if drug.id not in emergency_drugs(case, facts):  # those are drawn before anything has happened
            not_cautioned(case, drug, None, "", facts, at)
        return
    if weight_in_use(case) is not None:
        row = order_fits(case, order, facts, at, event)
        strength = facts.drugs.strength(drug, event.vial_concentration)
        product_fits(strength, drug, str(species(case)), facts.drugs.route(order.route))
        belongs(strength, drug, row)
        if not row.emergency:
            not_cautioned(case, drug, order, order.purpose, facts, at)
            draw_under(case, event, order, holds, facts)
    elif not troubled(case):
        raise Missing(
            "weight", "is not known, so the order cannot be held against its limits.", "Weigh the patient first."
        )


SLIP = Decimal(9)  # a slip of the point, less what a mark and a dose in steps make of it


def _not_tenfold(case: Case, event: ev.SyringeDrawn, order: ev.DrugOrdered, holds: Quantity) -> None:
    """U1: what is in the syringe beside what the order lets go in: a slip of the point is asked about, over and under. What a
    pump takes is drawn for hours, so a rate is not held to this."""
    kg = dosing_weight_kg(case)
    if kg is None or per_time(unit(order.unit)):
        return
    drawn = Quantity.of(event.volume_ml, "mL") * holds
    low, high = (amount_of(Quantity.of(bound, order.unit), kg) for bound in (order.low, order.high))
    if high.unit.dimension != drawn.unit.dimension or high.value <= 0:
        return
    ordered = str(high) if order.low == order.high else f"{low} to {high}"
    if drawn >= high * SLIP:
        off = f"{figure(drawn.number(high.unit) / high.value, 2)} times"
    elif drawn * SLIP <= low:
        off = f"1/{figure(low.value / drawn.number(low.unit), 2)} of"
    else:
        return
    holding = f"{figure(drawn.number(high.unit), 3)} {high.unit}"
    raise AskAgain("volume", f"the syringe would hold {holding}: {off} the {ordered} ordered.",
                   "Read the mark and the strength again, or confirm it.")  # fmt: skip


def _too_old(case: Case, event: ev.SyringeDrawn, drug: Drug, facts: Facts) -> None:
    """An old vial is not drawn from; of what an emergency calls for, nothing is asked, and of the rest, whether it is meant."""
    if troubled(case) and drug.id in emergency_drugs(case, facts):
        return
    with kept_unless_trouble(case, event, OutOfRange):
        _expiry(event, facts)
        with asking(event):
            _opened(event, drug, facts)


# ---- expiry


def last_day(text: str) -> tuple[int, int, int]:
    """The last day of a vial as printed, as (year, month, day); day 31 where only a month is: it ends with the month.

    >>> last_day("03/2028"), last_day("2028-03-15")
    ((2028, 3, 31), (2028, 3, 15))
    """
    iso = re.fullmatch(r"(\d{4})-(\d{2})(?:-(\d{2}))?", text)
    month = re.fullmatch(r"(\d{1,2})/(\d{4})", text)
    if iso is None and month is None:
        raise NotAQuantity("expires", f"{text!r} cannot be read as a date.", EXPIRES)
    year, of_year, day = (int(iso[1]), int(iso[2]), iso[3]) if iso else (int(month[2]), int(month[1]), None)  # type: ignore[index]
    try:
        date(year, of_year, int(day or 1))
    except ValueError as fault:
        raise OutOfRange("expires", f"{text} is not a date.", EXPIRES) from fault
    return year, of_year, int(day or 31)


def _expiry(event: ev.SyringeDrawn, facts: Facts) -> None:
    """Held to the day on the hospital's own wall."""
    text = event.expires.strip()
    if text in {"", NO_DATE}:
        return
    today = event.happened_at.astimezone(facts.zone).date()
    if last_day(text) < (today.year, today.month, today.day):
        raise OutOfRange("expires", f"the vial expired {text}.",
                         "Take another vial, or a named veterinarian says so with a reason.")  # fmt: skip


# ---- opened vials

KEEPS = 28  # days a vial with a preservative is used after its first puncture: common practice, from memory


def _opened(event: ev.SyringeDrawn, drug: Drug, facts: Facts) -> None:
    """A vial that was opened before: refused past what its form keeps, asked about past what vials keep at large."""
    text = event.opened.strip()
    if not text:
        return
    opened = _day(text)
    since = (event.happened_at.astimezone(facts.zone).date() - opened).days
    if since < 0:
        raise OutOfRange("opened", f"{text} is still to come.", "Write the date on the vial.")
    keeps = _keeps(event, drug, facts)
    days = "1 day" if since == 1 else f"{since} days"
    if keeps is not None and since > keeps:
        until = "for the day it was opened" if keeps == 0 else f"for {keeps} days"
        raise OutOfRange("opened", f"the vial was opened {days} ago and keeps {until}.",
                         "Take another vial, or a named veterinarian says so with a reason.")  # fmt: skip
    if keeps is None and since > KEEPS:
        raise AskAgain("opened", f"the vial was opened {days} ago; vials are kept {KEEPS} days (from memory).",
                       "Take another vial, or confirm it.")  # fmt: skip


def _day(text: str) -> date:
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text) is None:
        raise NotAQuantity("opened", f"{text!r} cannot be read as a day.", "Write it like 2026-11-24.")
    year, month, day = last_day(text)
    try:
        return date(year, month, day)
    except ValueError as fault:
        raise OutOfRange("opened", f"{text} is not a date.", "Write it like 2026-11-24.") from fault


def _keeps(event: ev.SyringeDrawn, drug: Drug, facts: Facts) -> int | None:
    """What the form of this vial keeps: by the words on it, else the least of the forms of its strength."""
    rows = [f for f in facts.drugs.formulations if f.drug == drug.id and f.keeps_days is not None]
    plain = is_preserved(event.form) or is_preserved(event.vial_concentration)
    if event.form or plain:
        rows = [f for f in rows if is_preserved(f.form) == plain]
    return min((f.keeps_days for f in rows if f.keeps_days is not None), default=None)
