// The page behind the local server: the box beside the limits, and what another site's page cannot do.
import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import { readFileSync } from "node:fs";
import { createServer } from "node:http";
import { join } from "node:path";
import { abroad, accessible, browse, fits, open } from "./browser.mjs";

const [program, folder, shots] = process.argv.slice(2);
let checks = 0;

/** Runs `work` with the address of a server, which is ended with Ctrl-C and must then end well. */
async function served(args, work) {
  const server = spawn(program, ["serve", ...args], { stdio: ["ignore", "pipe", "inherit"] });
  const ended = new Promise((resolve) => server.once("exit", (code, signal) => resolve(signal ?? code)));
  try {
    const url = await new Promise((resolve, reject) => {
      let said = "";
      server.stdout.on("data", (data) => {
        said += data;
        if (said.includes("\n")) resolve(said.trim());
      });
      ended.then((code) => reject(new Error(`the server ended with ${code}`)));
    });
    await work(url);
    server.kill("SIGINT");
    assert.equal(await ended, 0, "exit code after Ctrl-C");
  } finally {
    server.kill("SIGKILL");
    await ended;
  }
}

/** A page of another site on this machine, with a frame, a script and a form that lead to the server. */
async function elsewhere(url, work) {
  const text = `<!DOCTYPE html><html lang="en"><title>Elsewhere</title><link rel="icon" href="data:,"><p>Elsewhere
    <form id="form" method="post" enctype="text/plain" action="${url}answer"><input name='{"want": ["results"], "file": "' value='"}'></form>
    <iframe id="frame" src="${url}"></iframe></html>`;
  const other = createServer((_, response) => response.setHeader("content-type", "text/html").end(text));
  await new Promise((resolve) => other.listen(0, "127.0.0.1", resolve));
  try {
    await work(`http://127.0.0.1:${other.address().port}/`);
  } finally {
    other.closeAllConnections();
    await new Promise((resolve) => other.close(resolve));
  }
}

const site = join(folder, "site.toml");
// The box's program stands for a while once the page has been looked at.
const hang = ["--do", "40 s: hang for 25 s"];
await served([site, "--simulated-box", "--full", ...hang], async (url) => {
  await browse(
    async (context) => {
      const { page, said, asked, response } = await open(context, url);
      assert.equal(response.status(), 200);
      assert.match(response.headers()["content-security-policy"], /default-src 'none'/);
      await page.waitForFunction(() => document.body.dataset.state === "done", undefined, { timeout: 120_000 });
      checks += 1;

      // The box, in words and drawn.
      const words = page.locator("#box .state");
      await page.waitForFunction(() => /ride|wait/.test(document.querySelector("#box .state").textContent));
      await page.waitForFunction(() => document.querySelector("#box svg path")?.getAttribute("d").split("L").length > 10);
      const lines = await page.locator("#box .lines li").allTextContents();
      assert(lines.some((line) => line.includes("permit")) && lines.some((line) => line.includes("Landings")), `${lines}`);
      const drawn = await page.locator("#box svg").textContent();
      for (const name of ["siren at or under", "no new rider under"]) assert(drawn.includes(name), drawn);
      checks += 1;
      // What people see first stays in view wherever the page is scrolled to, and is in the window's title.
      for (const width of [360, 390, 768, 1440]) {
        await page.setViewportSize({ width, height: 900 });
        await page.evaluate(() => window.scrollTo(0, document.body.scrollHeight));
        // The verdict's bar is under the box's, and neither over the other.
        await page.waitForFunction(() => {
          const [box, verdict] = ["box-top", "verdict"].map((id) => document.getElementById(id).getBoundingClientRect());
          return verdict.top >= box.bottom - 0.5 && verdict.top <= box.bottom + 1 && verdict.height > 20 && verdict.bottom < innerHeight / 2;
        }, undefined, { timeout: 10_000 });
        const top = await page.evaluate(() => {
          const { top, bottom } = document.getElementById("box-top").getBoundingClientRect();
          return { top, bottom, text: document.getElementById("box-top").textContent, title: document.title, icon: document.querySelector("link[rel=icon]").href };
        });
        assert(top.top === 0 && top.bottom > 30, JSON.stringify(top));
        assert(/RIDE|WAIT/.test(top.text) && /next rider: (go|wait)/.test(top.text) && /kPa/.test(top.text), top.text);
        assert(/next rider/.test(top.title) && top.icon.startsWith("data:image/svg"), top.title);
        await page.evaluate(() => window.scrollTo(0, 0));
      }
      checks += 1;
      // The large view: state and pressure over most of the window, and nothing else.
      await page.setViewportSize({ width: 1280, height: 800 });
      await page.locator("#box-top button", { hasText: "Large view" }).click();
      const size = await page.evaluate(() => parseFloat(getComputedStyle(document.querySelector("#box-top .head")).fontSize));
      assert(size >= 150, `${size} px`);
      assert.equal(await page.locator("main").isVisible(), false);
      await fits(page, "large view");
      await accessible(page, "large view");
      if (shots) await page.screenshot({ path: join(shots, "served-large.png") });
      await page.locator("#box-top button", { hasText: "Small view" }).click();
      assert.equal(await page.locator("main").isVisible(), true);
      // A sound is made only after somebody has asked for it.
      await page.locator("#box-top button", { hasText: "Sound on" }).click();
      assert.equal(await page.locator("#box-top button", { hasText: "Sound off" }).count(), 1);
      checks += 1;
      for (const width of [360, 1440]) {
        await page.setViewportSize({ width, height: 900 });
        await fits(page, `served page at ${width} px`);
        await accessible(page, `served page at ${width} px`);
        if (shots) await page.screenshot({ path: join(shots, `served-${width}.png`), fullPage: true });
      }
      checks += 1;

      // Through this page, the same numbers as on the command line.
      const text = readFileSync(site, "utf8");
      const plan = JSON.parse(readFileSync(join(folder, "site.json"), "utf8"));
      const answer = await page.evaluate(async (text) => {
        const token = document.querySelector("meta[name=landfall-token]").content;
        const reply = await fetch("/answer", {
          method: "POST",
          headers: { "Content-Type": "application/json", "X-Landfall-Token": token },
          body: JSON.stringify({ site: text, want: ["results"] }),
        });
        return reply.json();
      }, text);
      assert.deepEqual(answer.results, plan);
      checks += 1;

      // Silence is said loudly, and no old figure stands; then the box is back.
      await page.waitForFunction(() => document.querySelector("#box .state").textContent.includes("LINK SILENT"));
      assert.match(await words.getAttribute("class"), /stop/);
      assert.match(await page.locator("#box-top").textContent(), /NO LINK.*next rider: NO/);
      assert.match(await page.title(), /NO LINK/);
      assert(!/permit is on/.test(await page.locator("#box").textContent()), "an old figure stands");
      if (shots) await page.screenshot({ path: join(shots, "served-silent.png") });
      await page.waitForFunction(() => !document.querySelector("#box .state").textContent.includes("SILENT"));
      checks += 1;
      assert.deepEqual(abroad(asked, url), []);
      assert.deepEqual(said, []);
      checks += 1;
      const token = await page.evaluate(() => document.querySelector("meta[name=landfall-token]").content);

      // From another site's page, even with the right token, nothing is done and nothing can be read.
      await elsewhere(url, async (home) => {
        const { page: other } = await open(context, home);
        const tried = await other.evaluate(
          async ([url, token]) => {
            const attempt = (how) => how().then((reply) => `${reply.type} ${reply.status}`, (error) => error.name);
            const body = JSON.stringify({ want: ["results"] });
            const json = { "Content-Type": "application/json", "X-Landfall-Token": token };
            return {
              answer: await attempt(() => fetch(`${url}answer`, { method: "POST", headers: json, body })),
              box: await attempt(() => fetch(`${url}box`, { headers: { "X-Landfall-Token": token } })),
              page: await attempt(() => fetch(url)),
              blind: await attempt(() => fetch(url, { mode: "no-cors" })),
              plain: await attempt(() => fetch(`${url}answer`, { method: "POST", mode: "no-cors", body })),
              script: await new Promise((resolve) => {
                const script = document.createElement("script");
                script.onload = () => resolve("loaded");
                script.onerror = () => resolve("TypeError");
                script.src = url;
                document.body.append(script);
              }),
              frame: document.getElementById("frame").contentDocument === null ? "closed" : "open",
            };
          },
          [url, token],
        );
        const refused = "TypeError";
        assert.deepEqual(tried, {
          answer: refused, box: refused, page: refused, blind: refused, plain: refused, script: refused, frame: "closed",
        });
        const frame = other.frames().find((frame) => frame !== other.mainFrame());
        assert.equal(await frame.locator("meta[name=landfall-token]").count(), 0, "the page in a frame");
        const [sent] = await Promise.all([
          other.waitForResponse((response) => response.url() === `${url}answer`),
          other.evaluate(() => document.getElementById("form").submit()),
        ]);
        assert.equal(sent.status(), 403, "a form of another site");
        await other.close();
      });
      checks += 1;

      // A name that leads here is not this server's.
      const rebound = await open(context, url.replace("127.0.0.1", "rebound.example"));
      assert.equal(rebound.response.status(), 421);
      assert(!(await rebound.page.content()).includes("landfall-token"));
      checks += 1;
    },
    { names: ["rebound.example"] },
  );
});

// Two boxes, one permit: each with its own state and pressure, and when one falls there is none.
const pair = ["--simulated-box=left", "--simulated-box=right", "--full", "--do", "right: 75 s: cut for 600 s"];
await served([site, ...pair], async (url) => {
  await browse(async (context) => {
    const { page, said } = await open(context, url);
    await page.waitForFunction(() => document.body.dataset.state === "done", undefined, { timeout: 120_000 });
    const top = page.locator("#box-top");
    const rows = async () => (await top.locator(".each li").allTextContents()).map((text) => text.replace(/\s+/g, " ").trim());
    await page.waitForFunction(() => /permit ON/.test(document.querySelector("#box-top").textContent));
    const [left, right] = await rows();
    assert.match(left, /^left● RIDE\d+\.\d\d \w+$/);
    assert.match(right, /^right● RIDE\d+\.\d\d \w+$/);
    assert.match(await top.textContent(), /RIDE.*All of them: permit ON.*next rider: go/);
    assert.equal(await page.locator("#box .one-box svg").count(), 2, "each box has its picture");
    await accessible(page, "two boxes");
    await fits(page, "two boxes");
    if (shots) await page.screenshot({ path: join(shots, "boxes-ride.png") });
    await page.waitForFunction(() => /ALL STOP/.test(document.querySelector("#box-top .head").textContent), undefined, { timeout: 90_000 });
    assert.match(await top.textContent(), /permit OFF.*next rider: NO.*right: The blowers' supply is off/s);
    assert.deepEqual((await rows()).map((row) => /RIDE|WAIT/.test(row)), [true, false], "left goes on, right has stopped");
    assert.equal(await top.getAttribute("class"), "box-top stop several");
    assert.match(await page.title(), /ALL STOP, next rider: NO/);
    for (const [width, height, name] of [[1440, 900, "wide"], [390, 844, "phone"]]) {
      await page.setViewportSize({ width, height });
      await fits(page, `two boxes, ${name}`);
      if (shots) await page.screenshot({ path: join(shots, `boxes-stop-${name}.png`) });
      await top.locator("button", { hasText: "Large view" }).click();
      await fits(page, `two boxes, large, ${name}`);
      const box = await top.boundingBox();
      assert(box.height <= height + 1, `the large view of two boxes ends below the ${name} window: ${box.height}`);
      if (shots) await page.screenshot({ path: join(shots, `boxes-large-${name}.png`) });
      await top.locator("button", { hasText: "Small view" }).click();
    }
    assert.deepEqual(said, []);
    checks += 1;
  });
});
console.log(`served page: ${checks} checks passed`);
