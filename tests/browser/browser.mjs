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
