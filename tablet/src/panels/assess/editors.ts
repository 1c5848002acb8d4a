import type { Ask, Values } from "../../tiles/asks";
import { answered } from "../../tiles/asks";
import { isoZone } from "../../wire/times";
import type { AssessSheet, EventName, Hospital } from "../../wire/types";

/** One thing that can be asked in the assessment: the event it writes and the fields a finger fills. */
export interface Editor {
  title: string;
  event: EventName;
  asks: (hospital: Hospital | null) => Ask[];
  fields?: (values: Values, asks: Ask[]) => Record<string, unknown>;
  /** what the editor may start from: words already in the record, never a figure */
  from?: (sheet: AssessSheet) => Values;
}

const text = (field: string, label: string, optional = true, lines?: number): Ask => ({
  field,
  label,
  kind: "text",
  optional,
  ...(lines ? { lines } : {}),
});
const figure = (field: string, label: string, unit: string, optional = true): Ask => ({
  field,
  label,
  kind: "number",
  unit,
  optional,
});
const choice = (field: string, label: string, choices: Ask["choices"], optional = true): Ask => ({
  field,
  label,
  kind: "choice",
  choices: choices ?? [],
  optional,
});

const EXAMINATION: Editor = {
  title: "Examination",
  event: "Examined",
  asks: () => [
    figure("temperature_c", "Temperature", "°C"),
    figure("heart_rate", "Heart rate", "/min"),
    figure("respiratory_rate", "Breaths", "/min"),
    choice("membranes", "Gums", ["pink", "pale", "red", "blue", "yellow"]),
    figure("refill_s", "Refill", "s"),
    choice("heart", "Heart", ["no murmur", "murmur I to II", "murmur III to IV", "murmur V to VI", "irregular"]),
    choice("lungs", "Lungs", ["clear", "harsh", "crackles", "quiet"]),
    choice("airway", "Airway", ["opens wide", "short nose", "opens little", "noisy", "mass or swelling"]),
    text("note", "Besides"),
  ],
  fields: (values, asks) => whole(answered(asks, values), ["heart_rate", "respiratory_rate"]),
};

/** Figures that the record keeps as whole numbers go as numbers; a figure with a point stays text and is refused by name. */
function whole(fields: Record<string, unknown>, names: readonly string[]): Record<string, unknown> {
  for (const name of names)
    if (typeof fields[name] === "string" && /^\d+$/.test(fields[name])) fields[name] = Number(fields[name]);
  return fields;
}

/** Hours ago, as a moment. */
const ago = (hours: string): string => isoZone(new Date(Date.now() - Number(hours) * 3_600_000));

export const EDITORS: Record<string, Editor> = {
  patient: {
    title: "Patient",
    event: "PatientDescribed",
    asks: () => [
      text("name", "Name"),
      text("breed", "Breed"),
      choice("sex", "Sex", ["female", "female neutered", "male", "male neutered"]),
      text("age", "Age, as told (4 y, 9 months)"),
      text("chip", "Chip"),
    ],
  },
  owner: {
    title: "Owner",
    event: "OwnerNamed",
    asks: () => [text("name", "Name", false), text("phone", "Telephone, reachable all day")],
  },
  condition: {
    title: "Body condition, of nine",
    event: "BodyConditionScored",
    asks: () => [choice("score", "Score", ["1", "2", "3", "4", "5", "6", "7", "8", "9"], false)],
    fields: (values) => ({ score: Number(values.score) }),
  },
  dosing_weight: {
    title: "Weight for doses",
    event: "DosingWeightSet",
    asks: () => [
      figure("weight_kg", "Weight for doses, as the veterinarian says", "kg", false),
      text("reason", "Why", false),
    ],
  },
  temperature: EXAMINATION,
  heart_rate: EXAMINATION,
  respiratory_rate: EXAMINATION,
  gums: EXAMINATION,
  refill: EXAMINATION,
  heart: EXAMINATION,
  lungs: EXAMINATION,
  airway: EXAMINATION,
  fasting: {
    title: "Food and water",
    event: "FastingNoted",
    asks: () => [
      figure("food", "Food last taken", "hours ago"),
      figure("water", "Water last taken", "hours ago"),
      text("note", "As told (water free, breakfast given)"),
    ],
    fields: (values) => ({
      ...(values.food ? { food_at: ago(values.food) } : {}),
      ...(values.water ? { water_at: ago(values.water) } : {}),
      note: values.note ?? "",
    }),
  },
  history: {
    title: "History",
    event: "HistoryTaken",
    asks: (hospital) => [
      text("problem", "Problem"),
      { field: "conditions", label: "Conditions", kind: "many", choices: hospital?.conditions ?? [], optional: true },
      text("history", "History", true, 3),
    ],
    from: (sheet) => ({ conditions: sheet.conditions.join("|") }),
  },
  allergies: {
    title: "Allergies",
    event: "AllergiesAsked",
    asks: () => [
      choice(
        "known",
        "Asked of the owner",
        [
          ["none", "None known"],
          ["listed", "There are"],
        ],
        false,
      ),
      text("allergies", "To what (commas between)"),
      text("reaction", "What happened"),
    ],
    fields: (values) => ({
      allergies:
        values.known === "none"
          ? []
          : (values.allergies ?? "")
              .split(",")
              .map((one) => one.trim())
              .filter(Boolean),
      reaction: values.known === "none" ? "" : (values.reaction ?? ""),
    }),
  },
  temperament: {
    title: "Temperament",
    event: "TemperamentNoted",
    asks: () => [
      choice("temperament", "In the hands", ["calm", "nervous", "fearful", "fierce", "very quiet"], false),
      text("home_sedation", "Sedation given at home"),
    ],
  },
  pain: {
    title: "Pain score",
    event: "PainScored",
    asks: (hospital) => [
      choice(
        "scale",
        "Scale",
        (hospital?.pain_scales ?? []).map(([name, most]) => [name, `${name}, of ${most}`] as const),
        false,
      ),
      figure("score", "Score", "", false),
    ],
  },
  consent: {
    title: "Consent",
    event: "ConsentRecorded",
    asks: () => [
      text("procedure", "To what", false),
      choice("consent", "Consent", ["written", "oral", "not obtained"], false),
      choice("resuscitation", "If the heart stops", ["full", "closed chest", "open chest", "none", "not asked"], false),
    ],
    from: (sheet) => ({ procedure: sheet.procedure }),
  },
  procedure: {
    title: "Procedure",
    event: "ProcedurePlanned",
    asks: (hospital) => [
      text("procedure", "What", false),
      figure("minutes", "About", "min"),
      choice("side", "Side", ["left", "right", "both"]),
      choice("room", "Room", hospital?.rooms ?? []),
    ],
    fields: (values, asks) => whole(answered(asks, values), ["minutes"]),
    from: (sheet) => ({ procedure: sheet.procedure }),
  },
  "a medicine": {
    title: "A medicine",
    event: "MedicineNoted",
    asks: () => [
      text("medicine", "Medicine", false),
      text("dose", "Dose, as told"),
      figure("last", "Last given", "hours ago"),
      choice("decision", "What is decided", ["stop", "given", "watch", "not decided"], false),
    ],
    fields: (values) => ({
      medicine: values.medicine ?? "",
      dose: values.dose ?? "",
      decision: values.decision,
      ...(values.last ? { last_at: ago(values.last) } : {}),
    }),
  },
  "a dose before": {
    title: "A dose given before this case",
    event: "GivenBefore",
    asks: () => [
      text("drug", "Drug", false),
      figure("amount", "Amount that went in", "", false),
      choice("unit", "Of what", ["mg", "mcg", "mL", "IU", "mEq", "g"], false),
      choice(
        "route",
        "Route",
        ["IM", "IV", "SC", "PO", "OTM", "infiltration", "perineural", "epidural", "topical"],
        false,
      ),
      figure("hours", "Given, hours ago", "h"),
      figure("minutes", "and minutes", "min"),
      text("where", "Where (the ward, at home)"),
      text("by_whom", "By whom"),
    ],
    fields: (values, asks) => {
      const { hours, minutes, ...told } = answered(asks, values) as Record<string, string>;
      // neither hours nor minutes: no time is made up, and the core asks for it
      return hours || minutes
        ? { ...told, given_at: ago(String(Number(hours ?? 0) + Number(minutes ?? 0) / 60)) }
        : told;
    },
  },
  "a result": {
    title: "A result",
    event: "ResultNoted",
    asks: () => [text("test", "Test", false), text("value", "Value", false), text("unit", "Unit, as printed")],
  },
  "an earlier anaesthetic": {
    title: "An earlier anaesthetic",
    event: "PreviousAnaesthesiaNoted",
    asks: () => [
      text("when", "When"),
      figure("tube_id_mm", "Tube used, inside diameter", "mm"),
      choice("tube_outcome", "That tube", ["served", "leaked", "tight"]),
      choice("full_grown", "Full-grown then, a year or older", ["yes", "no"]),
      text("airway", "Airway"),
      text("trouble", "Trouble"),
    ],
    fields: (values, asks) => {
      const { full_grown, ...told } = answered(asks, values) as Record<string, string>;
      return full_grown ? { ...told, full_grown: full_grown === "yes" } : told;
    },
  },
  "a risk": {
    title: "A risk",
    event: "RiskNoted",
    asks: () => [text("risk", "Risk", false), text("plan", "What it changes")],
  },
  "a person": {
    title: "Who takes part",
    event: "PersonJoined",
    asks: (hospital) => [
      choice(
        "person",
        "Who",
        (hospital?.staff ?? []).map((hand) => [hand.id, `${hand.initials} ${hand.name}`] as const),
        false,
      ),
      choice(
        "part",
        "As",
        ["anaesthetist", "supervising veterinarian", "surgeon", "relief", "assistant", "student"],
        false,
      ),
    ],
  },
};

/** The fields to write, as the event wants them. */
export function fieldsOf(editor: Editor, values: Values, hospital: Hospital | null): Record<string, unknown> {
  const asks = editor.asks(hospital);
  if (editor.event === "PainScored") {
    const outOf = hospital?.pain_scales.find(([name]) => name === values.scale)?.[1];
    return { ...answered(asks, values), out_of: outOf };
  }
  return editor.fields ? editor.fields(values, asks) : answered(asks, values);
}
