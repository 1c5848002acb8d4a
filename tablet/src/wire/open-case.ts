import { keep } from "./shelf";
import { store } from "./store.svelte";
import { api } from "./api";
import type { Fields } from "./types";

type Species = Fields<"CaseOpened">["species"];
type Write = Parameters<typeof store.writeMany>[0][number];

/** A case by an emergency key: open, weighed by eye (or now), written even if no hand is named yet. */
export async function openEmergency(species: Species, kg: string, method: "scale" | "estimated"): Promise<string> {
  const id = crypto.randomUUID();
  const practice = store.hospital?.practice ?? false;
  const { answer } = await store.writeMany(
    [
      ["CaseOpened", { species, kind: "emergency", practice }],
      ["Weighed", { weight_kg: kg, method }],
    ],
    { urgent: true, undo: false, say: `Emergency: ${species}, ${kg} kg` },
    id,
  );
  // the sheet is kept, so that it is readable when the link goes
  void api
    .emergency(species, kg)
    .then((sheet) => keep(`emergency ${id}`, sheet))
    .catch(() => undefined);
  await answer;
  return id;
}

/** The heart has stopped and nothing was weighed: the species is all that is asked, the clock runs from this touch. */
export async function openArrest(species: Species): Promise<string> {
  const id = crypto.randomUUID();
  const practice = store.hospital?.practice ?? false;
  const { answer } = await store.writeMany(
    [
      ["CaseOpened", { species, kind: "emergency", practice }],
      ["ArrestBegan", {}],
    ],
    { urgent: true, undo: false, say: `Arrest: ${species}` },
    id,
  );
  await answer;
  return id;
}

export interface Elective {
  species: Species;
  name: string;
  kg: string;
  method: Fields<"Weighed">["method"];
  scale: string;
  confirmed: boolean;
  breed: string;
  sex: string;
  age: string;
  room: string;
  procedure: string;
  minutes: number | null;
  plannedAt: string | null;
  asa: Fields<"AsaAssigned">["asa"] | "";
  orderedBy: string;
}

/** What a form starts from: nothing is said for anybody. Species, weight and how it was weighed have no empty answer. */
export const NOTHING = {
  name: "",
  scale: "",
  confirmed: false,
  breed: "",
  sex: "",
  age: "",
  room: "",
  procedure: "",
  minutes: null,
  plannedAt: null,
  asa: "",
  orderedBy: "",
} as const;

/** A planned case: who and the weight are enough; what is known besides is written with it, in one go. */
export async function openElective(
  facts: Elective,
): Promise<{ id: string; answer: Awaited<ReturnType<typeof store.write>>["answer"] }> {
  const id = crypto.randomUUID();
  const practice = store.hospital?.practice ?? false;
  const writes: Write[] = [
    [
      "CaseOpened",
      {
        species: facts.species,
        kind: "elective",
        name: facts.name,
        practice,
        room: facts.room,
        planned_at: facts.plannedAt,
      },
    ],
  ];
  if (facts.breed || facts.sex || facts.age)
    writes.push(["PatientDescribed", { breed: facts.breed, sex: facts.sex, age: facts.age }]);
  if (facts.procedure)
    writes.push(["ProcedurePlanned", { procedure: facts.procedure, minutes: facts.minutes, room: facts.room }]);
  if (facts.orderedBy) writes.push(["PersonJoined", { person: facts.orderedBy, part: "supervising veterinarian" }]);
  if (facts.asa) writes.push(["AsaAssigned", { asa: facts.asa, assigned_by: facts.orderedBy }]);
  writes.push([
    "Weighed",
    { weight_kg: facts.kg, method: facts.method, scale: facts.scale, confirmed: facts.confirmed },
  ]);
  const { answer } = await store.writeMany(writes, { undo: false, say: `Opened ${facts.name || facts.species}` }, id);
  return { id, answer };
}
