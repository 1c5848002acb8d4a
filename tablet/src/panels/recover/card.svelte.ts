/** Signs a hand has ticked on the extubation card, kept while the tablet is: leaving the page must not lose them. */
class Card {
  #seen = $state<Record<string, string[]>>({});

  seen(caseId: string): readonly string[] {
    return this.#seen[caseId] ?? [];
  }

  turn(caseId: string, id: string): void {
    const now = this.seen(caseId);
    this.#seen[caseId] = now.includes(id) ? now.filter((x) => x !== id) : [...now, id];
  }
}

export const card = new Card();
