// Chromium as the tests start it, and what every page is held against.
import assert from "node:assert/strict";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { chromium } from "playwright-core";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/**
 * Runs `work` with a browser that has a new profile and reaches nothing but this machine; both are gone afterwards,
 * whatever `work` does. With `bypass` a page's own policy is not kept. `names` lead to this machine.
 */
export async function browse(work, { bypass = false, names = [] } = {}) {
  const profile = mkdtempSync(join(tmpdir(), "landfall-browser-"));
  let context;
  try {
    context = await chromium.launchPersistentContext(profile, {
      executablePath: "/usr/bin/chromium",
      headless: true,
      bypassCSP: bypass,
      timeout: 120_000,
      args: [
        "--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-dev-shm-usage", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-proxy-server",
        `--host-resolver-rules=${names.map((name) => `MAP ${name} 127.0.0.1, `).join("")}MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost`,
      ],
    });
    context.setDefaultTimeout(60_000);
    return await work(context);
  } finally {
    await context?.close();
    rmSync(profile, { recursive: true, force: true, maxRetries: 5 });
  }
}

/** A page with everything it says and asks for noted down. */
export async function open(context, url, { width = 1440, height = 900, scheme = "light", wait } = {}) {
  const page = await context.newPage();
  const said = [];
  const asked = [];
  page.on("console", (message) => said.push(`${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => said.push(String(error)));
  page.on("request", (request) => asked.push(request.url()));
  page.on("websocket", (socket) => asked.push(socket.url()));
  await page.setViewportSize({ width, height });
  await page.emulateMedia({ colorScheme: scheme });
  const response = await page.goto(url, wait ? { waitUntil: wait } : {});
  return { page, said, asked, response };
}

/** What was asked for outside of `home`, an address that all others begin with. */
export const abroad = (asked, home) =>
  asked.filter((url) => !url.startsWith(home) && !url.startsWith("data:") && !url.startsWith("blob:"));

/** Nothing sticks out of the window to the right, but inside what scrolls by itself. */
export async function fits(page, where) {
  const found = await page.evaluate(() => {
    const width = document.documentElement.clientWidth;
    const scrolls = (element) => {
      for (let at = element.parentElement; at && at !== document.body; at = at.parentElement) {
        if (["auto", "scroll", "hidden"].includes(getComputedStyle(at).overflowX)) return true;
      }
      return false;
    };
    const out = [...document.querySelectorAll("body *")].filter(
      (element) => element.getBoundingClientRect().right > width + 0.5 && !scrolls(element),
    );
    return { page: document.documentElement.scrollWidth - width, out: out.map((element) => element.outerHTML.slice(0, 80)) };
  });
  assert.deepEqual(found, { page: 0, out: [] }, where);
}

/** The accessibility checker finds nothing serious. */
export async function accessible(page, where) {
  // Not as a script element: the page's own policy stays what it is.
  await page.evaluate(axe);
  const found = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
  const grave = found.violations.filter((violation) => ["serious", "critical"].includes(violation.impact));
  const told = grave.map((v) => `${v.id}: ${v.help}\n  ${v.nodes.slice(0, 4).map((n) => n.html.slice(0, 200)).join("\n  ")}`);
  assert.deepEqual(told, [], where);
  assert(found.passes.length > 15, `${where}: the checker ran ${found.passes.length} rules`);
}

/** Papers, with the width between the margins in CSS pixels. */
export const PAPERS = { A4: 710, Letter: 732 };

/** How many sheets a page takes; with `only`, an element of `main`, as if nothing else were there. */
export async function sheets(page, format, { only, path } = {}) {
  const left = await page.evaluate((only) => {
    const others = only ? [...document.querySelectorAll("main > *")].filter((one) => !one.matches(only)) : [];
    const kept = only ? [document.querySelector(`main > ${only}`)] : [];
    for (const one of others) one.style.display = "none";
    for (const one of kept) one.style.breakAfter = "auto";
    return others.length;
  }, only);
  assert(!only || left > 2, `${left} other parts`);
  const pdf = await page.pdf({ format, preferCSSPageSize: true, ...(path ? { path } : {}) });
  await page.evaluate(() => document.querySelectorAll("main > *").forEach((one) => one.removeAttribute("style")));
  return pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g).length;
}

/** The report on both papers: six sheets, of which two go to the hill with the side view and what to measure. */
export async function onPaper(page, where, path = () => undefined) {
  const said = [];
  for (const [format, width] of Object.entries(PAPERS)) {
    const all = await sheets(page, format, { path: path(format) });
    const hill = await sheets(page, format, { only: ".hill" });
    assert(all >= 3 && all <= 6, `${where} on ${format}: ${all} pages`);
    assert(hill <= 2, `${where} on ${format}: ${hill} pages for the hill`);
    said.push(`${format} ${all}`);
    await page.setViewportSize({ width, height: 1000 });
    await page.emulateMedia({ media: "print" });
    await fits(page, `${where}, ${format}`);
    const held = await page.evaluate(() => {
      const seen = (query) => document.querySelector(`.hill ${query}`)?.checkVisibility() ?? false;
      const cut = [...document.querySelectorAll("main *:not(svg *)")].filter((one) => one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).display !== "inline" && one.clientWidth > 0);
      return { side: seen("#side svg[role=img]:not(.near *)"), tape: seen(".set-out table"), cut: cut.map((one) => one.outerHTML.slice(0, 80)) };
    });
    assert.deepEqual(held, { side: true, tape: true, cut: [] }, `${where}, ${format}`);
    await page.emulateMedia({ media: null });
  }
  return said.join(", ");
}

/** Texts of the drawings that stand over each other or outside, and how many were looked at. */
export const crowded = (page) =>
  page.evaluate(() => {
    const out = [];
    let looked = 0;
    for (const svg of document.querySelectorAll("svg[role=img]")) {
      if (!svg.checkVisibility()) continue;
      const view = svg.viewBox.baseVal;
      const name = svg.getAttribute("aria-labelledby").split(" ")[0];
      const texts = [...svg.querySelectorAll("text")].map((text) => [text.textContent, text.getBBox()]);
      looked += texts.length;
      texts.forEach(([said, a], i) => {
        if (a.x < -0.5 || a.y < -0.5 || a.x + a.width > view.width + 0.5 || a.y + a.height > view.height + 0.5) out.push(`${name}: ${said} is outside`);
        for (const [other, b] of texts.slice(i + 1)) {
          const [across, down] = [["x", "width"], ["y", "height"]].map(([at, size]) => Math.min(a[at] + a[size], b[at] + b[size]) - Math.max(a[at], b[at]));
          // A pixel of the boxes is blank.
          if (across > 1 && down > 1) out.push(`${name}: ${said} over ${other}`);
        }
      });
    }
    return { out, looked };
  });
