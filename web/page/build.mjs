// Builds the page into web/nightcure_web/static: one script, one style sheet, icon, licences.
import { build } from "esbuild";
import { cp, mkdir, readFile, rm, writeFile } from "node:fs/promises";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const out = process.argv[2] ?? join(here, "..", "nightcure_web", "static");

await rm(out, { recursive: true, force: true });
await mkdir(out, { recursive: true });
await build({
  entryPoints: [join(here, "src", "main.tsx"), join(here, "src", "style.css")],
  bundle: true,
  minify: true,
  outdir: out,
  target: ["es2020", "safari15"],
  jsx: "automatic",
  jsxImportSource: "preact",
  legalComments: "none",
  logLevel: "warning",
});
await cp(join(here, "public"), out, { recursive: true });

const licences = [];
for (const name of ["preact", "uplot"]) {
  const folder = join(here, "node_modules", name);
  const { version } = JSON.parse(await readFile(join(folder, "package.json"), "utf8"));
  const text = await readFile(join(folder, "LICENSE"), "utf8");
  licences.push(`${name} ${version}\n\n${text.trim()}\n`);
}
await writeFile(join(out, "licences.txt"), licences.join("\n----\n\n"));
