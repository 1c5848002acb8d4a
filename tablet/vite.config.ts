import { svelte } from "@sveltejs/vite-plugin-svelte";
import { svelteTesting } from "@testing-library/svelte/vite";
import { defineConfig } from "vitest/config";
import { offline } from "./build/offline.ts";
import { signs } from "./build/signs.ts";

// The pages are built into the Python package, so that an installed Spiracle carries them.
export default defineConfig({
  plugins: [svelte(), svelteTesting(), signs(), offline()],
  build: {
    outDir: process.env.WEB_OUT ?? "../src/spiracle/web",
    emptyOutDir: true,
    target: "es2022",
    chunkSizeWarningLimit: 600,
  },
  server: { proxy: { "/api": process.env.API ?? "http://127.0.0.1:8700" } },
  test: { environment: "jsdom", include: ["src/**/*.test.ts", "build/**/*.test.ts"] },
});
