import type { Ask, Values } from "../../tiles/asks";
import type { CylinderAtHand, OxygenNow } from "../../wire/types";

/** What the list of cylinders has for the one that was touched. */
const listed = (name: string | undefined, cylinders: readonly CylinderAtHand[]): CylinderAtHand | undefined =>
  cylinders.find((one) => one.name === name);

/** What stands by drives nothing. */
const DRIVE: Ask[] = [
  {
    field: "drive_l_min",
    label: "Drive gas a ventilator takes from it (0: none; empty: as before)",
    kind: "number",
    unit: "L/min",
    optional: true,
  },
];

type InUse = Pick<OxygenNow, "name" | "counted">;

/**
 * It has to be said that this reading is of the supply in use where another source is, or where cylinders without a name cannot be
 * told apart. Neither is chosen beforehand.
 */
function useAsk(values: Values, left: InUse | null): Ask[] {
  if (!left?.counted) return [];
  const cylinder = values.source === "cylinder" ? values.cylinder : "";
  const named = values.source !== "cylinder" || !!cylinder;
  if (named && [values.source, cylinder].filter(Boolean).join(" ") === left.name) return [];
  return [
    { field: "use", label: `${left.name} was in use. This one`, kind: "choice", choices: ["in use", "standing by"] },
  ];
}

/**
 * The questions, as far as they are answered. Nothing stands there beforehand: the printed pair of a listed cylinder is offered
 * as one answer, beside "another label", and is taken only when it was touched.
 */
export function oxygenAsks(values: Values, cylinders: readonly CylinderAtHand[], left: InUse | null = null): Ask[] {
  const source: Ask = {
    field: "source",
    label: "Source",
    kind: "choice",
    choices: ["cylinder", "pipeline", "concentrator"],
  };
  const use = useAsk(values, left);
  const drive = use.length && values.use === "standing by" ? [] : DRIVE;
  if (values.source === "concentrator")
    return [
      source,
      ...use,
      { field: "max_l_min", label: "Largest flow, as printed", kind: "number", unit: "L/min" },
      { field: "percent", label: "Oxygen it gives, as printed or measured", kind: "number", unit: "%" },
      ...drive,
    ];
  if (values.source === "pipeline") return [source, ...use, ...drive];
  if (values.source !== "cylinder") return [source];
  const names = cylinders.map((one) => one.name);
  const chosen = listed(values.cylinder, cylinders);
  const which: Ask[] = names.length
    ? [{ field: "cylinder", label: "Which", kind: "choice", choices: names, optional: true }]
    : [{ field: "cylinder", label: "Which: its own name or number", kind: "text", optional: true }];
  const printed: Ask[] = chosen
    ? [
        {
          field: "printed",
          label: "Printed on it: read it again",
          kind: "choice",
          choices: [
            ["as listed", `${chosen.contents_l} L at ${chosen.full}`],
            ["another", "another label"],
          ],
        },
      ]
    : [];
  const typed: Ask[] =
    chosen && values.printed !== "another"
      ? []
      : [
          { field: "contents_l", label: "Holds when full, as printed", kind: "number", unit: "L" },
          { field: "full_pressure", label: "Full pressure, as printed (137 bar)", kind: "text" },
        ];
  const gauge: Ask = { field: "gauge", label: "Gauge now, with its unit (85 bar)", kind: "text" };
  return [source, ...which, ...use, ...printed, ...typed, gauge, ...drive];
}

/** The event's fields: the listed pair only where its touch said so. */
export function oxygenFields(
  answers: Record<string, string | string[]>,
  cylinders: readonly CylinderAtHand[],
): Record<string, string | string[]> {
  const { printed, ...fields } = answers;
  const chosen = listed(typeof fields.cylinder === "string" ? fields.cylinder : undefined, cylinders);
  return chosen && printed === "as listed"
    ? { ...fields, contents_l: chosen.contents_l, full_pressure: chosen.full }
    : fields;
}
