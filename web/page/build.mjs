// Builds the page into web/nightcure_web/static: scripts, style sheet, icons, licences.
import { build } from "esbuild";
import { createHash } from "node:crypto";
import { cp, mkdir, readdir, readFile, rm, writeFile } from "node:fs/promises";
import { basename, dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const out = process.argv[2] ?? join(here, "..", "nightcure_web", "static");
const source = (name) => join(here, "src", name);

// Of uPlot the page draws lines, with labels of its own: its other shapes, its joining of tables and
// its number and time-zone formats, which are slow to make on a phone, are left out.
const others = [
  ["paths.stepped = stepped", "paths.stepped = 0"],
  ["paths.bars    = bars", "paths.bars = 0"],
  ["paths.spline  = monotoneCubic", "paths.spline = 0"],
  ["uPlot.join = join", "uPlot.join = 0"],
  ["new Intl.NumberFormat(domEnv ? nav.language : 'en-US')", "{ format: String }"],
  ["new Intl.DateTimeFormat().resolvedOptions().timeZone", "''"],
];
const linesOnly = {
  name: "lines only",
  setup: ({ onLoad }) =>
    onLoad({ filter: /uPlot\.esm\.js$/ }, async ({ path }) => {
      let contents = await readFile(path, "utf8");
      for (const [whole, less] of others) {
        if (!contents.includes(whole)) throw new Error(`This uPlot has no '${whole}'; see what it has to leave out.`);
        contents = contents.replace(whole, less);
      }
      return { contents };
    }),
};
// What a tab keeps of a person's work is read by builds of the same types only.
const types = createHash("sha256").update(await readFile(source("types.ts")));
const options = {
  bundle: true,
  minify: true,
  target: ["es2020", "safari15"],
  jsx: "automatic",
  jsxImportSource: "preact",
  legalComments: "none",
  logLevel: "warning",
  plugins: [linesOnly],
  define: { SHAPE: JSON.stringify(types.digest("hex").slice(0, 8)) },
};

await rm(out, { recursive: true, force: true });
await mkdir(out, { recursive: true });
await build({ ...options, entryPoints: [source("look.ts"), source("style.css")], outdir: out });
// What is seldom opened is fetched when it is: ruler, cards, nights ... are files of their own.
const { metafile } = await build({
  ...options,
  entryPoints: [source("main.tsx")],
  outdir: out,
  format: "esm",
  splitting: true,
  chunkNames: "[name]-[hash]",
  metafile: true,
});
await cp(join(here, "public"), out, { recursive: true });
// What main.js needs at once is fetched beside it, not after it.
const [, main] = Object.entries(metafile.outputs).find(([name]) => basename(name) === "main.js");
const needed = main.imports.filter((i) => i.kind === "import-statement").map((i) => basename(i.path));
const index = join(out, "index.html");
const links = needed.map((name) => `<link rel="modulepreload" href="${name}">`).join("\n    ");
await writeFile(index, (await readFile(index, "utf8")).replace("<!-- preloads -->", links));

// The service worker keeps the shell; another shell is another build.
const shell = (await readdir(out)).sort();
const digest = createHash("sha256");
for (const name of shell) digest.update(name).update(await readFile(join(out, name)));
await build({
  ...options,
  entryPoints: [source("sw.ts")],
  outfile: join(out, "sw.js"),
  define: {
    BUILD: JSON.stringify(digest.digest("hex").slice(0, 12)),
    SHELL: JSON.stringify(["./", ...shell.filter((name) => name !== "index.html")]),
  },
});

const licences = [];
for (const name of ["preact", "uplot"]) {
  const folder = join(here, "node_modules", name);
  const { version } = JSON.parse(await readFile(join(folder, "package.json"), "utf8"));
  const text = await readFile(join(folder, "LICENSE"), "utf8");
  licences.push(`${name} ${version}\n\n${text.trim()}\n`);
}
await writeFile(join(out, "licences.txt"), licences.join("\n----\n\n"));
