import { api, listen } from "../../wire/api";
import { keep, kept } from "../../wire/shelf";
import { store } from "../../wire/store.svelte";
import type { EventName, Fields, MachineDay, MachinesSheet, Refused } from "../../wire/types";

type Write = { [N in EventName]: [name: N, fields: Fields<N>] }[EventName];

/** The machines' book of today as the server has it; the last one seen is there without a link. */
class Machines {
  sheet = $state.raw<MachinesSheet | null>(null);
  #hang: (() => void) | null = null;
  #watchers = 0;

  get all(): readonly MachineDay[] {
    return this.sheet?.machines ?? [];
  }

  of(machine: string | undefined): MachineDay | undefined {
    return this.all.find((one) => one.machine === machine);
  }

  /** Follow the book while a page shows it; gives what ends it. */
  follow(): () => void {
    const ledger = store.hospital?.ledger;
    this.#watchers += 1;
    void this.refresh();
    if (ledger && !this.#hang)
      this.#hang = listen(`/api/cases/${encodeURIComponent(ledger)}/live`, {
        onchange: () => void this.refresh(),
        onlink: () => undefined,
      });
    return () => {
      this.#watchers -= 1;
      if (this.#watchers) return;
      this.#hang?.();
      this.#hang = null;
    };
  }

  async refresh(): Promise<void> {
    try {
      this.sheet = await api.machines();
      await keep("machines", this.sheet);
    } catch {
      this.sheet ??= (await kept<MachinesSheet>("machines"))?.sheet ?? null;
    }
  }

  /** Entries in the hospital's own log; the refusal to show where it was pressed, or null. */
  async write(writes: readonly Write[], say: string): Promise<Refused | null> {
    const ledger = this.sheet?.ledger ?? store.hospital?.ledger;
    if (!ledger) return nowhere;
    const written = await store.writeMany(writes, { own: true, undo: false, say }, ledger);
    const refused = await store.settle(written);
    await this.refresh();
    return refused;
  }
}

const nowhere: Refused = {
  name: "Unanswered",
  field: "",
  says: "This tablet has not seen the hospital’s machines yet.",
  accepts: "Wait for the link.",
  use: null,
};

export const machines = new Machines();
