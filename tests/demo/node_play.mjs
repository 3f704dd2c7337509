// Plays scripts on the node's rules under MicroPython (the WebAssembly port).
//   node node_play.mjs MODULES RULES PLAYER SCRIPTS
// MODULES is a node_modules folder; one line of JSON a script comes out.
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [modules, rules, player, scripts] = process.argv.slice(2);
const port = `${modules}/@micropython/micropython-webassembly-pyscript/micropython.mjs`;
const { loadMicroPython } = await import(pathToFileURL(port).href);
const lines = [];
const machine = await loadMicroPython({
  heapsize: 16 * 1024 * 1024,
  stdout: (line) => lines.push(line),
  linebuffer: true,
});
machine.FS.writeFile("/rules.py", readFileSync(rules, "utf8"));
machine.FS.writeFile("/player.py", readFileSync(player, "utf8"));
machine.FS.writeFile("/scripts.json", readFileSync(scripts, "utf8"));
machine.runPython(`
import json, sys
sys.path.append("/")
import player, rules
print(sys.implementation[0])
with open("/scripts.json") as file:
    for script in json.load(file):
        print(json.dumps(player.play(rules, script)))
`);
process.stdout.write(lines.join("\n") + "\n");
