import type { Hand } from "./types";

const IDLE_MS = 180_000;
const KEY = "spiracle-hand";

/** Who is acting. The ring empties after three minutes without a touch: the tablet is shared. */
class Hands {
  staff = $state<readonly Hand[]>([]);
  #id = $state(localStorage.getItem(KEY) ?? "");
  #touched = Number(localStorage.getItem(`${KEY}-touched`) ?? 0);
  /** The strip of hands is open. */
  asking = $state(false);

  get current(): Hand | null {
    return this.staff.find((hand) => hand.id === this.#id) ?? null;
  }

  get vets(): Hand[] {
    return this.staff.filter((hand) => hand.role === "veterinarian" || hand.role === "head of anaesthesia");
  }

  initials(id: string): string {
    return this.staff.find((hand) => hand.id === id)?.initials ?? id;
  }

  name(id: string): string {
    return this.staff.find((hand) => hand.id === id)?.name ?? id;
  }

  choose(id: string): void {
    this.#id = id;
    this.asking = false;
    localStorage.setItem(KEY, id);
    this.touch();
  }

  touch(): void {
    this.#touched = Date.now();
    localStorage.setItem(`${KEY}-touched`, String(this.#touched));
  }

  /** Called as the clock ticks. */
  idle(now: number): void {
    if (!this.#id || now - this.#touched < IDLE_MS) return;
    this.#id = "";
    localStorage.removeItem(KEY);
  }
}

export const hands = new Hands();
