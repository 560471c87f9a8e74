// Runs a program under MicroPython (WebAssembly) and passes on what it prints.
// Argument: micropython.mjs of the package. Standard input: {"files": {name: text}, "program": text}.
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

try {
  const { loadMicroPython } = await import(pathToFileURL(process.argv[2]).href);
  const { files, program } = JSON.parse(readFileSync(0, "utf8"));
  const micropython = await loadMicroPython({ heapsize: 16 * 1024 * 1024, linebuffer: true });
  try {
    micropython.FS.mkdir("/lib");
  } catch {
    // It is there already.
  }
  for (const [name, text] of Object.entries(files)) micropython.FS.writeFile(`/lib/${name}`, text);
  micropython.runPython(program);
} catch (fault) {
  // The package is one long line, which Node would show in full.
  console.error(fault.message ?? String(fault));
  process.exit(1);
}
