import { describe, expect, it } from "vitest";
import { place } from "./route.svelte";

describe("addresses", () => {
  it.each([
    ["", { page: "day" }],
    ["#/", { page: "day" }],
    ["#/nowhere", { page: "day" }],
    ["#/open", { page: "open" }],
    ["#/no-time", { page: "no time" }],
    ["#/audit", { page: "audit" }],
    ["#/case/a%20b/induce", { page: "case", id: "a b", phase: "induce" }],
    ["#/case/x/unknown", { page: "case", id: "x", phase: "assess" }],
  ])("%s", (hash, where) => expect(place(hash)).toEqual(where));
});
