"""Infusions worked without the project: pint (hgrecco/pint) for units, fractions for exactness, and nothing of ours imported.

`infusions.toml` holds the inputs and what this page makes of them. `python tests/figures/infusions_by_pint.py` writes the
worked figures into that table again from its inputs; the tests work them a second time and compare.
"""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pint

TABLE = Path(__file__).with_name("infusions.toml")
UNITS = pint.UnitRegistry(non_int_type=Fraction, case_sensitive=True)
UNITS.define("iunit = [activity] = IU")
UNITS.define("milliiunit = 1/1000 * iunit = mIU")
UNITS.define("milliequivalent = [charge_amount] = mEq")
UNITS.define("beast = [beast] = animal")
# Six syringes as sold, mL and mL between marks (RMIT University, syringe volumes; 20 and 60 mL common practice).
SYRINGES = tuple(
    (Fraction(h), Fraction(m))
    for h, m in (("1", "0.01"), ("3", "0.1"), ("5", "0.2"), ("10", "0.2"), ("20", "1"), ("60", "1"))
)
LEAST_ML, LEAST_MARKS, ERROR, LARGEST = Fraction("0.05"), 3, Fraction(5), Fraction(10)
PUMP, SHARE = Fraction("0.1"), Fraction(10)
DIGITS = 15


def read(figure: str, unit: str) -> Any:
    """A pint quantity; "mg/kg/h" is mg over kg over h."""
    return UNITS.Quantity(Fraction(figure), UNITS.parse_units(unit.replace("mcg", "microgram").replace("day", "day")))


def per_hour(dose: str, unit: str, kg: str) -> Any:
    """What an animal gets in an hour."""
    amount = read(dose, unit)
    if "/kg" in unit or "/lb" in unit:
        amount = amount * read(kg, "kg")
    if "/animal" in unit:
        amount = amount * read("1", "animal")
    top = unit.split("/", maxsplit=1)[0].replace("mcg", "microgram")
    return amount.to(f"{top}/hour")


def ml_h(row: dict[str, str]) -> Fraction:
    """The pump's rate, exactly."""
    amount = per_hour(row["dose"], row["unit"], row["kg"])
    if row["strength"]:
        figure, unit = row["strength"].split(" ")
        amount = amount / read(figure, unit)
    return Fraction(amount.to("mL/hour").magnitude)


def other_base(row: dict[str, str]) -> Fraction:
    """The same dose in the unit that stands beside it."""
    if "lb" in row["unit"]:
        return Fraction(read(row["dose"], row["unit"]).to(row["beside"].replace("mcg", "microgram")).magnitude)
    return Fraction(read(row["dose"], row["unit"]).to(row["beside"].replace("mcg", "microgram")).magnitude)


def minutes(row: dict[str, str]) -> int:
    """Whole minutes until so many mL have run."""
    return int(Fraction(row["holds"]) / ml_h(row) * 60)


def drops(row: dict[str, Any]) -> tuple[int, Fraction, Fraction]:
    """Whole drops a minute, downward; seconds between two; and the mL/h they come to."""
    whole = int(Fraction(row["ml_h"]) * row["set"] / 60)
    return whole, round(Fraction(60, whole), 1), Fraction(whole * 60, row["set"])


# ---- bags


def bag(row: dict[str, Any]) -> dict[str, Any]:
    """What goes into a bag, on marks, and what it then gives."""
    rate = _down(Fraction((read(row["rate"], "mL/kg/h") * read(row["kg"], "kg")).to("mL/hour").magnitude), PUMP)
    holds, vials, need = Fraction(row["bag_ml"]), [], []
    for p in row["parts"]:
        figure, unit = p["vial"].split(" ")
        each = per_hour(p["dose"], p["unit"], row["kg"]) / UNITS.Quantity(rate, "mL/hour")
        need.append(Fraction(each.to(unit.replace("mcg", "microgram")).magnitude))
        vials.append(Fraction(figure))
    shares = [n / v for n, v in zip(need, vials, strict=True)]
    swap = sum(shares) * 100 > SHARE
    whole = holds if swap else holds / (1 - sum(shares))
    drawn = [_syringe(whole * s) for s in shares]
    volumes = [v for v, _ in drawn]
    out = Fraction(0)
    if swap:
        mark = next((m for h, m in SYRINGES if h >= sum(volumes)), SYRINGES[-1][1])
        out = _down(sum(volumes, Fraction(0)), mark)
    while True:
        total = holds - out + sum(volumes)
        over = [i for i, v in enumerate(volumes) if vials[i] * v > need[i] * total]
        if not over:
            break
        for i in over:
            volumes[i] -= drawn[i][1]
    gives = []
    for p, v, c in zip(row["parts"], volumes, vials, strict=True):
        unit = p["vial"].split(" ")[1].replace("mcg", "microgram")
        dose = UNITS.Quantity(c * v / total, unit) * UNITS.Quantity(rate, "mL/hour")
        dose = dose / read(row["kg"], "kg") if "/kg" in p["unit"] else dose
        gives.append(Fraction(dose.to(p["unit"].replace("mcg", "microgram")).magnitude))
    return {"ml_h": rate, "removed": out, "total": total, "hours": total / rate, "volumes": volumes, "gives": gives}


def off(gives: Fraction, asked: Fraction) -> Fraction:
    """What rounding took away, in per cent to a hundredth."""
    return round((gives - asked) / asked * 100, 2)


def _down(value: Fraction, step: Fraction) -> Fraction:
    return (value // step) * step


def _syringe(ml: Fraction) -> tuple[Fraction, Fraction]:
    """The smallest syringe that shows the volume within the error, else the one with the least error; and its marks."""
    if ml > SYRINGES[-1][0]:
        return _down(ml, SYRINGES[-1][1]), SYRINGES[-1][1]
    able = [(_down(ml, m), m) for h, m in SYRINGES if ml <= h and ml >= max(LEAST_ML, LEAST_MARKS * m)]
    for v, m in able:
        if (ml - v) / ml * 100 <= ERROR:
            return v, m
    return max(able, key=lambda found: found[0])


# ---- the table


def text(value: Fraction) -> str:
    """A fraction as printed in the table: exact where it ends, else to fifteen digits."""
    if value == 0:
        return "0"
    for places in range(DIGITS):
        if value * 10**places == int(value * 10**places):
            return f"{float(value):.{places}f}"
    return f"{float(value):.{DIGITS}g}"


def worked(table: dict[str, Any]) -> dict[str, Any]:
    """The whole table with every figure worked from its inputs."""
    for row in table["rate"]:
        row["ml_h"], row["other"], row["minutes"] = text(ml_h(row)), text(other_base(row)), minutes(row)
    for row in table["drops"]:
        whole, between, gives = drops(row)
        row["per_min"], row["seconds"], row["gives"] = whole, text(between), text(gives)
        row["error"] = text(off(gives, Fraction(row["ml_h"])))
    for row in table["bag"]:
        found = bag(row)
        row |= {k: text(found[k]) for k in ("ml_h", "removed", "total", "hours")}
        for p, v, g in zip(row["parts"], found["volumes"], found["gives"], strict=True):
            p["add_ml"], p["gives"], p["error"] = text(v), text(g), text(off(g, Fraction(p["dose"])))
    return table


def printed(table: dict[str, Any], head: str) -> str:
    lines = [head.rstrip(), ""]
    for kind in ("published", "rate", "drops", "bag"):
        lines.append(f"{kind} = [")
        lines += [f"  {_inline(row)}," for row in table[kind]]
        lines += ["]", ""]
    return "\n".join(lines).rstrip() + "\n"


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_inline(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_inline(v) for v in value) + "]"
    return str(value) if isinstance(value, int) else '"' + str(value).replace('"', "'") + '"'


if __name__ == "__main__":
    stored = TABLE.read_text(encoding="utf-8")
    head = stored[: stored.index("published = [")]
    TABLE.write_text(printed(worked(tomllib.loads(stored)), head), encoding="utf-8")
