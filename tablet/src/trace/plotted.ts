/** What a plotted chart consists of, in pixels, and the measures it is drawn by. */
import type { BandPart, ChartPoint, ChartPressure } from "../wire/types";
import { MINUTE } from "./time";

export const COLUMN_PX = 57;
export const COLUMN_MS = 5 * MINUTE;
export const HEAD_PX = 24;
export const ROW_PX = 22;

export interface Room {
  width: number;
  height: number;
  /** The band of names at the left. */
  left: number;
}

export interface Span {
  from: number;
  to: number;
}

export type Shown = "plain" | "struck" | "artefact";

export interface Tick {
  at: number;
  x: number;
  heavy: boolean;
}

export interface Step {
  value: number;
  y: number;
  heavy: boolean;
  /** False where its figure would lie over its neighbour's. */
  named: boolean;
}

/** Numbers of events that stand too near to be told apart: one ring with the first and the last. */
export interface Cluster {
  x: number;
  width: number;
  text: string;
  struck: boolean;
}

export interface Dot {
  id: string;
  kind: "rate";
  x: number;
  y: number;
  shown: Shown;
  late: boolean;
  off: "" | "above" | "below";
  point: ChartPoint;
}

export interface Cuff {
  id: string;
  kind: "pressure";
  x: number;
  y: number;
  sap: number | null;
  map: number | null;
  dap: number | null;
  shown: Shown;
  late: boolean;
  point: ChartPressure;
}

export interface Figure {
  id: string;
  kind: "figure";
  x: number;
  y: number;
  text: string;
  typed: boolean;
  shown: Shown;
  late: boolean;
  /** True where a newer figure stands too near: drawn as a small dot, still to be touched. */
  thin: boolean;
  point: ChartPoint;
}

export interface Row {
  title: string;
  unit: string;
  top: number;
  figures: Figure[];
}

export interface Bar {
  id: string;
  kind: "band";
  x: number;
  y: number;
  width: number;
  text: string;
  /** False where the words do not fit into the bar. */
  fits: boolean;
  part: BandPart;
}

export interface Band {
  title: string;
  /** The name as it fits into the margin. */
  name: string;
  top: number;
  bars: Bar[];
  total: string;
  totalX: number;
  running: boolean;
}

export interface Flag {
  id: string;
  kind: "given" | "event";
  x: number;
  y: number;
  text: string;
  detail: string;
  number: number | null;
  shown: Shown;
  fits: boolean;
  at: number;
}

export interface Hatch {
  x: number;
  width: number;
  lines: string[];
  /** How many lines of words stand above these, where gaps overlap. */
  below: number;
}

export interface Limit {
  y: number;
  text: string;
  labelY: number;
}

export interface Plotted {
  room: Room;
  span: Span;
  column: number;
  low: number;
  high: number;
  /** Said when the scale had to step past its usual 40 to 160. */
  scaleWord: string;
  plotTop: number;
  plotBottom: number;
  height: number;
  nowX: number | null;
  ticks: Tick[];
  steps: Step[];
  dots: Dot[];
  joins: string[];
  cuffs: Cuff[];
  rows: Row[];
  bands: Band[];
  givenTop: number;
  given: Flag[];
  eventsTop: number;
  events: Flag[];
  rings: Cluster[];
  hatches: Hatch[];
  limits: Limit[];
}

export type Touchable = Dot | Cuff | Figure | Bar | Flag;
