// The page's module gives what the command prints, number for number: `node same.mjs MODULE COMMAND SITE...`
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { basename } from "node:path";

const [module, command, ...sites] = process.argv.slice(2);
const compiled = await WebAssembly.compile(readFileSync(module));
assert.deepEqual(WebAssembly.Module.imports(compiled), [], "the module asks for nothing from outside");
const api = (await WebAssembly.instantiate(compiled, {})).exports;

function answer(request) {
  const bytes = new TextEncoder().encode(JSON.stringify(request));
  // Making room may move the memory, so it comes first.
  const room = api.page_room(bytes.length);
  new Uint8Array(api.memory.buffer, room, bytes.length).set(bytes);
  const length = api.page_answer();
  return JSON.parse(new TextDecoder().decode(new Uint8Array(api.memory.buffer, api.page_answer_at(), length)));
}

function plan(...args) {
  try {
    return JSON.parse(execFileSync(command, ["plan", ...args, "--format", "json"], { maxBuffer: 1 << 26 }));
  } catch (error) {
    if (error.status !== 1) throw error; // 1 only says that the site is outside a limit
    return JSON.parse(error.stdout);
  }
}

let numbers = 0;
const count = (value) => {
  if (typeof value === "number") numbers += 1;
  else if (value && typeof value === "object") Object.values(value).forEach(count);
};
for (const site of sites) {
  const got = answer({ site: readFileSync(site, "utf8"), file: site, samples: 6000, want: ["results"] });
  assert.deepEqual(got.faults, [], site);
  const expected = plan(site, "--samples", "6000");
  assert.deepEqual(got.results, expected, basename(site));
  count(expected);
}

// How long an answer takes here; printed, not judged.
const median = (list) => list.sort((a, b) => a - b)[Math.floor(list.length / 2)];
const time = (request, times) =>
  median(Array.from({ length: times }, () => {
    const begun = performance.now();
    answer(request);
    return performance.now() - begun;
  }));
const coarse = { samples: 2000, coarse: true, pictures: ["side"], want: ["results", "pictures"] };
time(coarse, 20);
console.log(`module in Node: ${sites.length} sites, ${numbers} numbers the same; 2,000 runs and a picture ${time(coarse, 15).toFixed(0)} ms, all results from 100,000 runs ${time({ want: ["results"] }, 1).toFixed(0)} ms`);
assert.equal(answer({ site: "[site" }).faults[0].line, 1);
assert.equal(api.page_room(1 << 21), 0, "a request that is too long gets no room");
