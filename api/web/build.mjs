// Bundles the pages: every src/pages/NAME.ts becomes ../static/NAME.js (and NAME.css if it imports any
// style sheet), src/style.css becomes ../static/style.css. Nothing is fetched; what is built is git-ignored.
//
//   npm ci --ignore-scripts     once, brings esbuild and OpenLayers (and TypeScript for `npm run check`)
//   node build.mjs              build into ../static
//   node build.mjs DIR          build into DIR (what hatch_build.py does)
//   node build.mjs --watch      build again at every change, readable and with source maps
//   npm run check               tsc --strict --noEmit
//   node build.mjs --test       bundle the pure modules that tests/web runs under `node --test`
import { existsSync, mkdirSync, readdirSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { basename, dirname, join, resolve } from "node:path";
import { fileURLToPath } from "node:url";
import * as esbuild from "esbuild";

const home = dirname(fileURLToPath(import.meta.url));
const args = process.argv.slice(2);
const watch = args.includes("--watch");
const forTests = args.includes("--test");
const given = args.find((arg) => !arg.startsWith("--"));
const pages = join(home, "src", "pages");
const PURE = ["geometry", "units", "merge", "history"];

const common = {
  bundle: true,
  logLevel: "warning",
  charset: "utf8",
  legalComments: "inline",
};

const pageOptions = (out) => ({
  ...common,
  entryPoints: Object.fromEntries([
    ...readdirSync(pages)
      .filter((name) => name.endsWith(".ts"))
      .map((name) => [name.slice(0, -3), join(pages, name)]),
    ...(existsSync(join(home, "src", "style.css")) ? [["style", join(home, "src", "style.css")]] : []),
  ]),
  outdir: out,
  // Classic scripts: they run in file order after `defer`, and a page needs no second request.
  format: "iife",
  target: ["es2022"],
  minify: !watch,
  sourcemap: watch ? "linked" : false,
});

const testOptions = (out) => ({
  ...common,
  entryPoints: PURE.map((name) => join(home, "src", `${name}.ts`)).filter(existsSync),
  outdir: out,
  format: "esm",
  platform: "node",
  outExtension: { ".js": ".mjs" },
});

if (forTests) {
  await esbuild.build(testOptions(given ? resolve(given) : join(home, "test-build")));
} else {
  const out = given ? resolve(given) : join(home, "..", "static");
  mkdirSync(out, { recursive: true });
  if (watch) {
    const context = await esbuild.context({ ...pageOptions(out), logLevel: "info" });
    await context.watch();
  } else {
    const { outputFiles } = await esbuild.build({ ...pageOptions(out), write: false });
    // Renamed into place: a service that is running never sees half a bundle.
    for (const { path, contents } of outputFiles) {
      writeFileSync(`${path}.${process.pid}.part`, contents);
      renameSync(`${path}.${process.pid}.part`, path);
    }
    // A page that was renamed must not live on as an old bundle.
    const made = new Set(outputFiles.map(({ path }) => basename(path)));
    for (const name of readdirSync(out)) {
      if (/\.(js|css|map)$/.test(name) && !made.has(name)) rmSync(join(out, name), { force: true });
    }
  }
}
