"""The pictures of a plan for print: the tube in the patient, the dead space against a breath, the oxygen gauge as read."""

from __future__ import annotations

from spiracle.airway.drawing import drawn
from spiracle.case.facts import Facts
from spiracle.quantity import Quantity, figure
from spiracle.sheets.airway_bars_svg import GaugeFigures, dead_space_svg, gauge_svg
from spiracle.sheets.airway_svg import tube_svg
from spiracle.sheets.plan_request import PlanRequest
from spiracle.sheets.plan_work import PlanWork, work_out

Pictures = dict[str, str]  # title of the section it stands in, and the picture


def pictures(work: PlanWork, facts: Facts) -> tuple[Pictures, ...]:
    """What can be drawn to scale: nothing is drawn from a length that nobody measured, nor a gauge that nobody read."""
    found: list[Pictures] = []
    if work.airway is not None:
        tube = drawn(work.airway.choice)
        if tube is not None:
            found.append({"section": "Airway", "svg": tube_svg(tube)})
        found.append({"section": "Airway", "svg": dead_space_svg(work.airway.choice)})
    gauge = _gauge(work, facts)
    if gauge is not None:
        found.append({"section": "Breathing", "svg": gauge_svg(gauge)})
    return tuple(found)


def pictures_of(request: PlanRequest, facts: Facts) -> tuple[Pictures, ...]:
    """The same from a request: worked out again, for the plan itself keeps figures and no drawings."""
    return pictures(work_out(request, facts), facts)


def _gauge(work: PlanWork, facts: Facts) -> GaugeFigures | None:
    oxygen = None if work.breathing is None else work.breathing.oxygen
    read = [c for c in work.request.stock.cylinders if c.gauge is not None]
    if oxygen is None or len(read) != 1 or read[0].gauge is None:
        return None
    cylinder = read[0]
    minutes = work.request.stock.case_minutes
    reserve = facts.breathing.setting("oxygen-reserve").quantity
    share = float(reserve.number(cylinder.full.unit) / cylinder.full.value)
    return GaugeFigures(
        share=float(oxygen.fraction), reserve_share=share, gauge=str(cylinder.gauge), full=str(cylinder.full),
        litres=f"{oxygen.litres.value} in the cylinder", minutes=f"{_whole(oxygen.minutes_above_reserve.value)} to the reserve",
        above_reserve=f"{_whole(oxygen.minutes.value)} to an empty cylinder, predicted at the flow planned",
        planned="" if minutes is None else f"case about {minutes} min: {'enough' if oxygen.enough else 'NOT ENOUGH'}",
    )  # fmt: skip


def _whole(q: Quantity) -> str:
    return f"{figure(q.value)} {q.unit}"
