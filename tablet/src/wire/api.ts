import type {
  Answers,
  AnyEvent,
  Board,
  CaseView,
  EarlierHere,
  EmergencySheet,
  Hospital,
  MachinesSheet,
  OwnInductions,
  PickRow,
  ProtocolDraft,
  ProtocolOffers,
  ProtocolsSheet,
  Refused,
} from "./types";

/** The server answered, and said no: `refused` names what and why. */
export class SaidNo extends Error {
  constructor(
    readonly status: number,
    readonly refused: Refused,
  ) {
    super(refused.says);
  }
}

/** Nothing came back: there is no link, or the server is down. What was to be sent is still here. */
export class NoLink extends Error {}

const PATIENCE_MS = 8000;

async function call<T>(path: string, body?: unknown): Promise<T> {
  let answer: Response;
  try {
    answer = await fetch(path, {
      method: body === undefined ? "GET" : "POST",
      headers: body === undefined ? {} : { "content-type": "application/json" },
      body: body === undefined ? null : JSON.stringify(body),
      cache: "no-store",
      signal: AbortSignal.timeout(PATIENCE_MS),
    });
  } catch (cause) {
    throw new NoLink(`no answer from ${path}`, { cause });
  }
  if (answer.status >= 500) throw new NoLink(`the server failed with ${answer.status}`);
  const said: unknown = await answer.json().catch(() => null);
  if (answer.ok) return said as T;
  throw new SaidNo(answer.status, (said as { refused?: Refused } | null)?.refused ?? unnamed(answer.status));
}

function unnamed(status: number): Refused {
  return {
    name: "Unanswered",
    field: "",
    says: `The server answered ${status} without a reason.`,
    accepts: "",
    use: null,
  };
}

const part = encodeURIComponent;

export const api = {
  hospital: (): Promise<Hospital> => call("/api/hospital"),
  board: (): Promise<Board> => call("/api/board"),
  formulary: (species: string): Promise<PickRow[]> => call(`/api/formulary?species=${part(species)}`),
  view: (id: string, expected = false): Promise<CaseView> =>
    call(`/api/cases/${part(id)}${expected ? "?expected" : ""}`),
  earlier: (id: string): Promise<EarlierHere> => call(`/api/cases/${part(id)}/earlier`),
  inductions: (): Promise<OwnInductions> => call("/api/audit/inductions"),
  machines: (): Promise<MachinesSheet> => call("/api/machines"),
  protocols: (): Promise<ProtocolsSheet> => call("/api/protocols"),
  offers: (id: string): Promise<ProtocolOffers> => call(`/api/cases/${part(id)}/protocols`),
  draft: (id: string, protocol = ""): Promise<ProtocolDraft> =>
    call(`/api/cases/${part(id)}/as-protocol${protocol ? `?protocol=${part(protocol)}` : ""}`),
  emergency: (species: string, kg: number | string): Promise<EmergencySheet> =>
    call(`/api/emergency?species=${part(species)}&weight=${part(`${kg} kg`)}`),
  post: (id: string, events: AnyEvent[]): Promise<Answers> => call(`/api/cases/${part(id)}/events`, { events }),
  would: (id: string, events: AnyEvent[]): Promise<Answers> => call(`/api/cases/${part(id)}/would`, { events }),
  /** What a monitor sent and was kept, from a moment on. */
  replay: (id: string, from: Date, speed: number): string =>
    `/api/cases/${part(id)}/replay?from=${part(from.toISOString())}&speed=${speed}`,
  print: (
    id: string,
    sheet: "record" | "labels" | "emergency" | "plan" | "infusions",
    paper: string,
    only: readonly string[] = [],
  ): string =>
    `/api/cases/${part(id)}/${sheet}.pdf?paper=${paper}${only.length ? `&syringe=${only.map(part).join(",")}` : ""}`,
};

/** Whether a line would open: the server's reason if not, else nothing. */
export async function whyNot(path: string): Promise<string> {
  const stop = new AbortController();
  try {
    const answer = await fetch(path, { signal: stop.signal, cache: "no-store" });
    if (answer.ok) return "";
    const said = (await answer.json().catch(() => null)) as { refused?: Refused } | null;
    const { says, accepts } = said?.refused ?? unnamed(answer.status);
    return [says, accepts].filter(Boolean).join(" ");
  } catch {
    return "No link: what was kept is at the hospital's server.";
  } finally {
    stop.abort();
  }
}

export interface Listener {
  onchange: () => void;
  onlink: (open: boolean) => void;
  /** Other kinds of message down the same line, each with what takes its text. */
  events?: Record<string, (text: string) => void>;
}

/** A live line to the server that mends itself; returns how to hang up. The waits grow so that a dead server is left in peace. */
export function listen(path: string, { onchange, onlink, events = {} }: Listener): () => void {
  let line: EventSource | null = null;
  let again: ReturnType<typeof setTimeout> | undefined;
  let wait = 500;
  let over = false;
  const lost = (): void => {
    line?.close();
    line = null;
    if (over) return;
    onlink(false);
    clearTimeout(again);
    again = setTimeout(open, wait);
    wait = Math.min(wait * 2, 8000);
  };
  const open = (): void => {
    clearTimeout(again);
    line?.close();
    line = new EventSource(path);
    line.onopen = () => {
      wait = 500;
      onlink(true);
      onchange();
    };
    line.addEventListener("changed", () => onchange());
    for (const [name, take] of Object.entries(events))
      line.addEventListener(name, (said: MessageEvent<string>) => take(said.data));
    line.onerror = lost;
  };
  const back = (): void => {
    wait = 500;
    if (!over) open();
  };
  addEventListener("online", back);
  addEventListener("offline", lost);
  open();
  return () => {
    over = true;
    clearTimeout(again);
    line?.close();
    removeEventListener("online", back);
    removeEventListener("offline", lost);
  };
}
