// One picture for the README: `node screenshots.mjs WHICH FILE.html PICTURE.png`.
import { pathToFileURL } from "node:url";
import { browse, open } from "./browser.mjs";

const [which, file, picture] = process.argv.slice(2);
const WAYS = {
  /** Two variants of the demo, the second with a lower start. */
  async page(page) {
    const done = () => page.waitForFunction(() => document.body.dataset.state === "done" && window.landfall.bench.variants.every((one) => !one.stale), undefined, { timeout: 120_000 });
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
