// Judges one AsyncAPI document with the official parser.
//   node asyncapi.mjs MODULES DOCUMENT
// MODULES is a node_modules folder; the complaints come out as JSON lines.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const [modules, path] = process.argv.slice(2);
const { Parser } = createRequire(`${modules}/`)("@asyncapi/parser");
const { document, diagnostics } = await new Parser().parse(readFileSync(path, "utf8"));
for (const { severity, message, path: where } of diagnostics) {
  console.log(JSON.stringify({ severity, message, where: where.join("/") }));
}
const read = document ? document.channels().length : 0;
console.log(JSON.stringify({ severity: -1, message: "channels", where: `${read}` }));
