import type { AnyEvent, EventName, Fields, Refused } from "./types";

type Asked = { [N in EventName]: "confirmed" extends keyof Fields<N> ? N : never }[EventName];

/** The entries a hand may confirm after the server asked whether they are meant. A new one missing here does not compile. */
const ASKED: Record<Asked, true> = {
  Weighed: true,
  SyringeDrawn: true,
  BagMixed: true,
  DrugGiven: true,
  FluidGiven: true,
  InfusionStarted: true,
  InfusionChanged: true,
  InfusionStopped: true,
  AttemptBegan: true,
  ProofNoted: true,
  MonitorPaired: true,
  TubePlaced: true,
  MachineAssigned: true,
  OxygenRead: true,
  VentilationSet: true,
  CuffChecked: true,
  ReadingTaken: true,
  PressureTaken: true,
  GasSet: true,
};

/** Whether the same entry, said to be meant, may be sent again: once for each question. */
export function mayConfirm(event: AnyEvent, refused: Pick<Refused, "name" | "says"> | null): boolean {
  return refused?.name === "AskAgain" && event.event in ASKED && !answered(event).includes(refused.says);
}

/** The questions an entry has said yes to so far. */
export function answered(event: AnyEvent): readonly string[] {
  return (event as { answered?: readonly string[] }).answered ?? [];
}
