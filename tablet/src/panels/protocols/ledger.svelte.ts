import { api, listen } from "../../wire/api";
import { keep, kept } from "../../wire/shelf";
import { store } from "../../wire/store.svelte";
import type { EventName, Fields, ProtocolShape, ProtocolsSheet, Refused } from "../../wire/types";

/** The hospital's protocols as the server has them; the last list seen is there without a link. */
class Ledger {
  sheet = $state.raw<ProtocolsSheet | null>(null);
  #hang: (() => void) | null = null;

  get all(): readonly ProtocolShape[] {
    return this.sheet?.protocols ?? [];
  }

  /** Follow the list while a page shows it; gives what ends it. */
  follow(): () => void {
    const ledger = store.hospital?.ledger;
    void this.refresh();
    if (ledger)
      this.#hang = listen(`/api/cases/${encodeURIComponent(ledger)}/live`, {
        onchange: () => void this.refresh(),
        onlink: () => undefined,
      });
    return () => {
      this.#hang?.();
      this.#hang = null;
    };
  }

  async refresh(): Promise<void> {
    try {
      this.sheet = await api.protocols();
      await keep("protocols", this.sheet);
    } catch {
      this.sheet ??= (await kept<ProtocolsSheet>("protocols"))?.sheet ?? null;
    }
  }

  /** An entry in the hospital's own log; the refusal to show where it was pressed, or null. */
  async write<N extends EventName>(name: N, fields: Fields<N>, say: string): Promise<Refused | null> {
    const ledger = this.sheet?.ledger ?? store.hospital?.ledger;
    if (!ledger) return nowhere;
    const written = await store.writeMany([[name, fields] as never], { own: true, undo: false, say }, ledger);
    const refused = await store.settle(written);
    await this.refresh();
    return refused;
  }
}

const nowhere: Refused = {
  name: "Unanswered",
  field: "",
  says: "This tablet has not seen the hospital’s list yet.",
  accepts: "Wait for the link.",
  use: null,
};

export const ledger = new Ledger();
