/**
 * A cell of the ribbon with a monitor paired: what the monitor shows now, with its age; where it shows nothing of this
 * kind, the last charted value, and the word says that it was charted.
 */
import { hhmm } from "../wire/times";
import type { LiveNumber, LiveState, Vital } from "../wire/types";
import { told, type Told } from "./ribbon";
import { toldLive, toldPressure, type ToldLive } from "./told-live";

export interface ToldNow extends Omit<Told, "icon"> {
  icon: Told["icon"] | "artefact";
  extra: string;
  grey: boolean;
  hollow: boolean;
}

export function toldNow(vital: Vital, state: LiveState | null, now: number, local: number): ToldNow {
  const charted = told(vital, local);
  const last = { ...charted, extra: vital.value ? vital.extra : "", grey: false, hollow: false };
  if (!state) return last;
  const cell = vital.reading === "map" ? pressure(state, now) : number(vital, state, now);
  if (!cell) return vital.value?.mark === "measured" && !charted.stale ? { ...last, ...asCharted(vital) } : last;
  const { read, extra } = cell;
  // an open condition rests on the charted value: both are said
  const beside = vital.priority && vital.value ? `charted ${vital.value.text}` : "";
  return {
    figure: read.figure,
    mark: "measured",
    icon: read.icon,
    foot: [read.foot, beside].filter(Boolean).join(" · "),
    short: read.short,
    stale: read.look === "dashes",
    extra,
    grey: read.look === "grey",
    hollow: read.hollow,
  };
}

function asCharted(vital: Vital): { foot: string; short: string } {
  const when = `charted ${hhmm(vital.value!.at!)}`;
  return { foot: when, short: when };
}

/** The heart's rate from the ECG, else from the pulse, as the chart takes it. */
function number(vital: Vital, state: LiveState, now: number): { read: ToldLive; extra: string } | null {
  const of = (reading: string): LiveNumber | undefined => state.numbers.find((n) => n.reading === reading);
  const own = of(vital.reading);
  const pulse = vital.reading === "heart_rate" ? of("pulse_rate") : undefined;
  const n = own && (own.state !== "gap" || !pulse || pulse.state === "gap") ? own : (pulse ?? own);
  if (!n) return null;
  const read = toldLive(n, now);
  if (n.reading !== "pulse_rate" || vital.reading === "pulse_rate" || read.look === "gap") return { read, extra: "" };
  return { read: { ...read, foot: `${read.foot} · pulse` }, extra: "" };
}

function pressure(state: LiveState, now: number): { read: ToldLive; extra: string } | null {
  const p = state.pressure;
  if (!p) return null;
  const read = toldPressure(p, now);
  const shown = read.look === "now" || read.look === "grey";
  const cuff = p.method === "oscillometric" ? "cuff" : p.method === "arterial line" ? "line" : p.method;
  const pair = p.sap !== null || p.dap !== null ? `${p.sap ?? "—"}/${p.dap ?? "—"}` : "";
  if (!shown) return { read, extra: "" };
  return {
    read: { ...read, figure: p.map === null ? "—" : String(p.map), foot: `${read.foot} · ${cuff}` },
    extra: pair,
  };
}
