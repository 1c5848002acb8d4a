import type { OwnGroup, OwnPart } from "../../wire/types";

/** Where a dose stands on the line of its group, in per cent from its left end: nought to the greatest that is drawn. */
export function along(group: OwnGroup): (value: number) => number {
  const greatest = Math.max(...group.parts.flatMap(reach), ...group.published.map((one) => Number(one.high.value)));
  return (value) => (greatest > 0 ? (100 * value) / greatest : 0);
}

function reach(part: OwnPart): number[] {
  const ends = [part.interval?.high, part.next_range?.high, part.next_logs?.high, ...part.doses];
  return ends.flatMap((figure) => (figure ? [Number(figure.value)] : []));
}

/** Whose line it is. */
export function whose(part: OwnPart): string {
  if (part.asa === "all") return "All";
  return part.asa === "not graded" ? "Not graded" : `ASA ${part.asa}`;
}
