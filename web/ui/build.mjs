// Bundles src/ into dist/, which the Go program embeds.
import { build } from "esbuild";

await build({
  entryPoints: { desk: "src/desk.ts", study: "src/study.ts", cook: "src/cook.ts", overlay: "src/overlay.ts", load: "src/load.ts" },
  outdir: "dist",
  bundle: true,
  minify: true,
  format: "esm",
  target: ["es2022"],
  legalComments: "eof",
  logLevel: "warning",
});
