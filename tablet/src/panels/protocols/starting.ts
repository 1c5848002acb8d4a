/** What a start writes: the version, an order for each line that is taken, the limits. No figure is worked out here. */
import { api } from "../../wire/api";
import { stamp } from "../../wire/store.svelte";
import type { EventName, ProtocolOffer, Refused } from "../../wire/types";

export interface Start {
  offer: ProtocolOffer;
  /** order ids of the lines that are ordered */
  taken: ReadonlySet<string>;
  vet: string;
  how: "written" | "oral";
  /** who read the orders back; only with oral ones */
  back: string;
  /** a veterinarian's reason where the protocol is not meant for this animal */
  reason: string;
}

export type Entry = readonly [name: EventName, fields: Record<string, unknown>];

/** Optional lines wait to be chosen; the others are ordered unless left out. */
export const first = (offer: ProtocolOffer): Set<string> =>
  new Set(offer.lines.filter((one) => !one.optional).map((one) => one.line.order));

export function entries({ offer, taken, vet, how, back, reason }: Start): Entry[] {
  const ordered = offer.lines.filter((one) => taken.has(one.line.order));
  const drugs = new Set(ordered.map((one) => one.line.drug));
  const left_out = [...new Set(offer.lines.map((one) => one.line.drug).filter((drug) => !drugs.has(drug)))];
  const word = offer.why_not ? { said_by: vet, reason } : {};
  const whose = { ordered_by: vet, given_as: how, read_back_by: how === "oral" ? back : "" };
  return [
    ["ProtocolStarted", { ...offer.start, left_out, ...word }],
    ...ordered.map((one) => ["DrugOrdered", { ...one.order, ...whose }] as const),
    ...offer.limits.map((limit) => ["LimitOrdered", { ...limit, ordered_by: vet }] as const),
  ];
}

/** What the server would refuse of it, by order id; the start itself under its own name. Empty without a link. */
export async function doubts(caseId: string, all: readonly Entry[], by: string): Promise<Map<string, Refused>> {
  const now = new Date();
  const found = new Map<string, Refused>();
  try {
    const { answers } = await api.would(
      caseId,
      all.map(([name, fields]) => stamp(name, caseId, fields as never, by, now, now)),
    );
    answers.forEach(({ refused }, i) => {
      const [name, fields] = all[i]!;
      if (refused) found.set(name === "DrugOrdered" ? String(fields.order) : name, refused);
    });
  } catch {
    return found;
  }
  return found;
}
