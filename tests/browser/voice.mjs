// Reads marks, pressures, winds and counts of limits off the page's screen, and holds them against what the command says of
// the same file in text, JSON and on the card. `node voice.mjs FOLDER COMMAND SHOTS|"" SITE...`; the folder holds page.html.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { basename, join } from "node:path";
import { pathToFileURL } from "node:url";
import { browse, fits, open } from "./browser.mjs";

const [folder, command, shots, ...sites] = process.argv.slice(2);
const PATIENCE = { timeout: 120_000 };
/** Runs of each rider: with fewer no miss in a thousand can be told. */
const RUNS = 20_000;

function run(...args) {
  try {
    return execFileSync(command, args, { encoding: "utf8", maxBuffer: 1 << 26 });
  } catch (error) {
    if (error.status !== 1) throw error; // 1 only says that the site is outside a limit
    return error.stdout;
  }
}

const flat = (words) => words.replace(/\s+/g, " ").trim();
const bare = (markup) => flat(markup.replace(/<style.*?<\/style>/gs, " ").replace(/<[^>]*>/g, " ").replaceAll("&amp;", "&"));

/** Metres of "14 ft 5 1/4 in" or "4.40 m", pascals of "0.70 kPa". */
function si(words) {
  const units = { m: 1, ft: 0.3048, in: 0.0254, Pa: 1, kPa: 1000, mbar: 100, inH2O: 249.0889, mmH2O: 9.80665, psi: 6894.757 };
  const parts = [...words.matchAll(/(?:(\d+(?:\.\d+)?)(?: (\d+)\/(\d+))?|(\d+)\/(\d+)) (ft|in|m|inH2O|mmH2O|kPa|Pa|mbar|psi)\b/g)];
  assert(parts.length > 0, words);
  return parts.reduce((sum, [, whole, top, bottom, only, of, unit]) => sum + units[unit] * (only ? only / of : Number(whole) + (top ? top / bottom : 0)), 0);
}

/** The file with so many runs, as a file of its own. */
function lighter(site, i) {
  const text = readFileSync(site, "utf8").replace(/^samples *=.*\n/m, "");
  const line = `samples = ${RUNS}\n`;
  const file = join(folder, `voice-${i}-${basename(site)}`);
  writeFileSync(file, /^\[spread\]$/m.test(text) ? text.replace(/^\[spread\]\n/m, `[spread]\n${line}`) : `${text}\n[spread]\n${line}`);
  return file;
}

const near = (a, b, what) => assert(Math.abs(a - b) <= 2e-3 * Math.max(1, Math.abs(b)), `${what}: ${a} on the page, ${b} in the plan`);
const said = { inside: 0, provisional: 0, outside: 0 };
let marks = 0;

await browse(async (context) => {
  const { page } = await open(context, pathToFileURL(join(folder, "page.html")).href, { width: 390, height: 844 });
  const settled = async () => {
    await page.waitForFunction(() => document.body.dataset.state === "done" && !window.landfall.bench.busy && window.landfall.bench.variants.every((one) => !one.stale), undefined, PATIENCE);
  };
  await settled();
  for (const [i, site] of sites.entries()) {
    const file = lighter(site, i);
    const name = basename(site);
    await page.locator("#chooser").setInputFiles(file);
    await page.waitForFunction((file) => document.getElementById("file").textContent === file, basename(file), PATIENCE);
    await settled();
    const seen = await page.evaluate(() => {
      const shown = (place) => (place?.checkVisibility() ? place.innerText : null);
      const bar = document.querySelector("#verdict .say");
      return {
        sentence: shown(bar.querySelector(".sentence")).replace(/^[✓▲■] /, ""),
        marks: [...bar.querySelectorAll(".marks > span")].map((mark) => {
          const text = shown(mark.querySelector("b"));
          return [shown(mark).slice(0, -text.length).trim(), text];
        }),
        lines: Object.fromEntries([...document.querySelectorAll("#first dt")].map((label) => [shown(label), shown(label.nextElementSibling).replace("◆ changed:", "").trim()])),
        all: [...document.querySelectorAll("#first dd")].map((line) => shown(line).replace("◆ changed:", "").trim()),
        caption: shown(document.querySelector("#limits caption")),
        signs: [...document.querySelectorAll("#limits tbody tr")].map((row) => shown(row.children[1])),
        figures: Object.fromEntries([...document.querySelectorAll("#figures tbody tr")].map((row) => [shown(row.children[0]), shown(row.children[1]).split(" → ").at(-1).replace(/^[▲▼◆] /, "")])),
        high: document.getElementById("verdict").getBoundingClientRect().height / innerHeight,
      };
    });
    if (shots) await page.screenshot({ path: join(shots, `voice-${name}.png`) });
    await fits(page, name);
    assert(seen.high < 0.3, `${name}: the bar takes ${seen.high} of the window`);
    const json = JSON.parse(run("plan", file, "--format", "json"));
    const text = flat(run("plan", file, "--full"));
    const card = bare(run("card", file));
    const { standing, limits_kept: kept, limits_broken: broken } = json.verdict;
    said[standing] += 1;
    // The verdict, and the limits counted on the screen.
    for (const [where, all] of [["text", text], ["card", card]]) {
      const told = where === "card" ? seen.sentence.replace("DO NOT RIDE: ", "") : seen.sentence;
      assert(all.includes(flat(told)), `${name}: ${told} is not in the ${where}: ${all.slice(0, 300)}`);
    }
    const out = seen.signs.filter((sign) => sign.includes("BROKEN")).length;
    assert.deepEqual([out, seen.signs.length - out], [broken, kept], `${name}: ${seen.signs}`);
    assert.equal(seen.caption, broken ? `${broken} of ${broken + kept} limits broken` : `${kept} limits kept`, name);
    if (standing === "inside") assert.equal(seen.sentence, `All ${kept} limits that were computed are kept.`, name);
    for (const line of seen.all) assert(text.includes(flat(line)), `${name}: ${line} is not in the text`);
    if (standing === "outside") {
      assert(seen.sentence.startsWith("DO NOT RIDE: ") && seen.marks.length === 0, `${name}: ${seen.sentence} ${seen.marks}`);
      for (const [what, figure] of Object.entries(seen.figures)) assert(!/^(Start mark|Next rider|Everybody off)/.test(what) || figure === "–", `${name}: ${what} ${figure} at a stop`);
      continue;
    }
    // The marks of each group, as they are read off the screen.
    const bar = new Map(seen.marks);
    const groups = Object.entries(json.ride_by);
    for (const [group, by] of groups) {
      const [label, own] = groups.length > 1 ? [`Start, ${group}`, `, ${group}`] : ["Start", ""];
      const mark = bar.get(label);
      assert(mark, `${name}: no ${label} in ${JSON.stringify(seen.marks)}`);
      const [high, low] = mark.replace(/ only$/, "").split(", not below ");
      near(si(high), by.start_high_m, `${name}, ${label}`);
      assert.equal(seen.figures[`Start mark, at most${own}`], high, name);
      assert(card.includes(high), `${name}: ${high} is not on the card`);
      if (low) {
        near(si(low), by.start_low_m, `${name}, ${label}`);
        assert.equal(seen.figures[`Start mark, at least${own}`], low, name);
        assert(card.includes(low) && text.includes(`Not below the ${low} mark`), `${name}: ${low}`);
      } else assert(Math.abs(by.start_low_m - by.start_high_m) < 2e-3, `${name}: ${JSON.stringify(by)}`);
      marks += 1;
    }
    const by = groups[0][1];
    const [from, off] = [bar.get("Next rider from"), bar.get("All stop at")];
    near(si(from), by.next_rider_from_pa, `${name}, next rider`);
    near(si(off), by.everybody_off_under_pa, `${name}, all stop`);
    assert(card.includes(`starts from ${from}`) && text.includes(`when the gauge shows ${from} or more`), `${name}: ${from}`);
    assert(card.includes(`when the siren sounds ${off}`) && text.includes(`falls to ${off}`), `${name}: ${off}`);
    assert.deepEqual([seen.figures["Next rider from"], seen.figures["Everybody off at"]], [from, off], name);
    // Line and winds: of several groups the strictest, none where a group has none.
    const strictest = (key, of) => {
      const all = groups.map(([, one]) => one[key]);
      return all.includes(null) ? null : of(...all);
    };
    const farthest = strictest("stop_line_before_foot_m", Math.max);
    if (farthest !== null) {
      const line = seen.lines["Stop line"].split(" before ")[0];
      near(si(line), farthest, `${name}, stop line`);
      assert(card.includes(`Stop line: ${line} before`), `${name}: ${line}`);
    }
    for (const [key, from, row] of [["tail", "behind", "behind"], ["head", "the front", "the front"]]) {
      const mps = strictest(`hold_along_${key}_mps`, Math.min);
      const wind = seen.lines.Wind?.match(new RegExp(`(\\d+) (km/h|mph) from ${from}`));
      assert.equal(Boolean(wind), mps !== null, `${name}: ${seen.lines.Wind}`);
      if (!wind) continue;
      assert(Math.abs(wind[1] / { "km/h": 3.6, mph: 2.236936 }[wind[2]] - mps) < 0.01, `${name}: ${wind[0]}, ${mps}`);
      assert(card.includes(`${row} ${wind[1]} ${wind[2]}`), `${name}: ${wind[0]} is not on the card`);
    }
  }
});
assert(said.inside > 1 && said.provisional > 1 && said.outside > 1, JSON.stringify(said));
console.log(`page on screen: ${sites.length} sites (${said.inside} inside, ${said.provisional} provisional, ${said.outside} outside), ${marks} pairs of marks, pressures and counts as in text, JSON and card`);
