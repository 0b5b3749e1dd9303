// Loads each page at two widths, in light and dark, and as print; exits with an error at the first thing that is wrong.
import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const [folder, shots] = process.argv.slice(2);
const profile = mkdtempSync(join(tmpdir(), "landfall-browser-"));
const context = await chromium.launchPersistentContext(profile, {
  executablePath: "/usr/bin/chromium",
  headless: true,
  bypassCSP: true, // the checker is put into the page; what the page itself may load is looked at by its requests
  args: [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
  ],
});
let checks = 0;

/** A page with everything it says and asks for noted down. */
async function open(name, width, scheme) {
  const page = await context.newPage();
  const said = [];
  const asked = [];
  page.on("console", (message) => said.push(`${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => said.push(String(error)));
  page.on("request", (request) => asked.push(request.url()));
  await page.setViewportSize({ width, height: 900 });
  await page.emulateMedia({ colorScheme: scheme });
  const url = pathToFileURL(join(folder, name)).href;
  await page.goto(url);
  return { page, said, asked, url };
}

/** What sticks out of the window to the right. */
const overflow = () => {
  const width = document.documentElement.clientWidth;
  const scrolls = (element) => element.closest(".drawing, .table");
  const out = [...document.querySelectorAll("body *")].filter(
    (element) => !scrolls(element) && element.getBoundingClientRect().right > width + 0.5,
  );
  return { page: document.documentElement.scrollWidth - width, out: out.map((element) => element.outerHTML.slice(0, 80)) };
};

try {
  for (const name of ["report.html", "card.html"]) {
    for (const width of [360, 1440]) {
      for (const scheme of ["light", "dark"]) {
        const where = `${name} at ${width} px, ${scheme}`;
        const { page, said, asked, url } = await open(name, width, scheme);
        const paper = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
        const bright = paper.match(/\d+/g).slice(0, 3).map(Number).reduce((a, b) => a + b) / 3;
        assert(scheme === "light" ? bright > 200 : bright < 60, `${where}: paper ${paper}`);
        assert.deepEqual(await page.evaluate(overflow), { page: 0, out: [] }, where);
        if (shots) await page.screenshot({ path: join(shots, `${name}-${width}-${scheme}.png`), fullPage: true });
        await page.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = true)));
        assert.deepEqual(await page.evaluate(overflow), { page: 0, out: [] }, `${where}, tables open`);
        await page.addScriptTag({ content: axe });
        const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
        const grave = found.violations.filter((violation) => ["serious", "critical"].includes(violation.impact));
        const told = grave.map((v) => `${v.id}: ${v.help}\n  ${v.nodes.slice(0, 4).map((n) => n.html.slice(0, 200)).join("\n  ")}`);
        assert.deepEqual(told, [], where);
        assert(found.passes.length > 15, `${where}: the checker ran ${found.passes.length} rules`);
        assert.deepEqual(said, [], where);
        assert.deepEqual(asked.filter((address) => address !== url && !address.startsWith("data:")), [], where);
        await page.close();
        checks += 1;
      }
    }
  }

  // In print: tables are open, the card is one page without colours.
  for (const name of ["report.html", "card.html"]) {
    const { page } = await open(name, 1000, "dark");
    await page.emulateMedia({ media: "print", colorScheme: "dark" });
    // The change of medium takes effect with a later frame; one that never does ends here with a time-out.
    await page.waitForFunction(
      () => [...document.querySelectorAll("details table")].every((table) => table.checkVisibility({ contentVisibilityAuto: true })),
      undefined,
      { timeout: 10_000 },
    );
    for (const format of ["A4", "Letter"]) {
      const pdf = await page.pdf({ format, preferCSSPageSize: true, ...(shots ? { path: join(shots, `${name}-${format}.pdf`) } : {}) });
      const pages = pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g).length;
      assert(name === "card.html" ? pages === 1 : pages >= 2 && pages <= 24, `${name} on ${format}: ${pages} pages`);
      console.log(`${name} on ${format}: ${pages} pages`);
    }
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
  const { page } = await open("report.html", 1440, "light");
  const text = await page.evaluate(() => document.body.textContent);
  for (const figure of [plan.ride.lip_speed_mps.toFixed(2), plan.flight.airtime_s.toFixed(2), plan.placement.best_gap_m.toFixed(2)]) {
    assert(text.includes(figure), `the report does not say ${figure}`);
  }
  assert.equal(await page.locator("figure svg[role=img]").count(), 10, "pictures");
  checks += 1;
  console.log(`browser: ${checks} checks passed`);
} finally {
  await context.close();
  rmSync(profile, { recursive: true, force: true });
}
