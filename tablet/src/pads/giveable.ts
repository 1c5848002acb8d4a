/** What can be given from the pad: a syringe drawn for this patient, or a line of the plan that is not drawn yet. */
import type { AtPush, DrawnSyringe, DrugLine, Fields, Ladder, Refused, Rung } from "../wire/types";

export interface Giveable {
  key: string;
  syringe: string;
  order: string;
  drug: string;
  name: string;
  syringeClass: DrugLine["syringe_class"];
  reversal: boolean;
  concentration: string;
  route: string;
  purpose: string;
  ladder: Ladder | null;
  plannedMl: number | null;
  leftMl: number | null;
  leftText: string;
  speak: string;
  lastGiven: string;
  picked: string;
  estimated: boolean;
  void: string;
  due: boolean;
  refusal: Refused | null;
  atPush: AtPush | null;
  hub: string;
  scale: string;
}

export function fromSyringe(s: DrawnSyringe): Giveable {
  return {
    key: s.syringe,
    syringe: s.syringe,
    order: s.order,
    drug: s.drug,
    name: s.name,
    syringeClass: s.syringe_class,
    reversal: s.reversal,
    concentration: s.concentration,
    route: s.route,
    purpose: s.purpose,
    ladder: s.ladder,
    plannedMl: s.planned_ml,
    leftMl: s.left_ml,
    leftText: `${s.left.text} ${s.left.unit}`.trim(),
    speak: s.speak,
    lastGiven: s.last_given,
    picked: s.lot ? `lot ${s.lot}` : "",
    estimated: s.estimated,
    void: s.void,
    due: s.due,
    refusal: null,
    atPush: s.at_push,
    hub: s.hub,
    scale: s.scale,
  };
}

export function fromLine(l: DrugLine): Giveable {
  return {
    key: `plan ${l.order}`,
    syringe: "",
    order: l.order,
    drug: l.drug,
    name: l.name,
    syringeClass: l.syringe_class,
    reversal: l.reversal,
    concentration: l.dilution?.concentration || l.strength,
    route: l.route,
    purpose: l.purpose,
    ladder: l.ladder,
    plannedMl: l.volume_ml,
    leftMl: null,
    leftText: "",
    speak: l.speak,
    lastGiven: "",
    picked: "not drawn",
    estimated: l.volume?.estimated ?? false,
    void: "",
    due: false,
    refusal: l.refusal,
    atPush: l.at_push,
    hub: l.hub,
    scale: l.scale,
  };
}

/** Due ones on top, then as drawn; an empty or void syringe goes last but stays in sight. */
export function ordered(all: readonly Giveable[]): Giveable[] {
  const rank = (g: Giveable): number => (g.void || g.leftMl === 0 ? 2 : g.due ? 0 : 1);
  return [...all].sort((a, b) => rank(a) - rank(b));
}

export interface Said {
  site: string;
  side: string;
  giver: string;
  saidBy: string;
  reason: string;
}

/** The entry: amount and unit are the rung's own words; the core works them out again from the volume. */
export function given(g: Giveable, rung: Rung, ladder: Ladder, said: Said): Fields<"DrugGiven"> {
  return {
    drug: g.drug,
    amount: rung.amount,
    unit: ladder.unit,
    volume_ml: rung.ml,
    concentration: g.concentration,
    route: g.route,
    purpose: g.purpose,
    order: g.order,
    syringe: g.syringe,
    site: said.site,
    side: said.side,
    giver: said.giver,
    said_by: said.saidBy,
    reason: said.reason,
  };
}

/** The hospital's list names a fluid by its id: `isotonic_crystalloid` is read as words. */
export function inWords(id: string): string {
  const words = id.replace(/_/g, " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}
