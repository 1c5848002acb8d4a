import { expect, it } from "vitest";
import { worker } from "./offline";

it("keeps every built file, leaves the server's answers alone, and never swaps pages under a hand", () => {
  const source = worker("abc", ["/", "/assets/index.js"]);
  expect(source).toContain('"spiracle-abc"');
  expect(source).toContain('["/","/assets/index.js"]');
  expect(source).toContain('url.pathname.startsWith("/api/")');
  expect(source.match(/skipWaiting/g)).toHaveLength(1);
  expect(source).toContain('e.data === "update" && self.skipWaiting()');
  expect(() => new Function("self", "caches", "location", source)).not.toThrow();
});
