import { createHash } from "node:crypto";
import { readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import type { Plugin } from "vite";

/**
 * Writes `sw.js`: the worker that keeps the whole app on the tablet. It names every built file, so that after one visit
 * no network is needed; a new build waits until the page asks for it, never under a hand at work.
 */
export function offline(): Plugin {
  let publicDir = "";
  return {
    name: "offline",
    apply: "build",
    enforce: "post",
    configResolved(config) {
      publicDir = config.publicDir;
    },
    generateBundle(_, bundle) {
      const seal = createHash("sha256");
      const files = ["/"];
      for (const [name, part] of Object.entries(bundle).sort(([a], [b]) => a.localeCompare(b))) {
        seal.update(name).update(part.type === "chunk" ? part.code : part.source);
        if (name !== "index.html") files.push(`/${name}`);
      }
      for (const name of readdirSync(publicDir).sort()) {
        seal.update(name).update(readFileSync(join(publicDir, name)));
        files.push(`/${name}`);
      }
      this.emitFile({ type: "asset", fileName: "sw.js", source: worker(seal.digest("hex").slice(0, 16), files) });
    },
  };
}

export function worker(seal: string, files: string[]): string {
  return `const KEPT = ${JSON.stringify(`spiracle-${seal}`)};
const FILES = ${JSON.stringify(files)};
self.addEventListener("install", (e) => e.waitUntil(caches.open(KEPT).then((c) => c.addAll(FILES))));
self.addEventListener("activate", (e) =>
  e.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((n) => n !== KEPT).map((n) => caches.delete(n))))
      .then(() => self.clients.claim()),
  ),
);
self.addEventListener("message", (e) => e.data === "update" && self.skipWaiting());
self.addEventListener("fetch", (e) => {
  const { request } = e;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin || url.pathname.startsWith("/api/")) return;
  if (request.mode === "navigate") {
    e.respondWith(fetch(request).catch(() => caches.match("/")));
    return;
  }
  e.respondWith(caches.match(request).then((found) => found ?? fetch(request)));
});
`;
}
