import { describe, expect, it } from "vitest";
import type { Entry } from "../../wire/outbox";
import type { CheckList, ListLine } from "../../wire/types";
import { answeredHere } from "./lists";

const line = (id: string, state: ListLine["state"]): ListLine => ({
  id,
  says: id,
  detail: "",
  state,
  at: null,
  by: "",
  note: "",
});
const list: CheckList = {
  list: "machine",
  title: "Machine",
  done: 1,
  of: 3,
  lines: [line("a", "done"), line("b", "now"), line("c", "ahead")],
};
const entry = (id: string, state: Entry["state"] = "waiting", outcome: "done" | "fault" = "done"): Entry => ({
  id: `e-${id}`,
  case: "c",
  say: "",
  state,
  refused: null,
  event: {
    event: "CheckLineDone",
    id: `e-${id}`,
    case: "c",
    happened_at: "2026-01-01T10:00:00Z",
    recorded_at: "2026-01-01T10:00:00Z",
    by: "h-1",
    list: "machine",
    line: id,
    outcome,
  },
});

describe("a list read without a link", () => {
  it("goes on to the next line, one at a time", () => {
    expect(answeredHere(list, [entry("b")]).map(({ state, kept }) => [state, kept])).toEqual([
      ["done", undefined],
      ["done", true],
      ["now", undefined],
    ]);
  });
  it("keeps a fault a fault", () => {
    expect(answeredHere(list, [entry("b", "waiting", "fault")])[1]?.state).toBe("fault");
  });
  it("asks a line again when its entry was refused", () => {
    expect(answeredHere(list, [entry("b", "refused")])[1]?.state).toBe("now");
  });
  it("leaves other lists alone", () => {
    expect(answeredHere({ ...list, list: "patient" }, [entry("b")])[1]?.state).toBe("now");
  });
});
