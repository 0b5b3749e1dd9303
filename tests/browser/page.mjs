// Tries the page that is one file, as a person would: sliders, typing, undo, two variants, saving, the keyboard alone.
// `node page.mjs FOLDER COMMAND [SHOTS]`; the folder holds page.html and plan.json, both of the demo.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";
import { abroad, accessible, browse, fits, open as load } from "./browser.mjs";

const [folder, command, shots] = process.argv.slice(2);
const address = pathToFileURL(join(folder, "page.html")).href;
// A loaded machine computes all runs in ten seconds or so.
const PATIENCE = { timeout: 120_000 };

function run(...args) {
  try {
    return execFileSync(command, args, { encoding: "utf8", maxBuffer: 1 << 26 });
  } catch (error) {
    if (error.status > 2) throw error;
    return error.stdout;
  }
}

async function open(context, options = {}) {
  const opened = await load(context, address, options);
  await done(opened.page);
  return opened;
}

const done = (page) => page.waitForFunction(() => document.body.dataset.state === "done", undefined, PATIENCE);
/** After a change: the full answer has come in and belongs to the text as it stands. */
const settled = async (page) => {
  await page.waitForFunction(() => !window.landfall.bench.busy && !window.landfall.bench.now.edits, undefined, PATIENCE);
  await page.waitForFunction(() => window.landfall.bench.variants.every((one) => !one.stale), undefined, PATIENCE);
};
const text = (page) => page.evaluate(() => window.landfall.bench.now.text);
const results = (page) => page.evaluate(() => window.landfall.bench.now.full?.results ?? null);
const kept = (page) => page.evaluate(() => document.querySelector("#kept-pictures svg")?.outerHTML ?? "");
const figure = (page, id) => page.locator(`[data-figure=${id}]`).textContent();

/** Sets a slider as a finger does: many inputs, one change at the end. */
const drag = (page, id, steps) =>
  page.evaluate(
    async ([id, steps]) => {
      const slider = document.getElementById(id);
      const place = document.getElementById("kept-pictures");
      const times = [];
      for (let i = 0; i < steps; i += 1) {
        const begun = performance.now();
        const drawn = new Promise((resolve) => {
          const watch = new MutationObserver(() => {
            watch.disconnect();
            resolve();
          });
          watch.observe(place, { childList: true });
        });
        slider.value = Number(slider.value) + Number(slider.step);
        slider.dispatchEvent(new Event("input", { bubbles: true }));
        await drawn;
        times.push(performance.now() - begun);
      }
      slider.dispatchEvent(new Event("change", { bubbles: true }));
      return times;
    },
    [id, steps],
  );

/** A text as one line. */
const flat = (words) => words.replace(/\s+/g, " ").trim();
/** The bars' sentences and marks, without their signs. */
const bars = (page) => page.evaluate(() => [...document.querySelectorAll("#verdict .say")].map((say) => ({
  sentence: say.querySelector(".sentence").textContent.replace(/^(.*: )?[✓▲■] /, ""),
  marks: [...say.querySelectorAll(".marks b")].map((mark) => mark.textContent),
  kind: say.className,
})));
/** Writes the text at hand and plans it; gives what the plan says. */
const planned = async (page) => {
  const file = join(folder, "bar.toml");
  writeFileSync(file, await text(page));
  return flat(run("plan", file));
};

let checks = 0;
const check = async (name, body) => {
  try {
    await body();
  } catch (error) {
    error.message = `page, ${name}: ${error.message}`;
    throw error;
  }
  checks += 1;
};

await browse(async (context) => {
  const { page, said, asked } = await open(context);
  const plan = JSON.parse(readFileSync(join(folder, "plan.json"), "utf8"));

  await check("the numbers are those of the command", async () => {
    assert.deepEqual(await results(page), plan);
    assert.match(await page.locator("#status").textContent(), /^100,000 runs computed/);
  });

  await check("a slider changes the landing zone", async () => {
    const [before, along, words] = [await kept(page), await figure(page, "along"), await text(page)];
    const times = await drag(page, "roll_in-start_height-slider", 12);
    assert.notEqual(await kept(page), before);
    assert.notEqual(await figure(page, "along"), along);
    await settled(page);
    const now = await text(page);
    assert.match(now, /start_height = "6\.\d+ m" {2}# platform deck/);
    assert.equal(now.split("\n").length, words.split("\n").length);
    times.sort((a, b) => a - b);
    console.log(`page: from a step of a slider to the new picture ${times[6].toFixed(0)} ms (median of 12), ${times[11].toFixed(0)} ms at most; all runs after ${(await page.evaluate(() => window.landfall.bench.timing.full)).toFixed(0)} ms more`);
    assert(times[6] < 3000, `a picture took ${times[6]} ms`);
    // One drag is one step back.
    await page.locator("#back").click();
    assert.equal(await text(page), words);
    await settled(page);
    assert.equal(await kept(page), before);
    await page.locator("#forth").click();
    assert.equal(await text(page), now);
  });

  await check("the saved file plans to the same numbers", async () => {
    await settled(page);
    const shown = await results(page);
    const [download] = await Promise.all([page.waitForEvent("download"), page.locator("#save").click()]);
    const file = join(folder, "saved.toml");
    await download.saveAs(file);
    assert.equal(download.suggestedFilename(), "demo.toml");
    assert.equal(readFileSync(file, "utf8"), await text(page));
    assert.deepEqual(JSON.parse(run("plan", file, "--format", "json")), shown);
    assert.notEqual(shown.flight.along_m, plan.flight.along_m);
  });

  await check("bad input is told in the command's words, beside its control, and kept", async () => {
    const before = await text(page);
    for (const [id, key, typed] of [["rider-mass", "rider.mass", "heavy"], ["bag-relief_opens", "bag.relief_opens", "9 kPa"], ["rider-carry", "rider.carry", "1.5"]]) {
      await page.locator("#filter").fill(key);
      const box = page.locator(`#${id}`);
      await box.fill(typed);
      await box.press("Enter");
      const fault = page.locator(`#${id}-fault`);
      await fault.waitFor({ state: "visible" });
      const file = join(folder, "bad.toml");
      writeFileSync(file, await text(page));
      const told = JSON.parse(run("check", file, "--format", "json")).faults;
      const own = told.filter((one) => one.key === key);
      assert(own.length > 0, `${key}: ${JSON.stringify(told)}`);
      const words = await fault.textContent();
      for (const one of own) assert(words.includes(one.message) && words.includes(one.cure), `${words} / ${one.message}`);
      assert.equal(await box.getAttribute("aria-invalid"), "true");
      assert((await box.inputValue()).startsWith(typed.split(" ")[0]), "what was typed stands in the box");
      assert((await text(page)).includes(typed.split(" ")[0]));
    }
    assert.equal(await page.locator(".fault:visible").count() > 0, true);
    assert.match(await page.locator("#kept-pictures").textContent(), /From before: nothing was computed now/);
    assert.equal(await figure(page, "along"), "–");
    assert.match(await page.locator("#limits").textContent(), /to be put right; nothing was computed/);
    await page.locator("#filter").fill("");
    await page.locator("#back").click();
    await page.locator("#back").click();
    await page.locator("#back").click();
    assert.equal(await text(page), before);
    await settled(page);
    assert.equal(await page.locator(".fault:visible").count(), 0);
  });

  await check("units, lists and words", async () => {
    await page.locator("#filter").fill("takeoff.height");
    await page.locator("#takeoff-height").fill("8 ft 3 in");
    await page.locator("#takeoff-height").press("Enter");
    await settled(page);
    assert.match(await text(page), /height = "8 ft 3 in"/);
    assert.equal(await page.locator("#takeoff-height").inputValue(), "8 ft 3 in");
    await page.locator("select[aria-label='Unit of height']").selectOption("m");
    await settled(page);
    assert.match(await text(page), /\nheight = "2\.5146 m"/);
    await page.locator("#filter").fill("blower.curve");
    await page.locator("#blower-curve-1-1").fill("0.45 kPa");
    await page.locator("#blower-curve-1-1").press("Tab");
    await settled(page);
    assert.match(await text(page), /\["0\.95 m3\/s", "0\.45 kPa"\]/);
    await page.locator("#filter").fill("");
    for (let i = 0; i < 3; i += 1) await page.locator("#back").click();
    await settled(page);
  });

  await check("the verdict's bar speaks as the plan does, and names the first cause of a stop", async () => {
    for (const [key, value] of [["bag-vent_area", "3000"], ["bag-vent_area", "100"], ["blower-count", "3"]]) {
      await page.locator(`#${key}`).fill(value);
      await page.locator(`#${key}`).press("Enter");
      await settled(page);
      const [[bar], said] = [await bars(page), await planned(page)];
      assert(said.includes(flat(bar.sentence)), `${bar.sentence} / ${said.slice(0, 300)}`);
      if (value === "3000") assert(/^DO NOT RIDE: ./.test(bar.sentence) && bar.kind.includes("outside"), JSON.stringify(bar));
      else assert(bar.marks.length >= 3, JSON.stringify(bar));
      for (const mark of bar.marks.flatMap((mark) => mark.split(", not below "))) assert(said.includes(mark.replace(" only", "")), `${mark} / ${said}`);
      const lines = await page.locator("#first dd").allTextContents();
      assert(lines.length > 0);
      for (const line of lines) assert(said.includes(flat(line.replace("◆ changed:", ""))), `${line} / ${said}`);
    }
  });

  await check("what was changed is marked, and what it changed", async () => {
    const marked = page.locator("#control-blower-count mark");
    assert.match(await marked.textContent(), /Changed\. In the file: 2/);
    assert.equal(await page.locator("#table-bag .differs").textContent(), "");
    const was = await page.locator("#figures tr", { hasText: "Pressure that the blowers hold" }).locator("td").textContent();
    assert.match(was, /^\d\.\d\d kPa → ▲ \d\.\d\d kPa$/);
    assert.equal(await page.locator("#figures tr", { hasText: "Time in the air" }).locator("mark").count(), 0, "more blowers change no flight");
    assert.match(await page.locator("#figures caption").textContent(), /changed with blower\.count/);
    await page.locator("#control-blower-count button", { hasText: "Back to it" }).click();
    await settled(page);
    assert.equal(await marked.count(), 0);
    assert.match(await text(page), /\ncount = 2\n/);
  });

  await check("a run is played with its computed places and times", async () => {
    assert.equal(await page.locator(".played").count(), 0, "nothing moves before it is asked for");
    const state = () => page.evaluate(() => {
      const { run } = window.landfall.bench.now;
      const time = Number(document.getElementById("play-time").value);
      const plot = document.querySelector("#kept-pictures g.plot");
      const [x, frame] = [plot.dataset.x, plot.dataset.frame].map((words) => words.split(" ").map(Number));
      const mass = plot.querySelector(".mass");
      const x_m = mass ? x[0] + ((Number(mass.getAttribute("cx")) - frame[0]) / (frame[2] - frame[0])) * (x[1] - x[0]) : null;
      return { now: performance.now() / 1000, time, x_m, run, dent: Boolean(plot.querySelector(".dent")), words: document.getElementById("play-words").textContent, button: document.getElementById("play").textContent };
    });
    const button = page.locator("#play");
    for (const pace of ["1", "0.25"]) {
      await page.locator("#pace").selectOption(pace);
      await button.focus();
      await page.keyboard.press("Enter");
      await page.waitForFunction(() => Number(document.getElementById("play-time").value) > 0.02);
      const a = await state();
      assert.equal(a.button, "Pause");
      await page.waitForTimeout(1200);
      const b = await state();
      const measured = (b.time - a.time) / (b.now - a.now);
      assert(Math.abs(measured / Number(pace) - 1) < 0.15, `${measured} of real speed`);
      await page.keyboard.press("Enter");
      const c = await state();
      await page.waitForTimeout(300);
      assert.equal((await state()).time, c.time, "paused");
    }
    // By the keyboard to any time, and there where the run was computed.
    await page.locator("#play-time").focus();
    await page.keyboard.press("Home");
    for (const share of [0.3, 0.8, 0.9]) {
      await page.evaluate((share) => {
        const range = document.getElementById("play-time");
        range.value = Number(range.max) * share;
        range.dispatchEvent(new Event("input"));
      }, share);
      const { time, x_m, run } = await state();
      const all = [...run.ride, ...run.flight];
      const [before, after] = [all.findLast(([at]) => at <= time), all.find(([at]) => at >= time)];
      assert(x_m >= before[1] - 0.03 && x_m <= after[1] + 0.03, `${x_m} at ${time}: ${before} ${after}`);
    }
    await page.keyboard.press("ArrowRight");
    await page.locator("#pace").selectOption("1");
    await button.click();
    await page.waitForFunction(() => document.getElementById("play").textContent === "Play again");
    const end = await state();
    const touch = end.run.flight.at(-1);
    assert(end.dent && /deepest/.test(end.words), end.words);
    assert(Math.abs(end.x_m - touch[1]) < 0.05 && Math.abs(touch[0] - end.run.flight[0][0] - (await results(page)).flight.airtime_s) < 0.002);
  });

  await check("two variants side by side", async () => {
    const own = await text(page);
    await page.locator("#split").click();
    assert.equal(await page.locator("#variant-1").isChecked(), true);
    await page.locator("input[aria-label='Name of variant B']").fill("lower");
    await page.locator("input[aria-label='Name of variant B']").press("Tab");
    await drag(page, "roll_in-start_height-slider", 2);
    await page.locator("#roll_in-start_height").fill("5.2");
    await page.locator("#roll_in-start_height").press("Enter");
    await settled(page);
    const head = await page.locator("#figures thead").textContent();
    assert.match(head, /A.*lower.*lower less A/);
    const row = page.locator("#figures tbody tr", { hasText: "Time in the air" });
    assert.match(await row.locator("td").last().textContent(), /^−0\.\d\d s$/);
    assert.equal(await page.locator("#kept-pictures svg").count(), 2);
    const both = await bars(page);
    assert.equal(both.length, 2);
    assert((await planned(page)).includes(flat(both[1].sentence)), both[1].sentence);
    assert.notDeepEqual(both[0], both[1]);
    await fits(page, "two variants");
    await page.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = true)));
    await accessible(page, "two variants");
    if (shots) await page.screenshot({ path: join(shots, "page-two.png") });
    // On a phone both verdicts and both sets of marks are there, and the flights below them.
    await page.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = false)));
    await page.setViewportSize({ width: 390, height: 844 });
    await page.evaluate(() => scrollTo(0, 0));
    await fits(page, "two variants at 390 px");
    const phone = await page.evaluate(() => ({
      marks: [...document.querySelectorAll("#verdict .say")].map((say) => [...say.querySelectorAll(".marks b")].filter((mark) => mark.checkVisibility() && mark.getBoundingClientRect().height > 10).map((mark) => mark.textContent)),
      bar: document.getElementById("verdict").getBoundingClientRect().height / innerHeight,
    }));
    assert.deepEqual(phone.marks, both.map((bar) => bar.marks), "marks on a phone");
    assert(phone.marks.flat().length > 0 && phone.bar < 0.3, JSON.stringify(phone));
    if (shots) await page.screenshot({ path: join(shots, "page-two-390.png") });
    await page.setViewportSize({ width: 1440, height: 900 });
    await page.locator("#variant-0").check();
    assert.equal(await text(page), own);
    assert.equal(await page.locator("#roll_in-start_height").inputValue(), (own.match(/start_height = "([\d.]+) m/) ?? [])[1]);
    await page.locator("#split").click();
    assert.equal(await page.locator("#kept-pictures svg").count(), 1);
    await settled(page);
  });

  await check("a file from disk, and one that is no TOML", async () => {
    await page.locator("#chooser").setInputFiles(join(folder, "saved.toml"));
    await settled(page);
    assert.equal(await page.locator("#file").textContent(), "saved.toml");
    writeFileSync(join(folder, "torn.toml"), "[site]\nname = \"x\n");
    await page.locator("#chooser").setInputFiles(join(folder, "torn.toml"));
    await page.locator("#loose").waitFor({ state: "visible" });
    const { faults } = JSON.parse(run("check", join(folder, "torn.toml"), "--format", "json"));
    assert.equal(faults[0].message, "the quotes are not closed");
    const shown = await page.locator("body").textContent();
    assert.deepEqual(faults.filter((fault) => !shown.includes(fault.message)), []);
    assert.equal(await page.locator("#text").inputValue(), "[site]\nname = \"x\n");
    await page.locator("#text").fill(readFileSync(join(folder, "saved.toml"), "utf8"));
    await page.locator("#take-text").click();
    await settled(page);
    assert.equal(await page.locator("#loose").isVisible(), false);
    assert((await results(page)) !== null);
  });

  await check("nothing was said wrong and nothing asked for", async () => {
    assert.deepEqual(said, []);
    assert.deepEqual(abroad(asked, address), []);
    await page.close({ runBeforeUnload: false });
  });

  await check("the keyboard alone", async () => {
    const { page, said } = await open(context);
    const reach = async (id) => {
      for (let i = 0; i < 400; i += 1) {
        await page.keyboard.press("Tab");
        if ((await page.evaluate(() => document.activeElement.id)) === id) return;
      }
      assert.fail(`${id} cannot be reached`);
    };
    const begun = await text(page);
    await reach("roll_in-start_height-slider");
    for (let i = 0; i < 3; i += 1) await page.keyboard.press("ArrowLeft");
    await settled(page);
    const lower = await text(page);
    // None of the three is lost, however quickly they follow each other.
    assert.match(lower, /start_height = "5\.85 m"/);
    assert.equal(await page.evaluate(() => document.activeElement.id), "roll_in-start_height-slider");
    await page.keyboard.press("Control+z");
    await settled(page);
    assert.notEqual(await text(page), lower);
    while (!(await page.locator("#back").isDisabled())) await page.keyboard.press("Control+z");
    assert.equal(await text(page), begun);
    await settled(page);
    // A number typed, a group opened and a choice made.
    await reach("rider-mass");
    await page.keyboard.press("Control+a");
    await page.keyboard.type("81");
    await page.keyboard.press("Enter");
    await settled(page);
    assert.match(await text(page), /mass = "81 kg"/);
    await page.evaluate(() => document.querySelector("#table-rider summary").focus());
    await page.keyboard.press("Enter");
    await reach("rider-lands_with_bike");
    await page.keyboard.press("ArrowDown");
    await settled(page);
    assert.match(await text(page), /lands_with_bike = false/);
    assert.deepEqual(said, []);
    await page.close();
  });

  for (const width of [360, 390, 768, 1200, 1440]) {
    for (const scheme of ["light", "dark"]) {
      await check(`${width} px, ${scheme}`, async () => {
        const { page, said } = await open(context, { width, height: width < 500 ? 844 : 900, scheme });
        // Take-off, flight and bag are seen at once, under the bar and without scrolling.
        const seen = await page.evaluate(() => {
          const bar = document.getElementById("verdict").getBoundingClientRect();
          const box = document.querySelector("#kept-pictures .drawing");
          const { top, bottom, left, right } = box.getBoundingClientRect();
          const series = [...box.querySelectorAll("[data-series]")].map((one) => one.dataset.series);
          return { bar: [bar.top, bar.bottom], top, bottom, left, right, sideways: box.scrollWidth - box.clientWidth, series, high: innerHeight, wide: innerWidth };
        });
        assert(seen.bar[0] === 0 && seen.bar[1] <= seen.top && seen.bottom <= seen.high && seen.left >= 0 && seen.right <= seen.wide, JSON.stringify(seen));
        assert.equal(seen.sideways, 0, "the drawing is moved sideways");
        for (const series of ["bag", "surface"]) assert(seen.series.includes(series), JSON.stringify(seen.series));
        assert(seen.series.some((one) => one.startsWith("flight")), JSON.stringify(seen.series));
        // The bar stays, wherever the page is scrolled to, and takes no more than a quarter of the window.
        await page.evaluate(() => scrollTo(0, document.body.scrollHeight));
        await page.waitForFunction(() => document.getElementById("verdict").getBoundingClientRect().top === 0);
        const high = await page.evaluate(() => document.getElementById("verdict").getBoundingClientRect().height / innerHeight);
        assert(high < 0.25, `the bar takes ${high} of the window`);
        await page.evaluate(() => scrollTo(0, 0));
        if (shots) await page.screenshot({ path: join(shots, `page-${width}-${scheme}.png`) });
        await fits(page, `${width} px, ${scheme}`);
        await page.evaluate(() => document.querySelectorAll("details").forEach((details) => (details.open = true)));
        await fits(page, `${width} px, ${scheme}, all open`);
        // Large enough for a finger.
        const small = await page.evaluate(() => [...document.querySelectorAll("button, select, input:not([type=file], [type=radio])")].filter((one) => one.checkVisibility() && one.getBoundingClientRect().height < 24).map((one) => one.outerHTML.slice(0, 80)));
        assert.deepEqual(small, [], "targets of less than 24 px");
        await accessible(page, `${width} px, ${scheme}`);
        if (shots) await page.screenshot({ path: join(shots, `page-${width}-${scheme}-full.png`), fullPage: true });
        assert.deepEqual(said, []);
        await page.close();
      });
    }
  }

  // Off the network altogether, as on a field.
  await check("without a network", async () => {
    await context.setOffline(true);
    const { page, said } = await open(context, { width: 360, height: 740 });
    await drag(page, "roll_in-start_height-slider", 1);
    await settled(page);
    assert.deepEqual(said, []);
  });
  console.log(`page: ${checks} checks passed`);
});
