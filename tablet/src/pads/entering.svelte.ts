import { store, type Written } from "../wire/store.svelte";
import type { Refused } from "../wire/types";

/** What a hand has said yes to, as an entry carries it: each question by its own sentence. */
export interface Yes {
  confirmed: boolean;
  answered: string[];
}

export const NO_YES: Yes = { confirmed: false, answered: [] };

/** One more question answered. */
export function andYes(before: Yes, question: Pick<Refused, "says">): Yes {
  return { confirmed: true, answered: [...before.answered, question.says] };
}

/** One entry on its way: the key rests while it is, and a refusal stays to be read with nothing cleared. */
export class Entering {
  busy = $state(false);
  refused = $state.raw<Refused | null>(null);
  /** The server asks whether it is meant: a second touch says so. */
  asks = $state(false);
  #decide: ((yes: boolean) => void) | null = null;
  #before: Promise<unknown> = Promise.resolve();

  /** True when the entry is written, or kept on this tablet for want of a link. `write` is told what was said yes to: a second question
   * is asked by itself. */
  async run(write: (yes: Yes) => Promise<Written>): Promise<boolean> {
    if (this.busy) return false;
    this.answer(false);
    for (let said = NO_YES; ;) {
      if (await this.#once(() => write(said))) return true;
      const question = this.asks ? this.refused : null;
      if (!question) return false;
      if (!(await new Promise<boolean>((decide) => (this.#decide = decide)))) return false;
      said = andYes(said, question);
    }
  }

  /**
   * For touches that come faster than the answers (the signs of a row): each waits for the one before it, none is lost.
   * A question to one of them is answered in its turn and never holds up the others.
   */
  after(write: () => Promise<Written>): Promise<boolean> {
    const turn = this.#before.then(() => this.#once(write));
    this.#before = turn.catch(() => false);
    return turn;
  }

  /** The question is put aside: nothing was written, and what was typed may be typed anew. */
  aside(): void {
    this.answer(false);
    this.refused = null;
  }

  /** What the hand says to the question; another entry begun meanwhile says no. */
  answer(yes: boolean): void {
    const decide = this.#decide;
    this.#decide = null;
    this.asks = false;
    decide?.(yes);
  }

  async #once(write: () => Promise<Written>): Promise<boolean> {
    this.busy = true;
    this.refused = null;
    try {
      const written = await write();
      const answer = await written.answer;
      if (!answer?.refused) return true;
      this.refused = answer.refused;
      this.asks = answer.refused.name === "AskAgain";
      await store.seen(written.id);
      return false;
    } finally {
      this.busy = false;
    }
  }
}
