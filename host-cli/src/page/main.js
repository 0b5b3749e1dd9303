// Puts the parts together.

const at = (id) => document.getElementById(id);
const begin = JSON.parse(at("begin").textContent);
const token = document.querySelector("meta[name=landfall-token]")?.content ?? "";
const engine = begin.behind === "server" ? serverEngine(token) : insideEngine(at("module").textContent);

const show = {};
const bench = new Bench(engine, begin, show);
const view = new View(bench);
const controls = new Controls(bench, at("groups"));
bench.pictures = () => (bench.now.answer ? view.wanted() : null);

let textIsDirty = false;
let wasBroken = false;

function say(text) {
  at("status").textContent = text;
}

function steps() {
  const { past, future } = bench.now;
  at("back").disabled = past.length === 0;
  at("forth").disabled = future.length === 0;
  at("back").title = past.length ? `Takes back: ${past.at(-1).what}` : "";
  at("forth").title = future.length ? `Does again: ${future.at(-1).what}` : "";
}

function heads() {
  const { now, variants } = bench;
  at("name").textContent = now.answer?.name ?? now.name ?? "Landfall";
  now.name = now.answer?.name ?? now.name;
  at("file").textContent = now.file;
  at("split").setAttribute("aria-pressed", String(variants.length > 1));
  at("split").textContent = variants.length > 1 ? "Keep only this one" : "Second variant";
  const place = at("variants");
  place.hidden = variants.length < 2;
  if (!textIsDirty) at("text").value = now.text;
  if (variants.length < 2) return place.replaceChildren();
  if (place.contains(document.activeElement)) {
    place.querySelectorAll("input[type=radio]").forEach((radio, i) => (radio.checked = i === bench.at));
    return;
  }
  place.replaceChildren(
    make(
      "fieldset",
      {},
      make("legend", {}, "The values below belong to"),
      ...variants.map((variant, i) => {
        const radio = make("input", { type: "radio", name: "variant", id: `variant-${i}`, onchange: () => bench.choose(i) });
        radio.checked = i === bench.at;
        const label = make("label", { for: `variant-${i}` }, `Variant ${variant.label}`);
        const name = make("input", { type: "text", maxlength: "24", "aria-label": `Name of variant ${"AB"[i]}`, onchange: () => {
          variant.label = name.value.trim() || "AB"[i];
          label.textContent = `Variant ${variant.label}`;
          view.all();
        } });
        name.value = variant.label;
        return make("span", { class: "variant" }, radio, label, name);
      }),
    ),
  );
}

function controlsShown() {
  const { now } = bench;
  const answer = now.answer;
  if (!answer) return;
  if (!controls.groups && now.controls) controls.build(now.controls, answer.tables);
  if (!controls.groups) return loose(answer.faults);
  loose(controls.show(now.controls, answer.faults));
}

/** Faults that belong to no control. */
function loose(faults) {
  const place = at("loose");
  place.hidden = faults.length === 0;
  place.replaceChildren(...faults.map((fault) => make("p", {}, `${fault.line ? `Line ${fault.line}: ` : ""}${fault.key ? `${fault.key}: ` : ""}${fault.message}. To put it right: ${fault.cure}.`)));
  if (faults.length) at("as-text").open = true;
}

Object.assign(show, {
  all() {
    heads();
    steps();
    controlsShown();
    view.all();
  },
  waiting() {
    steps();
    document.body.dataset.state = "coarse";
  },
  filling(variant) {
    document.body.dataset.state = "full";
    say(bench.variants.length > 1 ? `Computing all runs of variant ${variant.label}…` : "Computing all runs…");
  },
  answered(variant, answer) {
    wasBroken = false;
    at("broken").hidden = true;
    view.update(variant, answer);
    heads();
    steps();
    if (variant === bench.now) {
      // While a value is dragged its control is in the hand: it is not written to.
      if (!bench.dragging) controlsShown();
      else loose(controls.faults(answer.faults));
    }
    if (answer.coarse) {
      if (at("pictures").childElementCount) view.quick();
      else view.all();
    } else {
      view.all();
    }
    const count = answer.faults.length;
    if (count) say(`${count} ${count === 1 ? "value is" : "values are"} to be put right; nothing was computed.`);
    else if (answer.refused) say(answer.refused);
    else if (!answer.coarse) {
      say(`${variant.samples.toLocaleString("en")} runs computed${bench.variants.length > 1 ? ` of variant ${variant.label}` : ""}.`);
      document.body.dataset.state = bench.variants.some((one) => one.stale) ? "coarse" : "done";
    } else say(`${variant.samples.toLocaleString("en")} runs, drawn from 256 of them; all runs follow.`);
    if (count || answer.refused) document.body.dataset.state = answer.coarse ? "coarse" : "done";
  },
  broken(error) {
    at("broken").hidden = false;
    at("broken").textContent = `The computation broke off: ${error.message}. Every value is kept; change one, or save the site file.`;
    say("The computation broke off.");
    document.body.dataset.state = "broken";
    wasBroken = true;
  },
});

at("open").addEventListener("click", () => at("chooser").click());
at("chooser").addEventListener("change", async () => {
  const [file] = at("chooser").files;
  at("chooser").value = "";
  if (!file) return;
  if (file.size > 1 << 17) return say(`${file.name} is longer than 128 KiB; it is no site file.`);
  textIsDirty = false;
  bench.replace(await file.text(), `open ${file.name}`, file.name);
});
at("save").addEventListener("click", () => {
  const address = URL.createObjectURL(new Blob([bench.now.text], { type: "application/toml" }));
  const link = make("a", { href: address, download: bench.now.file });
  link.click();
  const { now } = bench;
  if (!now.controlsLate && !now.edits) {
    now.base = { text: now.text, controls: now.controls };
    if (controls.groups) controls.differing();
  }
  setTimeout(() => URL.revokeObjectURL(address), 10_000);
  say(`${bench.now.file} is saved where the browser keeps downloads.`);
});
const travel = (how, words) => {
  textIsDirty = false;
  const what = bench[how]();
  if (what) say(`${words}: ${what}`);
};
at("back").addEventListener("click", () => travel("back", "Taken back"));
at("forth").addEventListener("click", () => travel("forth", "Done again"));
at("split").addEventListener("click", () => {
  if (bench.variants.length > 1) bench.join();
  else {
    bench.split();
    const copy = bench.now;
    const own = bench.variants[0];
    Object.assign(copy, { pictures: new Map(own.pictures), run: own.run, first: own.first, figures: own.figures, limits: own.limits, results: own.results, findings: own.findings, samples: own.samples, empty: own.empty, whole: own.whole });
    show.all();
  }
});
document.addEventListener("keydown", (event) => {
  const typing = event.target.matches?.("input:not([type=range], [type=radio]), textarea");
  if (!(event.ctrlKey || event.metaKey) || event.altKey || typing) return;
  const key = event.key.toLowerCase();
  if (key === "z") {
    event.preventDefault();
    if (event.shiftKey) travel("forth", "Done again");
    else travel("back", "Taken back");
  } else if (key === "y") {
    event.preventDefault();
    travel("forth", "Done again");
  }
});
at("kept").addEventListener("change", () => {
  if (bench.now.pictures?.has(view.kept.value)) view.keep();
  else bench.touched(bench.now);
});
at("filter").addEventListener("input", () => {
  if (!controls.groups) return;
  const shown = controls.filter(at("filter").value);
  at("filter-count").textContent = at("filter").value ? `${shown} of ${controls.parts.size} values` : "";
});
at("controls").addEventListener("submit", (event) => event.preventDefault());
at("text").addEventListener("input", () => (textIsDirty = true));
at("take-text").addEventListener("click", () => {
  textIsDirty = false;
  bench.replace(at("text").value, "the text");
});
window.addEventListener("beforeunload", (event) => {
  if (bench.variants.some((variant) => variant.past.length > 0)) event.preventDefault();
});

/** What stays in view is not laid over each other, and hides nothing that is reached by keyboard. */
function stack() {
  const height = (id) => document.getElementById(id)?.getBoundingClientRect().height ?? 0;
  const root = document.documentElement.style;
  root.setProperty("--box-bar", `${height("box-top")}px`);
  root.setProperty("--bars", `${height("box-top") + height("verdict")}px`);
}
const bars = new ResizeObserver(stack);

engine.warm();
if (begin.behind === "server" && begin.has_box) new BoxPanel(engine);
for (const id of ["box-top", "verdict"]) if (at(id)) bars.observe(at(id));
bench.touched(bench.now);
window.landfall = { bench };
