// Loads each page at two widths, in light and dark, and as print; exits with an error at the first thing that is wrong.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { abroad, accessible, browse, crowded, fits, onPaper, open, sheets } from "./browser.mjs";

const [folder, shots] = process.argv.slice(2);
let checks = 0;
const address = (name) => pathToFileURL(join(folder, name)).href;

await browse(async (context) => {
  for (const name of ["report.html", "card.html", "landings.html"]) {
    for (const width of [360, 1440]) {
      for (const scheme of ["light", "dark"]) {
        const where = `${name} at ${width} px, ${scheme}`;
        const { page, said, asked } = await open(context, address(name), { width, scheme });
        const paper = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
        const bright = paper.match(/\d+/g).slice(0, 3).map(Number).reduce((a, b) => a + b) / 3;
        assert(scheme === "light" ? bright > 200 : bright < 60, `${where}: paper ${paper}`);
        await fits(page, where);
        if (shots) await page.screenshot({ path: join(shots, `${name}-${width}-${scheme}.png`), fullPage: true });
        await page.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = true)));
        await fits(page, `${where}, tables open`);
        await accessible(page, where);
        assert.deepEqual(said, [], where);
        assert.deepEqual(abroad(asked, address(name)), [], where);
        await page.close();
        checks += 1;
      }
    }
  }

  // In print: notes are open, the report is six pages, the card is one page without colours.
  for (const name of ["report.html", "card.html"]) {
    const { page } = await open(context, address(name), { width: 1000, scheme: "dark" });
    await page.emulateMedia({ media: "print", colorScheme: "dark" });
    // The change of medium takes effect with a later frame; one that never does ends here with a time-out.
    await page.waitForFunction(
      () => [...document.querySelectorAll("details:not(.behind) li")].every((one) => one.checkVisibility({ contentVisibilityAuto: true })),
      undefined,
      { timeout: 10_000 },
    );
    const path = (format) => (shots ? join(shots, `${name}-${format}.pdf`) : undefined);
    if (name === "report.html") console.log(`${name}, pages: ${await onPaper(page, name, path)}`);
    else for (const format of ["A4", "Letter"]) assert.equal(await sheets(page, format, { path: path(format) }), 1, `${name} on ${format}`);
    if (name === "card.html") {
      const coloured = await page.evaluate(() =>
        [...document.querySelectorAll("body, body *")].flatMap((element) => {
          const style = getComputedStyle(element);
          return [style.color, style.backgroundColor, style.borderTopColor].filter((colour) => {
            const [r, g, b] = colour.match(/[\d.]+/g).map(Number);
            return r !== g || g !== b;
          });
        }),
      );
      assert.deepEqual(coloured, [], "colours on the printed card");
    }
    await page.close();
    checks += 1;
  }

  // The page says what the plan says.
  const plan = JSON.parse(readFileSync(join(folder, "plan.json"), "utf8"));
  const { page } = await open(context, address("report.html"));
  const text = await page.evaluate(() => document.body.textContent);
  for (const figure of [(3.6 * plan.ride.lip_speed_mps).toFixed(1), plan.flight.airtime_s.toFixed(2), plan.placement.best_gap_m.toFixed(2)]) {
    assert(text.includes(figure), `the report does not say ${figure}`);
  }
  // The side view has a second drawing for narrow screens.
  assert.equal(await page.locator("figure svg[role=img]").count(), 10, "pictures");
  assert.equal(await page.locator("figure svg[role=img]:visible").count(), 9, "pictures");
  // A text moved onto another is found.
  assert.deepEqual((await crowded(page)).out, []);
  await page.evaluate(() => {
    const [first, second] = document.querySelectorAll("#above svg text");
    for (const at of ["x", "y", "text-anchor"]) second.setAttribute(at, first.getAttribute(at));
  });
  assert.equal((await crowded(page)).out.length, 1, "two texts on one place");
  checks += 1;

  // Marks are where the tables beside them say, as the browser lays them out: the row of pressures, against its ruler.
  await page.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = true)));
  const marks = await page.evaluate(() => {
    const scale = document.querySelector("#scale");
    const plot = scale.querySelector("g.plot");
    const [low, high] = plot.dataset.x.split(" ").map(Number);
    const ruler = plot.querySelector("line.axis").getBoundingClientRect();
    return [...scale.querySelectorAll("tbody tr")].map((row) => {
      const cells = [...row.children].map((cell) => cell.textContent);
      const box = plot.querySelector(`[data-series="${cells[0]}"]`).getBoundingClientRect();
      const value = (px) => low + ((px - ruler.left) / ruler.width) * (high - low);
      return { cells, from: value(box.left), to: value(box.right), unit: (high - low) / ruler.width };
    });
  });
  assert(marks.length >= 5, `${marks.length} marks`);
  for (const { cells, from, to, unit } of marks) {
    // To two pixels: half a stroke and the rounding of the box.
    const dot = cells[2] === "–";
    const [low, high] = dot ? [(from + to) / 2, (from + to) / 2] : [from, to];
    assert(Math.abs(low - Number(cells[1])) < 2 * unit + 0.0005, `${cells}: drawn from ${low}`);
    assert(Math.abs(high - Number(dot ? cells[1] : cells[2])) < 2 * unit + 0.0005, `${cells}: drawn to ${high}`);
  }
  checks += 1;

  // Words of a picture come before it on the same sheet: nothing may break between them.
  await page.emulateMedia({ media: "print" });
  const kept = await page.evaluate(() =>
    [...document.querySelectorAll("figure")].map((figure) => getComputedStyle(figure).breakInside),
  );
  assert(kept.length === 9 && kept.every((value) => value.startsWith("avoid")), `${kept}`);
  checks += 1;
});
console.log(`report and card: ${checks} checks passed`);
