// Reports and cards of many sites: six pages, two of them for the hill, no text of a drawing over another, the flight on a
// phone without scrolling, a card of one page that says a stop big. `node sites.mjs FOLDER [SHOTS]`.
import assert from "node:assert/strict";
import { readdirSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { browse, crowded, fits, onPaper, open, sheets } from "./browser.mjs";

const [folder, shots] = process.argv.slice(2);
const names = readdirSync(folder).filter((name) => name.endsWith(".html"));
const cards = names.filter((name) => name.endsWith(".card.html"));
const reports = names.filter((name) => !cards.includes(name));
assert(reports.length >= 30, `${reports.length} reports`);
/** Names of values and keys of the site file, but for the list of what is assumed; words of statisticians. */
const INSIDE = /\b[a-z]+_[a-z_]+\b|\b(?:bag|spread|rider|takeoff|blower|wind|session|watch|site|anchors|unknown)\.[a-z]+\b|\bsd\b|standard deviation|divided differences|variance/gi;
const inside = (page) =>
  page.evaluate(() => {
    const body = document.body.cloneNode(true);
    body.querySelectorAll(".assumed, style").forEach((one) => one.remove());
    return [...body.querySelectorAll("*")].flatMap((one) => [...one.childNodes].filter((node) => node.nodeType === 3).map((node) => node.data)).join("\n");
  });
const failed = [];
let texts = 0;
/** Goes on after a fault, so that all are told at once. */
const hold = async (work) => {
  try {
    await work();
  } catch (error) {
    failed.push(error.message);
  }
};

await browse(async (context) => {
  for (const name of reports) {
    const { page } = await open(context, pathToFileURL(join(folder, name)).href, { width: 390, height: 844 });
    await hold(() => fits(page, `${name} at 390 px`));
    await hold(async () => assert.deepEqual((await inside(page)).match(INSIDE), null, name));
    // Verdict and flight need no scrolling, unless a stop has more to say first.
    const { end, stop } = await page.evaluate(() => ({
      end: document.querySelector("#side .near svg").getBoundingClientRect().bottom,
      stop: !!document.querySelector(".verdict:not(.inside)"),
    }));
    await hold(() => assert(stop || end <= 844, `${name}: the flight ends ${end} px down`));
    for (const width of [390, 1200]) {
      await page.setViewportSize({ width, height: 844 });
      const { out, looked } = await crowded(page);
      texts += looked;
      await hold(() => assert.deepEqual(out, [], `${name} at ${width} px`));
      await hold(() => assert(looked > 60, `${name}: ${looked} texts`));
      if (shots) await page.screenshot({ path: join(shots, `${name}-${width}.png`), fullPage: true });
    }
    await hold(() => onPaper(page, name, (format) => (shots ? join(shots, `${name}-${format}.pdf`) : undefined)));
    await page.close();
  }
  for (const name of cards) {
    const { page } = await open(context, pathToFileURL(join(folder, name)).href, { width: 1000 });
    for (const format of ["A4", "Letter"]) {
      const path = shots ? join(shots, `${name}-${format}.pdf`) : undefined;
      await hold(async () => assert.equal(await sheets(page, format, { path }), 1, `${name} on ${format}`));
    }
    await hold(async () => assert.deepEqual((await inside(page)).match(INSIDE), null, name));
    const { said, size } = await page.evaluate(() => {
      const huge = document.querySelector(".huge");
      return { said: document.body.textContent.includes("DO NOT RIDE"), size: huge ? parseFloat(getComputedStyle(huge).fontSize) : 0 };
    });
    await hold(() => assert(!said || size >= 48, `${name}: a stop of ${size} px`));
    await page.close();
  }
});
assert(failed.length === 0, failed.join("\n"));
console.log(`${reports.length} reports and ${cards.length} cards of varied sites: ${texts} texts of drawings, none over another; six pages at the most, no key or name from inside`);
