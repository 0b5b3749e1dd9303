// One picture for the README: `node screenshots.mjs WHICH FILE.html PICTURE.png`.
import assert from "node:assert/strict";
import { statSync } from "node:fs";
import { pathToFileURL } from "node:url";
import { browse, open } from "./browser.mjs";

const [which, file, picture] = process.argv.slice(2);
const WAYS = {
  /** The report's side view alone. */
  async side(page) {
    await page.setViewportSize({ width: 1000, height: 900 });
    await page.locator("#side .drawing:not(.near) svg[role=img]").screenshot({ path: picture });
  },
  /** The card's limits; who to tell and the cautions come below. */
  async card(page) {
    await page.setViewportSize({ width: 860, height: 900 });
    const end = await page.evaluate(() => document.querySelector(".limits").getBoundingClientRect().bottom);
    await page.screenshot({ path: picture, clip: { x: 0, y: 0, width: 860, height: Math.ceil(end) + 10 } });
  },
  /** Two variants of the demo, the second with a lower start. */
  async page(page) {
    const done = () => page.waitForFunction(() => document.body.dataset.state === "done" && window.landfall.bench.variants.every((one) => !one.stale), undefined, { timeout: 120_000 });
    await page.setViewportSize({ width: 1100, height: 680 });
    await done();
    await page.locator("#split").click();
    await page.locator("#roll_in-start_height").fill("5.2");
    await page.locator("#roll_in-start_height").press("Enter");
    await done();
    await page.evaluate(() => {
      document.activeElement.blur();
      scrollTo(0, 0);
    });
    await page.screenshot({ path: picture });
  },
};
await browse(async (context) => {
  const { page } = await open(context, pathToFileURL(file).href, { width: 1200, height: 860 });
  await WAYS[which](page);
});
const { size } = statSync(picture);
assert(size < 150_000, `${picture} has ${size} bytes: too many for the README`);
